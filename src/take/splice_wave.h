/* SPDX-License-Identifier: MIT */
/*
 * Writes a one-channel Broadcast Wave file from exact numbers: our own chunk writer, because libsndfile changes samples
 * on the way from float to PCM and rewrites bext.
 *
 *   RIFF (or RF64 with ds64 where 32-bit sizes do not reach) · fmt · fact (float) · bext · iXML · data
 *
 * Sources: RIFF MCI 1991, EBU Tech 3285 (bext), EBU Tech 3306 (RF64).
 */
#ifndef TP_TAKE_SPLICE_WAVE_H
#define TP_TAKE_SPLICE_WAVE_H

#include <stdint.h>
#include <stdio.h>
#include <takeproof/result.h>

struct tp_splice_wave {
    uint32_t sample_rate_hz;
    enum tp_encoding encoding; /* PCM: 24 or 32 bits; FLOAT: 32 or 64 */
    uint32_t bit_depth;
    uint64_t frames;
    const uint8_t *bext, *ixml; /* chunk data; NULL = none */
    size_t bext_bytes, ixml_bytes;
};

/* All up to the first sample. Errors are left to ferror(out), here and below. */
void tp_splice_wave_begin(const struct tp_splice_wave *wave, FILE *out);
/* Samples of full scale 1.0. PCM is rounded to nearest (exact for what came from PCM of that many bits or fewer) and
 * saturates; float rounds to nearest. */
void tp_splice_wave_samples(const struct tp_splice_wave *wave, const double *samples, size_t frames, FILE *out);
/* The pad byte, where one is due. */
void tp_splice_wave_end(const struct tp_splice_wave *wave, FILE *out);

#endif
