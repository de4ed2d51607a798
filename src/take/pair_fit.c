/* SPDX-License-Identifier: MIT */
#include "take/pair_fit.h"

#include "base/num.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/result.h>

#define NEAR_FULL_SCALE 0.985f
#define MASK_MARGIN 20 /* frames on either side of a masked run; covers the interpolation taps */
#define TAPS 16        /* of the fractional lag, a side */
#define SEGMENTS 8     /* an excerpt */
#define SCREEN_EXCERPTS 6
#define SCREEN_CORRELATION 0.75
#define EXPLAINED_SHARE 0.8
#define EXPLAINED_POWER 2.5e-4 /* -36 dB */
/* At equal level a stereo recording that is nearly mono comes close, and there is no safety to gain: -50 dB. */
#define EXPLAINED_POWER_LEVEL 1e-5
#define LEVEL_DB 1.0
/* What a limiter at work leaves: its gain moves within a segment. */
#define LIMITED_SHARE 0.9
#define LIMITED_POWER 0.02 /* -17 dB */
#define LIMITED_EXPLAINED_SHARE 0.4
#define LIMITED_ORDER 0.65
/* What slow automatic gain leaves: nearly nothing, and never a jump. */
#define RIDDEN_SHARE 0.97
#define RIDDEN_STEP_DB 0.7
#define RIDDEN_STEPS_MIN 80
#define RIDDEN_RANGE_DB 15.0
#define NOISE_CAP_POWER 2.0e-7 /* -67 dBFS */
#define STANDS_OUT 8.0         /* times the allowed noise: 9 dB */
#define SEGMENTS_MIN 8
#define SAME_GAIN_DB 0.5
#define DRIFT_SPAN_S 10.0
#define STEADY_OVER_FLOOR 10.0

/* Sums over the samples of one segment that are not masked, means removed. */
struct segment {
    double aa, ab, bb, count;
};

/* What one excerpt says. */
struct look {
    uint64_t start_frame;
    int64_t lag; /* whole frames applied */
    double coarse_lag, coarse_correlation;
    double r[2 * TAPS + 1];        /* cross-correlation around `lag` over unmasked samples */
    double energy_a[2 * TAPS + 1]; /* of a over the same samples, shifted alike */
    struct segment segments[SEGMENTS];
    double gain, weight; /* from the explained segments; weight 0 = none */
    double level;        /* mean square of both channels (geometric mean) over these */
};

struct tp_fitter {
    const struct tp_evidence *evidence;
    size_t excerpt_count, frames;
    struct tp_lag_finder *finder;
    struct look *looks;          /* excerpt_count */
    struct tp_lag_point *points; /* excerpt_count */
    uint8_t *mask_a, *mask_b;    /* frames */
    double *values, *weights;    /* excerpt_count x SEGMENTS */
};

struct tp_fitter *tp_fitter_new(const struct tp_evidence *evidence)
{
    struct tp_fitter *f = calloc(1, sizeof *f);
    if (f == NULL)
        return NULL;
    f->evidence = evidence;
    f->excerpt_count = tp_evidence_excerpt_count(evidence);
    f->frames = tp_evidence_excerpt_frames(evidence);
    f->finder = tp_lag_finder_new(f->frames);
    f->looks = calloc(f->excerpt_count + 1, sizeof *f->looks);
    f->points = calloc(f->excerpt_count + 1, sizeof *f->points);
    f->mask_a = calloc(f->frames, 1);
    f->mask_b = calloc(f->frames, 1);
    f->values = calloc((f->excerpt_count + 1) * SEGMENTS, sizeof *f->values);
    f->weights = calloc((f->excerpt_count + 1) * SEGMENTS, sizeof *f->weights);
    if (f->finder == NULL || f->looks == NULL || f->points == NULL || f->mask_a == NULL || f->mask_b == NULL ||
        f->values == NULL || f->weights == NULL) {
        tp_fitter_free(f);
        return NULL;
    }
    return f;
}

void tp_fitter_free(struct tp_fitter *f)
{
    if (f == NULL)
        return;
    tp_lag_finder_free(f->finder);
    free(f->looks);
    free(f->points);
    free(f->mask_a);
    free(f->mask_b);
    free(f->values);
    free(f->weights);
    free(f);
}

