/* SPDX-License-Identifier: MIT */
#include "take/splice_plan.h"

#include "base/num.h"
#include "take/choose.h"

#include <stdlib.h>
#include <string.h>

#define PI 3.14159265358979323846
/* Under this the two are taken as unrelated. Common practice, no source. */
#define ALIKE_CORRELATION 0.5
/* How far beside the damage the gain is measured, where it changes. */
#define LOCAL_GAIN_GUARDS 4

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to plan the splices");
}

static uint64_t earliest_run(const struct tp_channel *levels, const struct tp_span *span)
{
    uint64_t found = span->end_frame;
    for (size_t i = 0; i < levels->clip_count; i++)
        if (levels->clips[i].start_frame >= span->start_frame && levels->clips[i].start_frame < found)
            found = levels->clips[i].start_frame;
    for (size_t i = 0; i < levels->flat_top_count; i++)
        if (levels->flat_tops[i].start_frame >= span->start_frame && levels->flat_tops[i].start_frame < found)
            found = levels->flat_tops[i].start_frame;
    return found;
}

static uint64_t latest_run(const struct tp_channel *levels, const struct tp_span *span)
{
    uint64_t found = span->start_frame;
    for (size_t i = 0; i < levels->clip_count; i++) {
        uint64_t end = levels->clips[i].start_frame + levels->clips[i].frames;
        if (end <= span->end_frame && end > found)
            found = end;
    }
    for (size_t i = 0; i < levels->flat_top_count; i++) {
        uint64_t end = levels->flat_tops[i].start_frame + levels->flat_tops[i].frames;
        if (end <= span->end_frame && end > found)
            found = end;
    }
    return found;
}

/* The damage itself, without the guard that the span holds around runs. Where no listed run explains the guard (a
 * dropout, or a run past the list's cap) the span's edge is taken for the damage's. */
static void core_of(const struct tp_channel *levels, const struct tp_span *span, uint64_t guard, uint64_t frames,
                    struct tp_splice_region *region)
{
    region->core_start = span->start_frame;
    region->core_end = span->end_frame < frames ? span->end_frame : frames;
    uint64_t first = earliest_run(levels, span), last = latest_run(levels, span);
    if (first == span->start_frame + guard || (span->start_frame == 0 && first < guard))
        region->core_start = first;
    if (last + guard == span->end_frame || (span->end_frame >= frames && last + guard > frames))
        region->core_end = last;
}

/* One or two samples at full scale count as no damage by themselves, but beside a clip run they are part of the same
 * shout and must not be faded through: the core grows over those within the guard, as long as the safety is whole. */
struct widening {
    struct tp_splice_source *main;
    const struct tp_spans *safety_damage;
    double full_scale; /* 0: nothing clips */
    uint64_t guard, frames;
    double *samples; /* guard */
};

static double lowest_clip(const struct tp_channel *levels)
{
    double lowest = 0.0;
    for (size_t i = 0; i < levels->clip_count; i++) {
        double level = tp_lin_from_db(levels->clips[i].level_dbfs);
        lowest = i == 0 || level < lowest ? level : lowest;
    }
    return lowest * (1.0 - 1e-6);
}

static bool is_whole(const struct tp_spans *damage, uint64_t from, uint64_t to, int64_t lag)
{
    for (size_t i = 0; i < damage->count; i++)
        if ((int64_t)damage->items[i].start_frame - lag < (int64_t)to &&
            (int64_t)damage->items[i].end_frame - lag > (int64_t)from)
            return false;
    return true;
}

/* Looks at [from, to) of the main; *at gets the first or last frame at full scale. */
static enum tp_status find_full_scale(const struct widening *w, uint64_t from, uint64_t to, bool first, bool *found,
                                      uint64_t *at, struct tp_error *error)
{
    size_t count = (size_t)(to - from);
    enum tp_status status = tp_splice_source_read(w->main, (int64_t)from, count, w->samples, error);
    *found = false;
    for (size_t i = 0; status == TP_OK && i < count && !(first && *found); i++) {
        if (fabs(w->samples[i]) < w->full_scale)
            continue;
        *found = true;
        *at = from + i;
    }
    return status;
}

