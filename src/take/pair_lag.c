/* SPDX-License-Identifier: MIT */
#include "take/pair_lag.h"

#include "base/vector.h"

#include <kiss_fftr.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LINE_POINTS_MAX 128
#define PI 3.14159265358979323846
#define GRID_PLACES 31 /* from -1.5 to 1.5 */
#define GRID_STEP 0.1
#define FINE_STEP 0.01

struct tp_lag_finder {
    size_t frames, fft_frames;
    kiss_fftr_cfg forward, inverse;
    kiss_fft_scalar *time;                             /* fft_frames */
    kiss_fft_cpx *spectrum_a, *spectrum_b;             /* fft_frames / 2 + 1 */
    double *energy_a, *energy_b;                       /* frames + 1: running sums of squares */
    double cosine[TP_LAG_SHIFTS], sine[TP_LAG_SHIFTS]; /* of pi k / TP_LAG_TAPS */
    double grid[TP_LAG_SHIFTS][GRID_PLACES];           /* taps for each place of the coarse grid */
};

static double grid_shift(size_t place)
{
    return GRID_STEP * ((double)place - GRID_PLACES / 2);
}

void tp_lag_taps(const struct tp_lag_finder *f, double at, double taps[TP_LAG_SHIFTS])
{
    /* sin and cos of (at - k) by their addition theorems: one call each for all k. */
    double wave = sin(PI * at) / PI, window_cos = cos(PI * at / TP_LAG_TAPS), window_sin = sin(PI * at / TP_LAG_TAPS);
    for (int k = -TP_LAG_TAPS; k <= TP_LAG_TAPS; k++) {
        double x = at - (double)k, signed_wave = k % 2 == 0 ? wave : -wave;
        double window = 0.5 + 0.5 * (window_cos * f->cosine[k + TP_LAG_TAPS] + window_sin * f->sine[k + TP_LAG_TAPS]);
        bool outside = fabs(x) >= (double)TP_LAG_TAPS;
        taps[k + TP_LAG_TAPS] = outside ? 0.0 : fabs(x) < 1e-9 ? 1.0 : window * signed_wave / x;
    }
}

static void tables_fill(struct tp_lag_finder *f)
{
    double taps[TP_LAG_SHIFTS];
    for (int k = -TP_LAG_TAPS; k <= TP_LAG_TAPS; k++) {
        f->cosine[k + TP_LAG_TAPS] = cos(PI * (double)k / TP_LAG_TAPS);
        f->sine[k + TP_LAG_TAPS] = sin(PI * (double)k / TP_LAG_TAPS);
    }
    for (size_t place = 0; place < GRID_PLACES; place++) {
        tp_lag_taps(f, grid_shift(place), taps);
        for (size_t k = 0; k < TP_LAG_SHIFTS; k++)
            f->grid[k][place] = taps[k];
    }
}

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
    tables_fill(f);
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

TP_CLONES static double sum_of(const float *samples, size_t frames)
{
    tp_v8d sums = {0};
    double sum = 0.0;
    for (size_t i = 0; i < frames; i += 8) {
        tp_v8f x;
        TP_LOAD8(x, samples + i);
        sums += __builtin_convertvector(x, tp_v8d);
    }
    for (int lane = 0; lane < 8; lane++)
        sum += sums[lane];
    return sum;
}

/* Running sums of squares of samples - mean, which are written out; energy[0] = 0. */
static void run_energy(const float *samples, double mean, size_t frames, float *out, double *energy)
{
    double sum = 0.0;
    for (size_t i = 0; i < frames; i++) {
        double x = (double)samples[i] - mean;
        out[i] = (float)x;
        sum += x * x;
        energy[i + 1] = sum;
    }
}