static const float *plane(const struct tp_fitter *f, size_t excerpt, uint32_t channel)
{
    return tp_evidence_excerpt(f->evidence, excerpt).channels[channel];
}

static double mean_square(const float *samples, size_t frames)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < frames; i++) {
        sum += (double)samples[i];
        squares += (double)samples[i] * (double)samples[i];
    }
    double mean = sum / (double)frames;
    return squares / (double)frames - mean * mean;
}

bool tp_fitter_screen(struct tp_fitter *f, uint32_t a, uint32_t b)
{
    size_t tried[SCREEN_EXCERPTS];
    for (size_t try = 0; try < SCREEN_EXCERPTS && try < f->excerpt_count; try++) {
        double best = 0.0;
        size_t best_at = f->excerpt_count;
        for (size_t i = 0; i < f->excerpt_count; i++) {
            bool done = false;
            for (size_t t = 0; t < try; t++)
                done = done || tried[t] == i;
            if (try == 0) /* kept for the other tries */
                f->values[i] = mean_square(plane(f, i, a), f->frames) * mean_square(plane(f, i, b), f->frames);
            if (!done && f->values[i] > best) {
                best = f->values[i];
                best_at = i;
            }
        }
        if (best_at == f->excerpt_count)
            return false;
        tried[try] = best_at;
        int64_t lag;
        double correlation;
        if (tp_lag_find(f->finder, plane(f, best_at, a), plane(f, best_at, b), &lag, &correlation) &&
            fabs(correlation) >= SCREEN_CORRELATION)
            return true;
    }
    return false;
}

/* Marks samples that say nothing about the gain: at full scale, on a plateau at the excerpt's own top (a flat top under
 * full scale), and stretches of exact zeros inside sound (a dropout). */
static void mask_make(const float *samples, size_t frames, uint8_t *mask)
{
    float top = 0.0f;
    for (size_t i = 0; i < frames; i++)
        top = fabsf(samples[i]) > top ? fabsf(samples[i]) : top;
    memset(mask, 0, frames);
    float flat = 0.999f * top;
    for (size_t i = 0, end; i < frames; i = end) {
        float x = samples[i];
        end = i + 1;
        bool bad = fabsf(x) >= NEAR_FULL_SCALE;
        if (x == 0.0f) {
            while (end < frames && samples[end] == 0.0f)
                end++;
            bad = end - i >= 64;
        } else if (!bad && fabsf(x) >= flat) {
            while (end < frames && fabsf(samples[end]) >= flat && (samples[end] > 0.0f) == (x > 0.0f))
                end++;
            bad = end - i >= 3;
        }
        if (!bad)
            continue;
        size_t from = i > MASK_MARGIN ? i - MASK_MARGIN : 0, to = end + MASK_MARGIN;
        memset(mask + from, 1, (to < frames ? to : frames) - from);
    }
}

/* Range of a's frames whose partner lies inside the excerpt, with room for the taps. */
static void overlap(const struct tp_fitter *f, int64_t lag, size_t *from, size_t *to)
{
    int64_t first = lag < 0 ? -lag : 0, last = (int64_t)f->frames - (lag > 0 ? lag : 0);
    first += TAPS;
    last -= TAPS;
    *from = (size_t)first;
    *to = last > first ? (size_t)last : (size_t)first;
}

static void masks_make(struct tp_fitter *f, const float *a, const float *b)
{
    mask_make(a, f->frames, f->mask_a);
    mask_make(b, f->frames, f->mask_b);
}

static bool is_masked(const struct tp_fitter *f, size_t i, int64_t lag)
{
    return f->mask_a[i] != 0 || f->mask_b[(size_t)((int64_t)i + lag)] != 0;
}

static void masked_means(const struct tp_fitter *f, const struct look *look, const float *a, const float *b,
                         double *mean_a, double *mean_b)
{
    size_t from, to, count = 0;
    double sum_a = 0.0, sum_b = 0.0;
    overlap(f, look->lag, &from, &to);
    for (size_t i = from; i < to; i++) {
        if (is_masked(f, i, look->lag))
            continue;
        sum_a += (double)a[i];
        sum_b += (double)b[(size_t)((int64_t)i + look->lag)];
        count++;
    }
    *mean_a = count > 0 ? sum_a / (double)count : 0.0;
    *mean_b = count > 0 ? sum_b / (double)count : 0.0;
}