static enum tp_status widen_region(const struct widening *w, struct tp_splice_region *r, struct tp_error *error)
{
    bool found = true;
    enum tp_status status = TP_OK;
    while (status == TP_OK && found && r->core_start > 0) {
        uint64_t from = r->core_start > w->guard ? r->core_start - w->guard : 0, at = 0;
        status = find_full_scale(w, from, r->core_start, true, &found, &at, error);
        if (!found || !is_whole(w->safety_damage, at > w->guard ? at - w->guard : 0, r->core_start, r->lag))
            break;
        r->core_start = at;
    }
    found = true;
    while (status == TP_OK && found && r->core_end < w->frames) {
        uint64_t to = w->frames - r->core_end > w->guard ? r->core_end + w->guard : w->frames, at = 0;
        status = find_full_scale(w, r->core_end, to, false, &found, &at, error);
        if (!found || !is_whole(w->safety_damage, r->core_end, at + 1 + w->guard, r->lag))
            break;
        r->core_end = at + 1;
    }
    return status;
}

static enum tp_status widen_regions(struct tp_splice_plan *plan, struct widening *w, struct tp_error *error)
{
    if (!(w->full_scale > 0.0))
        return TP_OK;
    w->samples = malloc((size_t)(w->guard + 1) * sizeof *w->samples);
    enum tp_status status = w->samples == NULL ? no_memory(error) : TP_OK;
    for (size_t i = 0; i < plan->count && status == TP_OK; i++)
        status = widen_region(w, &plan->regions[i], error);
    free(w->samples);
    return status;
}

/* Least squares of main on safety over [from, to), where neither is at full scale; `otherwise` when there is too little
 * to tell, or it is far from the pair's own gain. */
static enum tp_status local_gain(const struct widening *w, struct tp_splice_source *safety, uint64_t from, uint64_t to,
                                 int64_t lag, double otherwise, double *gain, struct tp_error *error)
{
    size_t count = (size_t)(to - from);
    double *other = malloc((count + 1) * sizeof *other), *own = malloc((count + 1) * sizeof *own);
    enum tp_status status = own == NULL || other == NULL ? no_memory(error) : TP_OK;
    if (status == TP_OK)
        status = tp_splice_source_read(w->main, (int64_t)from, count, own, error);
    if (status == TP_OK)
        status = tp_splice_source_read(safety, (int64_t)from + lag, count, other, error);
    double ms = 0.0, ss = 0.0, mm = 0.0;
    for (size_t i = 0; status == TP_OK && i < count; i++) {
        if (w->full_scale > 0.0 && fabs(own[i]) >= w->full_scale)
            continue;
        mm += own[i] * own[i];
        ms += own[i] * other[i];
        ss += other[i] * other[i];
    }
    free(own);
    free(other);
    double found = ss > 0.0 ? ms / ss : 0.0;
    bool alike = ms * otherwise > 0.0 && ms * ms > 0.9 * mm * ss;
    bool near = fabs(found) > 0.1 * fabs(otherwise) && fabs(found) < 10.0 * fabs(otherwise);
    *gain = alike && near ? found : otherwise;
    return status;
}

/* Gains beside each region, for a pair whose offset changes. */
static enum tp_status ride_gains(struct tp_splice_plan *plan, const struct widening *w, struct tp_splice_source *safety,
                                 struct tp_error *error)
{
    enum tp_status status = TP_OK;
    uint64_t beside = LOCAL_GAIN_GUARDS * w->guard;
    for (size_t i = 0; i < plan->count && status == TP_OK; i++) {
        struct tp_splice_region *r = &plan->regions[i];
        uint64_t from = r->core_start > beside ? r->core_start - beside : 0;
        uint64_t to = w->frames - r->core_end > beside ? r->core_end + beside : w->frames;
        status = local_gain(w, safety, from, r->core_start, r->lag, plan->gain, &r->gain_in, error);
        if (status == TP_OK)
            status = local_gain(w, safety, r->core_end, to, r->lag, plan->gain, &r->gain_out, error);
    }
    return status;
}

/* Place of the quietest stretch of `fade` frames in `count`, by the energy of both signals. */
static size_t quietest(const double *main, const double *safety, size_t count, size_t fade)
{
    double energy = 0.0, least;
    size_t place = 0;
    for (size_t i = 0; i < fade; i++)
        energy += main[i] * main[i] + safety[i] * safety[i];
    least = energy;
    for (size_t i = fade; i < count; i++) {
        energy += main[i] * main[i] + safety[i] * safety[i];
        energy -= main[i - fade] * main[i - fade] + safety[i - fade] * safety[i - fade];
        if (energy < least) {
            least = energy;
            place = i + 1 - fade;
        }
    }
    return place;
}

static bool is_unlike(const double *main, const double *safety, size_t count)
{
    double mm = 0.0, ms = 0.0, ss = 0.0;
    for (size_t i = 0; i < count; i++) {
        mm += main[i] * main[i];
        ms += main[i] * safety[i];
        ss += safety[i] * safety[i];
    }
    return ms < ALIKE_CORRELATION * sqrt(mm * ss);
}

