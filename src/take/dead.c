/* SPDX-License-Identifier: MIT */
#include "take/dead.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "measure/dead.h"
#include "measure/runs.h"
#include "take/choose.h"

#include <stdlib.h>

#define PLAIN_OVER_FLOOR_DB 10.0
#define PLAIN_DBFS (-65.0)
#define LOST_DBFS (-60.0)
#define LOST_DB 20.0
#define LOST_ALONE_DB 30.0 /* of a single step */
#define ROOM_UNDER_FLOOR_DB 6.0
#define ROOM_DBFS (-75.0)
#define ROOM_MIN_S 0.5
#define ROOM_SHARE 0.9
#define STILL_RUNS_MAX 3u
#define SAME_LEVEL_DB 6.0

/* How far this channel lies under what the other bids it to hold, at one step. */
enum evidence { NONE, ROOM, PLAIN, SURE };

/* One channel of a pair, held against the other. */
struct view {
    const struct tp_channel *own, *other;
    uint64_t own_frames, other_frames;
    uint32_t sample_rate_hz;
    double gain_db; /* of this channel over the other */
    const struct tp_pair_match *match;
    bool is_main;
    uint8_t *marks; /* enum evidence of each step */
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to compare main and safety");
}

static double step_s(const struct view *view)
{
    return (double)view->own->trace.frames_per_step / view->sample_rate_hz;
}

static double level(const struct view *view, uint32_t step)
{
    return tp_trace_dbfs(view->own->trace.steps[step]);
}

/* The other's frame at a frame of this one. */
static int64_t there(const struct view *view, uint64_t frame)
{
    int64_t lag = tp_choose_lag_at(view->match->lag_samples, view->match->lag_fraction, view->match->drift_ppm, frame);
    return (int64_t)frame + (view->is_main ? lag : -lag);
}

/* The steps of the other at a step and half a step to each side; false where it was not recording. */
static bool steps_there(const struct view *view, uint32_t step, uint64_t *first, uint64_t *end)
{
    const struct tp_trace *own = &view->own->trace, *other = &view->other->trace;
    uint64_t half = own->frames_per_step / 2, start = step * own->frames_per_step;
    int64_t from = there(view, start) - (int64_t)half, to = there(view, start) + (int64_t)(own->frames_per_step + half);
    from = from < 0 ? 0 : from;
    if (to <= from)
        return false;
    *first = (uint64_t)from / other->frames_per_step;
    *end = ((uint64_t)to + other->frames_per_step - 1) / other->frames_per_step;
    *end = *end < other->step_count ? *end : other->step_count;
    return *first < *end;
}

static bool is_in(const struct tp_spans *spans, int64_t frame)
{
    for (size_t i = 0; i < spans->count; i++)
        if ((int64_t)spans->items[i].start_frame <= frame && frame < (int64_t)spans->items[i].end_frame)
            return true;
    return false;
}

static enum evidence evidence_at(const struct view *view, uint32_t step)
{
    uint64_t first, end;
    double lowest = INFINITY, own = level(view, step), floor_dbfs = view->other->noise_floor_dbfs;
    if (!steps_there(view, step, &first, &end))
        return NONE;
    for (uint64_t i = first; i < end; i++)
        lowest = fmin(lowest, tp_trace_dbfs(view->other->trace.steps[i]));
    double missing_db = lowest + view->gain_db - own;
    floor_dbfs = tp_exists(floor_dbfs) ? floor_dbfs : -INFINITY;
    if (own <= LOST_DBFS && lowest >= fmax(floor_dbfs + PLAIN_OVER_FLOOR_DB, PLAIN_DBFS) && missing_db >= LOST_DB)
        return missing_db >= LOST_ALONE_DB ? SURE : PLAIN;
    bool has_room = lowest >= fmax(floor_dbfs - ROOM_UNDER_FLOOR_DB, ROOM_DBFS);
    if (!has_room || missing_db < TP_DEAD_FALL_DB)
        return NONE;
    if (is_in(&view->own->dead, (int64_t)(step * view->own->trace.frames_per_step)))
        return PLAIN;
    return tp_trace_is_still(view->own->trace.steps[step]) ? ROOM : NONE;
}

/* The steps that are still from `at` on, and how many of them count as evidence. */
static uint32_t still_run(const struct view *view, uint32_t at, uint32_t *marked)
{
    const struct tp_trace *trace = &view->own->trace;
    *marked = 0;
    for (; at < trace->step_count && tp_trace_is_still(trace->steps[at]); at++)
        *marked += view->marks[at] != NONE;
    return at;
}

