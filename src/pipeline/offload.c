/* SPDX-License-Identifier: MIT */
#include "handoff/copier.h"
#include "handoff/history.h"
#include "handoff/target.h"
#include "pipeline/check.h"

#include "base/io.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

static enum tp_status refuse_directory(const struct tp_offload_options *options, struct tp_error *error)
{
    if (options->directory == NULL)
        return TP_OK;
    switch (tp_folders_overlap(options->directory, options->check->sources[0])) {
    case TP_OVERLAP_INSIDE:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "the report folder '%s' lies inside the card, which is never written to",
                            options->directory);
    case TP_OVERLAP_UNCLEAR:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "the report folder '%s' is not there and its path goes back with '..'", options->directory);
    case TP_OVERLAP_NONE:
    case TP_OVERLAP_AROUND: break;
    }
    return TP_OK;
}

static int path_order(const void *key, const void *file)
{
    return strcmp(key, ((const struct tp_offload_file *)file)->path);
}

static void place_gap(const struct tp_file *file, struct tp_offload_gap *gap)
{
    uint64_t end = file->audio_offset + file->audio_bytes, gap_end = gap->offset + gap->bytes;
    if (file->audio_bytes == 0 || file->duration_s <= 0 || gap_end <= file->audio_offset || gap->offset >= end)
        return;
    uint64_t from = gap->offset > file->audio_offset ? gap->offset - file->audio_offset : 0;
    uint64_t to = (gap_end < end ? gap_end : end) - file->audio_offset;
    double bytes_a_second = (double)file->audio_bytes / file->duration_s;
    gap->start_s = (double)from / bytes_a_second;
    gap->end_s = (double)to / bytes_a_second;
}

/* Which take each file belongs to, and where in it the unreadable stretches lie. */
static enum tp_status name_takes(const struct tp_report *report, struct tp_offload_result *result,
                                 struct tp_error *error)
{
    for (size_t i = 0; i < report->file_count; i++) {
        const struct tp_file *file = &report->files[i];
        struct tp_offload_file *copied =
            bsearch(file->path_raw, result->files, result->file_count, sizeof *result->files, path_order);
        if (copied == NULL || file->take >= report->take_count)
            continue;
        copied->take = tp_strdup(report->takes[file->take].id);
        if (copied->take == NULL)
            return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
        for (size_t g = 0; g < copied->gap_count; g++)
            place_gap(file, &copied->gaps[g]);
    }
    return TP_OK;
}

/* NULL stays NULL. False when memory is short. */
static bool repair(char **to, const char *from)
{
    *to = from != NULL ? tp_utf8_repair(from, strlen(from)) : NULL;
    return from == NULL || *to != NULL;
}

static bool fill_handoff(struct tp_handoff *handoff, const struct tp_offload_result *result)
{
    handoff->may_be_wiped = result->may_be_wiped;
    handoff->copies_wanted = result->copies_wanted;
    handoff->file_count = result->file_count;
    handoff->destinations = calloc(result->destination_count, sizeof *handoff->destinations);
    if (handoff->destinations == NULL || !repair(&handoff->words, result->words) ||
        !repair(&handoff->caution, result->caution))
        return false;
    for (size_t i = 0; i < result->destination_count; i++) {
        const struct tp_offload_destination *from = &result->destinations[i];
        struct tp_handoff_destination *to = &handoff->destinations[handoff->destination_count++];
        to->copied = from->copied;
        to->kept = from->kept;
        to->failed = from->failed;
        to->readback = from->readback;
        if (!repair(&to->path, from->path) || !repair(&to->message, from->message))
            return false;
    }
    return true;
}

/* What the report needs to say whether the card may be wiped. */
static enum tp_status tell_report(struct tp_report *report, const struct tp_offload_result *result,
                                  struct tp_error *error)
{
    report->handoff = calloc(1, sizeof *report->handoff);
    if (report->handoff == NULL || !fill_handoff(report->handoff, result))
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    return TP_OK;
}

static enum tp_status read_and_copy(const struct tp_offload_options *options, struct tp_copier *copier,
                                    struct tp_report **report, struct tp_offload_result **result,
                                    struct tp_error *error)
{
    enum tp_status status = tp_check_copying(options->check, copier, report, error);
    if (status != TP_OK)
        return status;
    status = tp_copier_rest(copier, options->check->cancel, error);
    if (status == TP_OK)
        status = tp_copier_finish(copier, result, error);
    if (status == TP_OK) {
        status = name_takes(*report, *result, error);
        if (status == TP_OK)
            status = tell_report(*report, *result, error);
        /* While the destinations are still locked. */
        if (status == TP_OK && !options->no_history)
            status = tp_offload_add_histories(*result, options->check->made_s, error);
        if (status != TP_OK)
            tp_offload_result_free(*result);
    }
    if (status != TP_OK)
        tp_report_free(*report);
    return status;
}

enum tp_status tp_offload(const struct tp_offload_options *options, struct tp_report **report,
                          struct tp_offload_result **result, struct tp_error *error)
{
    if (options->check == NULL || options->check->source_count != 1)
        return tp_error_set(error, TP_ERR_USAGE, 0, "an offload takes one card at a time");
    enum tp_status status = refuse_directory(options, error);
    if (status != TP_OK)
        return status;
    const struct tp_copier_options copying = {.card = options->check->sources[0],
                                              .destinations = options->destinations,
                                              .destination_count = options->destination_count,
                                              .copies_wanted = options->copies,
                                              .set_aside = options->set_aside};
    struct tp_copier *copier;
    status = tp_copier_open(&copier, &copying, error);
    if (status != TP_OK)
        return status;
    struct tp_report *checked;
    struct tp_offload_result *copied;
    status = read_and_copy(options, copier, &checked, &copied, error);
    tp_copier_close(copier);
    if (status != TP_OK)
        return status;
    *report = checked;
    *result = copied;
    return TP_OK;
}
