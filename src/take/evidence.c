/* SPDX-License-Identifier: MIT */
#include "take/evidence.h"

#include "base/vector.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum kind { KIND_LOUD, KIND_MODERATE, KIND_COUNT };

/* Samples from here on are taken as touching full scale: the excerpt is worth less for them. */
#define NEAR_FULL_SCALE 0.985f
/* Under this level a channel counts as inactive; activity grows over the range above it. */
#define INACTIVE_DBFS (-80.0f)
#define ACTIVE_RANGE_DB 80.0f
#define MODERATE_BELOW_DB 16.0f
#define MODERATE_WIDTH_DB 24.0f
#define LANE_VECTORS 4

/* Samples of one excerpt: channel_count planes one after the other. Often a slot's loudest and its moderate excerpt are
 * the same. */
struct stretch {
    uint64_t start_frame;
    unsigned users;
    struct stretch *next; /* of the spare ones */
    float *samples;
    float **planes;
};

struct keep {
    struct stretch *stretch; /* NULL = nothing kept */
    float *activity;         /* channel_count, 0 … 1 */
};

struct tp_evidence {
    uint32_t channel_count;
    uint32_t sample_rate_hz;
    size_t excerpt_frames;
    size_t slot_count; /* even */
    uint64_t blocks_per_slot;
    uint64_t frames; /* pushed */
    size_t staged;   /* frames in `stage` */
    struct stretch *stage;
    struct stretch *spares;
    struct keep *keeps;   /* slot_count x KIND_COUNT */
    float *activities;    /* of the keeps */
    float *level_dbfs;    /* channel_count: RMS of the block at hand */
    float *loudest_dbfs;  /* channel_count: so far */
    float *candidate;     /* channel_count: activity of the block at hand */
    float *coverage;      /* KIND_COUNT x channel_count: sum of activity over all slots */
    const float **planes; /* scratch: the block at hand */
};

static void stretch_free(struct stretch *stretch)
{
    if (stretch == NULL)
        return;
    free(stretch->samples);
    free(stretch->planes);
    free(stretch);
}

/* Its samples are anything. */
static struct stretch *stretch_new(uint32_t channel_count, size_t frames)
{
    struct stretch *stretch = calloc(1, sizeof *stretch);
    if (stretch == NULL)
        return NULL;
    stretch->samples = malloc(frames * channel_count * sizeof *stretch->samples);
    stretch->planes = calloc(channel_count, sizeof *stretch->planes);
    if (stretch->samples == NULL || stretch->planes == NULL) {
        stretch_free(stretch);
        return NULL;
    }
    for (uint32_t c = 0; c < channel_count; c++)
        stretch->planes[c] = stretch->samples + c * frames;
    return stretch;
}

/* Its memory is used again for the next. */
static void stretch_leave(struct tp_evidence *e, struct stretch *stretch)
{
    if (stretch == NULL || --stretch->users > 0)
        return;
    stretch->next = e->spares;
    e->spares = stretch;
}

/* Longer excerpts at high rates, so that the same stretch of time is compared. */
static size_t excerpt_frames_for(uint32_t sample_rate_hz)
{
    size_t frames = 4096;
    for (uint32_t rate = sample_rate_hz; rate > 64000 && frames < 32768; rate /= 2)
        frames *= 2;
    return frames;
}

static size_t slot_count_for(uint32_t channel_count, size_t excerpt_frames)
{
    size_t bytes = excerpt_frames * channel_count * sizeof(float) * KIND_COUNT;
    size_t slots = TP_EVIDENCE_BYTES_MAX / bytes;
    if (slots > TP_EVIDENCE_SLOTS)
        slots = TP_EVIDENCE_SLOTS;
    return slots < 4 ? 4 : slots & ~(size_t)1;
}

