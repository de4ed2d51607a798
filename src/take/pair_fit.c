/* SPDX-License-Identifier: MIT */
#include "take/pair_fit.h"

#include "base/num.h"
#include "take/pair_align.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/result.h>

#define SEGMENTS TP_OVERLAY_SEGMENTS
#define NEAR_MISS 0.25 /* share of segments roughly explained: then the lag of every excerpt is searched */
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
#define STEADY_OVER_FLOOR 10.0
#define WITHOUT_HUM 0.7 /* correlation */

struct tp_fitter {
    struct tp_alignment at;
    double *values, *weights;       /* excerpt_count x SEGMENTS */
    const struct tp_spans *dead[2]; /* or NULL */
};

struct tp_fitter *tp_fitter_new(const struct tp_evidence *evidence, struct tp_plans *plans)
{
    struct tp_fitter *f = calloc(1, sizeof *f);
    if (f == NULL || !tp_alignment_init(&f->at, evidence, plans)) {
        free(f);
        return NULL;
    }
    f->values = calloc((f->at.excerpt_count + 1) * SEGMENTS, sizeof *f->values);
    f->weights = calloc((f->at.excerpt_count + 1) * SEGMENTS, sizeof *f->weights);
    if (f->values == NULL || f->weights == NULL) {
        tp_fitter_free(f);
        return NULL;
    }
    return f;
}

void tp_fitter_free(struct tp_fitter *f)
{
    if (f == NULL)
        return;
    tp_alignment_clear(&f->at);
    free(f->values);
    free(f->weights);
    free(f);
}

double tp_fitter_energy(const struct tp_fitter *f, uint32_t channel)
{
    return tp_alignment_energy(&f->at, channel);
}

bool tp_fitter_screen(struct tp_fitter *f, const bool *wanted, bool *related)
{
    return tp_alignment_screen(&f->at, wanted, related);
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

void tp_fitter_leave_out(struct tp_fitter *f, const struct tp_spans *one, const struct tp_spans *other)
{
    f->dead[0] = one;
    f->dead[1] = other;
}

static bool is_left_out(const struct tp_fitter *f, uint64_t start_frame)
{
    for (size_t which = 0; which < 2; which++) {
        const struct tp_spans *dead = f->dead[which];
        for (size_t i = 0; dead != NULL && i < dead->count; i++)
            if (dead->items[i].start_frame < start_frame + f->at.frames && dead->items[i].end_frame > start_frame)
                return true;
    }
    return false;
}

static size_t leave_out(struct tp_fitter *f)
{
    size_t count = 0;
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        struct tp_look *look = &f->at.looks[i];
        if (!is_left_out(f, look->start_frame))
            continue;
        memset(look->segments, 0, sizeof look->segments);
        count++;
    }
    return count;
}

/* First idea of the gain, signed: weighted median of the segments' gains, by energy. */
static double first_gain(struct tp_fitter *f)
{
    size_t count = 0;
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct tp_overlay_segment *segment = &f->at.looks[i].segments[s];
            if (!tp_alignment_is_usable(&f->at, segment) || !(segment->aa > 0.0))
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
    for (size_t i = 0; i < f->at.excerpt_count; i++)
        for (size_t s = 0; s < SEGMENTS; s++)
            if (tp_alignment_is_usable(&f->at, &f->at.looks[i].segments[s]))
                f->values[count++] = residual_power(&f->at.looks[i].segments[s], gain);
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
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        double before_db = (double)NAN;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct tp_overlay_segment *segment = &f->at.looks[i].segments[s];
            /* An error of 0.1 dB at most: 40 dB between the sums and the noise. */
            bool clear = tp_alignment_is_usable(&f->at, segment) && segment->bb > 1e4 * noise &&
                         (segment->ab < 0.0) == (gain < 0.0);
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
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        struct tp_look *look = &f->at.looks[i];
        double aa = 0.0, ab = 0.0, bb = 0.0, count = 0.0;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct tp_overlay_segment *segment = &look->segments[s];
            if (!tp_alignment_is_usable(&f->at, segment))
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

static double look_offset_db(const struct tp_look *look)
{
    return tp_db_from_lin(look->gain);
}

/* Median offset of the looks whose level lies in a band of ranks, NaN when there are none. */
static double offset_at_levels(struct tp_fitter *f, double low_share, double high_share)
{
    size_t levels = 0, count = 0;
    for (size_t i = 0; i < f->at.excerpt_count; i++)
        if (f->at.looks[i].weight > 0.0)
            f->values[levels++] = f->at.looks[i].level;
    if (levels < 6)
        return (double)NAN;
    qsort(f->values, levels, sizeof *f->values, by_value);
    double low = quantile(f->values, levels, low_share), high = quantile(f->values, levels, high_share);
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        const struct tp_look *look = &f->at.looks[i];
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
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        for (size_t j = i + 1; j < f->at.excerpt_count; j++) {
            const struct tp_look *a = &f->at.looks[i], *b = &f->at.looks[j];
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
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        const struct tp_look *look = &f->at.looks[i];
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
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        const struct tp_look *look = &f->at.looks[i];
        if (look->weight > 0.0 && (look->gain < 0.0) == inverted &&
            fabs(look_offset_db(look) - fit->offset_db) < SAME_GAIN_DB + 3.0 / sqrt(look->weight))
            same += look->weight;
    }
    return same / total;
}

static bool is_copy(const struct tp_fitter *f)
{
    for (size_t i = 0; i < f->at.excerpt_count; i++)
        if (memcmp(tp_alignment_plane_a(&f->at, i), tp_alignment_plane_b(&f->at, i), f->at.frames * sizeof(float)) != 0)
            return false;
    return f->at.excerpt_count > 0;
}

/* Steady sound (hum, a tone, rain) does not vary with what a microphone hears, so correlation proves little: mains hum
 * is the same on any two inputs. The second difference takes the hum out; the rest must still agree. */
static bool is_steady(struct tp_fitter *f, double gain, double floor_a_dbfs)
{
    size_t count = 0;
    for (size_t i = 0; i < f->at.excerpt_count; i++) {
        double power = 0.0, samples = 0.0;
        for (size_t s = 0; s < SEGMENTS; s++) {
            const struct tp_overlay_segment *segment = &f->at.looks[i].segments[s];
            power += fmax(segment->bb, gain * gain * segment->aa);
            samples += segment->count;
        }
        if (samples >= (double)f->at.frames / 4.0)
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
    line = tp_alignment_refine(&f->at, line, &fit.drift);
    fit.lag = line.start;
    if (tp_alignment_sum(&f->at, line) == 0)
        return fit;
    fit.left_out = leave_out(f);
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
        fit.is_pair = fabs(fit.offset_db) >= LEVEL_DB && tp_alignment_without_hum(&f->at) >= WITHOUT_HUM;
    return fit;
}

struct tp_fit tp_fitter_fit(struct tp_fitter *f, uint32_t a, uint32_t b, double floor_a_dbfs, double floor_b_dbfs)
{
    struct tp_lag_line line;
    tp_alignment_take(&f->at, a, b);
    if (tp_alignment_sample(&f->at, &line)) {
        struct tp_fit fit = fit_along(f, line, floor_a_dbfs, floor_b_dbfs);
        if (fit.is_pair || fit.roughly < NEAR_MISS)
            return fit;
    }
    line = tp_alignment_search(&f->at);
    if (line.used == 0)
        return (struct tp_fit){.drift = (double)NAN};
    return fit_along(f, line, floor_a_dbfs, floor_b_dbfs);
}
