/* SPDX-License-Identifier: MIT */
#include "measure/flat_top.h"

#include "base/num.h"
#include "base/text.h"

#include <float.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const float entry = 0.70f, lowest_plateau = 0.75f, flatness = 0.003f, under_top = 0.952f;
static const float lowest_ceiling = 0.01f;
static const double widening_max = 1.6, overshoot_max = 1.35;
/* Bins on each side of the ceiling's. */
enum { CEILING_REACH = 2, BIN_SHIFT = 14, ONE_BITS = 0x3f800000, BACK_MAX = 64 };

void tp_flat_top_init(struct tp_flat_top_meter *meter, uint32_t sample_rate_hz, uint64_t guard_frames)
{
    memset(meter, 0, sizeof *meter);
    meter->guard_frames = guard_frames;
    meter->shortest = sample_rate_hz / 10000 + 1 > 4 ? sample_rate_hz / 10000 + 1 : 4;
    meter->side[0].sign = 1.0f;
    meter->side[1].sign = -1.0f;
}

void tp_flat_top_clear(struct tp_flat_top_meter *meter)
{
    free(meter->side[0].items);
    free(meter->side[1].items);
    meter->side[0].items = meter->side[1].items = NULL;
}

/* Steps of 1/512 octave at the top of each octave, of half that at its bottom: the upper bits of the number itself. */
static size_t bin_of(float level)
{
    uint32_t bits;
    memcpy(&bits, &level, sizeof bits);
    size_t bin = bits >= ONE_BITS ? 0 : (ONE_BITS - bits) >> BIN_SHIFT;
    return bin >= TP_FLAT_TOP_BINS ? TP_FLAT_TOP_BINS - 1 : bin;
}

/* In the middle of the bin. */
static float level_of(size_t bin)
{
    uint32_t bits = ONE_BITS - ((uint32_t)bin << BIN_SHIFT) - (1u << (BIN_SHIFT - 1));
    float level;
    memcpy(&level, &bits, sizeof level);
    return level;
}

static uint64_t count_around(const uint32_t *bins, size_t bin)
{
    uint64_t count = 0;
    for (size_t i = bin < CEILING_REACH ? 0 : bin - CEILING_REACH; i <= bin + CEILING_REACH && i < TP_FLAT_TOP_BINS;
         i++)
        count += bins[i];
    return count;
}

/* The bin around which most plateaus lie. */
static size_t ceiling_bin(const struct tp_flat_top_side *side)
{
    size_t best = 0;
    uint64_t most = count_around(side->plateaus, 0), here = most;
    for (size_t bin = 1; bin + 1 < TP_FLAT_TOP_BINS; bin++) {
        here += bin + CEILING_REACH < TP_FLAT_TOP_BINS ? side->plateaus[bin + CEILING_REACH] : 0;
        here -= bin > CEILING_REACH ? side->plateaus[bin - CEILING_REACH - 1] : 0;
        if (here > most) {
            most = here;
            best = bin;
        }
    }
    return best;
}

static bool is_near(size_t bin, size_t ceiling)
{
    return bin <= ceiling + CEILING_REACH && bin + CEILING_REACH >= ceiling;
}

/* The longest stretch of the excursion whose samples lie within `flatness` of one another. A slow ramp would have each
 * sample go back over hundreds: it is no plateau, and the search ends after BACK_MAX steps back a sample. */
static size_t longest_plateau(const float *samples, size_t length, size_t *at)
{
    size_t best = 0, begin = 0, steps_left = BACK_MAX * length;
    float low = samples[0], high = samples[0];
    for (size_t i = 0; i < length; i++) {
        low = samples[i] < low ? samples[i] : low;
        high = samples[i] > high ? samples[i] : high;
        if (high - low > flatness * high) {
            /* Begin again at the sample after the last one that does not fit with this. */
            low = high = samples[i];
            begin = i;
            for (; begin > 0 && steps_left > 0; begin--, steps_left--) {
                float before = samples[begin - 1];
                float lower = before < low ? before : low, higher = before > high ? before : high;
                if (higher - lower > flatness * higher)
                    break;
                low = lower;
                high = higher;
            }
        }
        if (steps_left == 0)
            break;
        if (i + 1 - begin > best) {
            best = i + 1 - begin;
            *at = begin;
        }
    }
    return best;
}

static size_t width_of_top(const float *samples, size_t length, size_t at, size_t frames, float level)
{
    size_t begin = at, end = at + frames;
    while (begin > 0 && samples[begin - 1] >= level)
        begin--;
    while (end < length && samples[end] >= level)
        end++;
    return end - begin;
}

/* Drops what lies away from the ceiling so far. */
static void make_room(struct tp_flat_top_side *side)
{
    size_t ceiling = ceiling_bin(side), kept = 0;
    for (size_t i = 0; i < side->count; i++)
        if (is_near(bin_of(side->items[i].level), ceiling))
            side->items[kept++] = side->items[i];
    side->count = kept;
}

static void keep(struct tp_flat_top_meter *meter, struct tp_flat_top_side *side, size_t at, size_t frames, float level)
{
    if (side->count == TP_FLAT_TOP_LISTED)
        make_room(side);
    if (side->count == TP_FLAT_TOP_LISTED)
        return;
    if (!tp_grow(&side->items, &side->capacity, side->count, sizeof *side->items)) {
        meter->failed = true;
        return;
    }
    side->items[side->count++] = (struct tp_flat_top){side->start + at, (uint32_t)frames, level};
}

static void visit(struct tp_flat_top_side *side, float top)
{
    if (top >= lowest_ceiling)
        side->visits[bin_of(top)]++;
}