/* Still for a while beside a room that goes on. Not where the channel is still again and again: a gate does that. */
static void settle_rooms(struct view *view)
{
    uint32_t count = view->own->trace.step_count, runs = 0, marked;
    for (uint32_t at = 0, end; at < count; at = end + 1) {
        end = still_run(view, at, &marked);
        runs += end > at + 1;
    }
    for (uint32_t at = 0, end; at < count; at = end + 1) {
        end = still_run(view, at, &marked);
        bool counts = runs <= STILL_RUNS_MAX && (double)(end - at) * step_s(view) >= ROOM_MIN_S &&
                      (double)marked >= ROOM_SHARE * (double)(end - at);
        for (uint32_t i = at; i < end; i++)
            if (view->marks[i] == ROOM)
                view->marks[i] = counts ? PLAIN : NONE;
    }
}

/* The other is dead, too. */
static bool is_dead_there(const struct view *view, uint32_t step)
{
    uint64_t first, end, frame = step * view->own->trace.frames_per_step;
    if (!steps_there(view, step, &first, &end))
        return true;
    if (is_in(&view->other->dead, there(view, frame + view->own->trace.frames_per_step / 2)))
        return true;
    for (uint64_t i = first; i < end; i++)
        if (!tp_trace_is_still(view->other->trace.steps[i]))
            return false;
    return true;
}

/* The marked steps from `start` on and those at the same level that join them: [*from, *to). False when it is a single
 * step that might be a mistake. */
static bool gather(const struct view *view, uint32_t start, uint32_t *from, uint32_t *to)
{
    double most = level(view, start);
    uint32_t marked = 0, end = start, count = view->own->trace.step_count;
    bool sure = false;
    while (end < count && (view->marks[end] != NONE || level(view, end) <= fmin(most + SAME_LEVEL_DB, LOST_DBFS))) {
        if (view->marks[end] != NONE)
            most = fmax(most, level(view, end));
        marked += view->marks[end] != NONE;
        sure = sure || view->marks[end] == SURE;
        end++;
    }
    *to = end;
    while (start > *from && level(view, start - 1) <= fmin(most + SAME_LEVEL_DB, LOST_DBFS))
        start--;
    *from = start;
    return marked >= 2 || sure;
}

static bool is_known(const struct tp_channel *channel, const struct tp_span *span)
{
    for (size_t i = 0; i < channel->damage.count; i++)
        if (channel->damage.items[i].start_frame <= span->start_frame &&
            channel->damage.items[i].end_frame >= span->end_frame)
            return true;
    return false;
}

/* A step more on each side, where the borders lie. */
static struct tp_span widened(const struct tp_trace *trace, const struct tp_span *span, uint64_t frames)
{
    uint64_t step = trace->frames_per_step;
    return (struct tp_span){span->start_frame > step ? span->start_frame - step : 0,
                            frames - span->end_frame > step ? span->end_frame + step : frames};
}

static void say_kind(struct tp_text *text, const struct tp_dead_kind *kind)
{
    if (kind->still) {
        tp_text_add(text, kind->zeros ? "digital zeros" : "one value held");
        return;
    }
    tp_text_add(text, "noise at ");
    tp_text_number(text, kind->level_dbfs, 1, "");
    tp_text_add(text, " dBFS");
}

/* " from 0:07.40 to the end" */
static void say_when(struct tp_text *text, const struct tp_span *span, uint64_t frames, uint32_t sample_rate_hz)
{
    char at[TP_NUMBER_SIZE];
    double start_s = (double)span->start_frame / sample_rate_hz, end_s = (double)span->end_frame / sample_rate_hz;
    bool to_the_end = span->end_frame >= frames;
    if (span->start_frame == 0 && !to_the_end)
        tp_text_add(text, " from the start");
    else
        tp_text_format(text, " from %s", tp_duration_text(at, start_s, 1));
    tp_text_format(text, " to %s", to_the_end ? "the end" : tp_duration_text(at, end_s, 1));
}

static bool observe(struct tp_file *file, uint32_t channel, enum tp_code code, const struct tp_span *span, double value,
                    double limit, const struct tp_text *words)
{
    if (words->failed)
        return false;
    return tp_observe(&file->observations, code, channel, (double)span->start_frame / file->sample_rate_hz,
                      (double)span->end_frame / file->sample_rate_hz, value, limit, "%s", words->bytes);
}

static bool tell_one_of_two(struct tp_file *file, uint32_t channel, const struct view *view, const struct tp_span *span,
                            const struct tp_span *wide)
{
    struct tp_text words = {0};
    struct tp_dead_kind kind = tp_dead_kind(&view->own->trace, span);
    tp_text_add(&words, view->is_main ? "the main holds nothing but " : "the safety holds nothing but ");
    say_kind(&words, &kind);
    say_when(&words, wide, view->own_frames, view->sample_rate_hz);
    tp_text_add(&words, view->is_main ? ", while the safety carries sound"
                                      : ", while the main carries sound: nothing protects the main there");
    double value = kind.still ? (double)NAN : kind.level_dbfs;
    bool good = observe(file, channel, view->is_main ? TP_CODE_MAIN_SILENT : TP_CODE_SAFETY_SILENT, wide, value,
                        (double)NAN, &words);
    tp_text_clear(&words);
    return good;
}

