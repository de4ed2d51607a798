/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "measure/fault_parts.h"

#include <stdlib.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define RUN_MIN_S 0.00075
#define RUN_MIN_FRAMES 36u /* any run this long covers a whole half cell and the three frames before it */
#define OPEN_FRAMES 4u     /* a run this long at the end of a cell is followed into the next */
#define NEAR_S 0.002       /* right beside the run */
#define AROUND_S 0.050     /* its surroundings */
#define ALIVE_RATIO 1e-3   /* slope energy beside the run against the surroundings: 30 dB down is a fade, not a fault */
#define EQUAL_MAX 0.25     /* share of equal neighbours beside the run: more is a coarse or generated signal */
#define ALIVE_PEAK_LIN 1e-4F /* -80 dBFS: what is quieter may well come out as zeros */
#define PAUSE_S 0.5
#define ALIVE_PEAK_LIN 1e-4F /* -80 dBFS: what is quieter may well come out as zeros */
#define PAUSE_SHARE 0.25

static uint64_t run_min(const struct tp_fault_signal *signal)
{
    uint64_t frames = (uint64_t)(RUN_MIN_S * signal->sample_rate_hz);
    return frames > RUN_MIN_FRAMES ? frames : RUN_MIN_FRAMES;
}

static uint64_t window(const struct tp_fault_signal *signal, double seconds)
{
    uint64_t frames = (uint64_t)(seconds * signal->sample_rate_hz);
    return frames < 16 ? 16 : frames > TP_FAULT_BLOCK / 2 ? TP_FAULT_BLOCK / 2 : frames;
}

/* One side of a run: [from, to). */
struct side {
    double slope_energy; /* mean square of the difference of neighbours */
    double equal_share;
    float peak;
};
static struct side look(const struct tp_fault_signal *signal, uint64_t from, uint64_t to)
{
    struct side side = {0};
    uint64_t equal = 0;
    for (uint64_t f = from + 1; f < to; f++) {
        float now = tp_fault_sample(signal, f), slope = now - tp_fault_sample(signal, f - 1);
        side.slope_energy += (double)slope * (double)slope;
        equal += slope == 0.0F;
        if (fabsf(now) > side.peak)
            side.peak = fabsf(now);
    }
    double pairs = to > from + 1 ? (double)(to - from - 1) : 1.0;
    side.slope_energy /= pairs;
    side.equal_share = (double)equal / pairs;
    return side;
}

/* Living signal right beside the run? [from, to) is the surroundings on that side, `beside` its part next to the run,
 * `last` the four frames at the run, `jump` the step into or out of it. A fade leaves neither a step nor slope at the
 * run. */
static bool judge_side(const struct tp_fault_signal *signal, const uint64_t around[2], const uint64_t beside[2],
                       const uint64_t last[2], double jump, bool *abrupt, float *peak)
{
    struct side far = look(signal, around[0], around[1]), near = look(signal, beside[0], beside[1]),
                edge = look(signal, last[0], last[1]);
    *abrupt = jump * jump >= near.slope_energy || edge.slope_energy >= 0.25 * far.slope_energy;
    *peak = far.peak;
    return near.slope_energy > ALIVE_RATIO * far.slope_energy && near.equal_share <= EQUAL_MAX &&
           near.peak >= ALIVE_PEAK_LIN;
}

static void judge_before(struct tp_dropout *dropout, const struct tp_fault_signal *signal)
{
    uint64_t start = dropout->run_start, near = window(signal, NEAR_S), around = window(signal, AROUND_S);
    dropout->alive_before = dropout->abrupt_before = false;
    if (start < near) /* the head of the file */
        return;
    uint64_t oldest = tp_fault_oldest(signal);
    uint64_t from = start > oldest + around ? start - around : oldest;
    double jump = (double)tp_fault_sample(signal, start) - (double)tp_fault_sample(signal, start - 1);
    dropout->alive_before =
        judge_side(signal, (uint64_t[]){from, start}, (uint64_t[]){start - near, start}, (uint64_t[]){start - 5, start},
                   jump, &dropout->abrupt_before, &dropout->plateau_lin);
}

/* Held at the top of a wave: an overload, which the level meter reports. */
static bool is_plateau(float value, float peak_lin)
{
    return value != 0.0F && fabsf(value) >= 0.9F * peak_lin;
}

static void end_run(struct tp_dropout *dropout, const struct tp_fault_signal *signal, uint64_t end)
{
    dropout->still_frames += end - dropout->run_start;
    uint64_t near = window(signal, NEAR_S), around = window(signal, AROUND_S);
    if (!dropout->alive_before || end + near > signal->end)
        return;
    uint64_t to = end + around < signal->end ? end + around : signal->end;
    float value = tp_fault_sample(signal, end - 1), peak;
    bool abrupt;
    double jump = (double)tp_fault_sample(signal, end) - (double)value;
    bool alive = judge_side(signal, (uint64_t[]){end, to}, (uint64_t[]){end, end + near}, (uint64_t[]){end, end + 5},
                            jump, &abrupt, &peak);
    if (!alive || !(abrupt || dropout->abrupt_before) || is_plateau(value, fmaxf(peak, dropout->plateau_lin)))
        return;
    tp_fault_places_add(&dropout->places, dropout->run_start, end, value == 0.0F ? 1.0 : 0.0);
}