/* Cross-correlation over unmasked samples for lags around look->lag: r[k] belongs to lag + k. Beside a masked shout a
 * shift brings in louder samples, so r alone would lean that way: the energy tells. */
static void correlate_near(struct tp_fitter *f, struct look *look, const float *a, const float *b)
{
    size_t from, to;
    double mean_a, mean_b;
    overlap(f, look->lag, &from, &to);
    masks_make(f, a, b);
    masked_means(f, look, a, b, &mean_a, &mean_b);
    memset(look->r, 0, sizeof look->r);
    memset(look->energy_a, 0, sizeof look->energy_a);
    for (size_t i = from; i < to; i++) {
        if (is_masked(f, i, look->lag))
            continue;
        double y = (double)b[(size_t)((int64_t)i + look->lag)] - mean_b;
        for (int k = -TAPS; k <= TAPS; k++) {
            double x = (double)a[(size_t)((int64_t)i - k)] - mean_a;
            look->r[k + TAPS] += x * y;
            look->energy_a[k + TAPS] += x * x;
        }
    }
}

/* a at `i - fraction`, which is what b holds at i + lag. */
static double interpolated(const float *a, size_t i, const double *taps)
{
    double sum = 0.0;
    for (int k = -TAPS; k <= TAPS; k++)
        sum += (double)a[(size_t)((int64_t)i + k)] * taps[k + TAPS];
    return sum;
}

static void segments_sum(struct tp_fitter *f, struct look *look, const float *a, const float *b, double fraction)
{
    size_t from, to;
    double mean_a, mean_b, taps[2 * TAPS + 1];
    bool whole = fabs(fraction) < 0.005;
    for (int k = -TAPS; k <= TAPS; k++)
        taps[k + TAPS] = tp_lag_sinc((double)k + fraction, TAPS);
    overlap(f, look->lag, &from, &to);
    masks_make(f, a, b);
    masked_means(f, look, a, b, &mean_a, &mean_b);
    memset(look->segments, 0, sizeof look->segments);
    size_t length = f->frames / SEGMENTS;
    for (size_t i = from; i < to; i++) {
        if (is_masked(f, i, look->lag))
            continue;
        struct segment *s = &look->segments[i / length < SEGMENTS ? i / length : SEGMENTS - 1];
        double x = (whole ? (double)a[i] : interpolated(a, i, taps)) - mean_a;
        double y = (double)b[(size_t)((int64_t)i + look->lag)] - mean_b;
        s->aa += x * x;
        s->ab += x * y;
        s->bb += y * y;
        s->count += 1.0;
    }
}

static bool is_usable(const struct tp_fitter *f, const struct segment *s)
{
    return s->count >= (double)f->frames / SEGMENTS / 4.0;
}

static int by_value(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return first < second ? -1 : first > second;
}

/* The value below which `share` of `count` sorted values lie. */
static double quantile(const double *sorted, size_t count, double share)
{
    double at = share * (double)(count - 1);
    size_t low = (size_t)at, high = low + 1 < count ? low + 1 : low;
    return sorted[low] + (at - (double)low) * (sorted[high] - sorted[low]);
}

/* Whole lags from the FFT for every excerpt, and the line through the believable ones. */
static struct tp_lag_line coarse_line(struct tp_fitter *f, uint32_t a, uint32_t b)
{
    double best = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        *look = (struct look){.start_frame = tp_evidence_excerpt(f->evidence, i).start_frame};
        int64_t lag = 0;
        if (!tp_lag_find(f->finder, plane(f, i, a), plane(f, i, b), &lag, &look->coarse_correlation))
            look->coarse_correlation = 0.0;
        look->coarse_lag = (double)lag;
        best = fmax(best, fabs(look->coarse_correlation));
    }
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const struct look *look = &f->looks[i];
        bool good = fabs(look->coarse_correlation) >= fmax(SCREEN_CORRELATION, 0.85 * best);
        f->points[i] = (struct tp_lag_point){.time_frames = (double)look->start_frame + 0.5 * (double)f->frames,
                                             .lag = look->coarse_lag,
                                             .weight = good ? 1.0 : 0.0};
    }
    struct tp_lag_line line = tp_lag_line_robust(f->points, f->excerpt_count);
    if (fabs(line.slope) * line.span_frames < 1.5) {
        line.start += line.slope * (line.span_frames / 2.0);
        line.slope = 0.0;
        line.start = round(line.start);
    }
    return line;
}

