/* SPDX-License-Identifier: MIT */
#include "take/pair_lag.h"

#include "base/vector.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LINE_POINTS_MAX 128
#define PI 3.14159265358979323846
#define GRID_PLACES 31 /* from -1.5 to 1.5 */
#define GRID_STEP 0.1
#define FINE_STEP 0.01

struct tp_lag_finder {
    size_t frames, fft_frames, reach; /* reach: lags on either side, with 0 */
    struct tp_plans own_plans;        /* when nobody keeps them */
    const struct tp_plan *plan;
    kiss_fft_scalar *time;                                      /* fft_frames */
    kiss_fft_cpx *cross;                                        /* frames + 1 */
    float *backward;                                            /* reach: products at 0, -1 … */
    double *scores, *scores_backward;                           /* reach */
    double slopes[LINE_POINTS_MAX * (LINE_POINTS_MAX - 1) / 2]; /* of tp_lag_line_robust() */
    struct side *a, *b;                                         /* of tp_lag_find() */
    double cosine[TP_LAG_SHIFTS], sine[TP_LAG_SHIFTS];          /* of pi k / TP_LAG_TAPS */
    double grid[TP_LAG_SHIFTS][GRID_PLACES];                    /* taps for each place of the coarse grid */
};

struct side {
    bool sounds;
    kiss_fft_cpx *spectrum; /* frames + 1 */
    /* reach: energy left when so many frames are cut off the start or the end; infinite where that is too little. */
    double *less_start, *less_end;
};

static void side_free(struct side *side)
{
    if (side == NULL)
        return;
    free(side->spectrum);
    free(side->less_start);
    free(side->less_end);
    free(side);
}

static struct side *side_new(const struct tp_lag_finder *finder)
{
    struct side *side = calloc(1, sizeof *side);
    if (side == NULL)
        return NULL;
    side->spectrum = calloc(finder->frames + 1, sizeof *side->spectrum);
    side->less_start = calloc(finder->reach, sizeof *side->less_start);
    side->less_end = calloc(finder->reach, sizeof *side->less_end);
    if (side->spectrum == NULL || side->less_start == NULL || side->less_end == NULL) {
        side_free(side);
        return NULL;
    }
    return side;
}

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