/* Follows runs of equal samples over [from, to). */
static void scan(struct tp_dropout *dropout, const struct tp_fault_signal *signal, uint64_t from, uint64_t to)
{
    if (dropout->scanned_to != from) {
        dropout->run_start = from;
        dropout->run_long = false;
    }
    uint64_t least = run_min(signal);
    for (uint64_t f = from; f < to; f++) {
        if (f > 0 && tp_fault_sample(signal, f) == tp_fault_sample(signal, f - 1) && f != dropout->run_start) {
            if (!dropout->run_long && f + 1 - dropout->run_start >= least) {
                dropout->run_long = true;
                judge_before(dropout, signal);
            }
            continue;
        }
        if (dropout->run_long)
            end_run(dropout, signal, f);
        dropout->run_start = f;
        dropout->run_long = false;
    }
    dropout->scanned_to = to;
}

/* No cell of the block has a still half. */
static bool is_lively(const struct tp_fault_signal *signal, uint64_t first_frame)
{
    const int32_t *still = signal->still + first_frame / TP_FAULT_CELL % TP_FAULT_RING_CELLS;
    int32_t any = 0;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++)
        any |= still[c];
    return any == 0;
}

void tp_dropout_block(struct tp_dropout *dropout, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    if (dropout->scanned_to != first_frame && is_lively(signal, first_frame))
        return;
    uint64_t limit = signal->end < first_frame + TP_FAULT_BLOCK ? signal->end : first_frame + TP_FAULT_BLOCK;
    for (uint64_t start = first_frame; start < limit; start += TP_FAULT_CELL) {
        uint64_t stop = start + TP_FAULT_CELL < limit ? start + TP_FAULT_CELL : limit;
        int32_t still = signal->still[start / TP_FAULT_CELL % TP_FAULT_RING_CELLS];
        bool open = dropout->scanned_to == start && start - dropout->run_start >= OPEN_FRAMES;
        if (still == 3 && open && dropout->run_long) { /* no third difference after equal samples: more equal samples */
            dropout->scanned_to = stop;
            continue;
        }
        /* A run may have begun a little before the half cell that betrays it. */
        uint64_t from = start > TP_FAULT_CELL + 4 ? start - TP_FAULT_CELL - 4 : 0;
        if (open || still != 0)
            scan(dropout, signal, dropout->scanned_to > from ? dropout->scanned_to : from, stop);
    }
}

/* Long stretches of nothing in a file that is largely nothing are pauses of a gated or generated sound. */
static bool is_pause(const struct tp_dropout *dropout, const struct tp_fault_signal *signal,
                     const struct tp_fault_place *place)
{
    return (double)(place->end_frame - place->start_frame) > PAUSE_S * signal->sample_rate_hz &&
           (double)dropout->still_frames > PAUSE_SHARE * (double)signal->end;
}

static bool add_span(struct tp_spans *spans, uint64_t start_frame, uint64_t end_frame)
{
    struct tp_span *items = realloc(spans->items, (spans->count + 1) * sizeof *items);
    if (!items)
        return false;
    items[spans->count++] = (struct tp_span){start_frame, end_frame};
    spans->items = items;
    return true;
}

static bool observe(const struct tp_fault_out *out, const struct tp_fault_place *place)
{
    double start_s = tp_fault_seconds(out->signal, place->start_frame),
           end_s = tp_fault_seconds(out->signal, place->end_frame), length_ms = (end_s - start_s) * 1000.0;
    char length[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE];
    tp_number_text(length, length_ms, length_ms < 10.0 ? 1 : 0);
    return tp_observe(out->observations, TP_CODE_DROPOUT, out->channel, start_s, end_s, length_ms,
                      1000.0 * (double)run_min(out->signal) / out->signal->sample_rate_hz,
                      "%s ms of %s at %s inside signal", length,
                      place->value > 0.5 ? "digital zeros" : "one value held", tp_duration_text(at, start_s, 3));
}

bool tp_dropout_finish(struct tp_dropout *dropout, const struct tp_fault_out *out, struct tp_spans *damage)
{
    const struct tp_fault_signal *signal = out->signal;
    if (dropout->run_long && dropout->scanned_to == signal->end)
        dropout->still_frames += signal->end - dropout->run_start;
    for (size_t i = 0; i < dropout->places.count; i++) {
        const struct tp_fault_place *place = &dropout->places.items[i];
        if (is_pause(dropout, signal, place))
            continue;
        if (!observe(out, place) || !add_span(damage, place->start_frame, place->end_frame))
            return false;
    }
    out->observations->total += (size_t)(dropout->places.total - dropout->places.count);
    return !dropout->places.failed;
}
