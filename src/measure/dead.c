/* SPDX-License-Identifier: MIT */
#include "measure/dead.h"

#include "base/num.h"
#include "measure/runs.h"

#define QUIETEST_SHARE 0.1
#define NO_PAUSE_DBFS (-30.0)
#define EDGE_DB 6.0           /* under the floor before, still sound */
#define FAINTEST_DBFS (-80.0) /* what is quieter may well come out as zeros */
#define ROOM_FLAT_SHARE 0.1
/* Of a floor: pauses of so long, together so long, at one level. */
#define FLOOR_PAUSE_S 0.25
#define FLOOR_MIN_S 0.75
#define FLOOR_SPREAD_DB 3.0
#define OWN_DB 3.0 /* how far the steps of a bare input move */
/* Other silences: */
#define OTHER_MIN_S 0.2
#define OTHER_SHARE 0.25 /* as long as this of the stretch: of its kind */
#define OTHERS_MAX 1u

struct run {
    uint32_t start, end; /* steps */
};

struct finder {
    const struct tp_trace *trace;
    double step_s;
    uint32_t histogram[TP_TRACE_LEVEL + 1], flats[TP_TRACE_LEVEL + 1]; /* of the steps before `counted`; flat ones */
    uint32_t counted;
};

/* No room is as flat as a bare input. */
static bool is_silent(uint8_t step)
{
    return tp_trace_is_still(step) || (tp_trace_dbfs(step) <= TP_DEAD_DBFS && tp_trace_is_flat(step));
}

/* The next run of silent steps from `at` on; false when there is none. */
static bool next_run(const struct tp_trace *trace, uint32_t at, struct run *run)
{
    while (at < trace->step_count && !is_silent(trace->steps[at]))
        at++;
    run->start = at;
    while (at < trace->step_count && is_silent(trace->steps[at]))
        at++;
    run->end = at;
    return run->end > run->start;
}

static double length_s(const struct finder *finder, const struct run *run)
{
    return (double)(run->end - run->start) * finder->step_s;
}

/* Gated or cut sound: silences of its kind are found elsewhere too. */
static bool is_habit(const struct finder *finder, const struct run *run)
{
    double least_s = fmax(OTHER_MIN_S, OTHER_SHARE * length_s(finder, run));
    unsigned others = 0;
    for (struct run other = {0}; next_run(finder->trace, other.end, &other);) {
        if ((other.start <= run->start && run->start < other.end) || length_s(finder, &other) < least_s)
            continue;
        if (other.start == 0 || ++others > OTHERS_MAX)
            return true;
    }
    return false;
}

static void count_to(struct finder *finder, uint32_t step)
{
    for (; finder->counted < step; finder->counted++) {
        uint8_t now = finder->trace->steps[finder->counted];
        finder->histogram[now & TP_TRACE_LEVEL]++;
        finder->flats[now & TP_TRACE_LEVEL] += tp_trace_is_flat(now);
    }
}

/* The level of the quietest tenth of the steps that were counted. */
static double floor_before(const struct finder *finder)
{
    double rank = QUIETEST_SHARE * (double)finder->counted, below = 0.0;
    uint8_t level = 0;
    while (level < TP_TRACE_LEVEL && below + (double)finder->histogram[level] <= rank)
        below += (double)finder->histogram[level++];
    return tp_trace_dbfs(level);
}

/* The pauses before had the spectrum of a room. */
static bool heard_room(const struct finder *finder, double floor_dbfs)
{
    double all = 0.0, flat = 0.0;
    for (uint8_t level = 0; level <= TP_TRACE_LEVEL && tp_trace_dbfs(level) <= floor_dbfs + EDGE_DB; level++) {
        all += (double)finder->histogram[level];
        flat += (double)finder->flats[level];
    }
    return flat <= ROOM_FLAT_SHARE * all;
}

/* A floor stands still for a while, again and again; the lulls of somebody who speaks on do not. */
static bool heard_floor(const struct finder *finder, double floor_dbfs)
{
    double heard_s = 0.0, pause_s = 0.0;
    for (uint32_t i = 0; i < finder->counted && heard_s < FLOOR_MIN_S; i++) {
        bool same = fabs(tp_trace_dbfs(finder->trace->steps[i]) - floor_dbfs) <= FLOOR_SPREAD_DB;
        pause_s = same ? pause_s + finder->step_s : 0.0;
        if (pause_s >= FLOOR_PAUSE_S)
            heard_s += pause_s >= FLOOR_PAUSE_S + finder->step_s ? finder->step_s : pause_s;
    }
    return heard_s >= FLOOR_MIN_S;
}

