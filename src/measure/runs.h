/* SPDX-License-Identifier: MIT */
/*
 * Runs of samples in one channel, counted without bound, listed up to a bound: the longest, in time order.
 */
#ifndef TP_MEASURE_RUNS_H
#define TP_MEASURE_RUNS_H

#include <takeproof/result.h>

#define TP_RUN_SPANS_MAX 4096

/* Zeroed: empty. */
struct tp_run_list {
    struct tp_clip_run *longest; /* a heap (shortest first) once TP_CLIPS_MAX are there; before, in time order */
    size_t longest_count, longest_capacity;
    struct tp_span *spans; /* what the runs cover, joined where less than 2 guards apart; in time order */
    size_t span_count, span_capacity;
    uint64_t runs, samples, longest_run;
    bool failed; /* memory was short */
};

/* The next run, later than all before. `guard_frames` is added on each side of the span (not before frame 0). More than
 * TP_RUN_SPANS_MAX spans are brought down by joining the two nearest: what was covered stays covered. */
void tp_run_list_add(struct tp_run_list *list, const struct tp_clip_run *run, uint64_t guard_frames);
/* The same for a run that is no damage: counted and listed, without a span. */
void tp_run_list_count(struct tp_run_list *list, const struct tp_clip_run *run);
void tp_run_list_clear(struct tp_run_list *list);
/* Hands the longest runs over in time order. */
void tp_run_list_take(struct tp_run_list *list, struct tp_clip_run **runs, size_t *count);

/* Appends spans; false when memory is short. */
bool tp_spans_append(struct tp_spans *spans, const struct tp_span *items, size_t count);
/* Sorts by start, joins what touches or overlaps, cuts to [0, frames). */
void tp_spans_settle(struct tp_spans *spans, uint64_t frames);

#endif
