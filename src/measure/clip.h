/* SPDX-License-Identifier: MIT */
/*
 * Clip runs of one channel: 3 or more consecutive samples at full scale, of either sign (|x| >= full scale; the
 * negative full scale is one code further out). For float: at or beyond 1.0.
 *
 * Float holds more than full scale, so there a run may be whole: a crest that was never cut off. A run is cut off when
 * 3 samples in a row are equal, or when its top is 5 % beyond 1.0 or more, and 4 samples or more, and five eighths of
 * the run, lie within 0.3 % of the top. (A round crest that high has about a quarter there: the square root of 0.3 %
 * over 5 %.) Nor is it whole from 60 dB beyond full scale on: no sound comes there, but bytes taken for float do.
 * Common practice made exact, no source.
 *
 * How many bits are in use may turn out only at the end (16 bits padded into 24 have their positive full scale at
 * 32767/32768). So runs are followed at once for each depth that the samples so far allow; depths are dropped as soon
 * as a sample uses more bits. Memory: bounded; nothing is allocated before a run is found.
 */
#ifndef TP_MEASURE_CLIP_H
#define TP_MEASURE_CLIP_H

#include "measure/cells.h"
#include "measure/runs.h"

#define TP_CLIP_BITS_MIN 8
#define TP_CLIP_BITS_MAX 32
#define TP_CLIP_DEPTHS (TP_CLIP_BITS_MAX - TP_CLIP_BITS_MIN + 1)
#define TP_CLIP_RUN_MIN 3

struct tp_clip_depth {
    float threshold;
    uint64_t run_start, run_frames;
    float run_peak;
    float last;                          /* magnitude of the latest sample of the run */
    uint64_t equal, longest_equal, near; /* of the run: samples in a row that are equal; samples near its top */
    struct tp_run_list list;
};

struct tp_clip_meter {
    uint64_t guard_frames, frames;
    uint64_t whole_runs; /* float only */
    bool is_float;
    size_t first, count;                         /* depths still possible */
    struct tp_clip_depth depths[TP_CLIP_DEPTHS]; /* by rising threshold */
};

/* `full_scale_lin`: 1 - 2^(1 - bits), or 1.0 for float (a single depth). */
void tp_clip_init(struct tp_clip_meter *meter, double full_scale_lin, uint64_t guard_frames);
void tp_clip_clear(struct tp_clip_meter *meter);
/* `cells`: of these samples; only the very last cell may be short. */
void tp_clip_push(struct tp_clip_meter *meter, const float *samples, size_t frames, const struct tp_cells *cells);
/* Ends a run that reaches the end, and gives the list for the full scale of the bits in use. It stays the meter's. */
struct tp_run_list *tp_clip_finish(struct tp_clip_meter *meter, double full_scale_lin);

#endif
