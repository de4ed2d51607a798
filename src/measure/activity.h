/* SPDX-License-Identifier: MIT */
/*
 * Noise floor, working level and active time of one channel. Common practice made exact; no standard defines them.
 *
 * - noise_floor_dbfs: the AES17 RMS of each whole 100 ms block, its own mean removed (so DC and wind below about
 *   5 Hz do not count); the 10th percentile of these. Blocks that hold one constant value (digital zero) are left out.
 *
 * - meter: a peak-programme meter. Every 10 ms hop it rises at once to the hop's largest |sample| and otherwise falls
 *   by 20 dB in 1.7 s (the fall of IEC 60268-10 type I, from memory; its 5 ms integration is not imitated: a peak
 *   reads full).
 *
 * - speech-active hops: the meter reads above all three of: -60 dBFS; 15 dB above the noise floor (peaks of steady
 *   noise read about 9 dB above its RMS on such a meter); 20 dB below the meter's 95th percentile (of readings over
 *   -60 dBFS).
 *
 * - working_level_dbfs: the median of the meter over the speech-active hops; NaN when they are under 0.3 s in all.
 *
 * - active_s: the time in 100 ms blocks whose AES17 RMS is above -60 dBFS and 10 dB or more above the noise floor.
 *
 * Percentiles come from histograms of 0.05 dB, interpolated inside the bin: resolution 0.05 dB, memory 32 KB.
 */
#ifndef TP_MEASURE_ACTIVITY_H
#define TP_MEASURE_ACTIVITY_H

#include "measure/level.h"

#define TP_ACTIVITY_BINS 4000 /* -180 to +20 dBFS */

struct tp_activity {
    double fall_lin; /* per hop */
    double meter_lin, meter_dbfs;
    struct tp_sums block; /* of the hops of the 100 ms block in hand */
    uint32_t hops_in_block;
    uint32_t block_bins[TP_ACTIVITY_BINS]; /* AES17 RMS */
    uint32_t meter_bins[TP_ACTIVITY_BINS];
};

struct tp_activity_result {
    double noise_floor_dbfs, working_level_dbfs, active_s;
};

void tp_activity_init(struct tp_activity *activity);
/* The next whole hop of 10 ms. */
void tp_activity_push_hop(struct tp_activity *activity, const struct tp_sums *hop);
struct tp_activity_result tp_activity_finish(const struct tp_activity *activity);

#endif
