/* SPDX-License-Identifier: MIT */
/*
 * A summary of every 32 samples of one channel (a cell), made in one cheap pass, so that whoever looks for something
 * looks at single samples only where its cells are suspicious. Finite samples. Sums and differences of the very
 * largest floats may overflow; differences that are NaN then do not count.
 */
#ifndef TP_MEASURE_CELLS_H
#define TP_MEASURE_CELLS_H

#include <stddef.h>
#include <stdint.h>

#define TP_CELL_FRAMES 32u
#define TP_CELLS_MAX 128u  /* in one go */
#define TP_CELLS_BEFORE 4u /* samples before the first: the differences reach back over three of them */

struct tp_cells {
    size_t count;
    float lowest, highest;                       /* of all samples */
    double total, total_squares;                 /* of all samples: as exact as `sum` and `squares` are */
    float low[TP_CELLS_MAX], high[TP_CELLS_MAX]; /* smallest, largest sample */
    float slope[TP_CELLS_MAX];                   /* largest |x[n] - x[n-1]| */
    float edge[TP_CELLS_MAX];                    /* largest |third difference| */
    float sum[TP_CELLS_MAX];                     /* of the samples */
    float ramp[TP_CELLS_MAX];                    /* sum of sample times its 1-based place in the cell */
    float squares[TP_CELLS_MAX];                 /* sum of the squares of the samples */
    int32_t still[TP_CELLS_MAX]; /* bit 0, bit 1: the third difference is 0 all over the first, second half */
};

/* The third difference at x[0]; x[-3] must be readable. Everywhere in this order, so that equal is equal to the bit. */
static inline float tp_third_difference(const float *x)
{
    return ((x[0] - x[-1]) - (x[-1] - x[-2])) - ((x[-1] - x[-2]) - (x[-2] - x[-3]));
}
/* Largest |x| of what lies between two extremes. */
static inline float tp_peak_between(float low, float high)
{
    return high > -low ? high : -low;
}
/* `frames` <= TP_CELLS_MAX * TP_CELL_FRAMES; the last cell may be short. `before`: the TP_CELLS_BEFORE samples before
 * the first. */
void tp_cells_make(struct tp_cells *cells, const float *samples, size_t frames, const float before[TP_CELLS_BEFORE]);

#endif
