/* SPDX-License-Identifier: MIT */
#include "measure/true_peak.h"

#include "base/vector.h"
#include "measure/kernels.h"

#include <math.h>
#include <string.h>

#define TAPS TP_TRUE_PEAK_TAPS
#define HISTORY TP_TRUE_PEAK_HISTORY
#define CHUNK TP_TRUE_PEAK_CHUNK
/* Sample i and the phases after it need samples i - BEFORE … i + AFTER. */
#define BEFORE (TAPS / 2 - 1)
#define AFTER (TAPS / 2)
/* Intervals judged at a time, and the two more on each side that are computed for the parabola at the edges. */
#define GROUP 60
#define SIDE 2
#define COMPUTED (GROUP + 2 * SIDE)
/* How far an interval lies behind the newest sample, so that its group can be computed. */
#define LAG 28
_Static_assert(LAG >= AFTER + SIDE && HISTORY - LAG - GROUP - SIDE >= BEFORE,
               "a group must reach into known samples only");
_Static_assert(CHUNK % GROUP == 0, "groups tile the chunk");

/* Modified Bessel function of the first kind, order 0. */
static double bessel_i0(double x)
{
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 40; k++) {
        term *= x / (2.0 * k) * (x / (2.0 * k));
        sum += term;
    }
    return sum;
}