/* Steps [from, to) are dead in this channel alone: damage, unless a dropout has them already. */
static bool add_stretch(struct tp_file *file, uint32_t channel, const struct view *view, uint32_t from, uint32_t to)
{
    const struct tp_trace *trace = &view->own->trace;
    struct tp_channel *levels = &file->channels[channel];
    struct tp_span span = {tp_trace_start(trace, from, view->own_frames), tp_trace_start(trace, to, view->own_frames)};
    if (span.end_frame <= span.start_frame || is_known(levels, &span))
        return true;
    struct tp_span wide = widened(trace, &span, view->own_frames);
    return tell_one_of_two(file, channel, view, &span, &wide) && tp_spans_append(&levels->damage, &wide, 1);
}

static bool add_stretches(struct tp_file *file, uint32_t channel, const struct view *view)
{
    uint32_t done = 0;
    for (uint32_t step = 0; step < view->own->trace.step_count; step++) {
        uint32_t from = done, to;
        if (view->marks[step] == NONE)
            continue;
        bool counts = gather(view, step, &from, &to);
        for (uint32_t at = from; counts && at < to;) {
            uint32_t end = at;
            while (end < to && !is_dead_there(view, end))
                end++;
            if (end > at && !add_stretch(file, channel, view, at, end))
                return false;
            at = end + 1;
        }
        done = to;
        step = to > step ? to - 1 : step;
    }
    return true;
}

static bool judge(struct tp_file *files, const struct tp_pair_channel *own, const struct tp_pair_channel *other,
                  const struct tp_pair_match *match, bool is_main)
{
    struct view view = {.own = own->levels,
                        .other = other->levels,
                        .own_frames = files[own->file].frames,
                        .other_frames = files[other->file].frames,
                        .sample_rate_hz = files[own->file].sample_rate_hz,
                        .gain_db = is_main ? -match->offset_db : match->offset_db,
                        .match = match,
                        .is_main = is_main};
    uint32_t count = own->levels->trace.step_count;
    if (count == 0 || other->levels->trace.step_count == 0 || view.sample_rate_hz == 0)
        return true;
    view.marks = calloc(count, sizeof *view.marks);
    if (view.marks == NULL)
        return false;
    for (uint32_t step = 0; step < count; step++)
        view.marks[step] = (uint8_t)evidence_at(&view, step);
    settle_rooms(&view);
    bool good = add_stretches(&files[own->file], own->channel, &view);
    tp_spans_settle(&files[own->file].channels[own->channel].damage, view.own_frames);
    free(view.marks);
    return good;
}

enum tp_status tp_dead_judge_pair(struct tp_file *files, const struct tp_pair_match *match,
                                  const struct tp_pair_channel *main, const struct tp_pair_channel *safety,
                                  struct tp_error *error)
{
    return judge(files, main, safety, match, true) && judge(files, safety, main, match, false) ? TP_OK
                                                                                               : no_memory(error);
}

static bool is_told(const struct tp_channel *channel, const struct tp_span *span)
{
    uint64_t shared = 0;
    for (size_t i = 0; i < channel->damage.count; i++) {
        const struct tp_span *damage = &channel->damage.items[i];
        uint64_t from = damage->start_frame > span->start_frame ? damage->start_frame : span->start_frame;
        uint64_t to = damage->end_frame < span->end_frame ? damage->end_frame : span->end_frame;
        shared += to > from ? to - from : 0;
    }
    return 2 * shared > span->end_frame - span->start_frame;
}

static bool tell_alone(struct tp_file *file, uint32_t channel, const struct tp_span *span)
{
    struct tp_text words = {0};
    const struct tp_trace *trace = &file->channels[channel].trace;
    struct tp_dead_kind kind = tp_dead_kind(trace, span);
    struct tp_span wide = widened(trace, span, file->frames);
    double length_ms = 1000.0 * (double)(span->end_frame - span->start_frame) / file->sample_rate_hz;
    tp_text_add(&words, "no sound but ");
    say_kind(&words, &kind);
    say_when(&words, &wide, file->frames, file->sample_rate_hz);
    tp_text_add(&words, kind.still ? ": did a link, the recorder or the card fail?"
                                   : ": did the cable or the microphone fail?");
    bool good = kind.still
                    ? observe(file, channel, TP_CODE_DROPOUT, &wide, length_ms, 1000.0 * TP_DEAD_STILL_MIN_S, &words)
                    : observe(file, channel, TP_CODE_NOISE_ONLY, &wide, kind.level_dbfs, TP_DEAD_DBFS, &words);
    tp_text_clear(&words);
    return good;
}

enum tp_status tp_dead_judge_channel(struct tp_file *file, uint32_t channel, struct tp_error *error)
{
    const struct tp_channel *levels = &file->channels[channel];
    for (size_t i = 0; i < levels->dead.count; i++)
        if (!is_told(levels, &levels->dead.items[i]) && !tell_alone(file, channel, &levels->dead.items[i]))
            return no_memory(error);
    return TP_OK;
}
