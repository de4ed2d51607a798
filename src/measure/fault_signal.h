/* SPDX-License-Identifier: MIT */
/*
 * What the fault detectors share: the last stretch of one channel's samples and of its cells.
 *
 * Samples arrive in whole blocks whatever the caller pushes, so results cannot depend on the push size. Before the
 * first frame lies silence. Detectors work one block behind the newest, so that at least one block of what follows is
 * known. Memory: about 150 KB.
 */
#ifndef TP_MEASURE_FAULT_SIGNAL_H
#define TP_MEASURE_FAULT_SIGNAL_H

#include "measure/cells.h"
#include "measure/level.h"

#include <stdbool.h>

#define TP_FAULT_CELL TP_CELL_FRAMES
#define TP_FAULT_BLOCK (TP_FAULT_CELL * TP_CELLS_MAX)
#define TP_FAULT_RING 32768u
#define TP_FAULT_BLOCK_CELLS (TP_FAULT_BLOCK / TP_FAULT_CELL)
#define TP_FAULT_RING_CELLS (TP_FAULT_RING / TP_FAULT_CELL)

struct tp_fault_signal {
    uint32_t sample_rate_hz;
    uint64_t filled; /* frames in the ring so far, padding of the last block included */
    uint64_t end;    /* frames of the recording so far; less than filled only after the last, padded block */
    float samples[TP_FAULT_RING]; /* frame f lies at f % TP_FAULT_RING */
    /* Of cell c, at c % TP_FAULT_RING_CELLS, as in cells.h: */
    float peak[TP_FAULT_RING_CELLS];    /* largest |x| */
    float edge[TP_FAULT_RING_CELLS];    /* largest |third difference|, which reaches back three frames */
    float sum[TP_FAULT_RING_CELLS];     /* sum of x */
    float ramp[TP_FAULT_RING_CELLS];    /* sum of x times its 1-based place in the cell */
    float squares[TP_FAULT_RING_CELLS]; /* sum of the squares of x */
    int32_t still[TP_FAULT_RING_CELLS]; /* bit 0, bit 1: the third difference is 0 all over the first, second half */
};

/* Takes `frames` (at most TP_FAULT_BLOCK, fewer only at the end of the recording) into the ring as the next block.
 * They may lie where they go already, see tp_fault_room(). `cells`: of the samples when there is a whole block of them
 * and they are made already, or NULL. */
void tp_fault_signal_block(struct tp_fault_signal *signal, const float *samples, size_t frames,
                           const struct tp_cells *cells);

/* Where the next block goes, in the place of the oldest. */
static inline float *tp_fault_room(struct tp_fault_signal *signal)
{
    return signal->samples + signal->filled % TP_FAULT_RING;
}
static inline float tp_fault_sample(const struct tp_fault_signal *signal, uint64_t frame)
{
    return signal->samples[frame % TP_FAULT_RING];
}
/* |Third difference| at a frame, computed as for `edge`; but 0 for the first three frames, where `edge` sees a step out
 * of silence. */
float tp_fault_edge(const struct tp_fault_signal *signal, uint64_t frame);
/* Largest |third difference| of a cell that is still there; of the frames [from, to). */
static inline float tp_fault_cell_edge(const struct tp_fault_signal *signal, uint64_t cell)
{
    return signal->edge[cell % TP_FAULT_RING_CELLS];
}
float tp_fault_largest_edge(const struct tp_fault_signal *signal, uint64_t from, uint64_t to);
/* Of whole cells, which must be there still: as exact as single precision makes sums of 32 samples. */
struct tp_sums tp_fault_signal_sums(const struct tp_fault_signal *signal, uint64_t first_cell, uint64_t end_cell);
/* |Third difference| of the cells of the block that begins at `first_frame`, with TP_FAULT_EDGES_BESIDE readable on
 * each side. `room` is for where they lie apart. */
#define TP_FAULT_EDGES_BESIDE 2u
#define TP_FAULT_EDGES_ROOM (TP_FAULT_BLOCK_CELLS + 2 * TP_FAULT_EDGES_BESIDE)
const float *tp_fault_edges(const struct tp_fault_signal *signal, uint64_t first_frame,
                            float room[TP_FAULT_EDGES_ROOM]);
/* First frame still in the ring. */
static inline uint64_t tp_fault_oldest(const struct tp_fault_signal *signal)
{
    return signal->filled > TP_FAULT_RING ? signal->filled - TP_FAULT_RING : 0;
}
static inline double tp_fault_seconds(const struct tp_fault_signal *signal, uint64_t frame)
{
    return (double)frame / signal->sample_rate_hz;
}

#endif