static void end_excursion(struct tp_flat_top_meter *meter, struct tp_flat_top_side *side)
{
    size_t length = side->length, at = 0;
    side->length = 0;
    if (length == 0 || length > TP_FLAT_TOP_LONGEST)
        return;
    float top = 0.0f;
    for (size_t i = 0; i < length; i++)
        top = side->excursion[i] > top ? side->excursion[i] : top;
    visit(side, top);
    size_t frames = length < meter->shortest ? 0 : longest_plateau(side->excursion, length, &at);
    if (frames < meter->shortest)
        return;
    double sum = 0.0;
    for (size_t i = at; i < at + frames; i++)
        sum += (double)side->excursion[i];
    float level = (float)(sum / (double)frames);
    size_t wide = width_of_top(side->excursion, length, at, frames, level * under_top);
    if (level < lowest_ceiling || level < lowest_plateau * side->peak || (double)wide >= widening_max * (double)frames)
        return;
    side->plateaus[bin_of(level)]++;
    keep(meter, side, at, frames, level);
}

/* An excursion too short for a plateau that begins and ends inside a block: the usual case in loud noise. */
static void pass_short_one(struct tp_flat_top_side *side, const float *samples, size_t frames)
{
    float top = 0.0f;
    for (size_t i = 0; i < frames; i++) {
        float value = samples[i] * side->sign;
        top = value > top ? value : top;
    }
    visit(side, top);
}

static void append(struct tp_flat_top_side *side, const float *samples, size_t frames, uint64_t start)
{
    if (side->length == 0)
        side->start = start;
    for (size_t i = 0; i < frames && side->length <= TP_FLAT_TOP_LONGEST; i++, side->length++)
        if (side->length < TP_FLAT_TOP_LONGEST)
            side->excursion[side->length] = samples[i] * side->sign;
}

/* A cell, the largest of which is in side->peak already. Bit i: sample i is above the entry, and not dealt with. */
static void follow(struct tp_flat_top_meter *meter, struct tp_flat_top_side *side, const float *samples, size_t frames,
                   uint64_t start, uint64_t bits)
{
    for (size_t at = 0; at < frames;) {
        uint64_t left = bits >> at;
        if ((left & 1) == 0) {
            end_excursion(meter, side);
            if (left == 0)
                return;
            at += (size_t)__builtin_ctzll(left);
            continue;
        }
        size_t run = (size_t)__builtin_ctzll(~left);
        if (side->length == 0 && run < meter->shortest && at + run < frames)
            pass_short_one(side, samples + at, run);
        else
            append(side, samples + at, run, start + at);
        at += run;
    }
}

#define TP_LANES_SOURCE "measure/flat_top_lanes.h"
#include "measure/lanes.h"

void tp_flat_top_push(struct tp_flat_top_meter *meter, const float *samples, size_t frames,
                      const struct tp_cells *cells)
{
    const float *const tops[2] = {cells->high, cells->low};
    const float top[2] = {cells->highest, -cells->lowest};
    bool any = false;
    for (size_t i = 0; i < 2; i++)
        any = any || meter->side[i].length > 0 || top[i] >= meter->side[i].peak * entry;
    if (any)
        TP_CHOSEN(push)(meter, samples, frames, tops);
    meter->frames += frames;
}

/* How many flat tops lie at the ceiling, or 0 when the polarity is not flat-topped. */
static uint64_t flat_tops(const struct tp_flat_top_side *side, size_t ceiling, double full_scale_lin)
{
    uint64_t there = count_around(side->plateaus, ceiling), all = 0, visits = 0;
    if (there < TP_FLAT_TOPS_MIN)
        return 0;
    double level = (double)level_of(ceiling);
    if (level >= full_scale_lin * 0.9975 || level < 200.0 * (1.0 - full_scale_lin))
        return 0;
    for (size_t bin = 0; bin < TP_FLAT_TOP_BINS; bin++)
        all += level_of(bin) >= lowest_plateau * side->peak ? side->plateaus[bin] : 0;
    for (size_t bin = 0; bin <= ceiling + CEILING_REACH && bin < TP_FLAT_TOP_BINS; bin++)
        visits += side->visits[bin];
    uint64_t share = there >= TP_FLAT_TOPS_MANY ? 16 : 4;
    bool often = there >= TP_FLAT_TOPS_MIN && 2 * there >= all && share * there >= visits;
    return often && (double)side->peak <= overshoot_max * level ? there : 0;
}

void tp_flat_top_finish(struct tp_flat_top_meter *meter, double full_scale_lin, struct tp_run_list *list)
{
    size_t ceiling[2], next[2] = {0, 0};
    uint64_t runs = 0;
    bool found[2];
    for (size_t i = 0; i < 2; i++) {
        struct tp_flat_top_side *side = &meter->side[i];
        end_excursion(meter, side);
        ceiling[i] = ceiling_bin(side);
        uint64_t there = flat_tops(side, ceiling[i], full_scale_lin);
        runs += there;
        found[i] = there > 0;
    }
    for (;;) { /* merges the two in time */
        const struct tp_flat_top *first = NULL;
        size_t from = 0;
        for (size_t i = 0; i < 2; i++) {
            const struct tp_flat_top_side *side = &meter->side[i];
            while (next[i] < side->count && !is_near(bin_of(side->items[next[i]].level), ceiling[i]))
                next[i]++;
            if (!found[i] || next[i] == side->count)
                continue;
            if (first == NULL || side->items[next[i]].start_frame < first->start_frame) {
                first = &side->items[next[i]];
                from = i;
            }
        }
        if (first == NULL)
            break;
        next[from]++;
        struct tp_clip_run run = {first->start_frame, first->frames, tp_db_from_lin((double)first->level)};
        tp_run_list_add(list, &run, meter->guard_frames);
    }
    list->runs = runs;
    list->failed = list->failed || meter->failed;
}
