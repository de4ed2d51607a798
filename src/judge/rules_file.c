/* SPDX-License-Identifier: MIT */
#include "judge/rules_file.h"

#include "base/num.h"
#include "base/text.h"
#include "read/timecode.h"
#include "result.h"
#include "take/names.h"
#include "take/segments.h"

#include <stdlib.h>
#include <string.h>

#define NAME_BYTES_MAX 4096 /* no path is longer (PATH_MAX) */

static struct tp_finding_place at_file(size_t file, double value, double limit)
{
    struct tp_finding_place place = tp_nowhere();
    place.file = file;
    place.value = value;
    place.limit = limit;
    return place;
}

static enum tp_severity usual(enum tp_code code)
{
    return tp_finding_info(code)->severity;
}

/* What the format is held against, and who says so. */
static const char *standard_words(const struct tp_report *report, bool is_of_card)
{
    return is_of_card                ? "the others of the card have"
           : report->spec.is_default ? "without a spec that should be"
                                     : "agreed is";
}

static void judge_samples(const struct tp_report *report, const struct tp_card_format *format, size_t number,
                          struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    const char *standard = standard_words(report, format->own_samples);
    if (format->encoding != TP_ENCODING_NONE && file->encoding != format->encoding)
        tp_finding_add(list, TP_CODE_WRONG_ENCODING, usual(TP_CODE_WRONG_ENCODING),
                       at_file(number, (double)NAN, (double)NAN), "The samples are %u-bit %s; %s %s.", file->valid_bits,
                       tp_encoding_name(file->encoding), standard, tp_encoding_name(format->encoding));
    else if (format->bit_depth != 0 && file->valid_bits != format->bit_depth)
        tp_finding_add(list, TP_CODE_WRONG_BIT_DEPTH, usual(TP_CODE_WRONG_BIT_DEPTH),
                       at_file(number, file->valid_bits, format->bit_depth), "Recorded with %u bits; %s %u bits.",
                       file->valid_bits, standard, format->bit_depth);
}

static void judge_format(const struct tp_report *report, const struct tp_card_format *format, size_t number,
                         struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    const struct tp_spec *spec = &report->spec;
    if (format->sample_rate_hz != 0 && file->sample_rate_hz != format->sample_rate_hz)
        tp_finding_add(list, TP_CODE_WRONG_SAMPLE_RATE, usual(TP_CODE_WRONG_SAMPLE_RATE),
                       at_file(number, file->sample_rate_hz, format->sample_rate_hz), "Recorded at %u Hz; %s %u Hz.",
                       file->sample_rate_hz, standard_words(report, format->own_rate), format->sample_rate_hz);
    judge_samples(report, format, number, list);
    if (spec->container != TP_CONTAINER_NONE && file->container != spec->container)
        tp_finding_add(list, TP_CODE_WRONG_CONTAINER, usual(TP_CODE_WRONG_CONTAINER),
                       at_file(number, (double)NAN, (double)NAN), "The file is %s; agreed is %s.",
                       tp_container_name(file->container), tp_container_name(spec->container));
    if (spec->channel_count != 0 && file->channel_count != spec->channel_count)
        tp_finding_add(list, TP_CODE_WRONG_CHANNEL_COUNT, usual(TP_CODE_WRONG_CHANNEL_COUNT),
                       at_file(number, file->channel_count, spec->channel_count), "%u channels; agreed are %u.",
                       file->channel_count, spec->channel_count);
}

/* Sound of fewer bits in a wider file. One bit less than claimed can be chance in a short, quiet file; a converter of
 * fewer bits leaves at least two unused (common practice, no source). */
static void judge_padding(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    if (file->effective_bits == 0 || file->effective_bits + 2 > file->valid_bits)
        return;
    tp_finding_add(list, TP_CODE_PADDED_BITS, usual(TP_CODE_PADDED_BITS),
                   at_file(number, file->effective_bits, file->valid_bits),
                   "The file claims %u bits, but the samples use only %u: the lowest %u bits are always zero.",
                   file->valid_bits, file->effective_bits, file->valid_bits - file->effective_bits);
}

