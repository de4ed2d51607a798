/* SPDX-License-Identifier: MIT */
#include "take/pair_align.h"

#include "take/pair_screen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SEGMENTS TP_OVERLAY_SEGMENTS
#define SCREEN_EXCERPTS 6
#define SCREEN_CORRELATION 0.75
#define SAMPLES 4 /* excerpts whose lag is searched first */
#define SAMPLES_TOLERANCE_FRAMES 1.0
#define WHOLE_FRAME 0.005 /* nearer than this to a whole lag nothing is interpolated */
#define LEAST_OVERLAP 0.35
#define DRIFT_SPAN_S 10.0

static void measure_excerpts(struct tp_alignment *al, const struct tp_evidence *evidence)
{
    double frames = (double)al->frames, sum;
    for (size_t i = 0; i < al->excerpt_count; i++) {
        struct tp_excerpt excerpt = tp_evidence_excerpt(evidence, i);
        al->looks[i].start_frame = excerpt.start_frame;
        al->looks[i].channels = excerpt.channels;
        al->points[i].time_frames = (double)excerpt.start_frame + 0.5 * frames;
        for (uint32_t c = 0; c < al->channel_count; c++) {
            double *energy = &al->energies[c * al->excerpt_count + i];
            tp_lag_power(excerpt.channels[c], al->frames, &sum, energy);
            al->variances[c * al->excerpt_count + i] = (*energy - sum * sum / frames) / frames;
        }
    }
}

bool tp_alignment_init(struct tp_alignment *al, const struct tp_evidence *evidence, struct tp_plans *plans)
{
    *al = (struct tp_alignment){.excerpt_count = tp_evidence_excerpt_count(evidence),
                                .frames = tp_evidence_excerpt_frames(evidence),
                                .channel_count = tp_evidence_channel_count(evidence),
                                .sample_rate_hz = tp_evidence_sample_rate_hz(evidence),
                                .plans = plans};
    al->finder = tp_lag_finder_new(al->frames, plans);
    al->overlay = tp_overlay_new(al->frames);
    al->looks = calloc(al->excerpt_count + 1, sizeof *al->looks);
    al->points = calloc(al->excerpt_count + 1, sizeof *al->points);
    al->energies = calloc(al->excerpt_count * al->channel_count + 1, sizeof *al->energies);
    al->variances = calloc(al->excerpt_count * al->channel_count + 1, sizeof *al->variances);
    if (al->finder == NULL || al->overlay == NULL || al->looks == NULL || al->points == NULL || al->energies == NULL ||
        al->variances == NULL) {
        tp_alignment_clear(al);
        return false;
    }
    measure_excerpts(al, evidence);
    return true;
}

void tp_alignment_clear(struct tp_alignment *al)
{
    tp_lag_finder_free(al->finder);
    tp_overlay_free(al->overlay);
    free(al->looks);
    free(al->points);
    free(al->energies);
    free(al->variances);
    *al = (struct tp_alignment){0};
}

const float *tp_alignment_plane_a(const struct tp_alignment *al, size_t excerpt)
{
    return al->looks[excerpt].channels[al->a];
}

const float *tp_alignment_plane_b(const struct tp_alignment *al, size_t excerpt)
{
    return al->looks[excerpt].channels[al->b];
}

void tp_alignment_take(struct tp_alignment *al, uint32_t a, uint32_t b)
{
    if (al->a == a && al->b == b)
        return;
    al->a = a;
    al->b = b;
    for (size_t i = 0; i < al->excerpt_count; i++)
        al->looks[i].searched = false;
}

/* Lag and correlation of one excerpt through the FFT, once a pair. */
static const struct tp_look *search(struct tp_alignment *al, size_t excerpt)
{
    struct tp_look *look = &al->looks[excerpt];
    if (look->searched)
        return look;
    int64_t lag = 0;
    if (!tp_lag_find(al->finder, tp_alignment_plane_a(al, excerpt), tp_alignment_plane_b(al, excerpt), &lag,
                     &look->coarse_correlation))
        look->coarse_correlation = 0.0;
    look->coarse_lag = (double)lag;
    look->searched = true;
    return look;
}

/* How loud both are together in one excerpt. */
static double loudness(const struct tp_alignment *al, size_t excerpt, uint32_t a, uint32_t b)
{
    return al->variances[a * al->excerpt_count + excerpt] * al->variances[b * al->excerpt_count + excerpt];
}

/* The loudest excerpt of from … to; `to` when none has any sound. */
static size_t loudest(const struct tp_alignment *al, size_t from, size_t to)
{
    double most = 0.0;
    size_t at = to;
    for (size_t i = from; i < to; i++) {
        if (loudness(al, i, al->a, al->b) > most) {
            most = loudness(al, i, al->a, al->b);
            at = i;
        }
    }
    return at;
}

/* Whether the excerpt is one of the few loudest for these two. */
static bool is_worth_screening(const struct tp_alignment *al, size_t excerpt, uint32_t a, uint32_t b)
{
    double here = loudness(al, excerpt, a, b);
    size_t before = 0;
    for (size_t i = 0; i < al->excerpt_count && here > 0.0 && before < SCREEN_EXCERPTS; i++)
        before += loudness(al, i, a, b) > here || (i < excerpt && loudness(al, i, a, b) == here);
    return here > 0.0 && before < SCREEN_EXCERPTS;
}

