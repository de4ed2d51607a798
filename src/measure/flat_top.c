/* SPDX-License-Identifier: MIT */
#include "measure/flat_top.h"

#include "base/num.h"
#include "measure/level.h"

#include <string.h>

static const float near_top = 0.9975f, under_top = 0.96f, entry = 0.95f, same_ceiling = 0.99f;
static const double widening_max = 1.6;

void tp_flat_top_init(struct tp_flat_top_meter *meter, uint64_t guard_frames)
{
    memset(meter, 0, sizeof *meter);
    meter->guard_frames = guard_frames;
    meter->side[0].sign = 1.0f;
    meter->side[1].sign = -1.0f;
}

void tp_flat_top_clear(struct tp_flat_top_meter *meter)
{
    tp_run_list_clear(&meter->side[0].list);
    tp_run_list_clear(&meter->side[1].list);
}

/* First to last sample of the excursion that is not below `level`: its width there. */
static size_t width_at(const struct tp_flat_top_side *side, float level, size_t *first)
{
    size_t begin = 0, end = side->length;
    while (begin < end && side->excursion[begin] < level)
        begin++;
    while (end > begin && side->excursion[end - 1] < level)
        end--;
    *first = begin;
    return end - begin;
}

static size_t count_at(const struct tp_flat_top_side *side, float level)
{
    size_t count = 0;
    for (size_t i = 0; i < side->length; i++)
        count += side->excursion[i] >= level;
    return count;
}

static void end_excursion(struct tp_flat_top_side *side, uint64_t guard_frames)
{
    if (side->length == 0 || side->length > TP_FLAT_TOP_LONGEST) {
        side->length = 0;
        return;
    }
    float top = 0.0f;
    for (size_t i = 0; i < side->length; i++)
        top = side->excursion[i] > top ? side->excursion[i] : top;
    if (top > side->peak)
        side->peak = top;
    if (side->anchor < same_ceiling * side->peak) {
        tp_run_list_clear(&side->list);
        side->visits = 0;
        side->anchor = side->peak;
    }
    if (top >= same_ceiling * side->peak) {
        side->visits++;
        size_t first, wide_first;
        size_t narrow = width_at(side, top * near_top, &first), wide = width_at(side, top * under_top, &wide_first);
        if (narrow >= TP_FLAT_TOPS_MIN && (double)wide < widening_max * (double)narrow &&
            10 * count_at(side, top * near_top) >= 8 * narrow) {
            struct tp_clip_run run = {side->start + first, narrow, tp_db_from_lin((double)top)};
            tp_run_list_add(&side->list, &run, guard_frames);
        }
    }
    side->length = 0;
}

static void follow(struct tp_flat_top_side *side, const float *samples, size_t frames, uint64_t start,
                   uint64_t guard_frames)
{
    float level = side->peak * entry;
    for (size_t i = 0; i < frames; i++) {
        float value = samples[i] * side->sign;
        if (value < level || value <= 0.0f) {
            if (side->length > 0) {
                end_excursion(side, guard_frames);
                level = side->peak * entry;
            }
            continue;
        }
        if (side->length == 0)
            side->start = start + i;
        if (side->length < TP_FLAT_TOP_LONGEST)
            side->excursion[side->length] = value;
        if (side->length <= TP_FLAT_TOP_LONGEST)
            side->length++;
        if (value > side->peak) {
            side->peak = value;
            level = value * entry;
        }
    }
}

void tp_flat_top_push(struct tp_flat_top_meter *meter, const float *samples, size_t frames, const float *min,
                      const float *max)
{
    for (size_t at = 0, block = 0; at < frames; at += TP_EXTREMES_FRAMES, block++) {
        size_t length = frames - at < TP_EXTREMES_FRAMES ? frames - at : TP_EXTREMES_FRAMES;
        for (size_t i = 0; i < 2; i++) {
            struct tp_flat_top_side *side = &meter->side[i];
            float top = i == 0 ? max[block] : -min[block];
            if (top >= side->peak * entry && top > 0.0f)
                follow(side, samples + at, length, meter->frames + at, meter->guard_frames);
            else if (side->length > 0)
                end_excursion(side, meter->guard_frames);
        }
    }
    meter->frames += frames;
}

void tp_flat_top_finish(struct tp_flat_top_meter *meter, double full_scale_lin, struct tp_run_list *side[2])
{
    double step = 1.0 - full_scale_lin;
    for (size_t i = 0; i < 2; i++) {
        struct tp_flat_top_side *one = &meter->side[i];
        end_excursion(one, meter->guard_frames);
        double ceiling = (double)one->peak;
        bool loud_enough = ceiling >= 0.01 && ceiling >= 200.0 * step;
        bool clipped = ceiling >= full_scale_lin;
        bool often = one->list.runs >= TP_FLAT_TOPS_MIN && 2 * one->list.runs >= one->visits;
        side[i] = loud_enough && !clipped && often ? &one->list : NULL;
    }
}