static void judge_metadata(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    const struct tp_spec *spec = &report->spec;
    if (spec->require_bext && file->bext == NULL)
        tp_finding_add(list, TP_CODE_MISSING_BEXT, usual(TP_CODE_MISSING_BEXT),
                       at_file(number, (double)NAN, (double)NAN),
                       "No broadcast extension (bext) chunk: no start time in the file.");
    if (spec->require_ixml && file->ixml == NULL)
        tp_finding_add(list, TP_CODE_MISSING_IXML, usual(TP_CODE_MISSING_IXML),
                       at_file(number, (double)NAN, (double)NAN),
                       "No iXML chunk: no scene, take and track names in the file.");
    if (file->ixml == NULL || !tp_timecode_rate_is_known(spec->timecode_rate) ||
        !tp_timecode_rate_is_known(file->ixml->timecode_rate))
        return;
    struct tp_timecode_rate rate = file->ixml->timecode_rate;
    if (rate.numerator != spec->timecode_rate.numerator || rate.denominator != spec->timecode_rate.denominator ||
        rate.drop != spec->timecode_rate.drop)
        tp_finding_add(list, TP_CODE_WRONG_TIMECODE_RATE, usual(TP_CODE_WRONG_TIMECODE_RATE),
                       at_file(number, (double)rate.numerator / rate.denominator,
                               (double)spec->timecode_rate.numerator / spec->timecode_rate.denominator),
                       "Timecode runs at %s; agreed is %s.", tp_timecode_rate_name(rate),
                       tp_timecode_rate_name(spec->timecode_rate));
}

static void judge_length(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    char has[TP_NUMBER_SIZE];
    char wants[TP_NUMBER_SIZE];
    if (file->duration_s >= report->spec.duration_min_s)
        return;
    tp_finding_add(list, TP_CODE_TOO_SHORT, usual(TP_CODE_TOO_SHORT),
                   at_file(number, file->duration_s, report->spec.duration_min_s),
                   "Only %s s long; takes have at least %s s.", tp_number_text(has, file->duration_s, 3),
                   tp_number_text(wants, report->spec.duration_min_s, 3));
}

static void judge_non_finite(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    for (uint32_t c = 0; c < file->channel_count; c++) {
        if (file->channels[c].non_finite_samples == 0)
            continue;
        double lost_ms = (double)file->channels[c].non_finite_samples * 1000.0 / file->sample_rate_hz;
        struct tp_finding_place place = at_file(number, lost_ms, 0.0);
        place.channel = c;
        tp_finding_add(list, TP_CODE_DROPOUT, TP_FAIL, place,
                       "%llu samples are no numbers (NaN or infinite): that sound is lost and was taken as silence.",
                       (unsigned long long)file->channels[c].non_finite_samples);
    }
}

static bool name_fits(const struct tp_report *report, const struct tp_file *file, const char *name)
{
    struct tp_name_fields fields;
    return tp_name_read(report->spec.pattern, name, &fields) ||
           (tp_is_part(report, file) && tp_name_read_part(report->spec.pattern, name, &fields));
}

/* What salvage and splice have written is named after the recording: its own name counts. */
static bool follows_pattern(const struct tp_report *report, const struct tp_file *file, struct tp_finding_list *list)
{
    size_t stem = tp_made_copy_stem(file->path_raw);
    if (stem == 0 || name_fits(report, file, file->path_raw))
        return name_fits(report, file, file->path_raw);
    char *name = tp_format("%.*s.wav", (int)(stem < NAME_BYTES_MAX ? stem : NAME_BYTES_MAX), file->path_raw);
    bool follows = name != NULL && name_fits(report, file, name);
    list->failed = list->failed || name == NULL;
    free(name);
    return follows;
}

static void judge_name(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    if (report->spec.pattern[0] == '\0' || follows_pattern(report, &report->files[number], list))
        return;
    tp_finding_add(list, TP_CODE_NAME_OFF_PATTERN, usual(TP_CODE_NAME_OFF_PATTERN),
                   at_file(number, (double)NAN, (double)NAN), "The file name does not follow the pattern '%s'.",
                   report->spec.pattern);
}

