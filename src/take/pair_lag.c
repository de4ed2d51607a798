/* SPDX-License-Identifier: MIT */
#include "take/pair_lag.h"

#include <kiss_fftr.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LINE_POINTS_MAX 128
#define PI 3.14159265358979323846

struct tp_lag_finder {
    size_t frames, fft_frames;
    kiss_fftr_cfg forward, inverse;
    kiss_fft_scalar *time;                 /* fft_frames */
    kiss_fft_cpx *spectrum_a, *spectrum_b; /* fft_frames / 2 + 1 */
    double *energy_a, *energy_b;           /* frames + 1: running sums of squares */
};

struct tp_lag_finder *tp_lag_finder_new(size_t frames)
{
    struct tp_lag_finder *f = calloc(1, sizeof *f);
    if (f == NULL)
        return NULL;
    f->frames = frames;
    f->fft_frames = 2 * frames;
    f->forward = kiss_fftr_alloc((int)f->fft_frames, 0, NULL, NULL);
    f->inverse = kiss_fftr_alloc((int)f->fft_frames, 1, NULL, NULL);
    f->time = calloc(f->fft_frames, sizeof *f->time);
    f->spectrum_a = calloc(frames + 1, sizeof *f->spectrum_a);
    f->spectrum_b = calloc(frames + 1, sizeof *f->spectrum_b);
    f->energy_a = calloc(frames + 1, sizeof *f->energy_a);
    f->energy_b = calloc(frames + 1, sizeof *f->energy_b);
    if (f->forward == NULL || f->inverse == NULL || f->time == NULL || f->spectrum_a == NULL || f->spectrum_b == NULL ||
        f->energy_a == NULL || f->energy_b == NULL) {
        tp_lag_finder_free(f);
        return NULL;
    }
    return f;
}

void tp_lag_finder_free(struct tp_lag_finder *f)
{
    if (f == NULL)
        return;
    kiss_fftr_free(f->forward);
    kiss_fftr_free(f->inverse);
    free(f->time);
    free(f->spectrum_a);
    free(f->spectrum_b);
    free(f->energy_a);
    free(f->energy_b);
    free(f);
}

/* Spectrum without DC, scaled to its own RMS so that float FFT keeps its precision at any level. */
static bool transform(struct tp_lag_finder *f, const float *samples, kiss_fft_cpx *spectrum, double *energy)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < f->frames; i++)
        sum += (double)samples[i];
    double mean = sum / (double)f->frames;
    for (size_t i = 0; i < f->frames; i++)
        squares += ((double)samples[i] - mean) * ((double)samples[i] - mean);
    if (!(squares > 1e-16 * (double)f->frames))
        return false;
    double scale = 1.0 / sqrt(squares / (double)f->frames);
    energy[0] = 0.0;
    for (size_t i = 0; i < f->frames; i++) {
        double x = ((double)samples[i] - mean) * scale;
        f->time[i] = (kiss_fft_scalar)x;
        energy[i + 1] = energy[i] + x * x;
    }
    memset(f->time + f->frames, 0, (f->fft_frames - f->frames) * sizeof *f->time);
    kiss_fftr(f->forward, f->time, spectrum);
    return true;
}

static void cross_correlate(struct tp_lag_finder *f)
{
    for (size_t i = 0; i <= f->frames; i++) {
        kiss_fft_cpx a = f->spectrum_a[i], b = f->spectrum_b[i];
        f->spectrum_b[i] = (kiss_fft_cpx){.r = a.r * b.r + a.i * b.i, .i = a.r * b.i - a.i * b.r};
    }
    kiss_fftri(f->inverse, f->spectrum_b, f->time);
}

/* Pearson over the overlap at `lag`; 0 where the overlap holds too little of either. */
static double correlation_at(const struct tp_lag_finder *f, int64_t lag)
{
    size_t shift = (size_t)(lag < 0 ? -lag : lag), n = f->frames;
    size_t a_from = lag < 0 ? shift : 0, b_from = lag < 0 ? 0 : shift, overlap = n - shift;
    double energy_a = f->energy_a[a_from + overlap] - f->energy_a[a_from];
    double energy_b = f->energy_b[b_from + overlap] - f->energy_b[b_from];
    if (energy_a < 0.2 * f->energy_a[n] || energy_b < 0.2 * f->energy_b[n])
        return 0.0;
    double product = (double)f->time[lag < 0 ? f->fft_frames - shift : shift] / (double)f->fft_frames;
    return product / sqrt(energy_a * energy_b);
}

