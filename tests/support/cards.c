/* SPDX-License-Identifier: MIT */
#include "support/cards.h"

#include "read/timecode.h"
#include "result.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *must(void *pointer)
{
    if (pointer == NULL) {
        fprintf(stderr, "cards: no memory\n");
        exit(99);
    }
    return pointer;
}

static char *text(const char *value)
{
    return must(strdup(value != NULL ? value : ""));
}

static void fill_file(struct tp_file *file, const struct card_take *from, size_t index)
{
    file->source = from->source;
    file->path = text(from->path);
    file->path_raw = text(from->path);
    file->path_is_utf8 = true;
    file->container = TP_CONTAINER_WAV;
    file->encoding = TP_ENCODING_PCM;
    file->bit_depth = file->valid_bits = 24;
    file->sample_rate_hz = CARD_RATE_HZ;
    file->channel_count = 1;
    file->frames = (uint64_t)((int64_t)(from->seconds * CARD_RATE_HZ) + from->more_frames);
    file->duration_s = (double)file->frames / CARD_RATE_HZ;
    file->bytes = from->bytes != 0 ? from->bytes : file->frames * 3 + 44;
    if (from->sha256 != NULL)
        snprintf(file->sha256, sizeof file->sha256, "%s", from->sha256);
    else
        snprintf(file->sha256, sizeof file->sha256, "%064zu", index + 1000);
    file->take = index;
    if (from->start != TP_NO_TIMECODE) {
        file->bext = must(calloc(1, sizeof *file->bext));
        *file->bext = (struct tp_bext){.description = text(""),
                                       .originator = text(""),
                                       .originator_reference = text(""),
                                       .origination_date = text(from->date),
                                       .origination_time = text(""),
                                       .umid = text(""),
                                       .coding_history = text(""),
                                       .time_reference_samples = from->start};
    }
    if (from->family != NULL || from->scene != NULL || from->recorded_as != NULL || from->rate != NULL ||
        from->set_total != 0) {
        file->ixml = must(calloc(1, sizeof *file->ixml));
        *file->ixml = (struct tp_ixml){.version = text(""),
                                       .project = text(""),
                                       .scene = text(from->scene),
                                       .take = text(from->take),
                                       .tape = text(""),
                                       .note = text(""),
                                       .file_uid = text(""),
                                       .family_uid = text(from->family),
                                       .family_name = text(""),
                                       .timecode_rate_text = text(""),
                                       .timecode_flag = text(""),
                                       .original_filename = text(from->recorded_as),
                                       .timestamp_samples = TP_NO_TIMECODE,
                                       .file_set_total = from->set_total,
                                       .file_set_index_number = from->set_index};
        if (from->rate != NULL && !tp_timecode_rate_read(from->rate, "NDF", &file->ixml->timecode_rate))
            exit(99);
    }
}

static void fill_take(struct tp_take *take, const struct card_take *from, size_t index, const struct tp_file *file)
{
    const char *slash = strrchr(from->path, '/');
    take->id = text(slash != NULL ? slash + 1 : from->path);
    char *dot = strrchr(take->id, '.');
    if (dot != NULL)
        *dot = '\0';
    take->scene = text(from->scene);
    take->take = text(from->take);
    take->notes = text("");
    take->circled = take->no_good = -1;
    take->files = must(calloc(1, sizeof *take->files));
    take->files[0] = index;
    take->file_count = 1;
    take->start_samples = from->start;
    take->timecode_rate = (struct tp_timecode_rate){25, 1, false};
    take->start_timecode = text("");
    take->end_timecode = text(from->path); /* anything that tells takes apart */
    take->duration_s = file->duration_s;
}

struct tp_report *card_report(const struct card_take *takes, size_t count, size_t source_count)
{
    struct tp_report *report = must(calloc(1, sizeof *report));
    if (tp_spec_init(&report->spec, NULL) != TP_OK)
        must(NULL);
    report->version = text("");
    report->made = text("");
    report->sources = must(calloc(source_count, sizeof *report->sources));
    report->source_count = source_count;
    for (size_t i = 0; i < source_count; i++) {
        char name[32];
        snprintf(name, sizeof name, "card%zu", i + 1);
        report->sources[i] = text(name);
    }
    report->files = must(calloc(count + 1, sizeof *report->files));
    report->takes = must(calloc(count + 1, sizeof *report->takes));
    for (size_t i = 0; i < count; i++) {
        fill_file(&report->files[i], &takes[i], i);
        fill_take(&report->takes[i], &takes[i], i, &report->files[i]);
    }
    report->file_count = report->take_count = count;
    return report;
}

void card_hash_only(struct tp_file *file, enum tp_hash hash)
{
    char *const hashes[] = TP_HASHES_OF(file);
    size_t length = strlen(file->sha256), digits = tp_hash_kinds[hash].digits;
    if (length > 0)
        memmove(hashes[hash], file->sha256 + length - digits, digits + 1);
    if (hash != TP_HASH_SHA256)
        file->sha256[0] = '\0';
}

char *card_findings(const struct tp_report *report)
{
    char *all = must(calloc(1, 1));
    for (size_t i = 0; i < report->finding_count; i++) {
        const struct tp_finding *f = &report->findings[i];
        char part[80];
        if (f->file == TP_NO_INDEX)
            snprintf(part, sizeof part, "%s", tp_finding_info(f->code)->name);
        else
            snprintf(part, sizeof part, "%s@%zu", tp_finding_info(f->code)->name, f->file);
        all = must(realloc(all, strlen(all) + strlen(part) + 2));
        if (i > 0)
            strcat(all, " ");
        strcat(all, part);
    }
    return all;
}
