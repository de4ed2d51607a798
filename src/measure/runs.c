/* SPDX-License-Identifier: MIT */
#include "measure/runs.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

static bool grow_runs(struct tp_run_list *list)
{
    return tp_grow(&list->longest, &list->longest_capacity, list->longest_count, sizeof *list->longest);
}

/* Heap order: shorter first; of equals the later first, so that the earlier stay. */
static bool goes_first(const struct tp_clip_run *a, const struct tp_clip_run *b)
{
    return a->frames != b->frames ? a->frames < b->frames : a->start_frame > b->start_frame;
}

static void swap_runs(struct tp_clip_run *a, struct tp_clip_run *b)
{
    struct tp_clip_run held = *a;
    *a = *b;
    *b = held;
}

static void sift_down(struct tp_clip_run *heap, size_t count, size_t at)
{
    for (;;) {
        size_t first = at;
        for (size_t child = 2 * at + 1; child <= 2 * at + 2 && child < count; child++)
            if (goes_first(&heap[child], &heap[first]))
                first = child;
        if (first == at)
            return;
        swap_runs(&heap[at], &heap[first]);
        at = first;
    }
}

static void keep_longest(struct tp_run_list *list, const struct tp_clip_run *run)
{
    if (list->longest_count < TP_CLIPS_MAX) {
        if (!grow_runs(list)) {
            list->failed = true;
            return;
        }
        list->longest[list->longest_count++] = *run;
        if (list->longest_count == TP_CLIPS_MAX)
            for (size_t at = TP_CLIPS_MAX / 2; at-- > 0;)
                sift_down(list->longest, TP_CLIPS_MAX, at);
        return;
    }
    if (goes_first(&list->longest[0], run)) {
        list->longest[0] = *run;
        sift_down(list->longest, TP_CLIPS_MAX, 0);
    }
}

static void join_nearest(struct tp_run_list *list)
{
    size_t nearest = 1;
    for (size_t i = 2; i < list->span_count; i++) {
        uint64_t gap = list->spans[i].start_frame - list->spans[i - 1].end_frame;
        if (gap < list->spans[nearest].start_frame - list->spans[nearest - 1].end_frame)
            nearest = i;
    }
    list->spans[nearest - 1].end_frame = list->spans[nearest].end_frame;
    memmove(&list->spans[nearest], &list->spans[nearest + 1], (list->span_count - nearest - 1) * sizeof *list->spans);
    list->span_count--;
}

static void cover(struct tp_run_list *list, struct tp_span span)
{
    if (list->span_count > 0 && span.start_frame <= list->spans[list->span_count - 1].end_frame) {
        list->spans[list->span_count - 1].end_frame = span.end_frame;
        return;
    }
    if (list->span_count == TP_RUN_SPANS_MAX)
        join_nearest(list);
    if (!tp_grow(&list->spans, &list->span_capacity, list->span_count, sizeof *list->spans)) {
        list->failed = true;
        return;
    }
    list->spans[list->span_count++] = span;
}

void tp_run_list_count(struct tp_run_list *list, const struct tp_clip_run *run)
{
    list->runs++;
    list->samples += run->frames;
    list->longest_run = run->frames > list->longest_run ? run->frames : list->longest_run;
    keep_longest(list, run);
}

void tp_run_list_add(struct tp_run_list *list, const struct tp_clip_run *run, uint64_t guard_frames)
{
    tp_run_list_count(list, run);
    uint64_t before = run->start_frame < guard_frames ? run->start_frame : guard_frames;
    cover(list, (struct tp_span){run->start_frame - before, run->start_frame + run->frames + guard_frames});
}

void tp_run_list_clear(struct tp_run_list *list)
{
    free(list->longest);
    free(list->spans);
    memset(list, 0, sizeof *list);
}

static int in_time(const void *left, const void *right)
{
    const struct tp_clip_run *a = left, *b = right;
    return (a->start_frame > b->start_frame) - (a->start_frame < b->start_frame);
}

void tp_run_list_take(struct tp_run_list *list, struct tp_clip_run **runs, size_t *count)
{
    if (list->longest_count > 0)
        qsort(list->longest, list->longest_count, sizeof *list->longest, in_time);
    *runs = list->longest;
    *count = list->longest_count;
    list->longest = NULL;
    list->longest_count = list->longest_capacity = 0;
}

bool tp_spans_append(struct tp_spans *spans, const struct tp_span *items, size_t count)
{
    if (count == 0)
        return true;
    struct tp_span *larger = realloc(spans->items, (spans->count + count) * sizeof *larger);
    if (larger == NULL)
        return false;
    memcpy(larger + spans->count, items, count * sizeof *items);
    spans->items = larger;
    spans->count += count;
    return true;
}

static int by_start(const void *left, const void *right)
{
    const struct tp_span *a = left, *b = right;
    return (a->start_frame > b->start_frame) - (a->start_frame < b->start_frame);
}

void tp_spans_settle(struct tp_spans *spans, uint64_t frames)
{
    if (spans->count == 0)
        return;
    qsort(spans->items, spans->count, sizeof *spans->items, by_start);
    size_t kept = 0;
    for (size_t i = 0; i < spans->count; i++) {
        struct tp_span span = spans->items[i];
        span.end_frame = span.end_frame < frames ? span.end_frame : frames;
        if (span.start_frame >= span.end_frame)
            continue;
        if (kept > 0 && span.start_frame <= spans->items[kept - 1].end_frame) {
            if (span.end_frame > spans->items[kept - 1].end_frame)
                spans->items[kept - 1].end_frame = span.end_frame;
        } else {
            spans->items[kept++] = span;
        }
    }
    spans->count = kept;
    if (kept == 0) {
        free(spans->items);
        spans->items = NULL;
    }
}
