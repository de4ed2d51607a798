/* SPDX-License-Identifier: MIT */
#include "measure/true_peak.h"

#include "measure/kernels.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#define TAPS TP_TRUE_PEAK_TAPS
#define CELL TP_CELL_FRAMES
/* Sample i and the points after it need samples i - BEFORE … i + AFTER. */
#define BEFORE (TAPS / 2 - 1)
#define AFTER (TAPS / 2)
/* Intervals computed for a cell: its own, those on each side for the parabola at the edges, and some to make whole
 * vectors. */
#define SIDE 2
#define COMPUTED (CELL + 8)
/* Pairs of taps in the middle, which are looked at first. */
#define NEAR 12
_Static_assert(SIDE + BEFORE <= CELL && COMPUTED - SIDE + AFTER <= 2 * CELL, "the cells beside are enough");

/* Modified Bessel function of the first kind, order 0. */
static double bessel_i0(double x)
{
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 40; k++) {
        term *= x / (2.0 * k) * (x / (2.0 * k));
        double before = sum;
        sum += term;
        if (sum == before && 2.0 * k > x) /* nor will any other, they are smaller still */
            break;
    }
    return sum;
}

/* Windowed sinc that gives the value `fraction` of a sample after the sample under tap BEFORE. */
static void design_phase(double taps[TAPS], double fraction)
{
    const double pi = 3.14159265358979323846, beta = 5.2, top = bessel_i0(beta);
    double sum = 0.0;
    for (int k = 0; k < TAPS; k++) {
        double t = k - BEFORE - fraction;
        double edge = t / (TAPS / 2.0);
        double window = fabs(edge) < 1.0 ? bessel_i0(beta * sqrt(1.0 - edge * edge)) / top : 0.0;
        taps[k] = fabs(t) < 1e-12 ? 1.0 : sin(pi * t) / (pi * t) * window;
        sum += taps[k];
    }
    for (int k = 0; k < TAPS; k++)
        taps[k] /= sum;
}

/* Tap k (0 … TAPS) of the grid's point `point` after the sample under tap BEFORE; its points repeat one sample later.
 */
static double tap_of(double taps[][TAPS], int points, int point, int k)
{
    if (point < 0)
        return k + 1 < TAPS ? taps[point + points][k + 1] : 0.0;
    if (point >= points)
        return k > 0 ? taps[point - points][k - 1] : 0.0;
    return k >= 0 && k < TAPS ? taps[point][k] : 0.0;
}

/*
 * What the grid and the parabola can make of samples within -1 … 1. At a local extreme g of the grid, with neighbours l
 * and r, the parabola adds (r - l)^2 / (8 (2 g - l - r)), and |r - l| <= 2 g - l - r there, so at most (2 g - l - r) /
 * 8: both g and the second difference are sums of samples times taps, bounded by the sums of the |taps|.
 */
static double gain_bound(double taps[][TAPS], int points)
{
    double gain = 0.0;
    for (int point = 0; point < points; point++) {
        double direct = 0.0, bend = 0.0;
        for (int k = -1; k <= TAPS; k++) {
            double here = tap_of(taps, points, point, k);
            direct += fabs(here);
            bend += fabs(2.0 * here - tap_of(taps, points, point - 1, k) - tap_of(taps, points, point + 1, k));
        }
        gain = fmax(gain, direct + bend / 8.0);
    }
    return gain;
}

/* The sum of |what each difference of neighbouring samples counts for| in a sum of samples times `tap`, k from -1 to
 * TAPS: summation by parts, from the sample under tap BEFORE outwards. */
static double slopes_of(const double tap[TAPS + 2])
{
    double sum = 0.0, part = 0.0;
    for (int k = TAPS + 1; k > BEFORE + 1; k--)
        sum += fabs(part += tap[k]);
    part = 0.0;
    for (int k = 0; k < BEFORE + 1; k++)
        sum += fabs(part += tap[k]);
    return sum;
}

/*
 * The same for samples whose neighbours differ by 1 at most, above the sample that the interval begins with: the taps
 * sum up to 1, those of the second difference to 0. This is the tighter bound wherever the sound is smooth.
 */
