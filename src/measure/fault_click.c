/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "base/vector.h"
#include "measure/fault_parts.h"

#include <stdlib.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define HEIGHT_MIN_LIN 5e-4F          /* -66 dBFS */
#define HEIGHT_PER_EDGE (1.0F / 3.0F) /* a spike of 1 has a third difference of 3, a step of 1 one of 2 */
#define OUTSTANDING 5.0F              /* 14 dB */
#define NARROW_FRAMES 4u              /* a spike or step disturbs four third differences, a filtered one a few more */
#define NEAR_FRAMES 48u
#define AROUND_CELLS 32u    /* 21 ms at 48 kHz */
#define OTHERS_MAX 4u       /* as large in the surroundings: clicks come in trains */
#define MARGIN_FRAMES 1024u /* at the ends of the recording there are no surroundings to judge by */
#define BESIDE_S 0.002      /* of a dropout, a repeated block or an overload, which explain a step */

static uint64_t place_of_edge(const struct tp_fault_signal *signal, uint64_t cell)
{
    uint64_t f = cell * TP_FAULT_CELL, best = f;
    for (uint64_t i = f; i < f + TP_FAULT_CELL; i++) {
        if (tp_fault_edge(signal, i) > tp_fault_edge(signal, best))
            best = i;
    }
    return best;
}

/* Largest third difference near the click, but not of it. */
static float near_edge(const struct tp_fault_signal *signal, uint64_t place)
{
    uint64_t from = place > NEAR_FRAMES ? place - NEAR_FRAMES : 0, to = place + NEAR_FRAMES;
    float most = 0.0F;
    for (uint64_t f = from; f <= to; f++) {
        if (f + NARROW_FRAMES < place || f > place + NARROW_FRAMES)
            most = fmaxf(most, tp_fault_edge(signal, f));
    }
    return most;
}

/* The (OTHERS_MAX + 1)th largest cell of the surroundings, the click's own and its neighbour left out. */
static float around_edge(const struct tp_fault_signal *signal, uint64_t cell)
{
    float largest[OTHERS_MAX + 1] = {0};
    uint64_t from = cell > AROUND_CELLS ? cell - AROUND_CELLS : 0;
    for (uint64_t c = from; c <= cell + AROUND_CELLS; c++) {
        if (c + 1 >= cell && c <= cell + 1)
            continue;
        float edge = signal->edge[c % TP_FAULT_RING_CELLS];
        for (size_t i = 0; i <= OTHERS_MAX; i++) {
            if (edge > largest[i]) {
                float smaller = largest[i];
                largest[i] = edge;
                edge = smaller;
            }
        }
    }
    return largest[OTHERS_MAX];
}

static void judge(struct tp_click *click, const struct tp_fault_signal *signal, uint64_t cell)
{
    float edge = signal->edge[cell % TP_FAULT_RING_CELLS];
    uint64_t place = place_of_edge(signal, cell);
    if (place < MARGIN_FRAMES || place + MARGIN_FRAMES > signal->end)
        return;
    float others = fmaxf(near_edge(signal, place), around_edge(signal, cell));
    if (edge < OUTSTANDING * others)
        return;
    if (click->places.count < TP_OBSERVATIONS_PER_CODE &&
        !tp_grow(&click->heights_lin, &click->heights_capacity, click->places.count, sizeof *click->heights_lin)) {
        click->places.failed = true;
        return;
    }
    if (click->places.count < TP_OBSERVATIONS_PER_CODE)
        click->heights_lin[click->places.count] = edge * HEIGHT_PER_EDGE;
    /* Silence all around leaves nothing to compare with: a quantisation step of 24 bits stands for it. */
    double ratio = (double)edge / fmax((double)others, 1.0 / 8388608.0);
    tp_fault_places_add(&click->places, place, place + 1, tp_db_from_lin(ratio));
}

/* Which cells stand out of those beside them, and whether any does. */
static TP_CLONES bool compare(const float *edges, int32_t stands_out[TP_FAULT_BLOCK_CELLS])
{
    int32_t any = 0;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        const float *edge = edges + c;
        stands_out[c] = (edge[0] >= HEIGHT_MIN_LIN / HEIGHT_PER_EDGE) & (edge[0] >= OUTSTANDING * edge[-2]) &
                        (edge[0] >= OUTSTANDING * edge[2]) & (edge[0] >= edge[1]) & (edge[0] > edge[-1]);
        any |= stands_out[c];
    }
    return any != 0;
}

void tp_click_block(struct tp_click *click, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    float room[TP_FAULT_EDGES_ROOM];
    int32_t stands_out[TP_FAULT_BLOCK_CELLS];
    if (!compare(tp_fault_edges(signal, first_frame, room), stands_out))
        return;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++)
        if (stands_out[c] != 0)
            judge(click, signal, first_frame / TP_FAULT_CELL + c);
}

static bool beside_overload(const struct tp_channel *levels, uint64_t frame, uint64_t guard)
{
    for (size_t i = 0; i < levels->clip_count; i++) {
        const struct tp_clip_run *run = &levels->clips[i];
        if (frame + guard >= run->start_frame && frame <= run->start_frame + run->frames + guard)
            return true;
    }
    return false;
}

static bool is_explained(const struct tp_fault_places *const others[], size_t other_count, uint64_t frame,
                         uint64_t guard)
{
    for (size_t i = 0; i < other_count; i++)
        if (tp_fault_places_touch(others[i], frame, frame, guard))
            return true;
    return false;
}

bool tp_click_finish(struct tp_click *click, const struct tp_fault_out *out,
                     const struct tp_fault_places *const others[], size_t other_count)
{
    uint64_t guard = (uint64_t)(BESIDE_S * out->signal->sample_rate_hz);
    for (size_t i = 0; i < click->places.count; i++) {
        const struct tp_fault_place *place = &click->places.items[i];
        uint64_t frame = place->start_frame;
        if (is_explained(others, other_count, frame, guard) ||
            (click->heights_lin[i] < 0.5F && beside_overload(out->levels, frame, guard)))
            continue;
        double at_s = tp_fault_seconds(out->signal, frame), height_db = tp_db_from_lin((double)click->heights_lin[i]);
        char height[TP_NUMBER_SIZE], over[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE];
        if (!tp_observe(out->observations, TP_CODE_CLICK, out->channel, at_s,
                        tp_fault_seconds(out->signal, place->end_frame), place->value,
                        20.0 * log10((double)OUTSTANDING),
                        "a step of about %s dBFS within single samples at %s, %s dB over its surroundings",
                        tp_number_text(height, height_db, 1), tp_duration_text(at, at_s, 4),
                        tp_number_text(over, place->value, 1)))
            return false;
    }
    out->observations->total += (size_t)(click->places.total - click->places.count);
    return !click->places.failed;
}
