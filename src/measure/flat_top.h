/* SPDX-License-Identifier: MIT */
/*
 * Flat tops below full scale: what an overloaded preamp or a clipping limiter leaves when the level behind it was
 * lower. Common practice made exact; no standard defines it. For each polarity apart:
 *
 * - An excursion is a stretch of samples above 70 % of the largest so far. Its plateau is its longest stretch of
 *   samples that lie within 0.3 % of one another, at least 0.1 ms and 4 samples, at 75 % of the largest or above.
 *
 * - The plateau counts when the width of the top at 4.8 % under it is less than 1.6 times its own. A rounded top
 *   fails: the widths of a sine's crest differ 4 times (by the square root of 16), those of a fourth-power crest 2.
 *
 * - The ceiling is the level at which most plateaus lie, within 0.25 to 0.5 %. The polarity is flat-topped when at
 *   least TP_FLAT_TOPS_MIN plateaus lie there, at least half of all plateaus, and at least a quarter of the
 *   excursions that come as far (from TP_FLAT_TOPS_MANY plateaus on a sixteenth: hard-driven sibilants reach it in
 *   single samples); and when no sample is beyond 1.35 times the ceiling. (Beyond it at all: a converter's low-pass
 *   lets the edges of a clipped sibilant overshoot, by 27 % for the fundamental of a square wave and some more.)
 *
 * So tones, noise, a limiter that rides the gain, and a voice with broad crests of differing height are left alone.
 *
 * Not looked at: ceilings below -40 dBFS or under 200 quantisation steps (low-level tones are staircases), ceilings
 * at full scale (those are clip runs), and excursions longer than TP_FLAT_TOP_LONGEST samples.
 *
 * A steady square wave is flat-topped by this definition; an overload that a low cut behind it has tilted is not
 * found. Found from an overload of 1 dB on in most voices, of 2 dB in all (tests/conformance/test_level_alarms.c).
 *
 * Memory: 120 KB, and the bounded lists.
 */
#ifndef TP_MEASURE_FLAT_TOP_H
#define TP_MEASURE_FLAT_TOP_H

#include "measure/cells.h"
#include "measure/runs.h"

#define TP_FLAT_TOP_LONGEST 8192
#define TP_FLAT_TOPS_MIN 3
#define TP_FLAT_TOPS_MANY 20
#define TP_FLAT_TOP_BINS 3500 /* of 0.01 to 0.02 dB, 0 to -41 dBFS */
#define TP_FLAT_TOP_LISTED 4096

struct tp_flat_top {
    uint64_t start_frame;
    uint32_t frames;
    float level;
};

struct tp_flat_top_side {
    float sign;
    float peak;                                                    /* largest sample * sign so far */
    uint32_t plateaus[TP_FLAT_TOP_BINS], visits[TP_FLAT_TOP_BINS]; /* by level; excursions by their largest sample */
    struct tp_flat_top *items; /* the first TP_FLAT_TOP_LISTED plateaus; far ones make room */
    size_t count, capacity;
    uint64_t start;
    size_t length; /* of the excursion in hand; may exceed what is kept */
    float excursion[TP_FLAT_TOP_LONGEST];
};

struct tp_flat_top_meter {
    uint64_t guard_frames, frames;
    size_t shortest; /* plateau */
    bool failed;     /* memory was short */
    struct tp_flat_top_side side[2];
};

void tp_flat_top_init(struct tp_flat_top_meter *meter, uint32_t sample_rate_hz, uint64_t guard_frames);
void tp_flat_top_clear(struct tp_flat_top_meter *meter);
/* `cells`: of these samples; only the very last cell may be short. */
void tp_flat_top_push(struct tp_flat_top_meter *meter, const float *samples, size_t frames,
                      const struct tp_cells *cells);
/* Adds the plateaus of the flat-topped polarities to `list` (zeroed by the caller). Past TP_FLAT_TOP_LISTED plateaus
 * the count goes on, but places and samples are those of the listed. `full_scale_lin` as in clip.h. */
void tp_flat_top_finish(struct tp_flat_top_meter *meter, double full_scale_lin, struct tp_run_list *list);

#endif
