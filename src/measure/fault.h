/* SPDX-License-Identifier: MIT */
/*
 * Faults of the recording chain in one channel, found in the same single pass: dropout (digital zeros or a frozen value
 * inside signal), repeated block, foreign sectors, click, crackle, hum, rumble, noise only, interference. Yields
 * observations with a place in time and a measured value; the rules decide what they are worth. Result must not depend
 * on the block size. Memory: bounded, a few hundred KB a channel. One thread per meter.
 */
#ifndef TP_MEASURE_FAULT_H
#define TP_MEASURE_FAULT_H

#include "measure/cells.h"

#include <takeproof/result.h>

struct tp_fault_meter;

struct tp_fault_meter *tp_fault_meter_new(uint32_t sample_rate_hz); /* NULL when memory is short */
void tp_fault_meter_free(struct tp_fault_meter *meter);
/* Where the sound begins in its file and how large a frame of all channels is there, so that the borders of sectors are
 * known. Before the first push; without it foreign sectors are not looked for. */
void tp_fault_meter_place(struct tp_fault_meter *meter, uint64_t audio_offset, uint32_t frame_bytes);
/* Samples of one channel, full scale 1.0, finite. */
void tp_fault_meter_push(struct tp_fault_meter *meter, const float *samples, size_t frames);
/* The same for TP_CELLS_MAX whole cells by who has made them already; not after a push of less. */
void tp_fault_meter_push_cells(struct tp_fault_meter *meter, const float *samples, const struct tp_cells *cells);
/* Where the caller may put the next TP_CELLS_MAX cells of samples before pushing them from there, which saves a copy.
 */
float *tp_fault_meter_room(struct tp_fault_meter *meter);
/* The latest stretch of the sound, up to the last whole block. */
struct tp_fault_signal;
const struct tp_fault_signal *tp_fault_meter_signal(const struct tp_fault_meter *meter);
/* Appends to `observations` (with .channel = channel) and adds dropout spans to `damage` (unsorted, unmerged; the
 * caller sorts). `levels` is the channel as the other meters have finished it. Returns false when memory is short. */
bool tp_fault_meter_finish(struct tp_fault_meter *meter, uint32_t channel, const struct tp_channel *levels,
                           struct tp_observations *observations, struct tp_spans *damage);
/* After finish: the level along the time, once; its steps are the caller's. False when memory was short. */
bool tp_fault_meter_trace(struct tp_fault_meter *meter, struct tp_trace *trace);

#endif