static double line_at(struct tp_lag_line line, double time_frames)
{
    return line.start + line.slope * time_frames;
}

/* Sub-sample lag of each excerpt, then of all together. */
static struct tp_lag_line fine_line(struct tp_fitter *f, uint32_t a, uint32_t b, struct tp_lag_line line, double *drift)
{
    double pooled[2 * TAPS + 1] = {0}, pooled_energy[2 * TAPS + 1] = {0};
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        struct tp_lag_point *point = &f->points[i];
        double wanted = round(line_at(line, point->time_frames));
        point->weight = 0.0;
        if (fabs(wanted) > 0.65 * (double)f->frames)
            continue;
        look->lag = (int64_t)wanted;
        correlate_near(f, look, plane(f, i, a), plane(f, i, b));
        double sign = look->r[TAPS] < 0.0 ? -1.0 : 1.0, signed_r[2 * TAPS + 1];
        for (int k = 0; k <= 2 * TAPS; k++) {
            signed_r[k] = sign * look->r[k];
            pooled[k] += signed_r[k];
            pooled_energy[k] += look->energy_a[k];
        }
        if (!(look->energy_a[TAPS] > 0.0))
            continue;
        point->lag = wanted + tp_lag_peak_position(signed_r + TAPS, look->energy_a + TAPS, TAPS);
        point->weight = look->energy_a[TAPS];
    }
    struct tp_lag_line refined = tp_lag_line_refine(f->points, f->excerpt_count, line, 1.5);
    bool long_enough =
        refined.used >= 6 && refined.span_frames >= DRIFT_SPAN_S * (double)tp_evidence_sample_rate_hz(f->evidence);
    *drift = long_enough ? refined.slope : (double)NAN;
    bool drifts = long_enough && fabs(refined.slope) * refined.span_frames > 0.25 &&
                  fabs(refined.slope) > 5.0 * refined.slope_error;
    if (drifts || line.slope != 0.0)
        return refined;
    line.start += tp_lag_peak_position(pooled + TAPS, pooled_energy + TAPS, TAPS);
    return line;
}

/* Sums for every excerpt along the line. Returns the number of usable segments. */
static size_t sum_all(struct tp_fitter *f, uint32_t a, uint32_t b, struct tp_lag_line line)
{
    size_t usable = 0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        double wanted = line_at(line, f->points[i].time_frames);
        memset(look->segments, 0, sizeof look->segments);
        if (fabs(wanted) > 0.65 * (double)f->frames)
            continue;
        look->lag = (int64_t)round(wanted);
        segments_sum(f, look, plane(f, i, a), plane(f, i, b), wanted - round(wanted));
        for (size_t s = 0; s < SEGMENTS; s++)
            usable += is_usable(f, &look->segments[s]);
    }
    return usable;
}

/* Value at which half of the weight is reached. Sorts both arrays by value (insertion sort: a few hundred at most). */
static double weighted_median(double *values, double *weights, size_t count)
{
    double total = 0.0, sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        double value = values[i], weight = weights[i];
        size_t at = i;
        total += weight;
        for (; at > 0 && values[at - 1] > value; at--) {
            values[at] = values[at - 1];
            weights[at] = weights[at - 1];
        }
        values[at] = value;
        weights[at] = weight;
    }
    for (size_t i = 0; i < count; i++) {
        sum += weights[i];
        if (sum > total / 2.0)
            return values[i];
        if (sum == total / 2.0 && i + 1 < count)
            return 0.5 * (values[i] + values[i + 1]);
    }
    return count > 0 ? values[count - 1] : (double)NAN;
}

/* First idea of the gain, signed: weighted median of the segments' gains, by energy. */
static double first_gain(struct tp_fitter *f)
{
    size_t count = 0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct segment *segment = &f->looks[i].segments[s];
            if (!is_usable(f, segment) || !(segment->aa > 0.0))
                continue;
            f->values[count] = segment->ab / segment->aa;
            f->weights[count++] = sqrt(segment->aa);
        }
    }
    return weighted_median(f->values, f->weights, count);
}