/* Which pairs excerpt `excerpt` is to be screened for; `used`: the channels of these. False when there are none. */
static bool ask(const struct tp_alignment *al, size_t excerpt, const bool *wanted, const bool *related, bool *asked,
                bool *used)
{
    bool any = false;
    memset(used, 0, al->channel_count * sizeof *used);
    for (uint32_t a = 0; a < al->channel_count; a++) {
        for (uint32_t b = a + 1; b < al->channel_count; b++) {
            size_t pair = (size_t)a * al->channel_count + b;
            asked[pair] = wanted[a] && wanted[b] && !related[pair] && is_worth_screening(al, excerpt, a, b);
            used[a] = used[a] || asked[pair];
            used[b] = used[b] || asked[pair];
            any = any || asked[pair];
        }
    }
    return any;
}

double tp_alignment_energy(const struct tp_alignment *al, uint32_t channel)
{
    double sum = 0.0;
    for (size_t i = 0; i < al->excerpt_count; i++)
        sum += al->energies[channel * al->excerpt_count + i];
    return sum;
}

/* Of two channels alone: what the search gives is needed later on, and costs no more. */
static void screen_two(struct tp_alignment *al, bool *related)
{
    bool swapped = tp_alignment_energy(al, 1) > tp_alignment_energy(al, 0); /* as they will be fitted */
    tp_alignment_take(al, swapped ? 1 : 0, swapped ? 0 : 1);
    for (size_t i = 0; i < al->excerpt_count && !related[1]; i++)
        related[1] = is_worth_screening(al, i, 0, 1) && fabs(search(al, i)->coarse_correlation) >= SCREEN_CORRELATION;
}

bool tp_alignment_screen(struct tp_alignment *al, const bool *wanted, bool *related)
{
    if (al->channel_count == 2 && al->frames <= TP_SCREEN_ONE_BLOCK) {
        if (wanted[0] && wanted[1])
            screen_two(al, related);
        return true;
    }
    size_t pairs = (size_t)al->channel_count * al->channel_count;
    struct tp_screen *screen = tp_screen_new(al->frames, al->channel_count, al->plans);
    bool *asked = calloc(pairs, sizeof *asked), *used = calloc(al->channel_count, sizeof *used);
    bool good = screen != NULL && asked != NULL && used != NULL;
    for (size_t i = 0; good && i < al->excerpt_count; i++) {
        if (!ask(al, i, wanted, related, asked, used))
            continue;
        for (uint32_t c = 0; c < al->channel_count; c++)
            if (used[c])
                tp_screen_set(screen, c, al->looks[i].channels[c]);
        tp_screen_keep(screen, asked, SCREEN_CORRELATION);
        for (size_t pair = 0; pair < pairs; pair++)
            related[pair] = related[pair] || asked[pair];
    }
    tp_screen_free(screen);
    free(asked);
    free(used);
    return good;
}

bool tp_alignment_is_usable(const struct tp_alignment *al, const struct tp_overlay_segment *s)
{
    return s->count >= (double)al->frames / SEGMENTS / 4.0;
}

/* The line through the searched excerpts; `good_from`: the least correlation that counts. */
static struct tp_lag_line coarse_line(struct tp_alignment *al, double good_from)
{
    for (size_t i = 0; i < al->excerpt_count; i++) {
        const struct tp_look *look = &al->looks[i];
        al->points[i].lag = look->coarse_lag;
        al->points[i].weight = look->searched && fabs(look->coarse_correlation) >= good_from ? 1.0 : 0.0;
    }
    struct tp_lag_line line = tp_lag_line_robust(al->finder, al->points, al->excerpt_count);
    if (fabs(line.slope) * line.span_frames < 1.5) {
        line.start += line.slope * (line.span_frames / 2.0);
        line.slope = 0.0;
        line.start = round(line.start);
    }
    return line;
}

struct tp_lag_line tp_alignment_search(struct tp_alignment *al)
{
    double best = 0.0;
    for (size_t i = 0; i < al->excerpt_count; i++)
        best = fmax(best, fabs(search(al, i)->coarse_correlation));
    return coarse_line(al, fmax(SCREEN_CORRELATION, 0.85 * best));
}

static double line_at(struct tp_lag_line line, double time_frames)
{
    return line.start + line.slope * time_frames;
}

/* The search is what costs. Where the loudest excerpts of all four quarters are clear and agree, there is no need to
 * search the others. */