/* Sound at one of the steps [from, to), as far as they are there. */
static bool is_sound(const struct finder *finder, uint32_t from, uint32_t to, double floor_dbfs)
{
    for (uint32_t i = from; i < to && i < finder->trace->step_count; i++)
        if (tp_trace_dbfs(finder->trace->steps[i]) >= floor_dbfs - EDGE_DB)
            return true;
    return false;
}

static double loudest(const struct tp_trace *trace, const struct run *run)
{
    double most = -INFINITY;
    for (uint32_t i = run->start; i < run->end; i++)
        most = fmax(most, tp_trace_dbfs(trace->steps[i]));
    return most;
}

/* Takes off what lies well over the run's own level at its ends: the last of a room that happened to be flat. */
static void trim(const struct tp_trace *trace, struct run *run)
{
    double sum = 0.0;
    for (uint32_t i = run->start; i < run->end; i++)
        if (!tp_trace_is_still(trace->steps[i]))
            sum += tp_power_from_db(tp_trace_dbfs(trace->steps[i]));
    double most = sum > 0.0 ? tp_db_from_power(sum / (double)(run->end - run->start)) + OWN_DB : -INFINITY;
    while (run->start + 1 < run->end && tp_trace_dbfs(trace->steps[run->start]) > most)
        run->start++;
    while (run->end > run->start + 1 && tp_trace_dbfs(trace->steps[run->end - 1]) > most)
        run->end--;
}

static bool is_dead(struct finder *finder, const struct run *run)
{
    const struct tp_trace *trace = finder->trace;
    bool to_the_end = run->end == trace->step_count;
    double most = loudest(trace, run), floor_dbfs;
    double least_s = !to_the_end && most == -INFINITY ? TP_DEAD_STILL_MIN_S : TP_DEAD_MIN_S;
    if (length_s(finder, run) < least_s || (double)run->start * finder->step_s < TP_DEAD_BEFORE_S)
        return false;
    /* At least the step in which the border lies and the one beside it. */
    uint32_t border = (uint32_t)fmax(round(TP_DEAD_BORDER_S / finder->step_s), 2.0);
    count_to(finder, run->start);
    floor_dbfs = floor_before(finder);
    double fall_db = heard_room(finder, floor_dbfs) ? TP_DEAD_FALL_ROOM_DB : TP_DEAD_FALL_DB;
    return floor_dbfs >= FAINTEST_DBFS && floor_dbfs <= NO_PAUSE_DBFS && floor_dbfs >= most + fall_db &&
           is_sound(finder, run->start > border ? run->start - border : 0, run->start, floor_dbfs) &&
           (to_the_end || is_sound(finder, run->end, run->end + border, floor_dbfs)) && !is_habit(finder, run) &&
           heard_floor(finder, floor_dbfs);
}

bool tp_dead_find(const struct tp_trace *trace, uint32_t sample_rate_hz, uint64_t frames, struct tp_spans *dead)
{
    if (trace->step_count == 0 || sample_rate_hz == 0)
        return true;
    struct finder finder = {.trace = trace, .step_s = (double)trace->frames_per_step / sample_rate_hz};
    for (struct run run = {0}; next_run(trace, run.end, &run);) {
        struct run core = run;
        trim(trace, &core);
        if (!is_dead(&finder, &core))
            continue;
        struct tp_span span = {tp_trace_start(trace, core.start, frames), tp_trace_start(trace, core.end, frames)};
        if (span.end_frame > span.start_frame && !tp_spans_append(dead, &span, 1))
            return false;
    }
    return true;
}

struct tp_dead_kind tp_dead_kind(const struct tp_trace *trace, const struct tp_span *span)
{
    uint64_t first = (span->start_frame + trace->frames_per_step - 1) / trace->frames_per_step,
             end = span->end_frame / trace->frames_per_step;
    if (end <= first) {
        first = span->start_frame / trace->frames_per_step;
        end = first + 1;
    }
    double sum = 0.0;
    uint64_t noisy = 0;
    struct tp_dead_kind kind = {.still = true, .zeros = true, .level_dbfs = -INFINITY};
    for (uint64_t i = first; i < end && i < trace->step_count; i++) {
        uint8_t step = trace->steps[i];
        kind.still = kind.still && tp_trace_is_still(step);
        kind.zeros = kind.zeros && step == TP_TRACE_ZEROS;
        if (tp_trace_is_still(step))
            continue;
        sum += tp_power_from_db(tp_trace_dbfs(step));
        noisy++;
    }
    if (noisy > 0)
        kind.level_dbfs = tp_db_from_power(sum / (double)noisy) - TP_TRACE_DB / 2.0;
    return kind;
}
