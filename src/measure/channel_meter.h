/* SPDX-License-Identifier: MIT */
/*
 * Everything measured of one channel in one pass: composes the meters of this folder.
 * push() in blocks of any size; the result does not depend on the block size. Memory: bounded, independent of length.
 *
 * Sound is worked on in chunks of TP_CHANNEL_METER_CHUNK frames, counted from the first: every meter then sees the same
 * pieces whatever the caller pushes, and each chunk stays in cache for all of them.
 */
#ifndef TP_MEASURE_CHANNEL_METER_H
#define TP_MEASURE_CHANNEL_METER_H

#include "measure/cells.h"
#include "measure/level.h"

#include <takeproof/result.h>

#define TP_CHANNEL_METER_CHUNK (TP_CELLS_MAX * TP_CELL_FRAMES)

struct tp_channel_meter;

/* `full_scale_lin`: the largest positive sample of the format, e.g. 32767/32768; 1.0 for float. NULL when memory is
 * short. */
struct tp_channel_meter *tp_channel_meter_new(uint32_t sample_rate_hz, double full_scale_lin);
void tp_channel_meter_free(struct tp_channel_meter *meter);
/* As tp_fault_meter_place(). */
void tp_channel_meter_place(struct tp_channel_meter *meter, uint64_t audio_offset, uint32_t frame_bytes);
/* Where the next *frames samples (at least one) may be put before they are pushed from there, which saves a copy. */
float *tp_channel_meter_room(struct tp_channel_meter *meter, size_t *frames);
/* Samples are finite, full scale 1.0. */
void tp_channel_meter_push(struct tp_channel_meter *meter, const float *samples, size_t frames);
/* Works on what is left of an incomplete chunk. For tp_channel_meter_hops(); finish does it too. No push after it. */
void tp_channel_meter_flush(struct tp_channel_meter *meter);
/* K-weighted energies (sums of squares) of the hops (see loudness.h) that ended in the latest push or flush, for the
 * programme's loudness. Complete when that push had at most TP_CHANNEL_METER_CHUNK frames. None for rates below
 * TP_KWEIGHT_RATE_MIN_HZ. */
const double *tp_channel_meter_hops(const struct tp_channel_meter *meter, size_t *count);
/* Levels of the latest chunk, when the latest push ended with it; else with .frames 0. */
struct tp_sums tp_channel_meter_sums(const struct tp_channel_meter *meter);
/* Fills all of *channel but the name and non_finite_samples; appends fault observations. `full_scale_lin` may now be
 * lower (padded bits: the full scale of the bits in use). Lists in *channel are the caller's. False when memory is
 * short. */
bool tp_channel_meter_finish(struct tp_channel_meter *meter, double full_scale_lin, uint32_t channel_index,
                             struct tp_channel *channel, struct tp_observations *observations);

#endif
