/* SPDX-License-Identifier: MIT */
#include "take/segments.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "read/timecode.h"
#include "result.h"
#include "take/parts.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define SIZE_SLACK ((uint64_t)64 << 20)

uint64_t tp_start_samples(const struct tp_file *file)
{
    if (file->ixml != NULL && file->ixml->timestamp_samples != TP_NO_TIMECODE)
        return file->ixml->timestamp_samples;
    const struct tp_bext *bext = file->bext;
    if (bext == NULL)
        return TP_NO_TIMECODE;
    /* Programs without timecode leave zero, which is midnight only where the clock says so too. */
    bool is_unset = bext->time_reference_samples == 0 && strncmp(bext->origination_time, "00:00", 5) != 0 &&
                    strncmp(bext->origination_time, "00-00", 5) != 0;
    return is_unset ? TP_NO_TIMECODE : bext->time_reference_samples;
}

static bool same_format(const struct tp_file *a, const struct tp_file *b)
{
    return a->encoding == b->encoding && a->encoding != TP_ENCODING_NONE && a->bit_depth == b->bit_depth &&
           a->sample_rate_hz == b->sample_rate_hz && a->channel_count == b->channel_count;
}

static size_t folder_length(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? (size_t)(slash - path) : 0;
}

static bool name_follows(const struct tp_file *a, const struct tp_file *b)
{
    size_t folder = folder_length(a->path_raw);
    return a->source == b->source && folder == folder_length(b->path_raw) &&
           memcmp(a->path_raw, b->path_raw, folder) == 0 && strcmp(a->path_raw, b->path_raw) < 0;
}

static bool same_family(const struct tp_file *a, const struct tp_file *b)
{
    return a->ixml != NULL && b->ixml != NULL && a->ixml->family_uid[0] != '\0' &&
           strcmp(a->ixml->family_uid, b->ixml->family_uid) == 0;
}

static bool at_size_limit(const struct tp_file *file)
{
    const uint64_t limits[] = {(uint64_t)1 << 31, (uint64_t)1 << 32};
    for (size_t i = 0; i < 2; i++)
        if (file->bytes <= limits[i] && file->bytes > limits[i] - SIZE_SLACK)
            return true;
    return false;
}

/* Samples between the end of a and the start of b, negative for an overlap; across midnight the day is taken off. False
 * when a start is unknown or absurd. */
static bool gap_between(const struct tp_file *a, const struct tp_file *b, int64_t *gap)
{
    uint64_t first = tp_start_samples(a), second = tp_start_samples(b);
    const uint64_t absurd = (uint64_t)1 << 62;
    if (first >= absurd || second >= absurd || a->frames >= absurd || a->frames == 0)
        return false;
    *gap = (int64_t)second - (int64_t)(first + a->frames);
    int64_t day = (int64_t)a->sample_rate_hz * 86400;
    if (*gap < -day / 2)
        *gap += day;
    return true;
}

static bool same_slate(const struct tp_take *a, const struct tp_take *b)
{
    return a->scene[0] != '\0' && a->take[0] != '\0' && strcmp(a->scene, b->scene) == 0 &&
           strcmp(a->take, b->take) == 0;
}

static bool continues(const struct tp_report *report, const struct tp_take *earlier, const struct tp_take *later,
                      int64_t *gap)
{
    if (earlier->file_count == 0 || earlier->file_count != later->file_count)
        return false;
    const struct tp_file *a = &report->files[earlier->files[0]];
    const struct tp_file *b = &report->files[later->files[0]];
    for (size_t i = 0; i < later->file_count; i++)
        if (!same_format(&report->files[earlier->files[i]], &report->files[later->files[i]]))
            return false;
    if (!name_follows(a, b) || !gap_between(a, b, gap))
        return false;
    /* A start of 0 on both, or one never set, joins nothing. */
    bool near = fabs((double)*gap) <= TP_SEGMENT_GAP_MAX_S * a->sample_rate_hz;
    return *gap == 0 || (near && (same_family(a, b) || at_size_limit(a))) ||
           tp_part_follows(a, b, *gap, same_slate(earlier, later));
}

bool tp_take_follows(const struct tp_report *report, const struct tp_take *a, const struct tp_take *b)
{
    const struct tp_file *last = &report->files[a->files[a->file_count - 1]], *next = &report->files[b->files[0]];
    int64_t gap;
    return gap_between(last, next, &gap) && (gap == 0 || tp_part_follows(last, next, gap, same_slate(a, b)));
}

bool tp_is_part(const struct tp_report *report, const struct tp_file *file)
{
    return tp_set_total(file) > 0 || (file->take < report->take_count && report->takes[file->take].part_count > 1);
}

