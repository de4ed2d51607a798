/* SPDX-License-Identifier: MIT */
/*
 * The level of one channel along the time, in steps of about 50 ms, each a byte: the lower seven bits are the AES17
 * level without DC in steps of 1.5 dB, rounded up, or 0 when no sample differs from its neighbour; the top bit says
 * that the spectrum is as flat as that of a bare input, and beside level 0 that the samples are zeros.
 *
 * Recordings of more than TP_TRACE_STEPS_MAX steps (29 minutes) get longer steps: of two the louder level is kept, and
 * the flag only when both have it. Memory: 32 KB.
 */
#ifndef TP_MEASURE_TRACE_H
#define TP_MEASURE_TRACE_H

#include <takeproof/result.h>

#define TP_TRACE_STEPS_MAX 32768u
#define TP_TRACE_STEP_S 0.05
#define TP_TRACE_DB 1.5
#define TP_TRACE_LEVEL 0x7FU
#define TP_TRACE_FLAT 0x80U
#define TP_TRACE_ZEROS TP_TRACE_FLAT
/* Mean square of the difference of neighbouring samples over the mean square: white noise 2, pink noise 0.5, rooms
 * under 0.2. Common practice, no source. */
#define TP_TRACE_FLATNESS_MIN 0.5

struct tp_trace_meter {
    uint8_t *steps;
    size_t count, capacity;
    uint32_t merged; /* of the steps as they come in one that is kept; 0: 1 */
    uint32_t pending_count;
    uint8_t pending;
    bool failed; /* sticky: memory was short */
};

/* The next step: mean square without DC, mean square as it is, and mean square of the difference of neighbours. */
void tp_trace_add(struct tp_trace_meter *meter, double power, double with_dc, double slope_power);
/* Hands the steps over; `step_frames`: of each step that was added. False when memory was short. */
bool tp_trace_finish(struct tp_trace_meter *meter, uint64_t step_frames, struct tp_trace *trace);
void tp_trace_clear(struct tp_trace_meter *meter);

/* AES17 level; -infinity when the step is still. */
double tp_trace_dbfs(uint8_t step);
static inline bool tp_trace_is_still(uint8_t step)
{
    return (step & TP_TRACE_LEVEL) == 0;
}
static inline bool tp_trace_is_flat(uint8_t step)
{
    return (step & TP_TRACE_FLAT) != 0;
}
/* Frame at which a step begins, not past `frames`. */
static inline uint64_t tp_trace_start(const struct tp_trace *trace, uint64_t step, uint64_t frames)
{
    uint64_t at = step * trace->frames_per_step;
    return at < frames && step < trace->step_count ? at : frames;
}

#endif
