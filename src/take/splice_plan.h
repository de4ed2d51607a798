/* SPDX-License-Identifier: MIT */
/*
 * Where the safety replaces the main, to the sample: the damage of the main, and before and behind it a crossfade
 * inside the guard, at its quietest place. Pure: the samples come through the sources.
 *
 *              |<------- guard ------->|                     |<------- guard ------->|
 *   main  ____________/fade\___________ damage ............. damage ______/fade\______________ main
 *                     safety ---------------------------------------- safety
 */
#ifndef TP_TAKE_SPLICE_PLAN_H
#define TP_TAKE_SPLICE_PLAN_H

#include "take/splice_source.h"

/* tp_channel.damage holds this much around clip runs and flat tops (measure/channel_meter.c); dropouts stand bare. */
#define TP_SPLICE_GUARD_S 0.010
/* Longest crossfade; half of the guard leaves it room to look for a quiet place. */
#define TP_SPLICE_FADE_S 0.005

struct tp_splice_fade {
    uint64_t start_frame;
    uint32_t frames;  /* 0: a hard edge (the file begins or ends there) */
    bool equal_power; /* the two are unlike each other there (noise): equal gain would dip */
};
struct tp_splice_region {
    uint64_t core_start, core_end; /* all damage lies inside, and single samples at full scale closer than the guard */
    struct tp_splice_fade in, out;
    int64_t lag;                       /* frames the safety is later here */
    double gain_in, gain_out;          /* of the safety, before and behind the damage; between them it changes evenly */
    size_t first_splice, splice_count; /* of tp_pair.splices: regions that touch are one */
};
struct tp_splice_plan {
    struct tp_splice_region *regions; /* in time order, not touching */
    size_t count;
    double gain; /* what the safety is multiplied by: level and polarity. Where the pair's offset changes (a limiter),
                    each region has its own, measured beside the damage */
};

/* For a pair whose main is to be spliced; `whole`: the safety from end to end (the main is damaged too widely).
 * Errors: TP_ERR_READ, TP_ERR_MEMORY. Release with tp_splice_plan_clear(), also after an error. */
enum tp_status tp_splice_plan_make(struct tp_splice_plan *plan, const struct tp_pair *pair,
                                   const struct tp_channel *main_levels, const struct tp_channel *safety_levels,
                                   uint32_t sample_rate_hz, bool whole, struct tp_splice_source *main,
                                   struct tp_splice_source *safety, struct tp_error *error) TP_MUST_USE;
void tp_splice_plan_clear(struct tp_splice_plan *plan);

/* Frames [start, start + frames) of the spliced track; `scratch` holds `frames` doubles more. Outside the regions the
 * samples are the main's own. */
enum tp_status tp_splice_mix(const struct tp_splice_plan *plan, struct tp_splice_source *main,
                             struct tp_splice_source *safety, uint64_t start, size_t frames, double *samples,
                             double *scratch, struct tp_error *error) TP_MUST_USE;

#endif
