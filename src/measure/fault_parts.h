/* SPDX-License-Identifier: MIT */
/*
 * The single fault detectors, each a part of one tp_fault_meter. `block` is called once for every block of the signal,
 * in order, with the first frame of the block to judge: one block behind the newest, except that after the last real
 * block an extra block of silence follows, so that every frame is judged. `finish` turns what was found into
 * observations. A part that is all zero is ready to start. Lists hold at most TP_OBSERVATIONS_PER_CODE places and keep
 * counting past it.
 */
#ifndef TP_MEASURE_FAULT_PARTS_H
#define TP_MEASURE_FAULT_PARTS_H

#include "measure/fault_signal.h"

#include <takeproof/result.h>

/* A place where something was found. */
struct tp_fault_place {
    uint64_t start_frame, end_frame;
    double value; /* meaning and unit: the part's */
};
struct tp_fault_places {
    struct tp_fault_place *items;
    size_t count, capacity;
    uint64_t total;
    bool failed; /* sticky: memory was short */
};
void tp_fault_places_add(struct tp_fault_places *places, uint64_t start_frame, uint64_t end_frame, double value);
void tp_fault_places_clear(struct tp_fault_places *places);
/* What is needed to write observations. */
struct tp_fault_out {
    const struct tp_fault_signal *signal;
    uint32_t channel;
    const struct tp_channel *levels;
    struct tp_observations *observations;
};

/*
 * Dropout: a run of exactly equal samples (zeros, or the last value held) with living signal right before and after,
 * and at least one edge that no fade would leave. Shortest run: 0.75 ms, at least 36 samples.
 */
struct tp_dropout {
    uint64_t scanned_to; /* frames before this were looked at singly */
    uint64_t run_start;
    bool run_long; /* the open run is long enough; the next two hold what lay before it */
    bool alive_before, abrupt_before;
    float plateau_lin;             /* largest |x| before the run */
    uint64_t still_frames;         /* of all long runs, head and tail too */
    struct tp_fault_places places; /* value: 1 when all zeros, 0 when a held value */
};
void tp_dropout_block(struct tp_dropout *dropout, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_dropout_finish(struct tp_dropout *dropout, const struct tp_fault_out *out, struct tp_spans *damage);

/*
 * Repeated block: at least 64 samples that are exactly those of up to 16,384 samples before, as when a buffer is written
 * twice, or again one buffer later. Not reported: silence and near silence, held values, sounds with a shorter period
 * inside the block (generated tones), and endless loops. A cell is looked up by its sums, which finds any block whose
 * distance is a multiple of 32 samples; other distances are found by the value of a local peak.
 */
#define TP_REPEAT_SLOTS 1024u
struct tp_repeat_slot {
    uint32_t key;
    uint32_t cell; /* 1 + its number, modulo 2^32; 0: empty */
};
struct tp_repeat {
    struct tp_repeat_slot cells[TP_REPEAT_SLOTS], peaks[TP_REPEAT_SLOTS];
    bool following;
    uint64_t start_frame, checked_to; /* of the run being followed: equal to what lay `lag` before */
    uint64_t lag;
    struct tp_fault_places places; /* value: the distance in frames */
};
/* Judges the newest block. */
void tp_repeat_block(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_repeat_finish(struct tp_repeat *repeat, const struct tp_fault_out *out);

/*
 * Click: one step or spike of a few samples that the surroundings do not explain: its third difference stands out from
 * every other within 1 ms, and from all but a few of the 21 ms before and after.
 */
struct tp_click {
    struct tp_fault_places places; /* value: dB over the surroundings */
    float *heights_lin;            /* of each place: estimated height of the step or spike */
    size_t heights_capacity;
};
void tp_click_block(struct tp_click *click, const struct tp_fault_signal *signal, uint64_t first_frame);
/* `dropouts` and `repeats` explain the steps at their edges. */
bool tp_click_finish(struct tp_click *click, const struct tp_fault_out *out, const struct tp_fault_places *dropouts,
                     const struct tp_fault_places *repeats);

#endif
