/* SPDX-License-Identifier: MIT */
#include "measure/clip.h"

#include "base/num.h"

#include <math.h>
#include <string.h>

/* As the header says. */
static const float nearness = 0.997f, clearly_beyond = 1.05f, beyond_any_sound = 1000.0f;

/* The smallest float that is not below. */
static float float_not_below(double value)
{
    float near = (float)value;
    return (double)near < value ? nextafterf(near, INFINITY) : near;
}

void tp_clip_init(struct tp_clip_meter *meter, double full_scale_lin, uint64_t guard_frames)
{
    memset(meter, 0, sizeof *meter);
    meter->guard_frames = guard_frames;
    meter->is_float = full_scale_lin >= 1.0;
    for (int bits = TP_CLIP_BITS_MIN; bits <= TP_CLIP_BITS_MAX && full_scale_lin < 1.0; bits++) {
        double threshold = 1.0 - ldexp(1.0, 1 - bits);
        if (threshold >= full_scale_lin)
            break;
        meter->depths[meter->count++].threshold = float_not_below(threshold);
    }
    meter->depths[meter->count++].threshold = float_not_below(full_scale_lin);
}

void tp_clip_clear(struct tp_clip_meter *meter)
{
    for (size_t i = 0; i < TP_CLIP_DEPTHS; i++)
        tp_run_list_clear(&meter->depths[i].list);
}

/* Drops depths of which `sample` is no multiple. Only loud stretches are asked: elsewhere no depth has anything to
 * follow. */
static void drop_depths(struct tp_clip_meter *meter, float sample)
{
    while (meter->count > 1) {
        float scaled = ldexpf(sample, (int)meter->first + TP_CLIP_BITS_MIN - 1);
        if (scaled == rintf(scaled))
            return;
        tp_run_list_clear(&meter->depths[meter->first].list);
        meter->first++;
        meter->count--;
    }
}

/* Near the top of a run as far as it is known: a new top that is much higher begins the count again. */
static void follow_shape(struct tp_clip_depth *depth, float magnitude)
{
    depth->equal = depth->run_frames > 1 && magnitude == depth->last ? depth->equal + 1 : 1;
    depth->longest_equal = depth->equal > depth->longest_equal ? depth->equal : depth->longest_equal;
    depth->last = magnitude;
    if (magnitude * nearness > depth->run_peak)
        depth->near = 0;
    depth->near += magnitude >= depth->run_peak * nearness;
}

static bool is_cut_off(const struct tp_clip_depth *depth)
{
    bool is_level = depth->near >= 4 && 8 * depth->near >= 5 * depth->run_frames && depth->run_peak >= clearly_beyond;
    return depth->longest_equal >= 3 || is_level || depth->run_peak >= beyond_any_sound;
}

static void end_run(struct tp_clip_meter *meter, struct tp_clip_depth *depth)
{
    if (depth->run_frames >= TP_CLIP_RUN_MIN) {
        struct tp_clip_run run = {depth->run_start, depth->run_frames, tp_db_from_lin((double)depth->run_peak)};
        if (meter->is_float && !is_cut_off(depth)) {
            tp_run_list_count(&depth->list, &run);
            meter->whole_runs++;
        } else {
            tp_run_list_add(&depth->list, &run, meter->guard_frames);
        }
    }
    depth->run_frames = 0;
}

static void follow(struct tp_clip_meter *meter, struct tp_clip_depth *depth, const float *samples, size_t frames,
                   uint64_t start)
{
    for (size_t i = 0; i < frames; i++) {
        float magnitude = fabsf(samples[i]);
        if (magnitude < depth->threshold) {
            if (depth->run_frames > 0)
                end_run(meter, depth);
            continue;
        }
        if (depth->run_frames++ == 0) {
            depth->run_start = start + i;
            depth->run_peak = 0.0f;
            depth->longest_equal = depth->near = 0;
        }
        if (meter->is_float)
            follow_shape(depth, magnitude);
        depth->run_peak = magnitude > depth->run_peak ? magnitude : depth->run_peak;
    }
}

static bool is_following(const struct tp_clip_meter *meter)
{
    bool following = false;
    for (size_t i = meter->first; i < meter->first + meter->count; i++)
        following = following || meter->depths[i].run_frames > 0;
    return following;
}

void tp_clip_push(struct tp_clip_meter *meter, const float *samples, size_t frames, const struct tp_cells *cells)
{
    float largest = tp_peak_between(cells->lowest, cells->highest);
    bool quiet = largest < meter->depths[meter->first].threshold && !is_following(meter);
    for (size_t at = 0, cell = 0; at < frames && !quiet; at += TP_CELL_FRAMES, cell++) {
        size_t length = frames - at < TP_CELL_FRAMES ? frames - at : TP_CELL_FRAMES;
        drop_depths(meter, samples[at]);
        float magnitude = tp_peak_between(cells->low[cell], cells->high[cell]);
        for (size_t i = meter->first; i < meter->first + meter->count; i++) {
            struct tp_clip_depth *depth = &meter->depths[i];
            if (magnitude >= depth->threshold)
                follow(meter, depth, samples + at, length, meter->frames + at);
            else if (depth->run_frames > 0)
                end_run(meter, depth);
        }
    }
    meter->frames += frames;
}

struct tp_run_list *tp_clip_finish(struct tp_clip_meter *meter, double full_scale_lin)
{
    size_t last = meter->first + meter->count - 1;
    float threshold = float_not_below(full_scale_lin);
    size_t chosen = meter->first;
    while (chosen < last && meter->depths[chosen].threshold < threshold)
        chosen++;
    end_run(meter, &meter->depths[chosen]);
    return &meter->depths[chosen].list;
}