/* Puts a fade of at most `longest` frames into [from, to). */
static enum tp_status place_fade(const struct tp_splice_region *region, uint64_t from, uint64_t to, uint32_t longest,
                                 struct tp_splice_source *main, struct tp_splice_source *safety, double *scratch,
                                 struct tp_splice_fade *fade, struct tp_error *error)
{
    size_t room = (size_t)(to - from);
    size_t frames = room < longest ? room : longest;
    *fade = (struct tp_splice_fade){.start_frame = from, .frames = (uint32_t)frames};
    if (frames == 0)
        return TP_OK;
    double *other = scratch + room;
    enum tp_status status = tp_splice_source_read(main, (int64_t)from, room, scratch, error);
    if (status == TP_OK)
        status = tp_splice_source_read(safety, (int64_t)from + region->lag, room, other, error);
    if (status != TP_OK)
        return status;
    double gain = from < region->core_start ? region->gain_in : region->gain_out;
    for (size_t i = 0; i < room; i++)
        other[i] *= gain;
    size_t place = quietest(scratch, other, room, frames);
    fade->start_frame = from + place;
    fade->equal_power = is_unlike(scratch + place, other + place, frames);
    return TP_OK;
}

/* Regions whose guards touch become one: between them there would be no room for two fades. */
static void join_regions(struct tp_splice_plan *plan, uint64_t guard)
{
    size_t kept = 0;
    for (size_t i = 1; i < plan->count; i++) {
        struct tp_splice_region *last = &plan->regions[kept], *next = &plan->regions[i];
        if (next->core_start < last->core_end + 2 * guard) {
            last->core_start = next->core_start < last->core_start ? next->core_start : last->core_start;
            last->core_end = next->core_end > last->core_end ? next->core_end : last->core_end;
            last->splice_count += next->splice_count;
        } else {
            plan->regions[++kept] = *next;
        }
    }
    plan->count = plan->count > 0 ? kept + 1 : 0;
}

static enum tp_status place_fades(struct tp_splice_plan *plan, uint64_t guard, uint32_t longest,
                                  struct tp_splice_source *main, struct tp_splice_source *safety,
                                  struct tp_error *error)
{
    uint64_t frames = tp_splice_source_frames(main);
    double *scratch = malloc((size_t)(2 * guard + 2) * sizeof *scratch);
    if (scratch == NULL)
        return no_memory(error);
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < plan->count && status == TP_OK; i++) {
        struct tp_splice_region *r = &plan->regions[i];
        uint64_t from = r->core_start > guard ? r->core_start - guard : 0;
        uint64_t to = frames - r->core_end > guard ? r->core_end + guard : frames;
        status = place_fade(r, from, r->core_start, longest, main, safety, scratch, &r->in, error);
        if (status == TP_OK)
            status = place_fade(r, r->core_end, to, longest, main, safety, scratch, &r->out, error);
    }
    free(scratch);
    return status;
}

static void plan_spans(struct tp_splice_plan *plan, const struct tp_pair *pair, const struct tp_channel *levels,
                       uint64_t guard, uint64_t frames)
{
    for (size_t i = 0; i < levels->damage.count; i++) {
        const struct tp_span *span = &levels->damage.items[i];
        if (span->start_frame >= frames)
            break;
        struct tp_splice_region *r = &plan->regions[plan->count++];
        *r = (struct tp_splice_region){.first_splice = i, .splice_count = 1};
        core_of(levels, span, guard, frames, r);
        r->lag = tp_choose_lag_at(pair->lag_samples, pair->lag_fraction, pair->drift_ppm, r->core_start);
    }
}

