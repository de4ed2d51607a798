/* SPDX-License-Identifier: MIT */
#include "read/cross.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"

#include <inttypes.h>
#include <string.h>
#include <strings.h>

#define CONFLICT(file, value, limit, ...)                                                                              \
    tp_observe(&(file)->observations, TP_CODE_METADATA_CONFLICT, TP_NO_CHANNEL, (double)NAN, (double)NAN, value,       \
               limit, __VA_ARGS__)

/* Each check returns false when memory is short. */

static bool check_rate_and_bits(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    if (x->file_sample_rate_hz != 0 && x->file_sample_rate_hz != file->sample_rate_hz &&
        !CONFLICT(file, x->file_sample_rate_hz, file->sample_rate_hz,
                  "iXML says a sample rate of %" PRIu32 " Hz, the format of the file %" PRIu32 " Hz.",
                  x->file_sample_rate_hz, file->sample_rate_hz))
        return false;
    if (x->audio_bit_depth == 0 || x->audio_bit_depth == file->valid_bits || x->audio_bit_depth == file->bit_depth)
        return true;
    return CONFLICT(file, x->audio_bit_depth, file->valid_bits,
                    "iXML says %" PRIu32 " bits a sample, the format of the file %" PRIu32 ".", x->audio_bit_depth,
                    file->valid_bits);
}

static bool check_track_places(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    for (size_t i = 0; i < x->tracks_count; i++) {
        uint32_t place = x->tracks[i].interleave_index;
        if (place > file->channel_count)
            return CONFLICT(file, place, file->channel_count,
                            "iXML names a track '%s' at place %" PRIu32 ", but the file has %" PRIu32 " channels.",
                            x->tracks[i].name, place, file->channel_count);
        for (size_t k = 0; k < i && place != 0; k++)
            if (x->tracks[k].interleave_index == place)
                return CONFLICT(file, place, (double)NAN, "iXML gives place %" PRIu32 " to two tracks, '%s' and '%s'.",
                                place, x->tracks[k].name, x->tracks[i].name);
    }
    return true;
}

static bool check_tracks(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    if (x->track_count != 0 && x->track_count != file->channel_count)
        return CONFLICT(file, x->track_count, file->channel_count,
                        "iXML says %" PRIu32 " tracks, the format of the file %" PRIu32 " channels.", x->track_count,
                        file->channel_count);
    if (x->track_count != 0 && x->tracks_count != 0 && x->tracks_count != x->track_count)
        return CONFLICT(file, (double)x->tracks_count, x->track_count, "iXML counts %" PRIu32 " tracks but lists %zu.",
                        x->track_count, x->tracks_count);
    return check_track_places(file);
}

static bool check_timecode_rate(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    if (x->timecode_rate_text[0] == '\0' || x->timecode_rate.numerator != 0)
        return true;
    return CONFLICT(file, (double)NAN, (double)NAN,
                    "iXML gives the timecode rate '%s' with the flag '%s', which is none in use.",
                    x->timecode_rate_text, x->timecode_flag);
}

static bool check_start(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    const struct tp_bext *b = file->bext;
    if (x == NULL || b == NULL || x->timestamp_samples == TP_NO_TIMECODE || file->sample_rate_hz == 0 ||
        x->timestamp_samples == b->time_reference_samples)
        return true;
    char ixml[TP_NUMBER_SIZE], bext[TP_NUMBER_SIZE];
    double ixml_s = (double)x->timestamp_samples / file->sample_rate_hz;
    double bext_s = (double)b->time_reference_samples / file->sample_rate_hz;
    return CONFLICT(file, ixml_s, bext_s,
                    "iXML says that the file starts %" PRIu64 " samples after midnight (%s s), bext says %" PRIu64
                    " (%s s).",
                    x->timestamp_samples, tp_number_text(ixml, ixml_s, 3), b->time_reference_samples,
                    tp_number_text(bext, bext_s, 3));
}

/* iXML may carry a copy of bext, which a program that moves one of them leaves behind. */
static bool check_copies(struct tp_file *file)
{
    const struct tp_ixml *x = file->ixml;
    const struct tp_bext *b = file->bext;
    if (x == NULL || b == NULL)
        return true;
    if (x->bwf_time_reference_samples != TP_NO_TIMECODE && x->bwf_time_reference_samples != b->time_reference_samples &&
        !CONFLICT(file, (double)x->bwf_time_reference_samples, (double)b->time_reference_samples,
                  "The copy of bext inside iXML starts %" PRIu64 " samples after midnight, bext itself %" PRIu64 ".",
                  x->bwf_time_reference_samples, b->time_reference_samples))
        return false;
    for (size_t i = 0; i < x->extra_count; i++)
        if (strcasecmp(x->extras[i].name, "BEXT/BWF_ORIGINATION_DATE") == 0 && b->origination_date[0] != '\0' &&
            strcmp(x->extras[i].value, b->origination_date) != 0)
            return CONFLICT(file, (double)NAN, (double)NAN,
                            "The copy of bext inside iXML is dated '%s', bext itself '%s'.", x->extras[i].value,
                            b->origination_date);
    return true;
}

