/* SPDX-License-Identifier: MIT */
/*
 * One excerpt of channel b laid over the same excerpt of channel a at a lag, and the sums over what may be compared:
 * the loops of pairing that touch every sample. Left out are samples that say nothing about the gain (at full scale, on
 * a plateau at the excerpt's own top, in a stretch of exact zeros inside sound) and 20 frames around them, on either
 * channel. The order of every sum is fixed (see base/vector.h). Not thread-safe per overlay.
 */
#ifndef TP_TAKE_PAIR_OVERLAY_H
#define TP_TAKE_PAIR_OVERLAY_H

#include "take/pair_lag.h"

#include <stddef.h>
#include <stdint.h>

#define TP_OVERLAY_SEGMENTS 8 /* of an excerpt, equally long */

/* Sums over the compared samples of one segment, means of the whole excerpt removed. */
struct tp_overlay_segment {
    double aa, ab, bb, count;
};

struct tp_overlay;

struct tp_overlay *tp_overlay_new(size_t frames); /* of an excerpt: a multiple of 256; NULL when memory is short */
void tp_overlay_free(struct tp_overlay *overlay); /* NULL is fine */

/* Lays b[i + lag] over a[i]; |lag| + TP_LAG_TAPS < frames. The following calls are about what was laid last. */
void tp_overlay_lay(struct tp_overlay *overlay, const float *a, const float *b, int64_t lag);
/* Cross-correlation for lags around the laid one: r[TP_LAG_TAPS + k] belongs to lag + k. Beside a shout left out a
 * shift brings in louder samples, so r alone would lean that way: energy_a is that of a over the same samples, shifted
 * alike. */
void tp_overlay_correlate(struct tp_overlay *overlay, double r[TP_LAG_SHIFTS], double energy_a[TP_LAG_SHIFTS]);
/* The segments' sums. With `taps` (weights at -TP_LAG_TAPS … TP_LAG_TAPS) a lies between frames. */
void tp_overlay_sum(struct tp_overlay *overlay, const double *taps,
                    struct tp_overlay_segment segments[TP_OVERLAY_SEGMENTS]);
/* Sums over all, of the second differences: they take out hum. */
struct tp_overlay_segment tp_overlay_sum_curvature(struct tp_overlay *overlay);

#endif