enum tp_status tp_splice_plan_make(struct tp_splice_plan *plan, const struct tp_pair *pair,
                                   const struct tp_channel *main_levels, const struct tp_channel *safety_levels,
                                   uint32_t sample_rate_hz, bool whole, struct tp_splice_source *main,
                                   struct tp_splice_source *safety, struct tp_error *error)
{
    uint64_t frames = tp_splice_source_frames(main), guard = sample_rate_hz / 100;
    *plan = (struct tp_splice_plan){.gain = tp_lin_from_db(-pair->offset_db) * (pair->inverted ? -1.0 : 1.0)};
    plan->regions = calloc(main_levels->damage.count + 1, sizeof *plan->regions);
    if (plan->regions == NULL)
        return no_memory(error);
    if (whole) {
        plan->regions[plan->count++] = (struct tp_splice_region){
            .core_end = frames,
            .gain_in = plan->gain,
            .gain_out = plan->gain,
            .in = {.start_frame = 0},
            .out = {.start_frame = frames},
            .lag = tp_choose_lag_at(pair->lag_samples, pair->lag_fraction, pair->drift_ppm, frames / 2),
            .splice_count = pair->splice_count};
        return TP_OK;
    }
    plan_spans(plan, pair, main_levels, guard, frames);
    struct widening widening = {.main = main,
                                .safety_damage = &safety_levels->damage,
                                .full_scale = lowest_clip(main_levels),
                                .guard = guard,
                                .frames = frames};
    enum tp_status status = widen_regions(plan, &widening, error);
    if (status != TP_OK)
        return status;
    join_regions(plan, guard);
    for (size_t i = 0; i < plan->count; i++)
        plan->regions[i].gain_in = plan->regions[i].gain_out = plan->gain;
    if (pair->offset_range_db > TP_PAIR_LEVEL_CHANGE_DB)
        status = ride_gains(plan, &widening, safety, error);
    if (status != TP_OK)
        return status;
    return place_fades(plan, guard, (uint32_t)(TP_SPLICE_FADE_S * (double)sample_rate_hz), main, safety, error);
}

void tp_splice_plan_clear(struct tp_splice_plan *plan)
{
    free(plan->regions);
    *plan = (struct tp_splice_plan){0};
}

/* Shares of main and safety at a frame of a region. */
static void shares(const struct tp_splice_region *r, uint64_t frame, double *main_share, double *safety_share)
{
    const struct tp_splice_fade *fade = NULL;
    bool rising = true;
    if (frame < r->in.start_frame + r->in.frames) {
        fade = &r->in;
    } else if (frame >= r->out.start_frame) {
        fade = &r->out;
        rising = false;
    }
    *main_share = 0.0;
    *safety_share = 1.0;
    if (fade == NULL)
        return;
    double turn = ((double)(frame - fade->start_frame) + 1.0) / ((double)fade->frames + 1.0);
    double angle = 0.5 * PI * (rising ? turn : 1.0 - turn);
    *safety_share = fade->equal_power ? sin(angle) : sin(angle) * sin(angle);
    *main_share = fade->equal_power ? cos(angle) : cos(angle) * cos(angle);
}

static double gain_at(const struct tp_splice_region *r, uint64_t frame)
{
    if (frame < r->core_start || r->core_end <= r->core_start)
        return r->gain_in;
    if (frame >= r->core_end)
        return r->gain_out;
    return r->gain_in +
           (r->gain_out - r->gain_in) * (double)(frame - r->core_start) / (double)(r->core_end - r->core_start);
}

static enum tp_status mix_region(const struct tp_splice_region *r, struct tp_splice_source *safety, uint64_t start,
                                 uint64_t end, double *samples, double *scratch, struct tp_error *error)
{
    enum tp_status status =
        tp_splice_source_read(safety, (int64_t)start + r->lag, (size_t)(end - start), scratch, error);
    for (uint64_t frame = start; status == TP_OK && frame < end; frame++) {
        double main_share, safety_share;
        size_t i = (size_t)(frame - start);
        shares(r, frame, &main_share, &safety_share);
        samples[i] = main_share * samples[i] + safety_share * gain_at(r, frame) * scratch[i];
    }
    return status;
}

/* First region that ends after `frame`. */
static size_t region_after(const struct tp_splice_plan *plan, uint64_t frame)
{
    size_t low = 0, high = plan->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (plan->regions[middle].out.start_frame + plan->regions[middle].out.frames > frame)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

enum tp_status tp_splice_mix(const struct tp_splice_plan *plan, struct tp_splice_source *main,
                             struct tp_splice_source *safety, uint64_t start, size_t frames, double *samples,
                             double *scratch, struct tp_error *error)
{
    enum tp_status status = tp_splice_source_read(main, (int64_t)start, frames, samples, error);
    uint64_t end = start + frames;
    for (size_t i = region_after(plan, start); status == TP_OK && i < plan->count; i++) {
        const struct tp_splice_region *r = &plan->regions[i];
        if (r->in.start_frame >= end)
            break;
        uint64_t from = r->in.start_frame > start ? r->in.start_frame : start;
        uint64_t region_end = r->out.start_frame + r->out.frames, to = region_end < end ? region_end : end;
        status = mix_region(r, safety, from, to, samples + (from - start), scratch, error);
    }
    return status;
}
