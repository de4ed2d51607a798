/* SPDX-License-Identifier: MIT */
#include "judge/card_format.h"

#include "base/text.h"

#include <stdlib.h>

#define TIMES_THE_RATE_MAX 8 /* 384,000 Hz: more is no recorder's but a lie of the header */
#define WRITE_IT_DOWN                                                                                                  \
    "If that is right, write it down: takeproof spec > day.ini, set %s there, and check with --spec day.ini."

static struct tp_card_format of_spec(const struct tp_spec *spec)
{
    return (struct tp_card_format){
        .sample_rate_hz = spec->sample_rate_hz, .encoding = spec->encoding, .bit_depth = spec->bit_depth};
}

/* One of the two kinds of format, as a number to count. */
static uint64_t key_of(const struct tp_file *file, bool of_rate)
{
    return of_rate ? file->sample_rate_hz : (uint64_t)file->encoding << 32 | file->valid_bits;
}

/* The key of more than half of the source's files and how many have it; 0 when there is none. Majority vote of Boyer
 * and Moore. */
static size_t majority(const struct tp_report *report, size_t source, bool of_rate, uint64_t *key)
{
    size_t votes = 0, files = 0, count = 0;
    for (size_t i = 0; i < report->file_count; i++) {
        const struct tp_file *file = &report->files[i];
        if (file->source != source || file->encoding == TP_ENCODING_NONE)
            continue;
        if (votes == 0)
            *key = key_of(file, of_rate);
        votes = votes == 0 || *key == key_of(file, of_rate) ? votes + 1 : votes - 1;
        files++;
    }
    for (size_t i = 0; i < report->file_count; i++) {
        const struct tp_file *file = &report->files[i];
        if (file->source == source && file->encoding != TP_ENCODING_NONE && *key == key_of(file, of_rate))
            count++;
    }
    return 2 * count > files ? count : 0;
}

static size_t files_with_sound(const struct tp_report *report, size_t source)
{
    size_t count = 0;
    for (size_t i = 0; i < report->file_count; i++)
        count += report->files[i].source == source && report->files[i].encoding != TP_ENCODING_NONE;
    return count;
}

/* Nothing of what the built-in spec asks for is lost by it, and it is not the same. */
static bool keeps_more_hz(uint32_t rate_hz, const struct tp_spec *spec)
{
    return spec->sample_rate_hz != 0 && rate_hz > spec->sample_rate_hz && rate_hz % spec->sample_rate_hz == 0 &&
           rate_hz / spec->sample_rate_hz <= TIMES_THE_RATE_MAX;
}
static bool keeps_more_bits(enum tp_encoding encoding, uint32_t bits, const struct tp_spec *spec)
{
    if (spec->encoding != TP_ENCODING_PCM || spec->bit_depth == 0 || bits <= spec->bit_depth)
        return false;
    return encoding == TP_ENCODING_FLOAT || encoding == TP_ENCODING_PCM;
}

static void find(const struct tp_report *report, size_t source, struct tp_card_format *format)
{
    uint64_t key = 0;
    format->files = files_with_sound(report, source);
    size_t count = majority(report, source, true, &key);
    if (count > 0 && keeps_more_hz((uint32_t)key, &report->spec)) {
        format->sample_rate_hz = (uint32_t)key;
        format->rate_files = count;
        format->own_rate = true;
    }
    key = 0;
    count = majority(report, source, false, &key);
    enum tp_encoding encoding = (enum tp_encoding)(key >> 32);
    if (count > 0 && keeps_more_bits(encoding, (uint32_t)key, &report->spec)) {
        format->encoding = encoding;
        format->bit_depth = (uint32_t)key;
        format->sample_files = count;
        format->own_samples = true;
    }
}

struct tp_card_format *tp_card_formats(const struct tp_report *report)
{
    struct tp_card_format *formats = calloc(report->source_count + 1, sizeof *formats);
    for (size_t s = 0; formats != NULL && s <= report->source_count; s++) {
        formats[s] = of_spec(&report->spec);
        if (report->spec.is_default && s < report->source_count)
            find(report, s, &formats[s]);
    }
    return formats;
}

/* "All 23 recordings of 'A' are" */
static char *subject(const struct tp_report *report, size_t source, size_t count, size_t files, bool takes_are)
{
    const char *verb = takes_are ? "are" : "were recorded at";
    if (files == 1)
        return tp_format("The recording of '%s' %s", report->sources[source], takes_are ? "is" : "was recorded at");
    if (count == files)
        return tp_format("All %zu recordings of '%s' %s", files, report->sources[source], verb);
    return tp_format("%zu of the %zu recordings of '%s' %s", count, files, report->sources[source], verb);
}

static void tell(struct tp_finding_list *list, enum tp_code code, struct tp_finding_place place, bool all, char *who,
                 char *what, char *setting)
{
    if (who == NULL || what == NULL || setting == NULL)
        list->failed = true;
    else
        tp_finding_add(list, code, all ? TP_LISTEN : TP_FAIL, place,
                       "%s %s, and no spec says what was agreed%s " WRITE_IT_DOWN, who, what,
                       all ? ": the takes are judged by their sound."
                           : ". The odd ones fail; the others are judged by their sound.",
                       setting);
    free(who);
    free(what);
    free(setting);
}

void tp_card_formats_tell(const struct tp_report *report, const struct tp_card_format *formats,
                          struct tp_finding_list *list)
{
    for (size_t s = 0; s < report->source_count; s++) {
        const struct tp_card_format *format = &formats[s];
        struct tp_finding_place place = tp_nowhere();
        if (format->own_rate) {
            place.value = format->sample_rate_hz;
            place.limit = report->spec.sample_rate_hz;
            tell(list, TP_CODE_WRONG_SAMPLE_RATE, place, format->rate_files == format->files,
                 subject(report, s, format->rate_files, format->files, false),
                 tp_format("%u Hz", format->sample_rate_hz), tp_format("sample_rate_hz = %u", format->sample_rate_hz));
        }
        if (!format->own_samples)
            continue;
        bool is_depth = format->encoding == report->spec.encoding;
        place = tp_nowhere();
        if (is_depth) {
            place.value = format->bit_depth;
            place.limit = report->spec.bit_depth;
        }
        tell(list, is_depth ? TP_CODE_WRONG_BIT_DEPTH : TP_CODE_WRONG_ENCODING, place,
             format->sample_files == format->files, subject(report, s, format->sample_files, format->files, true),
             tp_format("%u-bit %s", format->bit_depth, tp_encoding_name(format->encoding)),
             is_depth ? tp_format("bit_depth = %u", format->bit_depth)
                      : tp_format("encoding = %s and bit_depth = %u", tp_encoding_name(format->encoding),
                                  format->bit_depth));
    }
}
