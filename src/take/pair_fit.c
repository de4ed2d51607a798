/* SPDX-License-Identifier: MIT */
#include "take/pair_fit.h"

#include "base/num.h"
#include "take/pair_overlay.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/result.h>

#define SEGMENTS TP_OVERLAY_SEGMENTS
#define SCREEN_EXCERPTS 6
#define SCREEN_CORRELATION 0.75
#define SAMPLES 4 /* excerpts whose lag is searched first */
#define SAMPLES_TOLERANCE_FRAMES 1.0
#define WHOLE_FRAME 0.005 /* nearer than this to a whole lag nothing is interpolated */
#define NEAR_MISS 0.25    /* share of segments roughly explained: then the lag of every excerpt is searched */
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

/* What one excerpt says. */
struct look {
    uint64_t start_frame;
    const float *const *channels;
    bool searched; /* for the pair at hand */
    double coarse_lag, coarse_correlation;
    int64_t lag;                    /* whole frames applied */
    bool summed;                    /* the segments, at that lag and no part of a frame */
    double r[TP_LAG_SHIFTS];        /* cross-correlation around `lag` over compared samples */
    double energy_a[TP_LAG_SHIFTS]; /* of a over the same samples, shifted alike */
    struct tp_overlay_segment segments[SEGMENTS];
    double gain, weight; /* from the explained segments; weight 0 = none */
    double level;        /* mean square of both channels (geometric mean) over these */
};

struct tp_fitter {
    size_t excerpt_count, frames;
    uint32_t channel_count, sample_rate_hz;
    uint32_t a, b; /* the pair at hand */
    struct tp_lag_finder *finder;
    struct tp_overlay *overlay;
    struct look *looks;          /* excerpt_count */
    struct tp_lag_point *points; /* excerpt_count */
    double *energies;            /* channel x excerpt_count: sums of squares */
    double *variances;           /* channel x excerpt_count */
    double *values, *weights;    /* excerpt_count x SEGMENTS */
};

static void measure_excerpts(struct tp_fitter *f, const struct tp_evidence *evidence)
{
    double frames = (double)f->frames, sum;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct tp_excerpt excerpt = tp_evidence_excerpt(evidence, i);
        f->looks[i].start_frame = excerpt.start_frame;
        f->looks[i].channels = excerpt.channels;
        f->points[i].time_frames = (double)excerpt.start_frame + 0.5 * frames;
        for (uint32_t c = 0; c < f->channel_count; c++) {
            double *energy = &f->energies[c * f->excerpt_count + i];
            tp_lag_power(excerpt.channels[c], f->frames, &sum, energy);
            f->variances[c * f->excerpt_count + i] = (*energy - sum * sum / frames) / frames;
        }
    }
}

struct tp_fitter *tp_fitter_new(const struct tp_evidence *evidence)
{
    struct tp_fitter *f = calloc(1, sizeof *f);
    if (f == NULL)
        return NULL;
    f->channel_count = tp_evidence_channel_count(evidence);
    f->excerpt_count = tp_evidence_excerpt_count(evidence);
    f->frames = tp_evidence_excerpt_frames(evidence);
    f->sample_rate_hz = tp_evidence_sample_rate_hz(evidence);
    f->finder = tp_lag_finder_new(f->frames);
    f->overlay = tp_overlay_new(f->frames);
    f->looks = calloc(f->excerpt_count + 1, sizeof *f->looks);
    f->points = calloc(f->excerpt_count + 1, sizeof *f->points);
    f->energies = calloc(f->excerpt_count * f->channel_count + 1, sizeof *f->energies);
    f->variances = calloc(f->excerpt_count * f->channel_count + 1, sizeof *f->variances);
    f->values = calloc((f->excerpt_count + 1) * SEGMENTS, sizeof *f->values);
    f->weights = calloc((f->excerpt_count + 1) * SEGMENTS, sizeof *f->weights);
    if (f->finder == NULL || f->overlay == NULL || f->looks == NULL || f->points == NULL || f->energies == NULL ||
        f->variances == NULL || f->values == NULL || f->weights == NULL) {
        tp_fitter_free(f);
        return NULL;
    }
    measure_excerpts(f, evidence);
    return f;
}

void tp_fitter_free(struct tp_fitter *f)
{
    if (f == NULL)
        return;
    tp_lag_finder_free(f->finder);
    tp_overlay_free(f->overlay);
    free(f->looks);
    free(f->points);
    free(f->energies);
    free(f->variances);
    free(f->values);
    free(f->weights);
    free(f);
}