static double residual_power(const struct segment *s, double gain)
{
    double both = s->aa * s->bb;
    double unexplained = both > 0.0 ? 1.0 - s->ab * s->ab / both : 1.0;
    double power = fmax(s->bb, gain * gain * s->aa) / s->count;
    return fmax(unexplained, 0.0) * power;
}

/* Mean square of the noise that may remain in b: the floors of both, or what the quietest residuals show. */
static double allowed_noise(struct tp_fitter *f, double gain, double floor_a_dbfs, double floor_b_dbfs)
{
    size_t count = 0;
    for (size_t i = 0; i < f->excerpt_count; i++)
        for (size_t s = 0; s < SEGMENTS; s++)
            if (is_usable(f, &f->looks[i].segments[s]))
                f->values[count++] = residual_power(&f->looks[i].segments[s], gain);
    double quiet = 0.0;
    if (count > 0) {
        qsort(f->values, count, sizeof *f->values, by_value);
        quiet = quantile(f->values, count, 0.2);
    }
    double floor = tp_exists(floor_b_dbfs) ? tp_power_from_db(floor_b_dbfs - TP_AES17_DB) : 0.0;
    if (tp_exists(floor_a_dbfs))
        floor += gain * gain * tp_power_from_db(floor_a_dbfs - TP_AES17_DB);
    return 2.0 * fmin(fmax(floor, quiet), NOISE_CAP_POWER) + 1e-14;
}

/* Steps of the gain from segment to segment, where noise lets them be seen: how many there are, and how many are jumps.
 */
static void judge_steps(const struct tp_fitter *f, double gain, double noise, struct tp_fit *fit)
{
    fit->steps = fit->jumps = 0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        double before_db = (double)NAN;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct segment *segment = &f->looks[i].segments[s];
            /* An error of 0.1 dB at most: 40 dB between the sums and the noise. */
            bool clear = is_usable(f, segment) && segment->bb > 1e4 * noise && (segment->ab < 0.0) == (gain < 0.0);
            double db = clear ? tp_db_from_lin(segment->ab / segment->aa) : (double)NAN;
            if (tp_exists(db) && tp_exists(before_db)) {
                fit->steps++;
                fit->jumps += fabs(db - before_db) > RIDDEN_STEP_DB;
            }
            before_db = db;
        }
    }
}

/* Counts the segments that stand out and those explained, and sums each excerpt's gain over the latter. */
static void judge_segments(struct tp_fitter *f, double gain, double noise, struct tp_fit *fit)
{
    bool level = fabs(tp_db_from_lin(gain)) < LEVEL_DB;
    double explained_power = level ? EXPLAINED_POWER_LEVEL : EXPLAINED_POWER;
    size_t explained = 0, roughly = 0;
    fit->segments = 0;
    fit->gain = 0.0;
    struct segment pooled = {0};
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        double aa = 0.0, ab = 0.0, bb = 0.0, count = 0.0;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct segment *segment = &look->segments[s];
            if (!is_usable(f, segment))
                continue;
            double power = fmax(segment->bb, gain * gain * segment->aa) / segment->count;
            if (power < STANDS_OUT * noise)
                continue;
            fit->segments++;
            bool same_sign = (segment->ab < 0.0) == (gain < 0.0);
            roughly += same_sign && residual_power(segment, gain) <= fmax(LIMITED_POWER * power, noise);
            if (residual_power(segment, gain) > fmax(explained_power * power, noise))
                continue;
            explained++;
            aa += segment->aa;
            ab += segment->ab;
            bb += segment->bb;
            count += segment->count;
            pooled.ab += fabs(segment->ab);
            pooled.aa += segment->aa;
            pooled.bb += segment->bb;
        }
        look->gain = aa > 0.0 ? ab / aa : 0.0;
        look->level = count > 0.0 ? sqrt(aa * bb) / count : 0.0;
        /* Variance of 20 log10 of the gain, with a floor so that one loud excerpt does not decide alone. */
        double error_db = aa > 0.0 ? 8.686 * sqrt(noise / (2.0 * aa * look->gain * look->gain)) : 0.0;
        look->weight = look->gain != 0.0 ? 1.0 / (error_db * error_db + 0.02 * 0.02) : 0.0;
    }
    fit->explained = fit->segments > 0 ? (double)explained / (double)fit->segments : 0.0;
    judge_steps(f, gain, noise, fit);
    fit->roughly = fit->segments > 0 ? (double)roughly / (double)fit->segments : 0.0;
    fit->correlation = pooled.aa > 0.0 && pooled.bb > 0.0 ? fmin(pooled.ab / sqrt(pooled.aa * pooled.bb), 1.0) : 0.0;
}