struct tp_evidence *tp_evidence_new(uint32_t channel_count, uint32_t sample_rate_hz)
{
    if (channel_count == 0 || channel_count > 1024)
        return NULL;
    struct tp_evidence *e = calloc(1, sizeof *e);
    if (e == NULL)
        return NULL;
    e->channel_count = channel_count;
    e->sample_rate_hz = sample_rate_hz;
    e->excerpt_frames = excerpt_frames_for(sample_rate_hz);
    e->slot_count = slot_count_for(channel_count, e->excerpt_frames);
    e->blocks_per_slot = 1;
    size_t keep_count = e->slot_count * KIND_COUNT;
    e->keeps = calloc(keep_count, sizeof *e->keeps);
    e->level_dbfs = calloc(channel_count, sizeof *e->level_dbfs);
    e->loudest_dbfs = calloc(channel_count, sizeof *e->loudest_dbfs);
    e->candidate = calloc(channel_count, sizeof *e->candidate);
    e->activities = calloc(keep_count * channel_count, sizeof *e->activities);
    e->stage = stretch_new(channel_count, e->excerpt_frames);
    e->coverage = calloc((size_t)channel_count * KIND_COUNT, sizeof *e->coverage);
    e->planes = calloc(channel_count, sizeof *e->planes);
    bool good = e->keeps != NULL && e->level_dbfs != NULL && e->loudest_dbfs != NULL && e->candidate != NULL &&
                e->coverage != NULL && e->planes != NULL && e->activities != NULL && e->stage != NULL;
    for (size_t i = 0; good && i < keep_count; i++)
        e->keeps[i].activity = e->activities + i * channel_count;
    for (uint32_t c = 0; good && c < channel_count; c++) {
        e->loudest_dbfs[c] = INACTIVE_DBFS;
        memset(e->stage->planes[c], 0, e->excerpt_frames * sizeof(float)); /* a recording may end before it is full */
    }
    if (!good) {
        tp_evidence_free(e);
        return NULL;
    }
    return e;
}

void tp_evidence_free(struct tp_evidence *e)
{
    if (e == NULL)
        return;
    for (size_t i = 0; e->keeps != NULL && i < e->slot_count * KIND_COUNT; i++)
        stretch_leave(e, e->keeps[i].stretch);
    while (e->spares != NULL) {
        struct stretch *spare = e->spares;
        e->spares = spare->next;
        stretch_free(spare);
    }
    stretch_free(e->stage);
    free(e->keeps);
    free(e->activities);
    free(e->level_dbfs);
    free(e->loudest_dbfs);
    free(e->candidate);
    free(e->coverage);
    free(e->planes);
    free(e);
}

/* Sum of squares; `largest` is the largest of the lanes' sums: no sample's square lies above it. */
TP_CLONES static double block_energy(const float *samples, size_t frames, float *largest)
{
    tp_v8f energy[LANE_VECTORS] = {{0}};
    for (size_t i = 0; i < frames; i += 8 * LANE_VECTORS) {
        for (size_t v = 0; v < LANE_VECTORS; v++) {
            tp_v8f x;
            TP_LOAD8(x, samples + i + 8 * v);
            energy[v] += x * x;
        }
    }
    double sum = 0.0;
    *largest = 0.0f;
    for (size_t v = 0; v < LANE_VECTORS; v++) {
        for (int lane = 0; lane < 8; lane++) {
            sum += (double)energy[v][lane];
            *largest = energy[v][lane] > *largest ? energy[v][lane] : *largest;
        }
    }
    return sum;
}

TP_CLONES static uint32_t count_near_full_scale(const float *samples, size_t frames)
{
    uint32_t near = 0;
    for (size_t i = 0; i < frames; i++)
        near += fabsf(samples[i]) >= NEAR_FULL_SCALE;
    return near;
}

/* RMS in dBFS and the share of samples near full scale. `sums`: of the block, or NULL. */
static float block_level(const float *samples, size_t frames, const struct tp_sums *sums, float *near_share)
{
    float largest;
    double sum;
    if (sums != NULL && sums->frames == frames) {
        largest = sums->peak * sums->peak;
        sum = sums->sum_squares;
    } else {
        sum = block_energy(samples, frames, &largest);
    }
    /* With room for rounding. */
    bool may_be_near = largest > 0.99f * NEAR_FULL_SCALE * NEAR_FULL_SCALE;
    *near_share = may_be_near ? (float)count_near_full_scale(samples, frames) / (float)frames : 0.0f;
    return sum > 0.0 ? (float)(10.0 * log10(sum / (double)frames)) : -200.0f;
}

static float loud_activity(float level_dbfs)
{
    float activity = (level_dbfs - INACTIVE_DBFS) / ACTIVE_RANGE_DB;
    return activity < 0.0f ? 0.0f : activity > 1.0f ? 1.0f : activity;
}

static float moderate_activity(float level_dbfs, float loudest_dbfs)
{
    if (level_dbfs <= INACTIVE_DBFS)
        return 0.0f;
    float away = fabsf(level_dbfs - (loudest_dbfs - MODERATE_BELOW_DB)) / MODERATE_WIDTH_DB;
    return away >= 1.0f ? 0.0f : 1.0f - away;
}

