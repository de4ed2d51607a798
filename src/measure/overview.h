/* SPDX-License-Identifier: MIT */
/*
 * The waveform for drawing: extremes of at most TP_OVERVIEW_BINS_MAX bins, however long the sound; when all are used,
 * each two become one. A recording of over 1024 * 64 frames ends with 513 to 1024 bins.
 */
#ifndef TP_MEASURE_OVERVIEW_H
#define TP_MEASURE_OVERVIEW_H

#include <stdbool.h>
#include <takeproof/result.h>

struct tp_overview_meter {
    float min[TP_OVERVIEW_BINS_MAX], max[TP_OVERVIEW_BINS_MAX];
    uint32_t bins;           /* begun */
    uint64_t blocks_per_bin; /* of TP_EXTREMES_FRAMES */
    uint64_t blocks_in_last;
};

void tp_overview_init(struct tp_overview_meter *meter);
/* The extremes of the next block of TP_EXTREMES_FRAMES frames (only the very last may be shorter). */
void tp_overview_push(struct tp_overview_meter *meter, float min, float max);
/* Makes the arrays, owned by the caller; false when memory is short. No bins: NULL and 0. */
bool tp_overview_finish(const struct tp_overview_meter *meter, struct tp_overview *overview);

#endif
