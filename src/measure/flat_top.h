/* SPDX-License-Identifier: MIT */
/*
 * Flat tops below full scale: what an overloaded preamp or limiter leaves when the recording level behind it was lower.
 * Common practice made exact; no standard defines it.
 *
 * For each polarity apart: an excursion is a stretch of samples above 95 % of the largest sample so far. It is a flat
 * top when at least 3 samples lie within 0.25 % of its own largest, and the width at 4 % below is less than 1.6 times
 * the width at 0.25 % below. A rounded top fails that: the widths of a sine's crest differ 4 times (by the square root
 * of 16), those of a fourth-power crest 2 times. At the end the polarity is flat-topped when at least TP_FLAT_TOPS_MIN
 * flat tops lie within 1 % of its largest sample (the ceiling), and make up at least half of all excursions that come
 * as near. So a tone, a limiter that touches its ceiling with single samples, and a voice whose crests differ are not.
 * Not looked at: ceilings below -40 dBFS or under 200 quantisation steps (low-level tones are staircases), ceilings at
 * full scale (those are clip runs), and excursions longer than TP_FLAT_TOP_LONGEST samples. A steady square wave is
 * flat-topped by this definition. Memory: 64 KB, and the bounded lists.
 */
#ifndef TP_MEASURE_FLAT_TOP_H
#define TP_MEASURE_FLAT_TOP_H

#include "measure/runs.h"

#define TP_FLAT_TOP_LONGEST 8192
#define TP_FLAT_TOPS_MIN 3

struct tp_flat_top_side {
    float sign;
    float peak;      /* largest sample * sign so far */
    float anchor;    /* what the lists below were begun at: within 1 % of peak */
    uint64_t visits; /* excursions within 1 % of the ceiling, flat or not */
    struct tp_run_list list;
    uint64_t start;
    size_t length; /* of the excursion in hand; may exceed what is kept */
    float excursion[TP_FLAT_TOP_LONGEST];
};

struct tp_flat_top_meter {
    uint64_t guard_frames, frames;
    struct tp_flat_top_side side[2];
};

void tp_flat_top_init(struct tp_flat_top_meter *meter, uint64_t guard_frames);
void tp_flat_top_clear(struct tp_flat_top_meter *meter);
/* min and max: of each block of samples, from tp_extremes(). */
void tp_flat_top_push(struct tp_flat_top_meter *meter, const float *samples, size_t frames, const float *min,
                      const float *max);
/* The accepted lists: side[0] and side[1] point at the meter's own, or are NULL. `full_scale_lin` as in clip.h. */
void tp_flat_top_finish(struct tp_flat_top_meter *meter, double full_scale_lin, struct tp_run_list *side[2]);

#endif