/* Windowed sinc that gives the value `fraction` of a sample after the sample under tap BEFORE. */
static void design_phase(double taps[TAPS], double fraction)
{
    const double pi = 3.14159265358979323846, beta = 5.2;
    double sum = 0.0;
    for (int k = 0; k < TAPS; k++) {
        double t = k - BEFORE - fraction;
        double edge = t / (TAPS / 2.0);
        double window = fabs(edge) < 1.0 ? bessel_i0(beta * sqrt(1.0 - edge * edge)) / bessel_i0(beta) : 0.0;
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
    /* and room for rounding */
    meter->gain = (float)(gain_bound(taps, (int)meter->points) * 1.0001);
}

/*
 * Values 1/4, 2/4 and 3/4 of the way after each of samples[0 … COMPUTED), into grid[i * 4 + 1 … 3]. The taps of 3/4 are
 * those of 1/4 reversed and those of 2/4 are symmetric, so taps k and TAPS - 1 - k go together: sums and differences of
 * two samples are shared by the three phases.
 */
TP_CLONES static void interpolate_4(const float *samples, const struct tp_true_peak_pair *pairs, float *grid)
{
    for (size_t at = 0; at < COMPUTED; at += 8) {
        tp_v8f even = {0}, odd = {0}, middle = {0};
        const float *left = samples + at - BEFORE, *right = left + TAPS - 1;
        for (size_t k = 0; k < TAPS / 2; k++) {
            tp_v8f a, b;
            TP_LOAD8(a, left + k);
            TP_LOAD8(b, right - k);
            tp_v8f sum = a + b, difference = a - b;
            even += sum * pairs[k].even;
            odd += difference * pairs[k].odd;
            middle += sum * pairs[k].middle;
        }
        tp_v8f first = even + odd, last = even - odd;
        for (size_t i = 0; i < 8; i++) {
            grid[(at + i) * 4 + 1] = first[i];
            grid[(at + i) * 4 + 2] = middle[i];
            grid[(at + i) * 4 + 3] = last[i];
        }
    }
}

/* Values 1/2 of the way, into grid[i * 2 + 1]. */
TP_CLONES static void interpolate_2(const float *samples, const struct tp_true_peak_pair *pairs, float *grid)
{
    for (size_t at = 0; at < COMPUTED; at += 8) {
        tp_v8f middle = {0};
        const float *left = samples + at - BEFORE, *right = left + TAPS - 1;
        for (size_t k = 0; k < TAPS / 2; k++) {
            tp_v8f a, b;
            TP_LOAD8(a, left + k);
            TP_LOAD8(b, right - k);
            middle += (a + b) * pairs[k].middle;
        }
        for (size_t i = 0; i < 8; i++)
            grid[(at + i) * 2 + 1] = middle[i];
    }
}

/* The parabola cannot beat a max that is this much above its middle point: it adds (here + |neighbour|) / 8 at most,
 * and a neighbour that is so much larger as to matter is beyond the parabola itself. */
#define PARABOLA_MAX 1.29f

/* The largest |value| on the grid and, at its local extremes, of the parabola through three points. */
static float peak_of_grid(const float *grid, size_t first, size_t end, float max)
{
    for (size_t i = first; i < end; i++) {
        float here = fabsf(grid[i]);
        if (here * PARABOLA_MAX <= max)
            continue;
        float sign = grid[i] < 0.0f ? -1.0f : 1.0f;
        float before = grid[i - 1] * sign, after = grid[i + 1] * sign;
        float peak = here;
        float bend = 2.0f * here - before - after;
        if (here >= before && here >= after && bend > 0.0f)
            peak += (after - before) * (after - before) / (8.0f * bend);
        max = peak > max ? peak : max;
    }
    return max;
}

/* The intervals after samples[first … end) out of samples[0 … GROUP). */
static void judge_group(struct tp_true_peak *meter, const float *samples, size_t first, size_t end)
{
    float bound = tp_kernel_largest(samples - SIDE - BEFORE, COMPUTED + TAPS - 1) * meter->gain;
    if (bound <= meter->max)
        return;
    size_t stride = meter->points;
    float grid[COMPUTED * 4];
    for (size_t i = 0; i < COMPUTED; i++)
        grid[i * stride] = samples[(ptrdiff_t)i - SIDE];
    if (stride == 4)
        interpolate_4(samples - SIDE, meter->pairs, grid);
    else
        interpolate_2(samples - SIDE, meter->pairs, grid);
    const float *points = grid + (SIDE + first) * stride;
    if (tp_kernel_largest(points, (end - first) * stride) * PARABOLA_MAX > meter->max)
        meter->max = peak_of_grid(grid, (SIDE + first) * stride, (SIDE + end) * stride, meter->max);
}

/* Groups of the intervals after first[0 … count), of which the first `skip` lie before the sound. The last group is
 * moved back where it would reach too far: intervals judged twice change nothing. */
static void judge(struct tp_true_peak *meter, const float *first, size_t count, size_t skip)
{
    for (size_t at = 0; at < count; at += GROUP) {
        size_t begin = skip > at ? skip - at : 0;
        size_t end = count - at < GROUP ? count - at : GROUP;
        size_t back = GROUP - end;
        if (begin < end)
            judge_group(meter, first + at - back, begin + back, GROUP);
    }
}

/* The first and last sample have a neighbour on one side only: they count as they are. */
static void judge_edge(struct tp_true_peak *meter, float sample)
{
    meter->max = fabsf(sample) > meter->max ? fabsf(sample) : meter->max;
}

static void judge_chunk(struct tp_true_peak *meter)
{
    judge(meter, meter->work + HISTORY - LAG, CHUNK, meter->chunks == 0 ? LAG : 0);
    memmove(meter->work, meter->work + CHUNK, HISTORY * sizeof *meter->work);
    meter->chunks++;
    meter->fill = 0;
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

static void continue_start(struct tp_true_peak *meter, size_t count)
{
    float *sound = meter->work + HISTORY;
    for (ptrdiff_t i = 1; i <= HISTORY; i++)
        sound[-i] = continued(sound, -i, (ptrdiff_t)count);
    judge_edge(meter, sound[0]);
}

void tp_true_peak_push(struct tp_true_peak *meter, const float *samples, size_t frames)
{
    while (frames > 0) {
        size_t take = CHUNK - meter->fill < frames ? CHUNK - meter->fill : frames;
        memcpy(meter->work + HISTORY + meter->fill, samples, take * sizeof *samples);
        meter->fill += take;
        samples += take;
        frames -= take;
        if (meter->fill == CHUNK) {
            if (meter->chunks == 0)
                continue_start(meter, CHUNK);
            judge_chunk(meter);
        }
    }
}

double tp_true_peak_finish(struct tp_true_peak *meter)
{
    float *sound = meter->work + HISTORY;
    ptrdiff_t count = (ptrdiff_t)meter->fill;
    /* The sound in hand: all of it, or what is left and the HISTORY before. */
    ptrdiff_t begin = meter->chunks == 0 ? 0 : -HISTORY;
    if (count == begin)
        return 0.0;
    if (meter->chunks == 0)
        continue_start(meter, meter->fill);
    for (ptrdiff_t i = count; i < count + LAG; i++)
        sound[i] = continued(sound + begin, i - begin, count - begin);
    judge_edge(meter, sound[count - 1]);
    judge(meter, sound - LAG, (size_t)(count - 1 + LAG), meter->chunks == 0 ? LAG : 0);
    return (double)meter->max;
}
