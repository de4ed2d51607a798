/* SPDX-License-Identifier: MIT */
/*
 * Random bytes at the end of what was taken for sound: where the header does not say how long a recording is, the
 * card's earlier contents may follow it (compressed files, encrypted ones, sound of another format). A tap sees them in
 * passing.
 *
 * Rule (common practice, no source): of every TP_NOISE_BLOCK bytes the first TP_NOISE_SAMPLE are counted by value.
 * Bytes that are all equally likely give a chi-square of 255 with a standard deviation of 22.6 (Pearson 1900, 255
 * degrees of freedom). H.264, FLAC and xz files measure 205 to 306; MP3 and JPEG more than can be told from sound.
 * Sound, whose upper bytes are not alike, gives thousands, and 24-bit sound less than TP_NOISE_CHI_SQUARE only where it
 * is louder than -8.7 dBFS RMS throughout (computed for a normal distribution). Blocks below it in a row, at least
 * TP_NOISE_BLOCKS_MIN, up to the end of the sound, are no sound; but only where the header does not confirm the length.
 */
#ifndef TP_READ_NOISE_TAIL_H
#define TP_READ_NOISE_TAIL_H

#include "read/stream.h"

#include <takeproof/result.h>

#define TP_NOISE_BLOCK ((uint64_t)16 << 10)
#define TP_NOISE_SAMPLE 4096
#define TP_NOISE_CHI_SQUARE 500.0
#define TP_NOISE_CHI_SQUARE_EDGE 345.0 /* of a kilobyte: four deviations above what random bytes give */
#define TP_NOISE_BLOCKS_MIN 8
#define TP_NOISE_RUNS 8

/* Start as {0}; give tp_noise_tail_tap() to tp_stream_open(), ask after tp_riff_walk_rest(). */
struct tp_noise_tail {
    uint64_t position;
    uint32_t counts[256]; /* of the block at hand */
    struct tp_noise_run {
        uint64_t start, end; /* blocks of random bytes, in the file; end is exclusive */
    } runs[TP_NOISE_RUNS];   /* the latest long ones, a ring: chunks behind the sound may be random too */
    size_t run_count;
    struct tp_noise_run open; /* empty when the block before was sound */
};

struct tp_tap tp_noise_tail_tap(struct tp_noise_tail *tail);
/* First byte of such a run, counted in the file, on a whole frame of the sound; its end when there is none. */
uint64_t tp_noise_tail_start(const struct tp_noise_tail *tail, const struct tp_file *file);
/* Adds an `unfinished-header` observation when there is one. False when memory is short. */
bool tp_noise_tail_observe(const struct tp_noise_tail *tail, struct tp_file *file);

/* Whether bytes look random: their chi-square against equal likelihood. `size` >= 1024. */
bool tp_noise_is_random(const uint8_t *bytes, size_t size);

#endif