double tp_fitter_energy(const struct tp_fitter *f, uint32_t channel)
{
    double sum = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++)
        sum += f->energies[channel * f->excerpt_count + i];
    return sum;
}

static const float *plane_a(const struct tp_fitter *f, size_t excerpt)
{
    return f->looks[excerpt].channels[f->a];
}

static const float *plane_b(const struct tp_fitter *f, size_t excerpt)
{
    return f->looks[excerpt].channels[f->b];
}

static void take_pair(struct tp_fitter *f, uint32_t a, uint32_t b)
{
    if (f->a == a && f->b == b)
        return;
    f->a = a;
    f->b = b;
    for (size_t i = 0; i < f->excerpt_count; i++)
        f->looks[i].searched = false;
}

/* Lag and correlation of one excerpt through the FFT, once a pair. */
static const struct look *search(struct tp_fitter *f, size_t excerpt)
{
    struct look *look = &f->looks[excerpt];
    if (look->searched)
        return look;
    int64_t lag = 0;
    if (!tp_lag_find(f->finder, plane_a(f, excerpt), plane_b(f, excerpt), &lag, &look->coarse_correlation))
        look->coarse_correlation = 0.0;
    look->coarse_lag = (double)lag;
    look->searched = true;
    return look;
}

/* How loud both are together in one excerpt. */
static double loudness(const struct tp_fitter *f, size_t excerpt, uint32_t a, uint32_t b)
{
    return f->variances[a * f->excerpt_count + excerpt] * f->variances[b * f->excerpt_count + excerpt];
}

/* The loudest excerpt of from … to; `to` when none has any sound. */
static size_t loudest(const struct tp_fitter *f, size_t from, size_t to)
{
    double most = 0.0;
    size_t at = to;
    for (size_t i = from; i < to; i++) {
        if (loudness(f, i, f->a, f->b) > most) {
            most = loudness(f, i, f->a, f->b);
            at = i;
        }
    }
    return at;
}

/* Whether the excerpt is one of the few loudest for these two. */
static bool is_worth_screening(const struct tp_fitter *f, size_t excerpt, uint32_t a, uint32_t b)
{
    double here = loudness(f, excerpt, a, b);
    size_t before = 0;
    for (size_t i = 0; i < f->excerpt_count && here > 0.0 && before < SCREEN_EXCERPTS; i++)
        before += loudness(f, i, a, b) > here || (i < excerpt && loudness(f, i, a, b) == here);
    return here > 0.0 && before < SCREEN_EXCERPTS;
}

/* Spectra of one excerpt, made when first asked for. */
struct sides {
    struct tp_lag_side **items; /* a channel */
    size_t *excerpts;           /* a channel: what the item is of, plus one */
};

static const struct tp_lag_side *side_of(struct tp_fitter *f, struct sides *sides, size_t excerpt, uint32_t channel)
{
    if (sides->items[channel] == NULL)
        sides->items[channel] = tp_lag_side_new(f->finder);
    if (sides->items[channel] != NULL && sides->excerpts[channel] != excerpt + 1)
        tp_lag_side_set(f->finder, sides->items[channel], f->looks[excerpt].channels[channel]);
    sides->excerpts[channel] = excerpt + 1;
    return sides->items[channel];
}

/* Excerpt by excerpt, so that the spectra of only one are held at a time. */
static bool screen(struct tp_fitter *f, const bool *wanted, bool *related, struct sides *sides)
{
    int64_t lag;
    double correlation;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        for (uint32_t a = 0; a < f->channel_count; a++) {
            for (uint32_t b = a + 1; b < f->channel_count; b++) {
                bool *found = &related[(size_t)a * f->channel_count + b];
                if (!wanted[a] || !wanted[b] || *found || !is_worth_screening(f, i, a, b))
                    continue;
                const struct tp_lag_side *first = side_of(f, sides, i, a), *second = side_of(f, sides, i, b);
                if (first == NULL || second == NULL)
                    return false;
                *found = tp_lag_match(f->finder, first, second, &lag, &correlation) &&
                         fabs(correlation) >= SCREEN_CORRELATION;
            }
        }
    }
    return true;
}

bool tp_fitter_screen(struct tp_fitter *f, const bool *wanted, bool *related)
{
    struct sides sides = {calloc(f->channel_count, sizeof *sides.items),
                          calloc(f->channel_count, sizeof *sides.excerpts)};
    bool good = sides.items != NULL && sides.excerpts != NULL && screen(f, wanted, related, &sides);
    for (uint32_t c = 0; sides.items != NULL && c < f->channel_count; c++)
        tp_lag_side_free(sides.items[c]);
    free(sides.items);
    free(sides.excerpts);
    return good;
}