/* Whether the candidate serves the seldom covered channels better than what the slot holds. */
static bool is_better(const struct tp_evidence *e, enum kind kind, const struct keep *held)
{
    if (held->stretch == NULL)
        return true;
    const float *coverage = e->coverage + (size_t)kind * e->channel_count;
    float gain = 0.0f;
    for (uint32_t c = 0; c < e->channel_count; c++)
        gain += (e->candidate[c] - held->activity[c]) / (1.0f + coverage[c] - held->activity[c]);
    return gain > 0.0f;
}

static void coverage_add(struct tp_evidence *e, enum kind kind, const float *activity, float sign)
{
    float *coverage = e->coverage + (size_t)kind * e->channel_count;
    for (uint32_t c = 0; c < e->channel_count; c++)
        coverage[c] += sign * activity[c];
}

/* The block at hand, kept: the full stage itself, or a copy. Memory comes one by one: a short file costs little. NULL
 * without it. */
static struct stretch *block_keep(struct tp_evidence *e, uint64_t start_frame)
{
    struct stretch *copy = e->spares;
    if (copy != NULL)
        e->spares = copy->next;
    else
        copy = stretch_new(e->channel_count, e->excerpt_frames);
    if (copy == NULL)
        return NULL;
    if (e->planes[0] == e->stage->planes[0]) {
        struct stretch *full = e->stage;
        e->stage = copy;
        full->start_frame = start_frame;
        return full;
    }
    copy->start_frame = start_frame;
    for (uint32_t c = 0; c < e->channel_count; c++) {
        if (e->planes[c] != NULL)
            memcpy(copy->planes[c], e->planes[c], e->excerpt_frames * sizeof(float));
        else
            memset(copy->planes[c], 0, e->excerpt_frames * sizeof(float));
    }
    return copy;
}

/* `copy`: of the block at hand, made when first needed. */
static bool offer(struct tp_evidence *e, enum kind kind, size_t slot, uint64_t start_frame, struct stretch **copy)
{
    struct keep *held = &e->keeps[slot * KIND_COUNT + kind];
    if (!is_better(e, kind, held))
        return true;
    if (*copy == NULL)
        *copy = block_keep(e, start_frame);
    if (*copy == NULL)
        return false;
    if (held->stretch != NULL)
        coverage_add(e, kind, held->activity, -1.0f);
    stretch_leave(e, held->stretch);
    held->stretch = *copy;
    held->stretch->users++;
    memcpy(held->activity, e->candidate, e->channel_count * sizeof *e->candidate);
    coverage_add(e, kind, held->activity, 1.0f);
    return true;
}

/* Of two slots in one, the kind's better excerpt stays by the same measure as for a candidate. */
static void merge_kind(struct tp_evidence *e, enum kind kind, size_t into, size_t first)
{
    struct keep *a = &e->keeps[first * KIND_COUNT + kind];
    struct keep *b = &e->keeps[(first + 1) * KIND_COUNT + kind];
    struct keep *winner = a, *loser = b;
    if (b->stretch != NULL && a->stretch != NULL) {
        memcpy(e->candidate, b->activity, e->channel_count * sizeof *e->candidate);
        coverage_add(e, kind, b->activity, -1.0f);
        bool better = is_better(e, kind, a);
        coverage_add(e, kind, b->activity, 1.0f);
        if (better) {
            winner = b;
            loser = a;
        }
    } else if (b->stretch != NULL) {
        winner = b;
        loser = a;
    }
    if (loser->stretch != NULL)
        coverage_add(e, kind, loser->activity, -1.0f);
    stretch_leave(e, loser->stretch);
    loser->stretch = NULL;
    struct keep *place = &e->keeps[into * KIND_COUNT + kind];
    if (winner == place)
        return;
    struct keep moved = *winner;
    *winner = *place;
    *place = moved;
}

static void merge_slots(struct tp_evidence *e)
{
    for (size_t slot = 0; slot < e->slot_count / 2; slot++)
        for (enum kind kind = 0; kind < KIND_COUNT; kind++)
            merge_kind(e, kind, slot, 2 * slot);
    e->blocks_per_slot *= 2;
}