bool tp_alignment_sample(struct tp_alignment *al, struct tp_lag_line *line)
{
    size_t at[SAMPLES];
    double best = 0.0;
    if (al->excerpt_count < 2 * SAMPLES)
        return false;
    for (size_t s = 0; s < SAMPLES; s++) {
        size_t to = (s + 1) * al->excerpt_count / SAMPLES;
        at[s] = loudest(al, s * al->excerpt_count / SAMPLES, to);
        if (at[s] == to || fabs(search(al, at[s])->coarse_correlation) < SCREEN_CORRELATION)
            return false;
        best = fmax(best, fabs(al->looks[at[s]].coarse_correlation));
    }
    *line = coarse_line(al, fmax(SCREEN_CORRELATION, 0.85 * best));
    for (size_t s = 0; s < SAMPLES; s++) {
        const struct tp_lag_point *point = &al->points[at[s]];
        if (point->weight <= 0.0 || fabs(point->lag - line_at(*line, point->time_frames)) > SAMPLES_TOLERANCE_FRAMES)
            return false;
    }
    return true;
}

/* Lays the excerpt along the line; false where too little of both would lie on each other. */
static bool lay(struct tp_alignment *al, size_t excerpt, struct tp_lag_line line, double *rest)
{
    double wanted = line_at(line, al->points[excerpt].time_frames);
    struct tp_look *look = &al->looks[excerpt];
    look->lag = 0;
    if (!(fabs(wanted) <= (1.0 - LEAST_OVERLAP) * (double)al->frames))
        return false;
    look->lag = (int64_t)round(wanted);
    *rest = wanted - round(wanted);
    tp_overlay_lay(al->overlay, tp_alignment_plane_a(al, excerpt), tp_alignment_plane_b(al, excerpt), look->lag);
    return true;
}

/* From each excerpt by itself when they drift, else from all together. */
struct tp_lag_line tp_alignment_refine(struct tp_alignment *al, struct tp_lag_line line, double *drift)
{
    double pooled[TP_LAG_SHIFTS] = {0}, pooled_energy[TP_LAG_SHIFTS] = {0};
    double r[TP_LAG_SHIFTS], energy_a[TP_LAG_SHIFTS], rest;
    for (size_t i = 0; i < al->excerpt_count; i++) {
        struct tp_look *look = &al->looks[i];
        struct tp_lag_point *point = &al->points[i];
        point->weight = 0.0;
        look->summed = lay(al, i, line, &rest);
        memset(look->segments, 0, sizeof look->segments);
        if (!look->summed)
            continue;
        tp_overlay_sum(al->overlay, NULL, look->segments);
        tp_overlay_correlate(al->overlay, r, energy_a);
        double sign = r[TP_LAG_TAPS] < 0.0 ? -1.0 : 1.0;
        for (int k = 0; k < TP_LAG_SHIFTS; k++) {
            r[k] *= sign;
            pooled[k] += r[k];
            pooled_energy[k] += energy_a[k];
        }
        if (!(energy_a[TP_LAG_TAPS] > 0.0))
            continue;
        point->lag = (double)look->lag + tp_lag_peak_position(al->finder, r, energy_a);
        point->weight = energy_a[TP_LAG_TAPS];
    }
    struct tp_lag_line refined = tp_lag_line_refine(al->points, al->excerpt_count, line, 1.5);
    bool long_enough = refined.used >= 6 && refined.span_frames >= DRIFT_SPAN_S * (double)al->sample_rate_hz;
    *drift = long_enough ? refined.slope : (double)NAN;
    bool drifts = long_enough && fabs(refined.slope) * refined.span_frames > 0.25 &&
                  fabs(refined.slope) > 5.0 * refined.slope_error;
    if (drifts || line.slope != 0.0)
        return refined;
    line.start += tp_lag_peak_position(al->finder, pooled, pooled_energy);
    return line;
}

/* Mostly the sums at whole frames will do. */
size_t tp_alignment_sum(struct tp_alignment *al, struct tp_lag_line line)
{
    size_t usable = 0;
    double taps[TP_LAG_SHIFTS], rest;
    for (size_t i = 0; i < al->excerpt_count; i++) {
        struct tp_look *look = &al->looks[i];
        double wanted = line_at(line, al->points[i].time_frames);
        if (!look->summed || fabs(wanted - (double)look->lag) >= WHOLE_FRAME) {
            memset(look->segments, 0, sizeof look->segments);
            if (!lay(al, i, line, &rest))
                continue;
            /* What b holds at i + lag, a holds at i - rest. */
            tp_lag_taps(al->finder, -rest, taps);
            tp_overlay_sum(al->overlay, fabs(rest) < WHOLE_FRAME ? NULL : taps, look->segments);
        }
        for (size_t s = 0; s < SEGMENTS; s++)
            usable += tp_alignment_is_usable(al, &look->segments[s]);
    }
    return usable;
}

double tp_alignment_without_hum(struct tp_alignment *al)
{
    double aa = 0.0, ab = 0.0, bb = 0.0;
    for (size_t i = 0; i < al->excerpt_count; i++) {
        tp_overlay_lay(al->overlay, tp_alignment_plane_a(al, i), tp_alignment_plane_b(al, i), al->looks[i].lag);
        struct tp_overlay_segment sums = tp_overlay_sum_curvature(al->overlay);
        aa += sums.aa;
        ab += sums.ab;
        bb += sums.bb;
    }
    return aa > 0.0 && bb > 0.0 ? fabs(ab) / sqrt(aa * bb) : 0.0;
}