struct tp_lag_finder *tp_lag_finder_new(size_t frames, struct tp_plans *plans)
{
    struct tp_lag_finder *f = calloc(1, sizeof *f);
    if (f == NULL)
        return NULL;
    f->frames = frames;
    f->fft_frames = 2 * frames;
    f->plan = tp_plans_get(plans != NULL ? plans : &f->own_plans, f->fft_frames);
    f->time = calloc(f->fft_frames, sizeof *f->time);
    f->cross = calloc(frames + 1, sizeof *f->cross);
    f->reach = tp_lag_reach(frames);
    f->backward = calloc(f->reach, sizeof *f->backward);
    f->scores = calloc(f->reach, sizeof *f->scores);
    f->scores_backward = calloc(f->reach, sizeof *f->scores_backward);
    f->a = side_new(f);
    f->b = side_new(f);
    if (f->plan == NULL || f->time == NULL || f->cross == NULL || f->backward == NULL || f->scores == NULL ||
        f->scores_backward == NULL || f->a == NULL || f->b == NULL) {
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
    tp_plans_clear(&f->own_plans);
    free(f->time);
    free(f->cross);
    free(f->backward);
    free(f->scores);
    free(f->scores_backward);
    side_free(f->a);
    side_free(f->b);
    free(f);
}

TP_CLONES void tp_lag_power(const float *samples, size_t frames, double *sum, double *squares)
{
    tp_v8d sums = {0}, square_sums = {0};
    size_t whole = frames - frames % 8;
    for (size_t i = 0; i < whole; i += 8) {
        tp_v8f x;
        TP_LOAD8(x, samples + i);
        tp_v8d wide = __builtin_convertvector(x, tp_v8d);
        sums += wide;
        square_sums += wide * wide;
    }
    *sum = *squares = 0.0;
    for (int lane = 0; lane < 8; lane++) {
        *sum += sums[lane];
        *squares += square_sums[lane];
    }
    for (size_t i = whole; i < frames; i++) {
        *sum += (double)samples[i];
        *squares += (double)samples[i] * (double)samples[i];
    }
}

size_t tp_lag_reach(size_t frames)
{
    return frames * 6 / 10 < TP_LAG_SEARCH_FRAMES ? frames * 6 / 10 + 1 : TP_LAG_SEARCH_FRAMES + 1;
}

/* What is left when more and more frames are cut off, on either side; both at once, as each waits for the one before.
 */
static void cut_off(const float *samples, size_t frames, double energy, size_t count, double *less_start,
                    double *less_end)
{
    double least = 0.2 * energy, per_power = (double)frames / energy, start = energy, end = energy;
    for (size_t i = 0; i < count; i++) {
        double first = (double)samples[i], last = (double)samples[frames - 1 - i];
        less_start[i] = start >= least ? start * per_power : (double)INFINITY;
        less_end[i] = end >= least ? end * per_power : (double)INFINITY;
        start -= first * first;
        end -= last * last;
    }
}

bool tp_lag_normalise(const float *samples, size_t frames, float *out, size_t reach, double *less_start,
                      double *less_end)
{
    double sum, energy;
    tp_lag_power(samples, frames, &sum, &energy);
    float mean = (float)(sum / (double)frames);
    for (size_t i = 0; i < frames; i++)
        out[i] = samples[i] - mean;
    tp_lag_power(out, frames, &sum, &energy);
    if (!(energy > 1e-16 * (double)frames))
        return false;
    cut_off(out, frames, energy, reach, less_start, less_end);
    float scale = (float)sqrt((double)frames / energy);
    for (size_t i = 0; i < frames; i++)
        out[i] *= scale;
    return true;
}

static void side_set(struct tp_lag_finder *f, struct side *side, const float *samples)
{
    side->sounds = tp_lag_normalise(samples, f->frames, f->time, f->reach, side->less_start, side->less_end);
    if (!side->sounds)
        return;
    memset(f->time + f->frames, 0, (f->fft_frames - f->frames) * sizeof *f->time);
    kiss_fftr(f->plan->forward, f->time, side->spectrum);
}

static void cross_correlate(struct tp_lag_finder *f, const kiss_fft_cpx *spectrum_a, const kiss_fft_cpx *spectrum_b)
{
    for (size_t i = 0; i <= f->frames; i++) {
        kiss_fft_cpx a = spectrum_a[i], b = spectrum_b[i];
        f->cross[i] = (kiss_fft_cpx){.r = a.r * b.r + a.i * b.i, .i = a.r * b.i - a.i * b.r};
    }
    kiss_fftri(f->plan->inverse, f->cross, f->time);
}

/* Squared Pearson over the overlap, times the square of fft_frames, a lag each; 0 where the overlap holds too little.
 */
TP_CLONES static void score(const float *products, const double *energy, const double *other_energy, size_t count,
                            double *scores)
{
    for (size_t lag = 0; lag < count; lag++)
        scores[lag] = (double)products[lag] * (double)products[lag] / (energy[lag] * other_energy[lag]);
}

static bool match(struct tp_lag_finder *f, const struct side *a, const struct side *b, int64_t *lag,
                  double *correlation)
{
    if (!a->sounds || !b->sounds)
        return false;
    cross_correlate(f, a->spectrum, b->spectrum);
    for (size_t i = 1; i < f->reach; i++)
        f->backward[i] = f->time[f->fft_frames - i];
    f->backward[0] = f->time[0];
    score(f->time, a->less_end, b->less_start, f->reach, f->scores);
    score(f->backward, a->less_start, b->less_end, f->reach, f->scores_backward);
    double best = f->scores[0];
    double product = (double)f->time[0];
    *lag = 0;
    for (size_t i = 1; i < f->reach; i++) {
        if (f->scores_backward[i] > best) {
            best = f->scores_backward[i];
            product = (double)f->backward[i];
            *lag = -(int64_t)i;
        }
        if (f->scores[i] > best) {
            best = f->scores[i];
            product = (double)f->time[i];
            *lag = (int64_t)i;
        }
    }
    *correlation = copysign(sqrt(best) / (double)f->fft_frames, product);
    return true;
}

bool tp_lag_find(struct tp_lag_finder *f, const float *a, const float *b, int64_t *lag, double *correlation)
{
    side_set(f, f->a, a);
    side_set(f, f->b, b);
    return match(f, f->a, f->b, lag, correlation);
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

struct tp_lag_line tp_lag_line_robust(struct tp_lag_finder *f, const struct tp_lag_point *points, size_t count)
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
    size_t slope_count = 0;
    for (size_t i = 0; i < line.used; i++)
        for (size_t j = i + 1; j < line.used; j++)
            if (used[j]->time_frames > used[i]->time_frames)
                f->slopes[slope_count++] =
                    (used[j]->lag - used[i]->lag) / (used[j]->time_frames - used[i]->time_frames);
    line.slope = slope_count > 0 ? median(f->slopes, slope_count) : 0.0;
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
