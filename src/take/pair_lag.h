/* SPDX-License-Identifier: MIT */
/*
 * Where two channels lie in time to each other: normalised cross-correlation through the FFT for one excerpt, and the
 * robust line through the lags of many. Lag = how much later b is than a, in frames. Not thread-safe per finder.
 */
#ifndef TP_TAKE_PAIR_LAG_H
#define TP_TAKE_PAIR_LAG_H

#include "take/plans.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Lags looked at on either side; an excerpt keeps at least 40 % of overlap there. */
#define TP_LAG_SEARCH_FRAMES 2450
/* Whole shifts on either side that interpolation uses, and how many that makes. */
#define TP_LAG_TAPS 16
#define TP_LAG_SHIFTS (2 * TP_LAG_TAPS + 1)

/* Sum and sum of squares, in a fixed order. */
void tp_lag_power(const float *samples, size_t frames, double *sum, double *squares);

struct tp_lag_finder;

/* `frames`: of an excerpt, even. `plans` outlive the finder; NULL = plans of its own. NULL when memory is short. */
struct tp_lag_finder *tp_lag_finder_new(size_t frames, struct tp_plans *plans);
void tp_lag_finder_free(struct tp_lag_finder *finder); /* NULL is fine */

/* The lag with the largest |correlation| (Pearson over the overlap, signed). False when either carries no signal. */
bool tp_lag_find(struct tp_lag_finder *finder, const float *a, const float *b, int64_t *lag, double *correlation);

/* What the search works on, and pair_screen.c. Lags looked at on either side, with 0: */
size_t tp_lag_reach(size_t frames);
/* Without DC, and scaled to its own RMS so that the float FFT keeps its precision at any level. less_start[lag] and
 * less_end[lag], reach of them: the energy left when so many frames are cut off the start or the end; infinite where
 * that is too little to compare. False, with nothing written there, when it carries no signal. */
bool tp_lag_normalise(const float *samples, size_t frames, float *out, size_t reach, double *less_start,
                      double *less_end);

/* One lag found at a time. */
struct tp_lag_point {
    double time_frames; /* middle of the excerpt */
    double lag;
    double weight; /* 0 = leave out */
};
/* lag = start + slope * time. */
struct tp_lag_line {
    double start, slope;
    double slope_error; /* standard error; infinite with fewer than three points */
    double span_frames; /* between the first and last point used */
    size_t used;
};
/* Theil-Sen line through the points (the median of slopes between all pairs), for lags among which some are plain
 * wrong. `points` are in time order. At most 128 points are used. */
struct tp_lag_line tp_lag_line_robust(struct tp_lag_finder *finder, const struct tp_lag_point *points, size_t count);
/* Weighted least squares through points within `tolerance` of `near`. */
struct tp_lag_line tp_lag_line_refine(const struct tp_lag_point *points, size_t count, struct tp_lag_line near,
                                      double tolerance);

/* Shift between -1.5 and 1.5 with the largest r / sqrt(energy), both known at whole shifts (TP_LAG_SHIFTS of them, 0 in
 * the middle) and band-limited. */
double tp_lag_peak_position(const struct tp_lag_finder *finder, const double *r, const double *energy);
/* Weights of what lies at whole shifts, for its value at shift `at` (-2 … 2): a windowed sinc. */
void tp_lag_taps(const struct tp_lag_finder *finder, double at, double taps[TP_LAG_SHIFTS]);

#endif