static double look_offset_db(const struct look *look)
{
    return tp_db_from_lin(look->gain);
}

/* Median offset of the looks whose level lies in a band of ranks, NaN when there are none. */
static double offset_at_levels(struct tp_fitter *f, double low_share, double high_share)
{
    size_t levels = 0, count = 0;
    for (size_t i = 0; i < f->excerpt_count; i++)
        if (f->looks[i].weight > 0.0)
            f->values[levels++] = f->looks[i].level;
    if (levels < 6)
        return (double)NAN;
    qsort(f->values, levels, sizeof *f->values, by_value);
    double low = quantile(f->values, levels, low_share), high = quantile(f->values, levels, high_share);
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const struct look *look = &f->looks[i];
        if (look->weight <= 0.0 || look->level < low || look->level > high)
            continue;
        f->values[count] = look_offset_db(look);
        f->weights[count++] = look->weight;
    }
    return weighted_median(f->values, f->weights, count);
}

/* How well the order of offsets is the order of levels, -1 … 1, over pairs of excerpts that differ by more than 0.5 dB
 * in offset (Goodman and Kruskal's gamma; from memory). */
static double level_order(const struct tp_fitter *f)
{
    double agree = 0.0, differ = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        for (size_t j = i + 1; j < f->excerpt_count; j++) {
            const struct look *a = &f->looks[i], *b = &f->looks[j];
            if (a->weight <= 0.0 || b->weight <= 0.0 || fabs(look_offset_db(a) - look_offset_db(b)) < SAME_GAIN_DB)
                continue;
            bool louder = a->level > b->level, higher = look_offset_db(a) > look_offset_db(b);
            agree += louder == higher;
            differ += louder != higher;
        }
    }
    return agree + differ > 0.0 ? (agree - differ) / (agree + differ) : 0.0;
}

/* Offset, spread and range; returns the share of excerpts (by weight) that agree with the median. */
static double judge_offset(struct tp_fitter *f, struct tp_fit *fit)
{
    size_t count = 0;
    double positive = 0.0, total = 0.0, same = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const struct look *look = &f->looks[i];
        if (look->weight <= 0.0)
            continue;
        f->values[count] = look_offset_db(look);
        f->weights[count++] = look->weight;
        total += look->weight;
        positive += look->gain > 0.0 ? look->weight : 0.0;
    }
    if (count == 0)
        return 0.0;
    fit->offset_db = weighted_median(f->values, f->weights, count);
    fit->offset_spread_db = 0.5 * (quantile(f->values, count, 0.75) - quantile(f->values, count, 0.25));
    double wide = count >= 6 ? quantile(f->values, count, 0.9) - quantile(f->values, count, 0.1) : 0.0;
    double loud = offset_at_levels(f, 0.67, 1.0), quiet = offset_at_levels(f, 0.0, 0.33);
    double by_level = tp_exists(loud) && tp_exists(quiet) ? fabs(loud - quiet) : 0.0;
    fit->offset_range_db = fmax(wide, by_level);
    fit->level_order = level_order(f);
    bool inverted = positive < total / 2.0;
    fit->gain = (inverted ? -1.0 : 1.0) * tp_lin_from_db(fit->offset_db);
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const struct look *look = &f->looks[i];
        if (look->weight > 0.0 && (look->gain < 0.0) == inverted &&
            fabs(look_offset_db(look) - fit->offset_db) < SAME_GAIN_DB + 3.0 / sqrt(look->weight))
            same += look->weight;
    }
    return same / total;
}

static bool is_copy(const struct tp_fitter *f, uint32_t a, uint32_t b)
{
    for (size_t i = 0; i < f->excerpt_count; i++)
        if (memcmp(plane(f, i, a), plane(f, i, b), f->frames * sizeof(float)) != 0)
            return false;
    return f->excerpt_count > 0;
}

/* Steady sound (hum, a tone, rain) does not vary with what a microphone hears, so correlation proves little: mains hum
 * is the same on any two inputs. The second difference takes the hum out; the rest must still agree. */