static double slope_bound(double taps[][TAPS], int points)
{
    double gain = 0.0;
    for (int point = 0; point < points; point++) {
        double here[TAPS + 2], bend[TAPS + 2];
        for (int k = -1; k <= TAPS; k++) {
            here[k + 1] = tap_of(taps, points, point, k);
            bend[k + 1] = 2.0 * here[k + 1] - tap_of(taps, points, point - 1, k) - tap_of(taps, points, point + 1, k);
        }
        gain = fmax(gain, slopes_of(here) + slopes_of(bend) / 8.0);
    }
    return gain;
}

/* The sum of |taps| that are not NEAR. */
static double far_bound(double taps[][TAPS], int points)
{
    double most = 0.0;
    for (int point = 1; point < points; point++) {
        double sum = 0.0;
        for (int k = 0; k < TAPS / 2 - NEAR; k++)
            sum += fabs(taps[point][k]) + fabs(taps[point][TAPS - 1 - k]);
        most = fmax(most, sum);
    }
    return most;
}

void tp_true_peak_init(struct tp_true_peak *meter, uint32_t sample_rate_hz)
{
    double taps[4][TAPS] = {{0}};
    memset(meter, 0, sizeof *meter);
    meter->points = sample_rate_hz < 192000 ? 4 : 2;
    taps[0][BEFORE] = 1.0;
    for (uint32_t point = 1; point < meter->points; point++)
        design_phase(taps[point], (double)point / meter->points);
    for (int k = 0; k < TAPS / 2; k++) {
        int mirrored = TAPS - 1 - k;
        meter->pairs[k].even = (float)((taps[1][k] + taps[1][mirrored]) / 2.0);
        meter->pairs[k].odd = (float)((taps[1][k] - taps[1][mirrored]) / 2.0);
        meter->pairs[k].middle = (float)taps[meter->points / 2][k];
    }
    /* and room for rounding of the taps */
    meter->gain = (float)(gain_bound(taps, (int)meter->points) * 1.0001);
    meter->slope_gain = (float)(slope_bound(taps, (int)meter->points) * 1.0001);
    meter->far = (float)(far_bound(taps, (int)meter->points) * 1.0001);
}

/* The points of the intervals after samples, one row for each place in the interval. */
struct grid {
    float rows[4][COMPUTED];
};

/* Of the sums over TAPS products in single precision, against the largest sample: over 48 times 2^-24 times the sum of
 * |taps|. A bound by slopes alone would leave none of it in a steady offset. */
#define ROUNDING 1e-5f

#define TP_LANES_SOURCE "measure/true_peak_lanes.h"
#include "measure/lanes.h"

/* The parabola cannot beat a max that is this much above its middle point: it adds (here + |neighbour|) / 8 at most,
 * and a neighbour that is so much larger as to matter is beyond the parabola itself. */
#define PARABOLA_MAX 1.29f

static float point(const struct grid *grid, size_t points, size_t i)
{
    return grid->rows[i % points][i / points];
}

/* The largest |value| on the grid and, at its local extremes, of the parabola through three points. */
static float peak_of_grid(const struct grid *grid, size_t points, size_t first, size_t end, float max)
{
    for (size_t i = first * points; i < end * points; i++) {
        float here = fabsf(point(grid, points, i));
        if (here * PARABOLA_MAX <= max)
            continue;
        float sign = point(grid, points, i) < 0.0f ? -1.0f : 1.0f;
        float before = point(grid, points, i - 1) * sign, after = point(grid, points, i + 1) * sign;
        float peak = here;
        float bend = 2.0f * here - before - after;
        if (here >= before && here >= after && bend > 0.0f)
            peak += (after - before) * ((after - before) / (8.0f * bend)); /* a square might overflow */
        max = peak > max ? peak : max;
    }
    return max;
}

/* The intervals after cell[0 … count); the cells before and after must lie beside it. */
static void judge_cell(struct tp_true_peak *meter, const float *cell, size_t count)
{
    struct grid grid;
    float largest = 0.0f;
    memcpy(grid.rows[0], cell - SIDE, sizeof grid.rows[0]);
    if (meter->points == 4)
        TP_CHOSEN(interpolate_4)(cell - SIDE, meter->pairs, &grid);
    else
        TP_CHOSEN(interpolate_2)(cell - SIDE, meter->pairs, &grid);
    for (size_t row = 0; row < meter->points; row++)
        largest = fmaxf(largest, tp_kernel_largest(grid.rows[row] + SIDE, count));
    if (largest * PARABOLA_MAX > meter->max)
        meter->max = peak_of_grid(&grid, meter->points, SIDE, SIDE + count, meter->max);
}