bool tp_lag_find(struct tp_lag_finder *f, const float *a, const float *b, int64_t *lag, double *correlation)
{
    if (!transform(f, a, f->spectrum_a, f->energy_a) || !transform(f, b, f->spectrum_b, f->energy_b))
        return false;
    cross_correlate(f);
    int64_t reach = TP_LAG_SEARCH_FRAMES;
    if (reach > (int64_t)f->frames * 6 / 10)
        reach = (int64_t)f->frames * 6 / 10;
    *lag = 0;
    *correlation = correlation_at(f, 0);
    for (int64_t distance = 1; distance <= reach; distance++) {
        for (int64_t at = -distance; at <= distance; at += 2 * distance) {
            double found = correlation_at(f, at);
            if (fabs(found) > fabs(*correlation)) {
                *lag = at;
                *correlation = found;
            }
        }
    }
    return true;
}

static int by_value(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return first < second ? -1 : first > second;
}

static double median(double *values, size_t count)
{
    qsort(values, count, sizeof *values, by_value);
    return count % 2 == 1 ? values[count / 2] : 0.5 * (values[count / 2 - 1] + values[count / 2]);
}

struct tp_lag_line tp_lag_line_robust(const struct tp_lag_point *points, size_t count)
{
    struct tp_lag_line line = {.slope_error = (double)INFINITY};
    const struct tp_lag_point *used[LINE_POINTS_MAX];
    double rest[LINE_POINTS_MAX];
    for (size_t i = 0; i < count && line.used < LINE_POINTS_MAX; i++)
        if (points[i].weight > 0.0)
            used[line.used++] = &points[i];
    if (line.used == 0)
        return line;
    line.span_frames = used[line.used - 1]->time_frames - used[0]->time_frames;
    double *slopes = malloc(sizeof *slopes * line.used * line.used / 2 + sizeof *slopes);
    size_t slope_count = 0;
    for (size_t i = 0; slopes != NULL && i < line.used; i++)
        for (size_t j = i + 1; j < line.used; j++)
            if (used[j]->time_frames > used[i]->time_frames)
                slopes[slope_count++] = (used[j]->lag - used[i]->lag) / (used[j]->time_frames - used[i]->time_frames);
    line.slope = slope_count > 0 ? median(slopes, slope_count) : 0.0;
    free(slopes);
    for (size_t i = 0; i < line.used; i++)
        rest[i] = used[i]->lag - line.slope * used[i]->time_frames;
    line.start = median(rest, line.used);
    return line;
}

struct tp_lag_line tp_lag_line_refine(const struct tp_lag_point *points, size_t count, struct tp_lag_line near,
                                      double tolerance)
{
    double w = 0.0, wt = 0.0, wl = 0.0, wtt = 0.0, wtl = 0.0, squares = 0.0;
    double first = (double)INFINITY, last = -(double)INFINITY;
    size_t used = 0;
    for (int pass = 0; pass < 3; pass++) {
        double slope = wtt > 0.0 ? wtl / wtt : 0.0;
        for (size_t i = 0; i < count; i++) {
            double t = points[i].time_frames, weight = points[i].weight;
            if (weight <= 0.0 || fabs(points[i].lag - near.start - near.slope * t) > tolerance)
                continue;
            if (pass == 0) {
                w += weight;
                wt += weight * t;
                wl += weight * points[i].lag;
                first = t < first ? t : first;
                last = t > last ? t : last;
                used++;
            } else if (pass == 1) {
                wtt += weight * (t - wt / w) * (t - wt / w);
                wtl += weight * (t - wt / w) * (points[i].lag - wl / w);
            } else {
                double error = points[i].lag - wl / w - slope * (t - wt / w);
                squares += weight * error * error;
            }
        }
    }
    if (used < 2 || !(wtt > 0.0))
        return near;
    struct tp_lag_line line = {.slope = wtl / wtt, .used = used, .span_frames = last - first};
    line.start = wl / w - line.slope * wt / w;
    line.slope_error = used > 2 ? sqrt(squares / (double)(used - 2) / wtt) : (double)INFINITY;
    return line;
}

double tp_lag_sinc(double x, int half)
{
    if (fabs(x) >= (double)half)
        return 0.0;
    double window = 0.5 + 0.5 * cos(PI * x / (double)half);
    return fabs(x) < 1e-9 ? 1.0 : window * sin(PI * x) / (PI * x);
}

static double interpolated(const double *r, int half, double at)
{
    double sum = 0.0;
    for (int k = -half; k <= half; k++)
        sum += r[k] * tp_lag_sinc(at - (double)k, half);
    return sum;
}

double tp_lag_peak_position(const double *r, const double *energy, int half)
{
    double best = 0.0, step = 0.1;
    /* Grid first, then ten times finer around the best: the curve has one top there. */
    double low = -1.5, high = 1.5;
    for (int round = 0; round < 4; round++) {
        double top = -(double)INFINITY;
        for (double at = low; at <= high + step / 2; at += step) {
            double power = interpolated(energy, half, at);
            double value = power > 0.0 ? interpolated(r, half, at) / sqrt(power) : 0.0;
            if (value > top) {
                top = value;
                best = at;
            }
        }
        low = best - step;
        high = best + step;
        step /= 10.0;
    }
    return best;
}