/* The longest label day, that of 23.976 and 29.97 non-drop, lasts 86,486.4 s; more cannot be a time of day. */
static bool check_day(struct tp_file *file)
{
    const struct tp_bext *b = file->bext;
    double seconds = file->sample_rate_hz != 0 ? (double)b->time_reference_samples / file->sample_rate_hz : 0.0;
    char text[TP_NUMBER_SIZE];
    if (seconds < 86486.4)
        return true;
    return CONFLICT(file, seconds, 86486.4,
                    "bext says that the file starts %" PRIu64 " samples after midnight (%s s): no day is so long.",
                    b->time_reference_samples, tp_number_text(text, seconds, 1));
}

/* The number behind `key` in the last row of a coding history ("A=PCM,F=48000,W=24,M=mono"); 0 when it is not there. */
static uint64_t history_number(const char *history, const char *key)
{
    const char *row = strrchr(history, '\n');
    row = row != NULL ? row + 1 : history;
    size_t length = strlen(key);
    for (const char *at = row; *at != '\0';) {
        size_t word = strcspn(at, ",");
        const char *digits = at + length;
        char number[16] = "";
        if (word > length && word - length < sizeof number && strncasecmp(at, key, length) == 0)
            memcpy(number, digits,
                   strspn(digits, "0123456789") < word - length ? strspn(digits, "0123456789") : word - length);
        uint64_t value;
        if (number[0] != '\0' && tp_u64_read(number, &value))
            return value;
        at += word;
        at += *at == ',';
    }
    return 0;
}

static bool check_history(struct tp_file *file)
{
    uint64_t rate = history_number(file->bext->coding_history, "F=");
    uint64_t bits = history_number(file->bext->coding_history, "W=");
    if (rate != 0 && rate != file->sample_rate_hz &&
        !CONFLICT(file, (double)rate, file->sample_rate_hz,
                  "The coding history says a sample rate of %" PRIu64 " Hz, the format of the file %" PRIu32 " Hz.",
                  rate, file->sample_rate_hz))
        return false;
    if (bits == 0 || bits == file->valid_bits || bits == file->bit_depth)
        return true;
    return CONFLICT(file, (double)bits, file->valid_bits,
                    "The coding history says %" PRIu64 " bits a sample, the format of the file %" PRIu32 ".", bits,
                    file->valid_bits);
}

enum tp_status tp_cross_check(struct tp_file *file, struct tp_error *error)
{
    bool ok = true;
    bool format_known = file->encoding != TP_ENCODING_NONE;
    if (file->ixml != NULL)
        ok = (!format_known || (check_rate_and_bits(file) && check_tracks(file))) && check_timecode_rate(file) &&
             check_start(file) && check_copies(file);
    if (ok && file->bext != NULL)
        ok = check_day(file) && (!format_known || check_history(file));
    return ok ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to compare metadata");
}

static bool check_level(struct tp_file *file, const char *what, const char *unit, double written, double measured,
                        double apart)
{
    char first[TP_NUMBER_SIZE], second[TP_NUMBER_SIZE];
    if (!tp_exists(written) || !tp_exists(measured) || fabs(written - measured) <= apart)
        return true;
    return CONFLICT(file, written, measured, "bext says %s %s %s; measured: %s %s.", what,
                    tp_number_text(first, written, 2), unit, tp_number_text(second, measured, 2), unit);
}

enum tp_status tp_cross_check_loudness(struct tp_file *file, struct tp_error *error)
{
    const struct tp_bext *b = file->bext;
    const struct tp_programme *p = &file->programme;
    if (b == NULL)
        return TP_OK;
    bool ok =
        check_level(file, "an integrated loudness of", "LUFS", b->loudness_value_lufs, p->integrated_lufs,
                    TP_CROSS_LOUDNESS_LU) &&
        check_level(file, "a loudness range of", "LU", b->loudness_range_lu, p->loudness_range_lu, TP_CROSS_RANGE_LU) &&
        check_level(file, "a highest true peak of", "dBTP", b->max_true_peak_dbtp, p->true_peak_max_dbtp,
                    TP_CROSS_PEAK_DB) &&
        check_level(file, "a highest momentary loudness of", "LUFS", b->max_momentary_lufs, p->momentary_max_lufs,
                    TP_CROSS_LOUDNESS_LU) &&
        check_level(file, "a highest short-term loudness of", "LUFS", b->max_short_term_lufs, p->short_term_max_lufs,
                    TP_CROSS_LOUDNESS_LU);
    return ok ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to compare metadata");
}