static bool is_steady(struct tp_fitter *f, double gain, double floor_a_dbfs)
{
    size_t count = 0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        double power = 0.0, samples = 0.0;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct segment *segment = &f->looks[i].segments[s];
            power += fmax(segment->bb, gain * gain * segment->aa);
            samples += segment->count;
        }
        if (samples >= (double)f->frames / 4.0)
            f->values[count++] = power / samples;
    }
    if (count < 2)
        return false;
    qsort(f->values, count, sizeof *f->values, by_value);
    if (quantile(f->values, count, 0.9) >= 4.0 * quantile(f->values, count, 0.1))
        return false;
    /* Excerpts are taken where it is loud, so they may be alike in speech too; but then far over the floor. */
    double floor = tp_exists(floor_a_dbfs) ? gain * gain * tp_power_from_db(floor_a_dbfs - TP_AES17_DB) : 1.0;
    return quantile(f->values, count, 0.5) < STEADY_OVER_FLOOR * floor;
}

static bool agrees_without_hum(struct tp_fitter *f, uint32_t a, uint32_t b)
{
    double aa = 0.0, ab = 0.0, bb = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const float *x = plane(f, i, a), *y = plane(f, i, b);
        size_t from, to;
        overlap(f, f->looks[i].lag, &from, &to);
        masks_make(f, x, y);
        for (size_t n = from; n < to; n++) {
            if (is_masked(f, n, f->looks[i].lag))
                continue;
            size_t m = (size_t)((int64_t)n + f->looks[i].lag);
            double dx = (double)x[n + 1] - 2.0 * (double)x[n] + (double)x[n - 1];
            double dy = (double)y[m + 1] - 2.0 * (double)y[m] + (double)y[m - 1];
            aa += dx * dx;
            ab += dx * dy;
            bb += dy * dy;
        }
    }
    return aa > 0.0 && bb > 0.0 && fabs(ab) / sqrt(aa * bb) >= 0.7;
}

/* One of the two went through a limiter or automatic gain: still the same sound, at a gain that goes with the level.
 * Notes placed left and right change the gain too, but not with the level, and chords leave more than this. */
static bool is_limited_pair(const struct tp_fit *fit)
{
    return fit->roughly >= LIMITED_SHARE && fit->explained >= LIMITED_EXPLAINED_SHARE &&
           fabs(fit->level_order) >= LIMITED_ORDER;
}

/* Slow automatic gain follows what was loud a while ago, which the excerpts do not show. But it never jumps, where
 * notes placed left and right do, and it leaves nothing unexplained. */
static bool is_ridden_pair(const struct tp_fit *fit)
{
    return fit->explained >= RIDDEN_SHARE && fit->roughly >= RIDDEN_SHARE && fit->steps >= RIDDEN_STEPS_MIN &&
           fit->jumps == 0 && fit->offset_range_db <= RIDDEN_RANGE_DB;
}

struct tp_fit tp_fitter_fit(struct tp_fitter *f, uint32_t a, uint32_t b, double floor_a_dbfs, double floor_b_dbfs)
{
    struct tp_fit fit = {.drift = (double)NAN};
    struct tp_lag_line line = coarse_line(f, a, b);
    if (line.used == 0)
        return fit;
    line = fine_line(f, a, b, line, &fit.drift);
    fit.lag = line.start;
    if (sum_all(f, a, b, line) == 0)
        return fit;
    double gain = first_gain(f);
    if (!(fabs(gain) > 0.0))
        return fit;
    double same = 0.0;
    /* Twice: where one channel rests half of the time, the first gain is far too low to tell what stands out. */
    for (int pass = 0; pass < 2 && fabs(gain) > 0.0; pass++) {
        judge_segments(f, gain, allowed_noise(f, gain, floor_a_dbfs, floor_b_dbfs), &fit);
        same = judge_offset(f, &fit);
        gain = fit.gain;
    }
    fit.copy = is_copy(f, a, b);
    fit.is_pair = fit.segments >= SEGMENTS_MIN &&
                  ((fit.explained >= EXPLAINED_SHARE && same >= 0.5) || is_limited_pair(&fit) || is_ridden_pair(&fit));
    if (fit.is_pair && !fit.copy && is_steady(f, fit.gain, floor_a_dbfs))
        fit.is_pair = fabs(fit.offset_db) >= LEVEL_DB && agrees_without_hum(f, a, b);
    return fit;
}