static bool is_usable(const struct tp_fitter *f, const struct tp_overlay_segment *s)
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

/* The line through the searched excerpts; `good_from`: the least correlation that counts. */
static struct tp_lag_line coarse_line(struct tp_fitter *f, double good_from)
{
    for (size_t i = 0; i < f->excerpt_count; i++) {
        const struct look *look = &f->looks[i];
        f->points[i].lag = look->coarse_lag;
        f->points[i].weight = look->searched && fabs(look->coarse_correlation) >= good_from ? 1.0 : 0.0;
    }
    struct tp_lag_line line = tp_lag_line_robust(f->points, f->excerpt_count);
    if (fabs(line.slope) * line.span_frames < 1.5) {
        line.start += line.slope * (line.span_frames / 2.0);
        line.slope = 0.0;
        line.start = round(line.start);
    }
    return line;
}

/* Whole lags for every excerpt, and the line through the believable ones. */
static struct tp_lag_line full_line(struct tp_fitter *f)
{
    double best = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++)
        best = fmax(best, fabs(search(f, i)->coarse_correlation));
    return coarse_line(f, fmax(SCREEN_CORRELATION, 0.85 * best));
}

static double line_at(struct tp_lag_line line, double time_frames)
{
    return line.start + line.slope * time_frames;
}

/* The search is what costs. Where the loudest excerpts of all four quarters are clear and agree, there is no need to
 * search the others. */
static bool sample_line(struct tp_fitter *f, struct tp_lag_line *line)
{
    size_t at[SAMPLES];
    double best = 0.0;
    if (f->excerpt_count < 2 * SAMPLES)
        return false;
    for (size_t s = 0; s < SAMPLES; s++) {
        size_t to = (s + 1) * f->excerpt_count / SAMPLES;
        at[s] = loudest(f, s * f->excerpt_count / SAMPLES, to);
        if (at[s] == to || fabs(search(f, at[s])->coarse_correlation) < SCREEN_CORRELATION)
            return false;
        best = fmax(best, fabs(f->looks[at[s]].coarse_correlation));
    }
    *line = coarse_line(f, fmax(SCREEN_CORRELATION, 0.85 * best));
    for (size_t s = 0; s < SAMPLES; s++) {
        const struct tp_lag_point *point = &f->points[at[s]];
        if (point->weight <= 0.0 || fabs(point->lag - line_at(*line, point->time_frames)) > SAMPLES_TOLERANCE_FRAMES)
            return false;
    }
    return true;
}

/* Lays the excerpt along the line; false where too little of both would lie on each other. */
static bool lay(struct tp_fitter *f, size_t excerpt, struct tp_lag_line line, double *rest)
{
    double wanted = line_at(line, f->points[excerpt].time_frames);
    struct look *look = &f->looks[excerpt];
    look->lag = 0;
    if (!(fabs(wanted) <= 0.65 * (double)f->frames))
        return false;
    look->lag = (int64_t)round(wanted);
    *rest = wanted - round(wanted);
    tp_overlay_lay(f->overlay, plane_a(f, excerpt), plane_b(f, excerpt), look->lag);
    return true;
}

/* Sub-sample lag of each excerpt, then of all together. */
static struct tp_lag_line fine_line(struct tp_fitter *f, struct tp_lag_line line, double *drift)
{
    double pooled[TP_LAG_SHIFTS] = {0}, pooled_energy[TP_LAG_SHIFTS] = {0}, rest;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        struct tp_lag_point *point = &f->points[i];
        point->weight = 0.0;
        look->summed = lay(f, i, line, &rest);
        memset(look->segments, 0, sizeof look->segments);
        if (!look->summed)
            continue;
        tp_overlay_sum(f->overlay, NULL, look->segments);
        tp_overlay_correlate(f->overlay, look->r, look->energy_a);
        double sign = look->r[TP_LAG_TAPS] < 0.0 ? -1.0 : 1.0;
        for (int k = 0; k < TP_LAG_SHIFTS; k++) {
            look->r[k] *= sign;
            pooled[k] += look->r[k];
            pooled_energy[k] += look->energy_a[k];
        }
        if (!(look->energy_a[TP_LAG_TAPS] > 0.0))
            continue;
        point->lag = (double)look->lag + tp_lag_peak_position(f->finder, look->r, look->energy_a);
        point->weight = look->energy_a[TP_LAG_TAPS];
    }
    struct tp_lag_line refined = tp_lag_line_refine(f->points, f->excerpt_count, line, 1.5);
    bool long_enough = refined.used >= 6 && refined.span_frames >= DRIFT_SPAN_S * (double)f->sample_rate_hz;
    *drift = long_enough ? refined.slope : (double)NAN;
    bool drifts = long_enough && fabs(refined.slope) * refined.span_frames > 0.25 &&
                  fabs(refined.slope) > 5.0 * refined.slope_error;
    if (drifts || line.slope != 0.0)
        return refined;
    line.start += tp_lag_peak_position(f->finder, pooled, pooled_energy);
    return line;
}

