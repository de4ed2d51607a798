/* SPDX-License-Identifier: MIT */
/*
 * A run of zero blocks at the end of the sound: the space was reserved, but the last buffers never reached the medium
 * (power lost, card pulled). A tap sees it in passing.
 *
 * Rule (common practice, no source): the zeros reach to the end of the sound, are at least TP_TAIL_MIN_BYTES long,
 * begin within one frame (or TP_TAIL_BESIDE: in 16 bits single samples of a quiet room are zero) of a multiple of
 * TP_TAIL_BLOCK of the file, as only a medium does it, and not all the sound is zero. A microphone never gives exact
 * zeros; a silence made by a program begins at such a place by chance once in several hundred.
 */
#ifndef TP_READ_TAIL_H
#define TP_READ_TAIL_H

#include "read/stream.h"

#include <takeproof/result.h>

#define TP_TAIL_BLOCK 512 /* a sector: the unit a card writes and loses */
#define TP_TAIL_MIN_BYTES 4096
#define TP_TAIL_BESIDE 6 /* bytes */

/* Start as {0}; give tp_tail_tap() to tp_stream_open(), observe after tp_riff_walk_rest(). Chunks may follow the sound
 * and hold zeros themselves, so the latest runs are remembered. */
#define TP_TAIL_RUNS 8
struct tp_tail {
    uint64_t position;
    uint64_t nonzero_end; /* end of the last byte that is not zero, anywhere */
    struct tp_tail_run {
        uint64_t start, end;
    } runs[TP_TAIL_RUNS]; /* the latest of at least TP_TAIL_MIN_BYTES zeros that something followed; a ring */
    size_t run_count;
};

struct tp_tap tp_tail_tap(struct tp_tail *tail);
/* Adds a `truncated` observation to `file` when its sound ends in such a run. False when memory is short. */
bool tp_tail_observe(const struct tp_tail *tail, struct tp_file *file);
/* First byte of such a run, counted in the file; the end of the sound when there is none. */
uint64_t tp_tail_start(const struct tp_tail *tail, const struct tp_file *file);

#endif
