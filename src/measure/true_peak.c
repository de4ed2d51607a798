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
_Static_assert(LAG >= AFTER + SIDE && HISTORY - LAG - GROUP - SIDE >= BEFORE, "a group must reach into known samples only");
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

/* The intervals after samples[0 … GROUP). */
static void judge_group(struct tp_true_peak *meter, const float *samples)
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
    meter->max = peak_of_grid(grid, SIDE * stride, (SIDE + GROUP) * stride, meter->max);
}

static void judge_chunk(struct tp_true_peak *meter)
{
    float *first = meter->work + HISTORY - LAG;
    for (size_t at = 0; at < CHUNK; at += GROUP)
        judge_group(meter, first + at);
    memmove(meter->work, meter->work + CHUNK, HISTORY * sizeof *meter->work);
    meter->chunks++;
    meter->fill = 0;
}

/* Position of sample `i` (which may lie outside) of `count` that are continued by reflection at both ends. */
static size_t reflected(ptrdiff_t i, size_t count)
{
    if (count == 1)
        return 0;
    ptrdiff_t period = 2 * (ptrdiff_t)(count - 1);
    i %= period;
    if (i < 0)
        i += period;
    return (size_t)(i < (ptrdiff_t)count ? i : period - i);
}

static void mirror_start(struct tp_true_peak *meter, size_t count)
{
    float *sound = meter->work + HISTORY;
    for (ptrdiff_t i = 1; i <= HISTORY; i++)
        sound[-i] = sound[reflected(-i, count)];
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
                mirror_start(meter, CHUNK);
            judge_chunk(meter);
        }
    }
}

double tp_true_peak_finish(struct tp_true_peak *meter)
{
    float *sound = meter->work + HISTORY;
    size_t count = meter->fill;
    if (meter->chunks == 0 && count == 0)
        return 0.0;
    if (meter->chunks == 0) {
        mirror_start(meter, count);
        for (size_t i = count; i < count + CHUNK; i++)
            sound[i] = sound[reflected((ptrdiff_t)i, count)];
    } else {
        /* What is in work before the fill is HISTORY real samples: enough to mirror what a group may reach. */
        for (size_t i = 0; i < LAG; i++)
            sound[count + i] = sound[(ptrdiff_t)count - 2 - (ptrdiff_t)i];
    }
    float *first = sound - LAG;
    size_t intervals = count + LAG;
    for (size_t at = 0; at + GROUP <= intervals; at += GROUP)
        judge_group(meter, first + at);
    judge_group(meter, sound + count - GROUP);
    return (double)meter->max;
}