/* Sums for every excerpt along the line; mostly those at whole frames will do. Returns the number of usable segments.
 */
static size_t sum_all(struct tp_fitter *f, struct tp_lag_line line)
{
    size_t usable = 0;
    double taps[TP_LAG_SHIFTS], rest;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        double wanted = line_at(line, f->points[i].time_frames);
        if (!look->summed || fabs(wanted - (double)look->lag) >= WHOLE_FRAME) {
            memset(look->segments, 0, sizeof look->segments);
            if (!lay(f, i, line, &rest))
                continue;
            /* What b holds at i + lag, a holds at i - rest. */
            tp_lag_taps(f->finder, -rest, taps);
            tp_overlay_sum(f->overlay, fabs(rest) < WHOLE_FRAME ? NULL : taps, look->segments);
        }
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
            const struct tp_overlay_segment *segment = &f->looks[i].segments[s];
            if (!is_usable(f, segment) || !(segment->aa > 0.0))
                continue;
            f->values[count] = segment->ab / segment->aa;
            f->weights[count++] = sqrt(segment->aa);
        }
    }
    return weighted_median(f->values, f->weights, count);
}

static double residual_power(const struct tp_overlay_segment *s, double gain)
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
            const struct tp_overlay_segment *segment = &f->looks[i].segments[s];
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
    struct tp_overlay_segment pooled = {0};
    for (size_t i = 0; i < f->excerpt_count; i++) {
        struct look *look = &f->looks[i];
        double aa = 0.0, ab = 0.0, bb = 0.0, count = 0.0;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct tp_overlay_segment *segment = &look->segments[s];
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

static bool is_copy(const struct tp_fitter *f)
{
    for (size_t i = 0; i < f->excerpt_count; i++)
        if (memcmp(plane_a(f, i), plane_b(f, i), f->frames * sizeof(float)) != 0)
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
            const struct tp_overlay_segment *segment = &f->looks[i].segments[s];
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

static bool agrees_without_hum(struct tp_fitter *f)
{
    double aa = 0.0, ab = 0.0, bb = 0.0;
    for (size_t i = 0; i < f->excerpt_count; i++) {
        tp_overlay_lay(f->overlay, plane_a(f, i), plane_b(f, i), f->looks[i].lag);
        struct tp_overlay_segment sums = tp_overlay_sum_curvature(f->overlay);
        aa += sums.aa;
        ab += sums.ab;
        bb += sums.bb;
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

static struct tp_fit fit_along(struct tp_fitter *f, struct tp_lag_line line, double floor_a_dbfs, double floor_b_dbfs)
{
    struct tp_fit fit = {.drift = (double)NAN};
    line = fine_line(f, line, &fit.drift);
    fit.lag = line.start;
    if (sum_all(f, line) == 0)
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
    fit.copy = is_copy(f);
    fit.is_pair = fit.segments >= SEGMENTS_MIN &&
                  ((fit.explained >= EXPLAINED_SHARE && same >= 0.5) || is_limited_pair(&fit) || is_ridden_pair(&fit));
    if (fit.is_pair && !fit.copy && is_steady(f, fit.gain, floor_a_dbfs))
        fit.is_pair = fabs(fit.offset_db) >= LEVEL_DB && agrees_without_hum(f);
    return fit;
}

struct tp_fit tp_fitter_fit(struct tp_fitter *f, uint32_t a, uint32_t b, double floor_a_dbfs, double floor_b_dbfs)
{
    struct tp_lag_line line;
    take_pair(f, a, b);
    if (sample_line(f, &line)) {
        struct tp_fit fit = fit_along(f, line, floor_a_dbfs, floor_b_dbfs);
        if (fit.is_pair || fit.roughly < NEAR_MISS)
            return fit;
    }
    line = full_line(f);
    if (line.used == 0)
        return (struct tp_fit){.drift = (double)NAN};
    return fit_along(f, line, floor_a_dbfs, floor_b_dbfs);
}
