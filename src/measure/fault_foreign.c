/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "base/vector.h"
#include "measure/fault_parts.h"

#include <float.h>
#include <math.h>

/* All common practice, no source. With these values nothing in four hours of sound without seeded faults (the corpora
 * of tests/measure/fault_tables.c) would be told even if a stretch could begin and end anywhere. A ratio of 5 would
 * find hardly more, but three sounds of voices that were cut. */
#define OUTSTANDING 8.0F /* 18 dB */
#define CHANGED 2.0F     /* no sample of the surroundings */
#define EDGE_MIN 5e-4F   /* inside; under it are steps of a few bits */
#define WHITE_MIN 0.5F   /* largest third difference over largest sample */
#define AROUND_CELLS 32u /* 21 ms at 48 kHz */
#define LEAST_CELLS 3u   /* at the ends of the recording */
#define SHARP_FRAMES 16u /* by which the sound has changed altogether */
/* The first sample of a stretch, or some of its bytes, may happen to fit; its last ones disturb the third differences
 * of three frames behind it. */
#define LATE_FRAMES 3u
#define EARLY_FRAMES 2u
#define FRAMES_MIN 64u
#define SECTOR_BYTES 512u
#define FRAME_BYTES_MAX 32u /* of larger ones a sector begins everywhere */

/* Largest of the cells before `cell`, or of so many that it is over `limit`. */
static float most_before(const struct tp_fault_signal *signal, uint64_t cell, float limit)
{
    float most = 0.0F;
    for (uint64_t i = 1; i <= AROUND_CELLS && i < cell && most <= limit; i++) /* the first sees a step out of silence */
        most = fmaxf(most, tp_fault_cell_edge(signal, cell - i));
    return most;
}

static float most_after(const struct tp_fault_signal *signal, uint64_t cell, float limit)
{
    float most = 0.0F;
    uint64_t end = signal->end / TP_FAULT_CELL;
    for (uint64_t i = 1; i <= AROUND_CELLS && cell + i < end && most <= limit; i++)
        most = fmaxf(most, tp_fault_cell_edge(signal, cell + i));
    return most;
}

/* Finds a frame with the first byte of a sector in it, from `frame` back; at most LATE + EARLY frames. */
static bool find_border(const struct tp_foreign *foreign, uint64_t frame, uint64_t *border)
{
    for (uint64_t back = 0; back <= LATE_FRAMES + EARLY_FRAMES && back <= frame; back++) {
        uint64_t in_sector = (foreign->audio_offset + (frame - back) * foreign->frame_bytes) % SECTOR_BYTES;
        if (in_sector == 0 || in_sector + foreign->frame_bytes > SECTOR_BYTES) {
            *border = frame - back;
            return true;
        }
    }
    return false;
}

/* In digital silence everything would stand out. The largest floats have differences beyond all numbers. */
static bool is_far_over(float inside, float outside)
{
    return outside > 0.0F && inside >= OUTSTANDING * outside && OUTSTANDING * outside <= FLT_MAX;
}

static void begin(struct tp_foreign *foreign, const struct tp_fault_signal *signal, uint64_t cell)
{
    float inside = fminf(tp_fault_cell_edge(signal, cell + 1), tp_fault_cell_edge(signal, cell + 2));
    float most = most_before(signal, cell, inside / OUTSTANDING);
    if (!is_far_over(inside, most))
        return;
    uint64_t frame = cell * TP_FAULT_CELL, border;
    while (frame < (cell + 1) * TP_FAULT_CELL && tp_fault_edge(signal, frame) < CHANGED * most)
        frame++;
    if (frame == (cell + 1) * TP_FAULT_CELL || !find_border(foreign, frame, &border) || frame - border > LATE_FRAMES)
        return;
    most = fmaxf(most, tp_fault_largest_edge(signal, cell * TP_FAULT_CELL, border));
    if (tp_fault_largest_edge(signal, border, border + SHARP_FRAMES) < OUTSTANDING * most)
        return;
    *foreign = (struct tp_foreign){.audio_offset = foreign->audio_offset,
                                   .frame_bytes = foreign->frame_bytes,
                                   .open = true,
                                   .start_frame = border,
                                   .next_cell = cell + 1,
                                   .before = most,
                                   .weakest = FLT_MAX,
                                   .places = foreign->places};
}

/* Looks at what lies inside, up to `cell`. Cells go in pairs: a single one may fall between two peaks. */
static void go_on(struct tp_foreign *foreign, const struct tp_fault_signal *signal, uint64_t cell)
{
    for (; foreign->open && foreign->next_cell + 1 < cell; foreign->next_cell += 2) {
        float edge = 0.0F;
        for (uint64_t c = foreign->next_cell; c < foreign->next_cell + 2; c++) {
            edge = fmaxf(edge, tp_fault_cell_edge(signal, c));
            foreign->peak = fmaxf(foreign->peak, signal->peak[c % TP_FAULT_RING_CELLS]);
        }
        foreign->strongest = fmaxf(foreign->strongest, edge);
        foreign->weakest = fminf(foreign->weakest, edge);
        foreign->open = is_far_over(edge, foreign->before);
    }
}