/* Spectrum without DC, scaled to its own RMS so that the float FFT keeps its precision at any level. */
static bool transform(struct tp_lag_finder *f, const float *samples, kiss_fft_cpx *spectrum, double *energy)
{
    double mean = sum_of(samples, f->frames) / (double)f->frames;
    run_energy(samples, mean, f->frames, f->time, energy);
    double power = energy[f->frames] / (double)f->frames;
    if (!(power > 1e-16))
        return false;
    float scale = (float)(1.0 / sqrt(power));
    for (size_t i = 0; i < f->frames; i++)
        f->time[i] *= scale;
    for (size_t i = 0; i <= f->frames; i++)
        energy[i] /= power;
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

/* Numerator and squared denominator of Pearson over the overlap at `lag`; 0 and 1 where the overlap holds too little of
 * either. */
static double product_at(const struct tp_lag_finder *f, int64_t lag, double *energies)
{
    size_t shift = (size_t)(lag < 0 ? -lag : lag), n = f->frames;
    size_t a_from = lag < 0 ? shift : 0, b_from = lag < 0 ? 0 : shift, overlap = n - shift;
    double energy_a = f->energy_a[a_from + overlap] - f->energy_a[a_from];
    double energy_b = f->energy_b[b_from + overlap] - f->energy_b[b_from];
    *energies = energy_a * energy_b;
    if (energy_a < 0.2 * f->energy_a[n] || energy_b < 0.2 * f->energy_b[n]) {
        *energies = 1.0;
        return 0.0;
    }
    return (double)f->time[lag < 0 ? f->fft_frames - shift : shift];
}

bool tp_lag_find(struct tp_lag_finder *f, const float *a, const float *b, int64_t *lag, double *correlation)
{
    if (!transform(f, a, f->spectrum_a, f->energy_a) || !transform(f, b, f->spectrum_b, f->energy_b))
        return false;
    cross_correlate(f);
    int64_t reach = TP_LAG_SEARCH_FRAMES;
    if (reach > (int64_t)f->frames * 6 / 10)
        reach = (int64_t)f->frames * 6 / 10;
    double best_energies, best = product_at(f, 0, &best_energies);
    *lag = 0;
    for (int64_t distance = 1; distance <= reach; distance++) {
        for (int64_t at = -distance; at <= distance; at += 2 * distance) {
            double energies, product = product_at(f, at, &energies);
            if (product * product * best_energies > best * best * energies) {
                *lag = at;
                best = product;
                best_energies = energies;
            }
        }
    }
    *correlation = best / (double)f->fft_frames / sqrt(best_energies);
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

/* Both curves at all places of the grid at once. */
TP_CLONES static void along_grid(const struct tp_lag_finder *f, const double *r, const double *energy, double *value)
{
    double power[GRID_PLACES] = {0};
    memset(value, 0, sizeof power);
    for (size_t k = 0; k < TP_LAG_SHIFTS; k++) {
        for (size_t place = 0; place < GRID_PLACES; place++) {
            value[place] += r[k] * f->grid[k][place];
            power[place] += energy[k] * f->grid[k][place];
        }
    }
    for (size_t place = 0; place < GRID_PLACES; place++)
        value[place] = power[place] > 0.0 ? value[place] / sqrt(power[place]) : 0.0;
}

static double value_at(const struct tp_lag_finder *f, const double *r, const double *energy, double at)
{
    double taps[TP_LAG_SHIFTS], sum = 0.0, power = 0.0;
    tp_lag_taps(f, at, taps);
    for (size_t k = 0; k < TP_LAG_SHIFTS; k++) {
        sum += r[k] * taps[k];
        power += energy[k] * taps[k];
    }
    return power > 0.0 ? sum / sqrt(power) : 0.0;
}

/* Where the parabola through three values one apart has its top, from the middle one. */
static double parabola_top(double before, double middle, double after)
{
    double bend = before - 2.0 * middle + after;
    return bend < 0.0 ? fmax(-1.0, fmin(0.5 * (before - after) / bend, 1.0)) : 0.0;
}

double tp_lag_peak_position(const struct tp_lag_finder *f, const double *r, const double *energy)
{
    double value[GRID_PLACES];
    size_t best = GRID_PLACES / 2;
    along_grid(f, r, energy, value);
    for (size_t place = 0; place < GRID_PLACES; place++)
        if (value[place] > value[best])
            best = place;
    double at = grid_shift(best);
    if (best > 0 && best + 1 < GRID_PLACES)
        at += GRID_STEP * parabola_top(value[best - 1], value[best], value[best + 1]);
    /* Band-limited curves bend little over a tenth: so near, a second parabola leaves under a thousandth. */
    return at + FINE_STEP * parabola_top(value_at(f, r, energy, at - FINE_STEP), value_at(f, r, energy, at),
                                         value_at(f, r, energy, at + FINE_STEP));
}