/*
 * False only when the intervals after the samples of a whole cell cannot hold a new maximum; `peak`: of it and of the
 * cells on both sides. At a local extreme h of the grid, next to l and r, the parabola adds (h - the lower of l and r)
 * / 8 at most (see gain_bound(); of the two differences one alone is left then). So with all interpolated points within
 * -g … g and next to samples, or of one another too when there are four, it stays under g + (g + peak) / 8 or 1.25 g;
 * and next to a sample under peak + (peak + what the gain allows) / 8.
 */
static bool may_hold_more(const struct tp_true_peak *meter, const float *cell, float peak)
{
    float far = peak * (meter->far + ROUNDING), limit = (8.0f * meter->max - peak) / 9.0f;
    if (peak >= 1e30f || peak * (9.0f + meter->gain) >= 8.0f * meter->max * (1.0f - ROUNDING))
        return true;
    if (meter->points == 2)
        return TP_CHOSEN(passes_2)(cell, meter->pairs, far, limit * (1.0f - ROUNDING));
    limit = limit < meter->max * 0.8f ? limit : meter->max * 0.8f;
    return TP_CHOSEN(passes_4)(cell, meter->pairs, far, limit * (1.0f - ROUNDING));
}

/* The first and last sample have a neighbour on one side only: they count as they are. */
static void judge_edge(struct tp_true_peak *meter, float sample)
{
    meter->max = fabsf(sample) > meter->max ? fabsf(sample) : meter->max;
}

/* Sample `i`, which may lie outside, of `count` that are continued point-symmetrically about the first and the last. */
static float continued(const float *samples, ptrdiff_t i, ptrdiff_t count)
{
    float offset = 0.0f, sign = 1.0f;
    if (count == 1)
        return samples[0];
    while (i < 0 || i >= count) {
        ptrdiff_t pivot = i < 0 ? 0 : count - 1;
        offset += sign * 2.0f * samples[pivot];
        sign = -sign;
        i = 2 * pivot - i;
    }
    return offset + sign * samples[i];
}

/* What lies before the first cell. */
static void begin(struct tp_true_peak *meter, const float *cell)
{
    const float none[TP_CELLS_BEFORE] = {0};
    struct tp_cells cells;
    for (ptrdiff_t i = 1; i <= (ptrdiff_t)(2 * CELL); i++)
        meter->recent[(ptrdiff_t)(2 * CELL) - i] = continued(cell, -i, CELL);
    tp_cells_make(&cells, meter->recent, 2 * CELL, none);
    for (size_t c = 0; c < 2; c++) {
        meter->peak[c] = tp_peak_between(cells.low[c], cells.high[c]);
        meter->slope[c] = cells.slope[c];
    }
    judge_edge(meter, cell[0]);
}

/* Where cell `c` of `samples`, -1 being the one before, lies with those on both sides of it; `room`: for three. */
static const float *with_neighbours(const struct tp_true_peak *meter, const float *samples, ptrdiff_t c, float *room)
{
    if (c > 0)
        return samples + c * (ptrdiff_t)CELL;
    size_t known = c < 0 ? 2 : 1;
    memcpy(room, meter->recent + (2 - known) * CELL, known * CELL * sizeof *room);
    memcpy(room + known * CELL, samples, (3 - known) * CELL * sizeof *room);
    return room + CELL;
}

/* A whole cell; peak[0 … 2]: of the one before, of it, of the one after. */
static void try_cell(struct tp_true_peak *meter, const float *cell, const float peak[3])
{
    float most = peak[0] > peak[1] ? peak[0] : peak[1];
    if (may_hold_more(meter, cell, peak[2] > most ? peak[2] : most))
        judge_cell(meter, cell, CELL);
}