/* Renaming is no fault, but notes, camera reports and the recorder know the other name. */
static void judge_renamed(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    const char *original = file->ixml != NULL ? file->ixml->original_filename : "";
    const char *slash = strrchr(file->path, '/');
    const char *name = slash != NULL ? slash + 1 : file->path;
    /* A file that was made from another says so itself. */
    bool is_made = file->ixml != NULL && file->ixml->parent_filename != NULL && *file->ixml->parent_filename != '\0';
    if (is_made || !tp_name_differs(original, name))
        return;
    tp_finding_add(list, TP_CODE_METADATA_CONFLICT, TP_NOTE, at_file(number, (double)NAN, (double)NAN),
                   "The file was recorded as '%s' and is called '%s' now: notes may know it by the other name.",
                   original, name);
}

/* --- what reading and measuring observed --- */

static enum tp_severity observed_severity(const struct tp_report *report, const struct tp_observation *observation)
{
    if (observation->code == TP_CODE_RUMBLE && report->spec.low_cut)
        return TP_LISTEN;
    /* An observed limit means that the second opinion kept to it. */
    if (observation->code == TP_CODE_SECOND_OPINION && tp_exists(observation->limit))
        return TP_NOTE;
    return usual(observation->code);
}

static size_t earlier_of_kind(const struct tp_observations *observations, size_t index)
{
    size_t count = 0;
    for (size_t i = 0; i < index; i++)
        if (observations->items[i].code == observations->items[index].code &&
            observations->items[i].channel == observations->items[index].channel)
            count++;
    return count;
}

static size_t all_of_kind(const struct tp_observations *observations, size_t index)
{
    size_t count = 0;
    for (size_t i = 0; i < observations->count; i++)
        if (observations->items[i].code == observations->items[index].code &&
            observations->items[i].channel == observations->items[index].channel)
            count++;
    return count;
}

/* What measuring notes down is not always a whole sentence: a capital and a full stop are added. */
static char capital(char first)
{
    return (char)(first >= 'a' && first <= 'z' ? first - 'a' + 'A' : first);
}
static const char *full_stop(const char *words)
{
    size_t length = strlen(words);
    return length > 0 && strchr(".?!", words[length - 1]) != NULL ? "" : ".";
}

static void judge_observations(const struct tp_report *report, size_t number, struct tp_finding_list *list)
{
    const struct tp_observations *observations = &report->files[number].observations;
    for (size_t i = 0; i < observations->count; i++) {
        const struct tp_observation *observation = &observations->items[i];
        size_t earlier = earlier_of_kind(observations, i);
        if (earlier > TP_FINDINGS_PER_CODE)
            continue;
        enum tp_severity severity = observed_severity(report, observation);
        struct tp_finding_place place = at_file(number, observation->value, observation->limit);
        place.channel = observation->channel;
        place.start_s = observation->start_s;
        place.end_s = observation->end_s;
        const char *detail = observation->detail != NULL && *observation->detail != '\0'
                                 ? observation->detail
                                 : tp_finding_info(observation->code)->title;
        if (earlier == TP_FINDINGS_PER_CODE)
            place.more_places = all_of_kind(observations, i) - earlier - 1;
        if (place.more_places > 0)
            tp_finding_add(list, observation->code, severity, place, "%c%s (and %zu %s more).", capital(detail[0]),
                           detail + 1, place.more_places, place.more_places == 1 ? "place" : "places");
        else
            tp_finding_add(list, observation->code, severity, place, "%c%s%s", capital(detail[0]), detail + 1,
                           full_stop(detail));
    }
}

void tp_rules_file(const struct tp_report *report, const struct tp_card_format *formats, size_t number,
                   struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[number];
    judge_observations(report, number, list);
    judge_name(report, number, list);
    judge_renamed(report, number, list);
    if (file->encoding == TP_ENCODING_NONE)
        return;
    judge_format(report, &formats[file->source], number, list);
    judge_metadata(report, number, list);
    if (file->channels == NULL)
        return;
    judge_padding(report, number, list);
    judge_length(report, number, list);
    judge_non_finite(report, number, list);
}
