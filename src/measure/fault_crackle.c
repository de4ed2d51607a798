/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "base/vector.h"
#include "measure/fault_parts.h"

#include <float.h>
#include <math.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define RATE_MIN_HZ 32000u      /* below it a voice's own noises are white */
#define OUTSTANDING 16.0F       /* 24 dB */
#define OUTSTANDING_SHORT 32.0F /* 30 dB, of fewer than SHORT_FRAMES: a hard consonant comes near 25 */
#define SHORT_FRAMES 24u
#define CHANGED 2.0F   /* no sample of the surroundings */
#define EDGE_MIN 5e-4F /* inside; under it are steps of a few bits */
#define WHITE_MIN 0.5F /* largest third difference over largest sample */
#define SHARP_MIN 0.3F /* largest third difference of the first and the last quarter, over that of all … */
#define SHARP_FRAMES_MIN 5u
#define SHARP_FRAMES_MAX 16u /* … or so many frames: what dies away leaves less there */
#define AROUND_CELLS 32u     /* 21 ms at 48 kHz */
#define NEAR_CELLS 4u
#define DYING_MIN 3.0F /* third difference just behind over that of later: it dies away */
#define CELLS_MAX 64u  /* 43 ms at 48 kHz */
#define GAP_CELLS 2u   /* inside, that may fall between two peaks */
#define FRAMES_MIN 8u  /* fewer are a click */
#define TAIL_FRAMES 3u /* by which a third difference reaches past the last sample */
_Static_assert(CELLS_MAX + GAP_CELLS + AROUND_CELLS < TP_FAULT_BLOCK_CELLS, "one block behind the newest shows it all");

static float most_of_cells(const struct tp_fault_signal *signal, uint64_t from, uint64_t to)
{
    float most = 0.0F;
    for (uint64_t c = from; c < to; c++)
        most = fmaxf(most, tp_fault_cell_edge(signal, c));
    return most;
}

/* The last cell that stands out, with at most GAP_CELLS between two that do. */
static uint64_t last_of_run(const struct tp_fault_signal *signal, uint64_t first, float least)
{
    uint64_t last = first;
    for (uint64_t c = first + 1; c <= last + 1 + GAP_CELLS && c <= first + CELLS_MAX; c++)
        if (tp_fault_cell_edge(signal, c) >= least)
            last = c;
    return last;
}

/* Sound falls off towards the highest frequencies; the third difference of white noise is 13 dB over the noise itself.
 */
static bool is_white(const struct tp_fault_signal *signal, uint64_t first, uint64_t last, float top)
{
    float peak = 0.0F;
    for (uint64_t c = first; c <= last; c++)
        peak = fmaxf(peak, signal->peak[c % TP_FAULT_RING_CELLS]);
    return top >= WHITE_MIN * peak;
}

static bool is_abrupt(const struct tp_fault_signal *signal, uint64_t start, uint64_t end, float top)
{
    uint64_t quarter = (end - start) / 4;
    uint64_t sharp = quarter < SHARP_FRAMES_MIN   ? SHARP_FRAMES_MIN
                     : quarter > SHARP_FRAMES_MAX ? SHARP_FRAMES_MAX
                                                  : quarter;
    return tp_fault_largest_edge(signal, start, start + sharp) >= SHARP_MIN * top &&
           tp_fault_largest_edge(signal, end - sharp, end) >= SHARP_MIN * top;
}

