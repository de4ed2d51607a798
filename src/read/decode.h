/* SPDX-License-Identifier: MIT */
/*
 * Bytes of sound to samples. Two engines behind one seam: our own unpacking loops (plain C the compiler vectorises) and
 * libsndfile, fed through virtual I/O with a headerless view of the span that riff.h found. They agree bit for bit
 * (tested).
 *
 * Samples are planar float, full scale 1.0, exact for 8, 16 and 24 bit; for 32-bit PCM and 64-bit float they are
 * rounded, but never onto or past a full scale that the sample itself did not reach, so that clip tests on the float
 * are exact. NaN and Inf are counted and become 0. Memory: TP_DECODE_FRAMES floats a channel. One thread per decoder.
 */
#ifndef TP_READ_DECODE_H
#define TP_READ_DECODE_H

#include <takeproof/result.h>

#define TP_DECODE_FRAMES 4096

enum tp_decode_engine { TP_DECODE_OWN, TP_DECODE_LIBSNDFILE };

struct tp_decoder;

/* Format from file: encoding, bit_depth, channel_count, sample_rate_hz. Errors: TP_ERR_UNSUPPORTED, TP_ERR_MEMORY. */
enum tp_status tp_decoder_new(struct tp_decoder **decoder, const struct tp_file *file, enum tp_decode_engine engine,
                              struct tp_error *error) TP_MUST_USE;
void tp_decoder_free(struct tp_decoder *decoder);

/* Decodes `frames` (<= TP_DECODE_FRAMES) whole interleaved frames. *channels points at channel_count planes that stay
 * valid until the next call. Errors: TP_ERR_UNSUPPORTED (libsndfile refused). */
enum tp_status tp_decoder_push(struct tp_decoder *decoder, const uint8_t *bytes, size_t frames,
                               const float *const **channels, struct tp_error *error) TP_MUST_USE;
/* The same to channel_count planes of the caller's. */
enum tp_status tp_decoder_push_to(struct tp_decoder *decoder, const uint8_t *bytes, size_t frames, float *const *planes,
                                  struct tp_error *error) TP_MUST_USE;

/* Bits in use over all samples so far (16 for 16-bit sound padded to 24); 0 when all were zero, or float. */
uint32_t tp_decoder_effective_bits(const struct tp_decoder *decoder);
/* Of one channel. */
uint64_t tp_decoder_non_finite(const struct tp_decoder *decoder, uint32_t channel);

#endif
