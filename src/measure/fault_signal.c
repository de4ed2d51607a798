/* SPDX-License-Identifier: MIT */
#include "measure/fault_signal.h"

#include <math.h>
#include <string.h>

/* The samples before the next block; silence before the recording. */
static void look_back(const struct tp_fault_signal *signal, float before[TP_CELLS_BEFORE])
{
    for (size_t i = 0; i < TP_CELLS_BEFORE; i++)
        before[i] = signal->filled > 0 ? tp_fault_sample(signal, signal->filled - TP_CELLS_BEFORE + i) : 0.0F;
}

void tp_fault_signal_block(struct tp_fault_signal *signal, const float *samples, size_t frames,
                           const struct tp_cells *cells)
{
    size_t at = signal->filled % TP_FAULT_RING, first = at / TP_FAULT_CELL;
    struct tp_cells made;
    float *block = signal->samples + at;
    if (frames > 0 && samples != block)
        memcpy(block, samples, frames * sizeof *block);
    memset(block + frames, 0, (TP_FAULT_BLOCK - frames) * sizeof *block);
    if (cells == NULL || frames < TP_FAULT_BLOCK) {
        float before[TP_CELLS_BEFORE];
        look_back(signal, before);
        tp_cells_make(&made, block, TP_FAULT_BLOCK, before);
        cells = &made;
    }
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++)
        signal->peak[first + c] = tp_peak_between(cells->low[c], cells->high[c]);
    memcpy(signal->edge + first, cells->edge, sizeof cells->edge);
    memcpy(signal->sum + first, cells->sum, sizeof cells->sum);
    memcpy(signal->ramp + first, cells->ramp, sizeof cells->ramp);
    memcpy(signal->squares + first, cells->squares, sizeof cells->squares);
    memcpy(signal->still + first, cells->still, sizeof cells->still);
    signal->filled += TP_FAULT_BLOCK;
    signal->end += frames;
}

static float larger(float a, float b)
{
    return a > b ? a : b;
}

/* Cells that do not go round the end of the ring. By fours, so that little waits for what was before. */
static struct tp_sums sums_of(const struct tp_fault_signal *signal, size_t first, size_t count)
{
    const float *sum = signal->sum + first, *squares = signal->squares + first, *peak = signal->peak + first;
    struct tp_sums sums = {.frames = count * TP_FAULT_CELL};
    size_t c = 0;
    for (; c + 4 <= count; c += 4) {
        sums.sum += ((double)sum[c] + (double)sum[c + 1]) + ((double)sum[c + 2] + (double)sum[c + 3]);
        sums.sum_squares +=
            ((double)squares[c] + (double)squares[c + 1]) + ((double)squares[c + 2] + (double)squares[c + 3]);
        sums.peak = larger(sums.peak, larger(larger(peak[c], peak[c + 1]), larger(peak[c + 2], peak[c + 3])));
    }
    for (; c < count; c++) {
        sums.sum += (double)sum[c];
        sums.sum_squares += (double)squares[c];
        sums.peak = larger(sums.peak, peak[c]);
    }
    return sums;
}

struct tp_sums tp_fault_signal_sums(const struct tp_fault_signal *signal, uint64_t first_cell, uint64_t end_cell)
{
    size_t first = first_cell % TP_FAULT_RING_CELLS, count = (size_t)(end_cell - first_cell);
    size_t straight = TP_FAULT_RING_CELLS - first < count ? TP_FAULT_RING_CELLS - first : count;
    struct tp_sums sums = sums_of(signal, first, straight);
    if (straight < count) {
        struct tp_sums rest = sums_of(signal, 0, count - straight);
        tp_sums_join(&sums, &rest);
    }
    return sums;
}

float tp_fault_edge(const struct tp_fault_signal *signal, uint64_t frame)
{
    float x[TP_CELLS_BEFORE];
    if (frame < TP_CELLS_BEFORE - 1)
        return 0.0F;
    for (size_t i = 0; i < TP_CELLS_BEFORE; i++)
        x[i] = tp_fault_sample(signal, frame - (TP_CELLS_BEFORE - 1) + i);
    return fabsf(tp_third_difference(x + TP_CELLS_BEFORE - 1));
}

float tp_fault_largest_edge(const struct tp_fault_signal *signal, uint64_t from, uint64_t to)
{
    float most = 0.0F;
    for (uint64_t f = from; f < to; f++)
        most = larger(tp_fault_edge(signal, f), most);
    return most;
}

#define BESIDE TP_FAULT_EDGES_BESIDE
const float *tp_fault_edges(const struct tp_fault_signal *signal, uint64_t first_frame, float room[TP_FAULT_EDGES_ROOM])
{
    size_t first = first_frame % TP_FAULT_RING / TP_FAULT_CELL;
    if (first >= BESIDE && first + TP_FAULT_BLOCK_CELLS + BESIDE <= TP_FAULT_RING_CELLS)
        return signal->edge + first;
    memcpy(room + BESIDE, signal->edge + first, TP_FAULT_BLOCK_CELLS * sizeof *room);
    for (size_t i = 0; i < BESIDE; i++) {
        room[i] = signal->edge[(first - BESIDE + i) % TP_FAULT_RING_CELLS];
        room[BESIDE + TP_FAULT_BLOCK_CELLS + i] =
            signal->edge[(first + TP_FAULT_BLOCK_CELLS + i) % TP_FAULT_RING_CELLS];
    }
    return room + BESIDE;
}
