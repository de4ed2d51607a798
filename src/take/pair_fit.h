/* SPDX-License-Identifier: MIT */
/*
 * Whether two channels are one microphone through two gains, and the gain: least squares of b on a over aligned
 * excerpts, in segments of about 10 ms, clipped samples and what surrounds them left out.
 *
 * Test: in a pair, all of b that is not gain times a is noise. A segment is explained when what is left lies 36 dB
 * under the signal or at the noise of either channel (its noise floor, but never taken as higher than -67 dBFS: nobody
 * records with such a safety, and room tone must not excuse a second microphone). Nearly all segments that stand out of
 * the noise must be explained, on either channel, and the gain must be one and the same in most of them. Or, for a
 * limiter or automatic gain on one of the two: nearly all roughly explained (17 dB), two in five fully, and the gain
 * goes with the level. The figures are our own choice (no source).
 */
#ifndef TP_TAKE_PAIR_FIT_H
#define TP_TAKE_PAIR_FIT_H

#include "take/evidence.h"
#include "take/pair_lag.h"

#include <takeproof/result.h>

struct tp_fit {
    bool is_pair;
    bool copy;        /* bit for bit the same in every excerpt */
    double gain;      /* b = gain x a; negative: inverted */
    double offset_db; /* 20 log10 |gain|: weighted median over excerpts */
    double offset_spread_db;
    double offset_range_db;
    double lag;          /* of b, at the start of the group */
    double drift;        /* frames a frame; NaN when too short to tell */
    double correlation;  /* 0 … 1 after matching */
    double explained;    /* share of segments, 0 … 1 */
    double roughly;      /* share explained but for what a moving gain leaves */
    double level_order;  /* how the offset goes with the level, -1 … 1; 0 when it does not change */
    size_t steps, jumps; /* of the gain between neighbouring segments: seen, and large ones */
    size_t segments;     /* that stand out of the noise */
    size_t left_out;     /* excerpts */
};

struct tp_fitter;

/* NULL when memory is short. `evidence` and `plans` must outlive it; without plans (NULL) it makes its own. */
struct tp_fitter *tp_fitter_new(const struct tp_evidence *evidence, struct tp_plans *plans);
void tp_fitter_free(struct tp_fitter *fitter); /* NULL is fine */

/* Sum of squares of all excerpts. */
double tp_fitter_energy(const struct tp_fitter *fitter, uint32_t channel);
/* Quick look at a few excerpts of all pairs of wanted channels: related[a x channels + b], a < b, false at first,
 * becomes true unless the two certainly have nothing in common. False when memory is short. */
bool tp_fitter_screen(struct tp_fitter *fitter, const bool *wanted, bool *related);
/* Excerpts in these stretches of either channel say nothing about the next fits: what is dead is no microphone. NULL:
 * none. They must outlive the fits. */
void tp_fitter_leave_out(struct tp_fitter *fitter, const struct tp_spans *one, const struct tp_spans *other);
/* Fits b on a. Noise floors as in tp_channel.noise_floor_dbfs (NaN = unknown). */
struct tp_fit tp_fitter_fit(struct tp_fitter *fitter, uint32_t a, uint32_t b, double floor_a_dbfs, double floor_b_dbfs);

#endif
