/* SPDX-License-Identifier: MIT */
/*
 * The waveform for drawing: extremes of at most TP_OVERVIEW_BINS_MAX bins, however long the sound; when all are used,
 * each two become one. A recording of over 1024 * TP_CELL_FRAMES frames ends with 513 to 1024 bins.
 */
#ifndef TP_MEASURE_OVERVIEW_H
#define TP_MEASURE_OVERVIEW_H

#include "measure/cells.h"

#include <stdbool.h>
#include <takeproof/result.h>

struct tp_overview_meter {
    float min[TP_OVERVIEW_BINS_MAX], max[TP_OVERVIEW_BINS_MAX];
    uint32_t bins; /* begun */
    uint64_t cells_per_bin;
    uint64_t cells_in_last;
};

void tp_overview_init(struct tp_overview_meter *meter);
/* Only the very last cell may be short. */
void tp_overview_push(struct tp_overview_meter *meter, const struct tp_cells *cells);
/* Makes the arrays, owned by the caller; false when memory is short. No bins: NULL and 0. */
bool tp_overview_finish(const struct tp_overview_meter *meter, struct tp_overview *overview);

#endif