/* `sums`: of each channel in the block, or NULL. */
static bool block_take(struct tp_evidence *e, uint64_t start_frame, const struct tp_sums *sums)
{
    uint64_t block = start_frame / e->excerpt_frames;
    float near_share = 0.0f;
    struct stretch *copy = NULL;
    while (block / e->blocks_per_slot >= e->slot_count)
        merge_slots(e);
    size_t slot = (size_t)(block / e->blocks_per_slot);
    for (uint32_t c = 0; c < e->channel_count; c++) {
        const struct tp_sums *known = sums != NULL ? &sums[c] : NULL;
        float level = e->planes[c] != NULL ? block_level(e->planes[c], e->excerpt_frames, known, &near_share) : -200.0f;
        e->level_dbfs[c] = level;
        e->loudest_dbfs[c] = level > e->loudest_dbfs[c] ? level : e->loudest_dbfs[c];
        float share = e->planes[c] != NULL ? near_share : 0.0f;
        /* Ten samples in a hundred at full scale halve an excerpt's worth. */
        e->candidate[c] = loud_activity(level) / (1.0f + 10.0f * share);
    }
    bool kept = offer(e, KIND_LOUD, slot, start_frame, &copy);
    for (uint32_t c = 0; c < e->channel_count; c++)
        e->candidate[c] = moderate_activity(e->level_dbfs[c], e->loudest_dbfs[c]);
    return offer(e, KIND_MODERATE, slot, start_frame, &copy) && kept;
}

static void stage_put(struct tp_evidence *e, const float *const *channels, size_t at, size_t frames)
{
    for (uint32_t c = 0; c < e->channel_count; c++) {
        float *place = e->stage->planes[c] + e->staged;
        if (channels[c] != NULL)
            memcpy(place, channels[c] + at, frames * sizeof(float));
        else
            memset(place, 0, frames * sizeof(float));
    }
    e->staged += frames;
}

bool tp_evidence_push(struct tp_evidence *e, const float *const *channels, size_t frames, const struct tp_sums *sums)
{
    size_t at = 0;
    bool kept = true;
    while (at < frames) {
        size_t n = frames - at;
        uint64_t start = e->frames - e->staged;
        if (e->staged == 0 && n >= e->excerpt_frames) {
            n = e->excerpt_frames;
            for (uint32_t c = 0; c < e->channel_count; c++)
                e->planes[c] = channels[c] != NULL ? channels[c] + at : NULL;
            kept = block_take(e, start, n == frames ? sums : NULL) && kept;
        } else {
            if (n > e->excerpt_frames - e->staged)
                n = e->excerpt_frames - e->staged;
            stage_put(e, channels, at, n);
            if (e->staged == e->excerpt_frames) {
                for (uint32_t c = 0; c < e->channel_count; c++)
                    e->planes[c] = e->stage->planes[c];
                e->staged = 0;
                kept = block_take(e, start, NULL) && kept;
            }
        }
        at += n;
        e->frames += n;
    }
    return kept;
}

/* Slots lie in time order; so do the two keeps of a slot, once the earlier one is taken first. */
static const struct stretch *stretch_at(const struct tp_evidence *e, size_t index)
{
    for (size_t slot = 0; slot < e->slot_count; slot++) {
        const struct stretch *first = e->keeps[slot * KIND_COUNT + KIND_LOUD].stretch;
        const struct stretch *second = e->keeps[slot * KIND_COUNT + KIND_MODERATE].stretch;
        if (second != NULL && (first == NULL || second->start_frame < first->start_frame)) {
            const struct stretch *swap = first;
            first = second;
            second = swap;
        }
        if (first != NULL && index-- == 0)
            return first;
        if (second != NULL && second != first && index-- == 0)
            return second;
    }
    bool only_part = index == 0 && e->staged > 0 && e->staged == e->frames;
    return only_part ? e->stage : NULL;
}

size_t tp_evidence_excerpt_count(const struct tp_evidence *e)
{
    size_t count = 0;
    while (stretch_at(e, count) != NULL)
        count++;
    return count;
}

struct tp_excerpt tp_evidence_excerpt(const struct tp_evidence *e, size_t index)
{
    const struct stretch *stretch = stretch_at(e, index);
    return (struct tp_excerpt){.start_frame = stretch->start_frame, .channels = (const float *const *)stretch->planes};
}

size_t tp_evidence_excerpt_frames(const struct tp_evidence *e)
{
    return e->excerpt_frames;
}

uint32_t tp_evidence_channel_count(const struct tp_evidence *e)
{
    return e->channel_count;
}

uint32_t tp_evidence_sample_rate_hz(const struct tp_evidence *e)
{
    return e->sample_rate_hz;
}

uint64_t tp_evidence_frames(const struct tp_evidence *e)
{
    return e->frames;
}