/* A burst may begin in cell `first`; returns the cell to go on from. */
static uint64_t judge(struct tp_crackle *crackle, const struct tp_fault_signal *signal, uint64_t first)
{
    const uint64_t next = first + 1;
    float before = most_of_cells(signal, first - AROUND_CELLS, first);
    float least = fmaxf(OUTSTANDING * before, EDGE_MIN);
    if (fmaxf(tp_fault_cell_edge(signal, first), tp_fault_cell_edge(signal, next)) < least)
        return next;
    uint64_t last = last_of_run(signal, first, least);
    float near = most_of_cells(signal, last + 1, last + 1 + NEAR_CELLS),
          later = most_of_cells(signal, last + 1 + NEAR_CELLS, last + 1 + AROUND_CELLS),
          around = fmaxf(before, fmaxf(near, later));
    float top = most_of_cells(signal, first, last + 1);
    if (last == first + CELLS_MAX || !(around > 0.0F) || near > DYING_MIN * later || top < OUTSTANDING * around ||
        top > FLT_MAX / OUTSTANDING || !is_white(signal, first, last, top))
        return next;
    uint64_t start = first * TP_FAULT_CELL, end = (last + 1) * TP_FAULT_CELL;
    while (start < end && tp_fault_edge(signal, start) < CHANGED * around)
        start++;
    while (end > start && tp_fault_edge(signal, end - 1) < CHANGED * around)
        end--;
    if (end - start < FRAMES_MIN + TAIL_FRAMES ||
        (end - start < SHORT_FRAMES + TAIL_FRAMES && top < OUTSTANDING_SHORT * around) ||
        !is_abrupt(signal, start, end, top))
        return next;
    tp_fault_places_add(&crackle->places, start, end - TAIL_FRAMES, tp_db_from_lin((double)top / (double)around));
    return last + 1;
}

/* Which cells may be the first of a burst, and whether any may. */
static TP_CLONES bool compare(const float *edges, int32_t may_begin[TP_FAULT_BLOCK_CELLS])
{
    int32_t any = 0;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        const float *edge = edges + c;
        float before = edge[-1] > edge[-2] ? edge[-1] : edge[-2], now = edge[0] > edge[1] ? edge[0] : edge[1];
        may_begin[c] = (now >= EDGE_MIN) & (now >= OUTSTANDING * before) & (edge[0] >= CHANGED * before);
        any |= may_begin[c];
    }
    return any != 0;
}

void tp_crackle_block(struct tp_crackle *crackle, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    float room[TP_FAULT_EDGES_ROOM];
    int32_t may_begin[TP_FAULT_BLOCK_CELLS];
    uint64_t first = first_frame / TP_FAULT_CELL, cell = crackle->next_cell > first ? crackle->next_cell : first;
    if (signal->sample_rate_hz < RATE_MIN_HZ || !compare(tp_fault_edges(signal, first_frame, room), may_begin))
        return;
    while (cell < first + TP_FAULT_BLOCK_CELLS) {
        bool has_surroundings = cell > AROUND_CELLS && (cell + CELLS_MAX + AROUND_CELLS) * TP_FAULT_CELL <= signal->end;
        cell = may_begin[cell - first] != 0 && has_surroundings ? judge(crackle, signal, cell) : cell + 1;
    }
    crackle->next_cell = cell;
}

bool tp_crackle_finish(const struct tp_crackle *crackle, const struct tp_fault_out *out,
                       const struct tp_fault_places *const others[], size_t other_count)
{
    uint64_t guard = out->signal->sample_rate_hz / 500;
    for (size_t i = 0; i < crackle->places.count; i++) {
        const struct tp_fault_place *place = &crackle->places.items[i];
        double start_s = tp_fault_seconds(out->signal, place->start_frame),
               end_s = tp_fault_seconds(out->signal, place->end_frame);
        char at[TP_NUMBER_SIZE], length[TP_NUMBER_SIZE], over[TP_NUMBER_SIZE];
        bool is_told = false;
        for (size_t o = 0; o < other_count; o++)
            is_told = is_told || tp_fault_places_touch(others[o], place->start_frame, place->end_frame, guard);
        if (is_told)
            continue;
        if (!tp_observe(out->observations, TP_CODE_CLICK, out->channel, start_s, end_s, place->value,
                        20.0 * log10((double)OUTSTANDING),
                        "a crackle of %s ms at %s, %s dB over the sound around, abrupt at both ends",
                        tp_number_text(length, 1000.0 * (end_s - start_s), 1), tp_duration_text(at, start_s, 3),
                        tp_number_text(over, place->value, 1)))
            return false;
    }
    out->observations->total += (size_t)(crackle->places.total - crackle->places.count);
    return !crackle->places.failed;
}
