/* SPDX-License-Identifier: MIT */
/*
 * Everything measured of one channel in one pass: composes the meters of this folder.
 * push() in blocks of any size; the result does not depend on the block size. Memory: bounded, independent of length.
 */
#ifndef TP_MEASURE_CHANNEL_METER_H
#define TP_MEASURE_CHANNEL_METER_H

#include <takeproof/result.h>

struct tp_channel_meter;

/* `full_scale_lin`: the largest positive sample of the format, e.g. 32767/32768; 1.0 for float. NULL when memory is short. */
struct tp_channel_meter *tp_channel_meter_new(uint32_t sample_rate_hz, double full_scale_lin);
void tp_channel_meter_free(struct tp_channel_meter *meter);
void tp_channel_meter_push(struct tp_channel_meter *meter, const float *samples, size_t frames);
/* Fills all of *channel but the name and non_finite_samples; appends fault observations. `full_scale_lin` may now be lower
 * (padded bits: the full scale of the bits in use). False when memory is short. */
bool tp_channel_meter_finish(struct tp_channel_meter *meter, double full_scale_lin, uint32_t channel_index,
                             struct tp_channel *channel, struct tp_observations *observations);

#endif