static void end(struct tp_foreign *foreign, const struct tp_fault_signal *signal, uint64_t cell)
{
    go_on(foreign, signal, cell);
    if (!foreign->open)
        return;
    float inside = fminf(tp_fault_cell_edge(signal, cell - 1), tp_fault_cell_edge(signal, cell - 2));
    float most = most_after(signal, cell, inside / OUTSTANDING);
    if (!is_far_over(inside, most))
        return;
    uint64_t frame = cell * TP_FAULT_CELL + TP_FAULT_CELL - 1, border;
    while (frame > (cell - 1) * TP_FAULT_CELL && tp_fault_edge(signal, frame) < CHANGED * most)
        frame--;
    if (!find_border(foreign, frame + EARLY_FRAMES, &border) || border < foreign->start_frame + FRAMES_MIN)
        return;
    most = fmaxf(most, tp_fault_largest_edge(signal, border + LATE_FRAMES + 1, (cell + 1) * TP_FAULT_CELL));
    if (tp_fault_largest_edge(signal, border - SHARP_FRAMES, border) < OUTSTANDING * most)
        return;
    most = fmaxf(most, foreign->before);
    float weakest = fminf(foreign->weakest, inside),
          strongest = fmaxf(foreign->strongest, tp_fault_cell_edge(signal, cell - 1)),
          peak = fmaxf(foreign->peak, signal->peak[(cell - 1) % TP_FAULT_RING_CELLS]);
    /* Sound falls off towards the highest frequencies, that of a voice between two cuts too; bytes that are no samples
     * do not: of white noise the third difference is 13 dB over the noise itself. */
    if (!is_far_over(weakest, most) || strongest < WHITE_MIN * peak)
        return;
    foreign->open = false;
    tp_fault_places_add(&foreign->places, foreign->start_frame, border, tp_db_from_lin((double)weakest / (double)most));
}

/* Which cells stand out as the first or the last of a stretch would, and whether any does. */
static TP_CLONES bool compare(const float *edges, int32_t stands_out[TP_FAULT_BLOCK_CELLS])
{
    int32_t any = 0;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        const float *edge = edges + c;
        float before = edge[-1] > edge[-2] ? edge[-1] : edge[-2],
              low_before = edge[-1] < edge[-2] ? edge[-1] : edge[-2];
        float after = edge[1] > edge[2] ? edge[1] : edge[2], low_after = edge[1] < edge[2] ? edge[1] : edge[2];
        stands_out[c] = ((low_after >= EDGE_MIN) & (low_after >= OUTSTANDING * before)) |
                        ((low_before >= EDGE_MIN) & (low_before >= OUTSTANDING * after));
        any |= stands_out[c];
    }
    return any != 0;
}

void tp_foreign_block(struct tp_foreign *foreign, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    float room[TP_FAULT_EDGES_ROOM];
    int32_t stands_out[TP_FAULT_BLOCK_CELLS];
    if (foreign->frame_bytes == 0 || foreign->frame_bytes > FRAME_BYTES_MAX)
        return;
    uint64_t first = first_frame / TP_FAULT_CELL;
    bool any = compare(tp_fault_edges(signal, first_frame, room), stands_out);
    for (uint64_t cell = first; any && cell < first + TP_FAULT_BLOCK_CELLS; cell++) {
        if (stands_out[cell - first] == 0 || cell <= LEAST_CELLS ||
            (cell + 1 + LEAST_CELLS) * TP_FAULT_CELL > signal->end)
            continue;
        if (tp_fault_cell_edge(signal, cell + 1) > tp_fault_cell_edge(signal, cell - 1))
            begin(foreign, signal, cell);
        else
            end(foreign, signal, cell);
    }
    go_on(foreign, signal, first + TP_FAULT_BLOCK_CELLS);
}

bool tp_foreign_finish(struct tp_foreign *foreign, const struct tp_fault_out *out)
{
    for (size_t i = 0; i < foreign->places.count; i++) {
        const struct tp_fault_place *place = &foreign->places.items[i];
        double start_s = tp_fault_seconds(out->signal, place->start_frame),
               end_s = tp_fault_seconds(out->signal, place->end_frame);
        char at[TP_NUMBER_SIZE], length[TP_NUMBER_SIZE], over[TP_NUMBER_SIZE];
        if (!tp_observe(out->observations, TP_CODE_CLICK, out->channel, start_s, end_s, place->value,
                        20.0 * log10((double)OUTSTANDING),
                        "%s ms of noise at %s, %s dB over the sound around, from one sector's border on the card to "
                        "another's: not what was recorded there",
                        tp_number_text(length, 1000.0 * (end_s - start_s), 1), tp_duration_text(at, start_s, 3),
                        tp_number_text(over, place->value, 1)))
            return false;
    }
    out->observations->total += (size_t)(foreign->places.total - foreign->places.count);
    return !foreign->places.failed;
}