static bool observe_gap(struct tp_report *report, const struct tp_take *earlier, const struct tp_take *later,
                        int64_t gap)
{
    const struct tp_file *a = &report->files[earlier->files[0]];
    struct tp_file *b = &report->files[later->files[0]];
    double seconds = (double)gap / a->sample_rate_hz;
    char text[TP_NUMBER_SIZE];
    return gap == 0 || tp_observe(&b->observations, TP_CODE_SEGMENT_GAP, TP_NO_CHANNEL, 0.0, 0.0, seconds, 0.0,
                                  "Between this part and the one before, '%s', %" PRIu64 " samples (%s s) %s.", a->path,
                                  (uint64_t)(gap < 0 ? -gap : gap), tp_number_text(text, fabs(seconds), 4),
                                  gap < 0 ? "overlap" : "are missing");
}

/* `last` is the part of `take` that came last: its first file is what the next part is held against. */
static bool absorb(struct tp_take *take, struct tp_take *part)
{
    for (size_t i = 0; i < part->signal_count; i++)
        part->signals[i].part = take->part_count;
    size_t files = take->file_count + part->file_count;
    size_t signals = take->signal_count + part->signal_count;
    size_t *file_list = realloc(take->files, files * sizeof *file_list);
    if (file_list == NULL)
        return false;
    take->files = file_list;
    struct tp_signal *signal_list = signals > 0 ? realloc(take->signals, signals * sizeof *signal_list) : take->signals;
    if (signals > 0 && signal_list == NULL)
        return false;
    take->signals = signal_list;
    memcpy(take->files + take->file_count, part->files, part->file_count * sizeof *part->files);
    if (part->signal_count > 0)
        memcpy(take->signals + take->signal_count, part->signals, part->signal_count * sizeof *part->signals);
    take->file_count = files;
    take->signal_count = signals;
    take->part_count++;
    take->duration_s += part->duration_s;
    free(take->end_timecode);
    take->end_timecode = part->end_timecode;
    part->end_timecode = NULL;
    /* The signals moved; what is left of the part is its own to free. */
    part->signal_count = 0;
    tp_take_clear(part);
    return true;
}

/* What the next part is held against: the files that the take got last. */
static struct tp_take last_part(const struct tp_take *take, size_t part_files)
{
    return (struct tp_take){.files = take->files + (take->file_count - part_files),
                            .file_count = part_files,
                            .scene = take->scene,
                            .take = take->take};
}

/* Parts of the same tracks: the n-th signal of each is of the same channel, and in all of them a pair or in none. */
static bool same_tracks(const struct tp_take *take, size_t tracks)
{
    if (take->signal_count != tracks * take->part_count)
        return false;
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_signal *first = &take->signals[i % tracks], *signal = &take->signals[i];
        if (signal->part != i / tracks || signal->channel.channel != first->channel.channel ||
            (signal->pair == NULL) != (first->pair == NULL))
            return false;
    }
    return true;
}

/* Puts the parts of one track side by side, for whoever wants to know what to use of a track. */
static bool order_by_track(struct tp_take *take)
{
    size_t tracks = take->part_count > 1 ? take->signal_count / take->part_count : 0;
    if (tracks < 2 || !same_tracks(take, tracks))
        return true;
    struct tp_signal *ordered = calloc(take->signal_count, sizeof *ordered);
    if (ordered == NULL)
        return false;
    for (size_t i = 0; i < take->signal_count; i++)
        ordered[i % tracks * take->part_count + i / tracks] = take->signals[i];
    free(take->signals);
    take->signals = ordered;
    return true;
}

enum tp_status tp_segments_join(struct tp_report *report, struct tp_error *error)
{
    size_t kept = 0, part_files = 0;
    for (size_t i = 0; i < report->take_count; i++) {
        struct tp_take *take = &report->takes[i];
        int64_t gap = 0;
        bool joined = false;
        if (kept > 0) {
            struct tp_take last = last_part(&report->takes[kept - 1], part_files);
            if (continues(report, &last, take, &gap)) {
                joined = true;
                if (!observe_gap(report, &last, take, gap) || !absorb(&report->takes[kept - 1], take))
                    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to join the parts of a take");
            }
        }
        if (!joined) {
            part_files = take->file_count;
            take->part_count = 1;
            if (kept != i) {
                report->takes[kept] = *take;
                *take = (struct tp_take){0};
            }
            kept++;
        }
    }
    report->take_count = kept;
    for (size_t t = 0; t < report->take_count; t++)
        if (!order_by_track(&report->takes[t]))
            return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to join the parts of a take");
    for (size_t t = 0; t < report->take_count; t++)
        for (size_t f = 0; f < report->takes[t].file_count; f++)
            report->files[report->takes[t].files[f]].take = t;
    return TP_OK;
}