/* The last cell waits for the one after it. */
static void judge_cells(struct tp_true_peak *meter, const float *samples, const struct tp_cells *cells)
{
    float peak[TP_CELLS_MAX + 2], slope[TP_CELLS_MAX + 2], bound[TP_CELLS_MAX], room[3 * CELL];
    memcpy(peak, meter->peak, sizeof meter->peak);
    memcpy(slope, meter->slope, sizeof meter->slope);
    for (size_t c = 0; c < cells->count; c++) {
        peak[c + 2] = tp_peak_between(cells->low[c], cells->high[c]);
        slope[c + 2] = cells->slope[c];
    }
    TP_CHOSEN(bounds)(meter, peak, slope, cells->count, bound);
    for (size_t c = meter->cells == 0 ? 1 : 0; c < cells->count; c++)
        if (bound[c] > meter->max)
            try_cell(meter, with_neighbours(meter, samples, (ptrdiff_t)c - 1, room), peak + c);
}

void tp_true_peak_push_cells(struct tp_true_peak *meter, const float *samples, const struct tp_cells *cells)
{
    size_t count = cells->count;
    if (count == 0)
        return;
    if (meter->cells == 0)
        begin(meter, samples);
    float largest = fmaxf(tp_peak_between(cells->lowest, cells->highest), fmaxf(meter->peak[0], meter->peak[1]));
    if (largest * meter->gain > meter->max)
        judge_cells(meter, samples, cells);
    for (size_t back = count == 1 ? 1 : 2; back > 0; back--) {
        meter->peak[0] = meter->peak[1];
        meter->slope[0] = meter->slope[1];
        meter->peak[1] = tp_peak_between(cells->low[count - back], cells->high[count - back]);
        meter->slope[1] = cells->slope[count - back];
    }
    if (count == 1)
        memmove(meter->recent, meter->recent + CELL, CELL * sizeof *meter->recent);
    size_t kept = count == 1 ? 1 : 2;
    memcpy(meter->recent + (2 - kept) * CELL, samples + (count - kept) * CELL, kept * CELL * sizeof *meter->recent);
    meter->cells += count;
}

static void push_whole(struct tp_true_peak *meter, const float *samples, size_t frames)
{
    struct tp_cells cells;
    tp_cells_make(&cells, samples, frames, meter->recent + 2 * CELL - TP_CELLS_BEFORE);
    tp_true_peak_push_cells(meter, samples, &cells);
}

void tp_true_peak_push(struct tp_true_peak *meter, const float *samples, size_t frames)
{
    while (frames > 0) {
        size_t whole = frames / CELL * CELL, most = (size_t)TP_CELLS_MAX * CELL;
        size_t take = meter->fill > 0 || whole == 0 ? CELL - meter->fill : whole < most ? whole : most;
        take = take < frames ? take : frames;
        if (meter->fill == 0 && take % CELL == 0) {
            push_whole(meter, samples, take);
        } else {
            memcpy(meter->rest + meter->fill, samples, take * sizeof *samples);
            meter->fill += take;
            if (meter->fill == CELL) {
                push_whole(meter, meter->rest, CELL);
                meter->fill = 0;
            }
        }
        samples += take;
        frames -= take;
    }
}

double tp_true_peak_finish(struct tp_true_peak *meter)
{
    /* The last two cells if there are any, the rest of one, and what continues them: never more than two cells. */
    float sound[6 * CELL], *first = sound + 2 * CELL;
    ptrdiff_t known = meter->cells > 0 ? -(ptrdiff_t)CELL : 0, count = (ptrdiff_t)meter->fill - known;
    if (count == 0)
        return 0.0;
    memcpy(sound, meter->recent, sizeof meter->recent);
    memcpy(first, meter->rest, meter->fill * sizeof *first);
    for (ptrdiff_t i = 1; known == 0 && i <= (ptrdiff_t)CELL; i++)
        first[-i] = continued(meter->rest, -i, count);
    for (ptrdiff_t i = count; i < count + (ptrdiff_t)(2 * CELL); i++)
        first[known + i] = continued(first + known, i, count);
    judge_edge(meter, first[known]);
    judge_edge(meter, first[known + count - 1]);
    for (ptrdiff_t at = known; at < known + count - 1; at += (ptrdiff_t)CELL) {
        ptrdiff_t left = known + count - 1 - at;
        judge_cell(meter, first + at, left < (ptrdiff_t)CELL ? (size_t)left : CELL);
    }
    return (double)fminf(meter->max, FLT_MAX);
}
