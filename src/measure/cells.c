/* SPDX-License-Identifier: MIT */
#include "measure/cells.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#define CELL TP_CELL_FRAMES
#define BEFORE TP_CELLS_BEFORE
#define GROUP 16u /* cells, a multiple of any TP_LANES */

static const float places[CELL] = {1,  2,  3,  4,  5,  6,  7,  8,  9,  10, 11, 12, 13, 14, 15, 16,
                                   17, 18, 19, 20, 21, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31, 32};

#define TP_LANES_SIXTEEN
#define TP_LANES_SOURCE "measure/cells_lanes.h"
#include "measure/lanes.h"

/* One cell, which may be short. */
static void make_one(struct tp_cells *cells, size_t cell, const float *samples, size_t frames)
{
    float low = samples[0], high = samples[0], slope = 0.0F, halves[2] = {0}, sum = 0.0F, ramp = 0.0F, squares = 0.0F;
    for (size_t i = 0; i < frames; i++) {
        float x = samples[i], first = fabsf(x - samples[(ptrdiff_t)i - 1]),
              third = fabsf(tp_third_difference(samples + i)), *edge = &halves[i / (CELL / 2)];
        low = x < low ? x : low;
        high = x > high ? x : high;
        slope = first > slope ? first : slope;
        *edge = third > *edge ? third : *edge;
        sum += x;
        ramp += x * (float)(i + 1);
        squares += x * x;
    }
    cells->low[cell] = low, cells->high[cell] = high, cells->slope[cell] = slope;
    cells->edge[cell] = halves[0] > halves[1] ? halves[0] : halves[1];
    cells->sum[cell] = sum, cells->ramp[cell] = ramp, cells->squares[cell] = squares;
    cells->still[cell] = ((halves[0] == 0.0F ? 1 : 0) | (halves[1] == 0.0F ? 2 : 0));
}

/* Could a third difference, or its sums, be beyond what a float can hold? */
static bool may_overflow(const struct tp_cells *cells, const float before[BEFORE])
{
    float most = tp_peak_between(cells->lowest, cells->highest);
    for (size_t i = 0; i < BEFORE; i++)
        most = fabsf(before[i]) > most ? fabsf(before[i]) : most;
    return most > FLT_MAX / 8.0F;
}

/* The cells, in groups as long as `step_max` allows them. */
static void make(struct tp_cells *cells, const float *samples, size_t frames, const float before[BEFORE],
                 size_t step_max)
{
    /* The first cells' differences reach back into what the caller has elsewhere. */
    float head[BEFORE + GROUP * CELL] = {0};
    size_t copied = frames < GROUP * CELL ? frames : GROUP * CELL;
    memcpy(head, before, BEFORE * sizeof *head);
    memcpy(head + TP_CELLS_BEFORE, samples, copied * sizeof *head);
    cells->count = 0;
    for (size_t at = 0; at < frames;) {
        const float *from = at < copied ? head + BEFORE + at : samples + at;
        size_t left = frames - at, step = left >= step_max ? step_max : left < CELL ? left : CELL;
        if (step == GROUP * CELL)
            TP_CHOSEN(make_group)(cells, cells->count, from);
        else
            make_one(cells, cells->count, from, step);
        cells->count += (step + CELL - 1) / CELL;
        at += step;
    }
}

void tp_cells_make(struct tp_cells *cells, const float *samples, size_t frames, const float before[TP_CELLS_BEFORE])
{
    make(cells, samples, frames, before, GROUP * CELL);
    cells->lowest = cells->highest = 0.0F;
    if (frames > 0)
        TP_CHOSEN(find_extremes)(cells);
    if (may_overflow(cells, before))
        make(cells, samples, frames, before, CELL);
    cells->total = cells->total_squares = 0.0;
    for (size_t c = TP_CHOSEN(sum_up)(cells); c < cells->count; c++) {
        cells->total += (double)cells->sum[c];
        cells->total_squares += (double)cells->squares[c];
    }
}
