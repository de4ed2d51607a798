/* SPDX-License-Identifier: MIT */
#include "measure/true_peak.h"

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
static void design_phase(float taps[TAPS], double fraction)
{
    const double pi = 3.14159265358979323846, beta = 5.2;
    double value[TAPS], sum = 0.0;
    for (int k = 0; k < TAPS; k++) {
        double t = k - BEFORE - fraction;
        double edge = t / (TAPS / 2.0);
        double window = fabs(edge) < 1.0 ? bessel_i0(beta * sqrt(1.0 - edge * edge)) / bessel_i0(beta) : 0.0;
        value[k] = fabs(t) < 1e-12 ? 1.0 : sin(pi * t) / (pi * t) * window;
        sum += value[k];
    }
    for (int k = 0; k < TAPS; k++)
        taps[k] = (float)(value[k] / sum);
}

void tp_true_peak_init(struct tp_true_peak *meter, uint32_t sample_rate_hz)
{
    memset(meter, 0, sizeof *meter);
    meter->phases = sample_rate_hz < 192000 ? 3 : 1;
    double gain = 1.0;
    for (uint32_t phase = 0; phase < meter->phases; phase++) {
        design_phase(meter->taps[phase], (phase + 1.0) / (meter->phases + 1.0));
        double sum = 0.0;
        for (int k = 0; k < TAPS; k++)
            sum += fabs((double)meter->taps[phase][k]);
        gain = fmax(gain, sum);
    }
    /* The parabola adds at most a quarter; the last factor is room for rounding. */
    meter->gain = (float)(gain * 1.25 * 1.00001);
}

static float largest(const float *samples, size_t count)
{
    float max = 0.0f;
    for (size_t i = 0; i < count; i++) {
        float magnitude = fabsf(samples[i]);
        max = magnitude > max ? magnitude : max;
    }
    return max;
}

/* grid[i * stride] = value after samples[i], for COMPUTED samples. */
static void interpolate(const float *samples, const float taps[TAPS], float *grid, size_t stride)
{
    for (size_t at = 0; at < COMPUTED; at += 16) {
        float sum[16] = {0};
        const float *from = samples + at - BEFORE;
        for (size_t k = 0; k < TAPS; k++)
            for (size_t i = 0; i < 16; i++)
                sum[i] += taps[k] * from[k + i];
        for (size_t i = 0; i < 16; i++)
            grid[(at + i) * stride] = sum[i];
    }
}

/* The largest |value| on the grid and, at its local extremes, of the parabola through three points. */
static float peak_of_grid(const float *grid, size_t first, size_t end, float max)
{
    for (size_t i = first; i < end; i++) {
        float here = fabsf(grid[i]);
        if (here * 1.29f <= max) /* the parabola cannot beat max: it adds (here + |neighbour|) / 8 at most */
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
    float bound = largest(samples - SIDE - BEFORE, COMPUTED + TAPS - 1) * meter->gain;
    if (bound <= meter->max)
        return;
    size_t stride = meter->phases + 1;
    float grid[COMPUTED * 4];
    for (size_t i = 0; i < COMPUTED; i++)
        grid[i * stride] = samples[(ptrdiff_t)i - SIDE];
    for (uint32_t phase = 0; phase < meter->phases; phase++)
        interpolate(samples - SIDE, meter->taps[phase], grid + phase + 1, stride);
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
