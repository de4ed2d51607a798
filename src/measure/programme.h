/* SPDX-License-Identifier: MIT */
/*
 * Everything measured of one file: a channel meter per channel, and the loudness of the channels together from the same
 * K-weighted energies, so that the filter runs once. The one object the pipeline needs for measuring:
 *
 *     meter = tp_programme_meter_new(48000, 2, 0, 8388607.0 / 8388608);
 *     while (…) tp_programme_meter_push(meter, planes, frames);
 *     ok = tp_programme_meter_finish(meter, full_scale_lin, file->channels, &file->programme, &file->observations);
 *     tp_programme_meter_free(meter);
 *
 * Weights: one channel is mono (1); two are left and right (1, 1); with a channel mask (WAVE_FORMAT_EXTENSIBLE order)
 * the surrounds (back and side left/right) weigh 1.41 and the LFE 0, ITU-R BS.1770 Annex 1; channels that the mask does
 * not name, and every channel of a file without a mask, weigh 1. The result does not depend on the block size. Memory:
 * bounded, under 1 MB a channel. One thread per meter.
 */
#ifndef TP_MEASURE_PROGRAMME_H
#define TP_MEASURE_PROGRAMME_H

#include "measure/level.h"

#include <takeproof/result.h>

struct tp_programme_meter;

/* `channel_count` at least 1; `channel_mask` 0 for tracks without a place; `full_scale_lin` as in channel_meter.h.
 * NULL when memory is short. */
struct tp_programme_meter *tp_programme_meter_new(uint32_t sample_rate_hz, uint32_t channel_count,
                                                  uint32_t channel_mask, double full_scale_lin);
void tp_programme_meter_free(struct tp_programme_meter *meter); /* NULL is fine */
/* As tp_fault_meter_place(), for all channels. */
void tp_programme_meter_place(struct tp_programme_meter *meter, uint64_t audio_offset, uint32_t frame_bytes);
/* Fills planes[0 … channel_count) with where the next samples may be put before they are pushed from there, which saves
 * a copy, and returns how many frames (at least one). */
size_t tp_programme_meter_room(struct tp_programme_meter *meter, float **planes);
/* `planes`: channel_count pointers to `frames` samples each, finite, full scale 1.0. */
void tp_programme_meter_push(struct tp_programme_meter *meter, const float *const *planes, size_t frames);
/* Of one channel, see tp_channel_meter_sums(). */
struct tp_sums tp_programme_meter_sums(const struct tp_programme_meter *meter, uint32_t channel);
/* Call once. Fills channels[0 … channel_count) but for .name and .non_finite_samples (left alone), all of *programme,
 * and appends the channels' fault observations. `full_scale_lin`: see tp_channel_meter_finish(). False when memory was
 * short at any time: what is there is then incomplete, but may be freed as usual. */
bool tp_programme_meter_finish(struct tp_programme_meter *meter, double full_scale_lin, struct tp_channel *channels,
                               struct tp_programme *programme, struct tp_observations *observations);

/* Weight of channel `channel` (0-based) under `channel_mask`. */
double tp_programme_weight(uint32_t channel_mask, uint32_t channel_count, uint32_t channel);

#endif
