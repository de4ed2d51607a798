/* SPDX-License-Identifier: MIT */
/*
 * True peak of one channel, ITU-R BS.1770-5 Annex 2 in spirit: over-sampled 4 times below 192 kHz and 2 times from
 * there on with a 48-tap-a-phase Kaiser-windowed sinc (beta 5.2: flat within 0.02 dB to 0.45 of the rate, where the
 * Annex's own table reads up to 2 dB low), the peak between three points of that grid by the parabola through them.
 * Every input sample is on the grid: never below the sample peak.
 *
 * Edges: the sound is continued point-symmetrically about its first and its last sample (x[-k] = 2 x[0] - x[k]), which
 * keeps value and slope, and the figure is the largest |value| between the first and the last sample. Silence there
 * instead would add a peak that the recording does not have (a file that begins mid-sound reads up to 1 dB over);
 * stopping short would lose the last one.
 *
 * Only cells that can hold a new maximum are over-sampled: |interpolated| <= (sum of |taps|) * (largest |sample| in
 * reach), and also <= |sample before| + (sum of |sums of taps|) * (largest |difference of neighbours| in reach); what
 * the parabola adds is bounded likewise. Of these cells, in loud noise, most are passed over by the 24 taps in the
 * middle: the others add at most the sum of their |taps| times the largest |sample| in reach. The figure is exactly
 * that of over-sampling everything, and does not depend on the block size. Memory: 1 KB.
 */
#ifndef TP_MEASURE_TRUE_PEAK_H
#define TP_MEASURE_TRUE_PEAK_H

#include "measure/cells.h"

#define TP_TRUE_PEAK_TAPS 48

/* Taps k and TAPS - 1 - k: half their sum and half their difference at 1/4 of the way (their sum at 3/4 is the same,
 * their difference the negative), and the one at 1/2. */
struct tp_true_peak_pair {
    float even, odd, middle;
};

struct tp_true_peak {
    uint32_t points; /* of the grid a sample: 4 or 2 */
    struct tp_true_peak_pair pairs[TP_TRUE_PEAK_TAPS / 2];
    float gain;       /* bound of |parabola over grid| / |samples in reach| */
    float slope_gain; /* bound of (|parabola over grid| - |sample before|) / |differences of neighbours in reach| */
    float far;        /* bound of |what the taps away from the middle make| / |samples in reach| */
    float max;
    uint64_t cells;                   /* taken so far */
    float recent[2 * TP_CELL_FRAMES]; /* the last two; the last of them is not judged yet */
    float peak[2], slope[2];          /* of these two */
    float rest[TP_CELL_FRAMES];       /* of a cell in hand */
    size_t fill;
};

void tp_true_peak_init(struct tp_true_peak *meter, uint32_t sample_rate_hz);
void tp_true_peak_push(struct tp_true_peak *meter, const float *samples, size_t frames);
/* The same for whole cells by who has made them already; not after a push that left a part of a cell. */
void tp_true_peak_push_cells(struct tp_true_peak *meter, const float *samples, const struct tp_cells *cells);
/* Linear and finite, 0 for silence or nothing. Call once, at the end. */
double tp_true_peak_finish(struct tp_true_peak *meter);

#endif
