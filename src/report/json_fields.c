/* SPDX-License-Identifier: MIT */
#include "report/json_fields.h"

#include "report/words.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define JSON_EXACT_MAX ((UINT64_C(1) << 53) - 1)
#define LIST_MAX 65535
#define TP_JSON_ID_BYTES sizeof((struct tp_chunk *)0)->id

#define FIELD(type, member, kind)                                                                                      \
    {                                                                                                                  \
#member, TP_JSON_##kind, offsetof(struct type, member)                                                         \
    }
#define END                                                                                                            \
    {                                                                                                                  \
        NULL, TP_JSON_TEXT, 0                                                                                          \
    }

const struct tp_json_field tp_json_production_fields[] = {FIELD(tp_spec, title, TEXT), FIELD(tp_spec, recordist, TEXT),
                                                          FIELD(tp_spec, roll, TEXT),  FIELD(tp_spec, date, TEXT),
                                                          FIELD(tp_spec, scene, TEXT), END};

const struct tp_json_field tp_json_spec_fields[] = {FIELD(tp_spec, sample_rate_hz, U32),
                                                    FIELD(tp_spec, bit_depth, U32),
                                                    FIELD(tp_spec, encoding, ENCODING),
                                                    FIELD(tp_spec, container, CONTAINER),
                                                    FIELD(tp_spec, channel_count, U32),
                                                    FIELD(tp_spec, require_bext, BOOL),
                                                    FIELD(tp_spec, require_ixml, BOOL),
                                                    FIELD(tp_spec, timecode_rate, RATE),
                                                    FIELD(tp_spec, working_level_min_dbfs, LEVEL),
                                                    FIELD(tp_spec, working_level_max_dbfs, LEVEL),
                                                    FIELD(tp_spec, true_peak_max_dbtp, LEVEL),
                                                    FIELD(tp_spec, noise_floor_max_dbfs, LEVEL),
                                                    FIELD(tp_spec, dc_offset_max, FINE),
                                                    FIELD(tp_spec, pair, PAIR_POLICY),
                                                    FIELD(tp_spec, safety_below_min_db, LEVEL),
                                                    FIELD(tp_spec, safety_below_max_db, LEVEL),
                                                    FIELD(tp_spec, lag_max_samples, U32),
                                                    FIELD(tp_spec, duration_min_s, TIME),
                                                    FIELD(tp_spec, low_cut, BOOL),
                                                    FIELD(tp_spec, pattern, TEXT),
                                                    END};

const struct tp_json_field tp_json_summary_fields[] = {
    FIELD(tp_summary, files, SIZE), FIELD(tp_summary, takes, SIZE),
    FIELD(tp_summary, pass, SIZE),  FIELD(tp_summary, listen, SIZE),
    FIELD(tp_summary, fail, SIZE),  FIELD(tp_summary, duration_s, TIME),
    FIELD(tp_summary, bytes, U64),  END};

const struct tp_json_field tp_json_format_fields[] = {FIELD(tp_file, container, CONTAINER),
                                                      FIELD(tp_file, encoding, ENCODING),
                                                      FIELD(tp_file, extensible, BOOL),
                                                      FIELD(tp_file, bit_depth, U32),
                                                      FIELD(tp_file, valid_bits, U32),
                                                      FIELD(tp_file, effective_bits, U32),
                                                      FIELD(tp_file, sample_rate_hz, U32),
                                                      FIELD(tp_file, channel_count, U32),
                                                      FIELD(tp_file, channel_mask, U32),
                                                      FIELD(tp_file, frames, U64),
                                                      FIELD(tp_file, declared_frames, U64),
                                                      FIELD(tp_file, duration_s, TIME),
                                                      END};

const struct tp_json_field tp_json_programme_fields[] = {FIELD(tp_programme, integrated_lufs, LEVEL),
                                                         FIELD(tp_programme, momentary_max_lufs, LEVEL),
                                                         FIELD(tp_programme, short_term_max_lufs, LEVEL),
                                                         FIELD(tp_programme, loudness_range_lu, LEVEL),
                                                         FIELD(tp_programme, true_peak_max_dbtp, LEVEL),
                                                         FIELD(tp_programme, sample_peak_max_dbfs, LEVEL),
                                                         END};

const struct tp_json_field tp_json_bext_fields[] = {FIELD(tp_bext, description, TEXT),
                                                    FIELD(tp_bext, originator, TEXT),
                                                    FIELD(tp_bext, originator_reference, TEXT),
                                                    FIELD(tp_bext, origination_date, TEXT),
                                                    FIELD(tp_bext, origination_time, TEXT),
                                                    FIELD(tp_bext, time_reference_samples, U64),
                                                    FIELD(tp_bext, version, U32),
                                                    FIELD(tp_bext, umid, TEXT),
                                                    FIELD(tp_bext, loudness_value_lufs, LEVEL),
                                                    FIELD(tp_bext, loudness_range_lu, LEVEL),
                                                    FIELD(tp_bext, max_true_peak_dbtp, LEVEL),
                                                    FIELD(tp_bext, max_momentary_lufs, LEVEL),
                                                    FIELD(tp_bext, max_short_term_lufs, LEVEL),
                                                    FIELD(tp_bext, coding_history, TEXT),
                                                    END};

const struct tp_json_field tp_json_ixml_fields[] = {FIELD(tp_ixml, version, TEXT),
                                                    FIELD(tp_ixml, project, TEXT),
                                                    FIELD(tp_ixml, scene, TEXT),
                                                    FIELD(tp_ixml, take, TEXT),
                                                    FIELD(tp_ixml, tape, TEXT),
                                                    FIELD(tp_ixml, note, TEXT),
                                                    FIELD(tp_ixml, file_uid, TEXT),
                                                    FIELD(tp_ixml, family_uid, TEXT),
                                                    FIELD(tp_ixml, family_name, TEXT),
                                                    FIELD(tp_ixml, timecode_rate_text, TEXT),
                                                    FIELD(tp_ixml, timecode_flag, TEXT),
                                                    FIELD(tp_ixml, circled, TRISTATE),
                                                    FIELD(tp_ixml, no_good, TRISTATE),
                                                    FIELD(tp_ixml, false_start, TRISTATE),
                                                    FIELD(tp_ixml, wild_track, TRISTATE),
                                                    FIELD(tp_ixml, timecode_rate, RATE),
                                                    FIELD(tp_ixml, file_sample_rate_hz, U32),
                                                    FIELD(tp_ixml, audio_bit_depth, U32),
                                                    FIELD(tp_ixml, timestamp_sample_rate_hz, U32),
                                                    FIELD(tp_ixml, timestamp_samples, CLOCK),
                                                    FIELD(tp_ixml, track_count, U32),
                                                    FIELD(tp_ixml, file_set_total, U32),
                                                    FIELD(tp_ixml, file_set_index_number, U32),
                                                    FIELD(tp_ixml, take_type, TEXT),
                                                    FIELD(tp_ixml, ubits, TEXT),
                                                    FIELD(tp_ixml, original_filename, TEXT),
                                                    FIELD(tp_ixml, parent_filename, TEXT),
                                                    FIELD(tp_ixml, parent_uid, TEXT),
                                                    FIELD(tp_ixml, master_speed, TEXT),
                                                    FIELD(tp_ixml, current_speed, TEXT),
                                                    FIELD(tp_ixml, speed_note, TEXT),
                                                    FIELD(tp_ixml, digitizer_sample_rate_hz, U32),
                                                    FIELD(tp_ixml, bwf_time_reference_samples, CLOCK),
                                                    FIELD(tp_ixml, damaged, BOOL),
                                                    END};

static const struct tp_json_field track_fields[] = {
    FIELD(tp_ixml_track, channel_index, U32), FIELD(tp_ixml_track, interleave_index, U32),
    FIELD(tp_ixml_track, name, TEXT), FIELD(tp_ixml_track, function, TEXT), END};

static const struct tp_json_field sync_point_fields[] = {FIELD(tp_sync_point, type, TEXT),
                                                         FIELD(tp_sync_point, function, TEXT),
                                                         FIELD(tp_sync_point, comment, TEXT),
                                                         FIELD(tp_sync_point, samples, U64),
                                                         FIELD(tp_sync_point, duration_samples, U64),
                                                         END};

static const struct tp_json_field extra_fields[] = {FIELD(tp_ixml_extra, name, TEXT), FIELD(tp_ixml_extra, value, TEXT),
                                                    END};

static const struct tp_json_field chunk_fields[] = {FIELD(tp_chunk, id, ID), FIELD(tp_chunk, offset, U64),
                                                    FIELD(tp_chunk, size, U64), FIELD(tp_chunk, problem, NOTE), END};

static const struct tp_json_field cue_fields[] = {FIELD(tp_cue, frame, U64), FIELD(tp_cue, label, TEXT), END};

static const struct tp_json_field info_fields[] = {FIELD(tp_info_text, id, ID), FIELD(tp_info_text, text, TEXT), END};

#define LIST(type, key, table, pointer, number, max)                                                                   \
    {                                                                                                                  \
        key, table, sizeof *((struct type *)0)->pointer, offsetof(struct type, pointer),                               \
            offsetof(struct type, number), max                                                                         \
    }
#define NO_MORE                                                                                                        \
    {                                                                                                                  \
        NULL, NULL, 0, 0, 0, 0                                                                                         \
    }

const struct tp_json_list tp_json_ixml_lists[] = {
    LIST(tp_ixml, "tracks", track_fields, tracks, tracks_count, LIST_MAX),
    LIST(tp_ixml, "sync_points", sync_point_fields, sync_points, sync_point_count, TP_IXML_SYNC_POINTS_MAX),
    LIST(tp_ixml, "extras", extra_fields, extras, extra_count, TP_IXML_EXTRAS_MAX), NO_MORE};

const struct tp_json_list tp_json_file_lists[] = {LIST(tp_file, "chunks", chunk_fields, chunks, chunk_count, LIST_MAX),
                                                  LIST(tp_file, "cues", cue_fields, cues, cue_count, LIST_MAX),
                                                  LIST(tp_file, "infos", info_fields, infos, info_count, LIST_MAX),
                                                  NO_MORE};

const struct tp_json_field tp_json_channel_fields[] = {FIELD(tp_channel, name, TEXT),
                                                       FIELD(tp_channel, sample_peak_dbfs, LEVEL),
                                                       FIELD(tp_channel, true_peak_dbtp, LEVEL),
                                                       FIELD(tp_channel, integrated_lufs, LEVEL),
                                                       FIELD(tp_channel, momentary_max_lufs, LEVEL),
                                                       FIELD(tp_channel, short_term_max_lufs, LEVEL),
                                                       FIELD(tp_channel, loudness_range_lu, LEVEL),
                                                       FIELD(tp_channel, rms_dbfs, LEVEL),
                                                       FIELD(tp_channel, dc_offset, FINE),
                                                       FIELD(tp_channel, noise_floor_dbfs, LEVEL),
                                                       FIELD(tp_channel, working_level_dbfs, LEVEL),
                                                       FIELD(tp_channel, active_s, TIME),
                                                       FIELD(tp_channel, clip_runs, U64),
                                                       FIELD(tp_channel, whole_clip_runs, U64),
                                                       FIELD(tp_channel, clipped_samples, U64),
                                                       FIELD(tp_channel, longest_clip_run, U64),
                                                       FIELD(tp_channel, flat_top_runs, U64),
                                                       FIELD(tp_channel, non_finite_samples, U64),
                                                       FIELD(tp_channel, digital_silence, BOOL),
                                                       END};

const struct tp_json_field tp_json_clip_fields[] = {
    FIELD(tp_clip_run, start_frame, U64), FIELD(tp_clip_run, frames, U64), FIELD(tp_clip_run, level_dbfs, LEVEL), END};

const struct tp_json_field tp_json_pair_fields[] = {
    FIELD(tp_pair, offset_db, LEVEL),  FIELD(tp_pair, offset_spread_db, LEVEL),  FIELD(tp_pair, offset_range_db, LEVEL),
    FIELD(tp_pair, lag_samples, I64),  FIELD(tp_pair, lag_fraction, TIME),       FIELD(tp_pair, drift_ppm, TIME),
    FIELD(tp_pair, correlation, FINE), FIELD(tp_pair, safety_noise_dbfs, LEVEL), END};

const struct tp_json_field tp_json_splice_fields[] = {FIELD(tp_splice, start_s, TIME), FIELD(tp_splice, end_s, TIME),
                                                      FIELD(tp_splice, covered, BOOL), END};

const struct tp_json_field tp_json_take_fields[] = {
    FIELD(tp_take, id, TEXT),          FIELD(tp_take, scene, TEXT),
    FIELD(tp_take, take, TEXT),        FIELD(tp_take, circled, TRISTATE),
    FIELD(tp_take, no_good, TRISTATE), FIELD(tp_take, notes, TEXT),
    FIELD(tp_take, part_count, SIZE),  END};

const struct tp_json_field tp_json_clock_fields[] = {
    FIELD(tp_take, start_timecode, TEXT), FIELD(tp_take, end_timecode, TEXT), FIELD(tp_take, start_samples, CLOCK),
    FIELD(tp_take, timecode_rate, RATE),  FIELD(tp_take, duration_s, TIME),   END};

const struct tp_json_field tp_json_excerpt_fields[] = {FIELD(tp_sound_excerpt, take, SIZE),
                                                       FIELD(tp_sound_excerpt, finding, SIZE),
                                                       FIELD(tp_sound_excerpt, start_s, TIME),
                                                       FIELD(tp_sound_excerpt, end_s, TIME),
                                                       FIELD(tp_sound_excerpt, gain_db, LEVEL),
                                                       FIELD(tp_sound_excerpt, mime, TEXT),
                                                       END};

const struct tp_json_field tp_json_handoff_fields[] = {
    FIELD(tp_handoff, may_be_wiped, BOOL), FIELD(tp_handoff, copies_wanted, U32), FIELD(tp_handoff, file_count, U64),
    FIELD(tp_handoff, words, TEXT), END};

const struct tp_json_field tp_json_destination_fields[] = {
    FIELD(tp_handoff_destination, path, TEXT), FIELD(tp_handoff_destination, copied, U64),
    FIELD(tp_handoff_destination, kept, U64), FIELD(tp_handoff_destination, failed, U64), END};

json_t *tp_json_text(const char *text)
{
    json_t *string = json_string(text != NULL ? text : "");
    if (string != NULL || text == NULL)
        return string;
    char *repaired = tp_utf8_repair(text, strlen(text));
    string = repaired != NULL ? json_string(repaired) : NULL;
    free(repaired);
    return string;
}

json_t *tp_json_real(double value, int decimals)
{
    double rounded = tp_number_round(value, decimals);
    return isfinite(rounded) ? json_real(rounded) : json_null();
}

json_t *tp_json_u64(uint64_t value)
{
    char digits[24];
    if (value <= JSON_EXACT_MAX)
        return json_integer((json_int_t)value);
    snprintf(digits, sizeof digits, "%" PRIu64, value);
    return json_string(digits);
}

static json_t *put_name(const char *name)
{
    return name[0] == '\0' ? json_null() : json_string(name);
}

static json_t *put_rate(struct tp_timecode_rate rate)
{
    struct tp_text text = {0};
    tp_words_rate(rate, &text);
    json_t *value = text.failed ? NULL : put_name(text.length > 0 ? text.bytes : "");
    tp_text_clear(&text);
    return value;
}

#define AT(type) (*(type const *)place)

static json_t *put_value(enum tp_json_kind kind, const void *place)
{
    switch (kind) {
    case TP_JSON_TEXT: return tp_json_text(AT(char *));
    case TP_JSON_NOTE: return AT(char *) != NULL ? tp_json_text(AT(char *)) : json_null();
    case TP_JSON_ID: return tp_json_text(place);
    case TP_JSON_LEVEL: return tp_json_real(AT(double), TP_LEVEL_DECIMALS);
    case TP_JSON_TIME: return tp_json_real(AT(double), TP_TIME_DECIMALS);
    case TP_JSON_FINE: return tp_json_real(AT(double), TP_DC_DECIMALS);
    case TP_JSON_U32: return json_integer(AT(uint32_t));
    case TP_JSON_U64: return tp_json_u64(AT(uint64_t));
    case TP_JSON_CLOCK: return AT(uint64_t) == TP_NO_TIMECODE ? json_null() : tp_json_u64(AT(uint64_t));
    case TP_JSON_I64: return json_integer(AT(int64_t));
    case TP_JSON_SIZE: return tp_json_u64(AT(size_t));
    case TP_JSON_BOOL: return json_boolean(AT(bool));
    case TP_JSON_TRISTATE: return AT(int) < 0 ? json_null() : json_boolean(AT(int));
    case TP_JSON_RATE: return put_rate(AT(struct tp_timecode_rate));
    case TP_JSON_ENCODING: return put_name(tp_encoding_name(AT(enum tp_encoding)));
    case TP_JSON_CONTAINER: return put_name(tp_container_name(AT(enum tp_container)));
    case TP_JSON_PAIR_POLICY: return json_string(tp_words_pair_policy(AT(enum tp_pair_policy)));
    }
    return NULL;
}

bool tp_json_put_fields(json_t *into, const struct tp_json_field *fields, const void *object)
{
    for (const struct tp_json_field *field = fields; field->key != NULL; field++) {
        const void *place = (const char *)object + field->offset;
        if (json_object_set_new(into, field->key, put_value(field->kind, place)) != 0)
            return false;
    }
    return true;
}

#undef AT

static json_t *list_json(const struct tp_json_list *list, const void *object)
{
    const char *items;
    size_t count;
    memcpy(&items, (const char *)object + list->pointer_offset, sizeof items);
    memcpy(&count, (const char *)object + list->count_offset, sizeof count);
    json_t *array = json_array();
    for (size_t i = 0; array != NULL && i < count; i++) {
        json_t *item = json_object();
        bool ok = item != NULL && tp_json_put_fields(item, list->fields, items + i * list->size);
        if (json_array_append_new(array, item) != 0 || !ok) {
            json_decref(array);
            return NULL;
        }
    }
    return array;
}

bool tp_json_put_lists(json_t *into, const struct tp_json_list *lists, const void *object)
{
    for (const struct tp_json_list *list = lists; list->key != NULL; list++)
        if (json_object_set_new(into, list->key, list_json(list, object)) != 0)
            return false;
    return true;
}

static bool get_u64(const json_t *value, uint64_t max, uint64_t *out)
{
    uint64_t read = 0;
    if (json_is_string(value)) {
        if (!tp_u64_read(json_string_value(value), &read))
            return false;
    } else if (json_is_integer(value) && json_integer_value(value) >= 0) {
        read = (uint64_t)json_integer_value(value);
    } else {
        return false;
    }
    *out = read;
    return read <= max;
}

static bool get_real(const json_t *value, double *out)
{
    if (!json_is_number(value) || fabs(json_number_value(value)) >= 1e15)
        return false;
    *out = json_number_value(value);
    return true;
}

static bool get_encoding(const char *name, enum tp_encoding *out)
{
    for (int i = TP_ENCODING_PCM; i <= TP_ENCODING_FLOAT; i++)
        if (strcmp(name, tp_encoding_name((enum tp_encoding)i)) == 0) {
            *out = (enum tp_encoding)i;
            return true;
        }
    return false;
}

static bool get_container(const char *name, enum tp_container *out)
{
    for (int i = TP_CONTAINER_WAV; i <= TP_CONTAINER_BW64; i++)
        if (strcmp(name, tp_container_name((enum tp_container)i)) == 0) {
            *out = (enum tp_container)i;
            return true;
        }
    return false;
}

static bool get_pair_policy(const char *name, enum tp_pair_policy *out)
{
    for (int i = TP_PAIR_AUTO; i <= TP_PAIR_OFF; i++)
        if (strcmp(name, tp_words_pair_policy((enum tp_pair_policy)i)) == 0) {
            *out = (enum tp_pair_policy)i;
            return true;
        }
    return false;
}

#define AT(type) (*(type *)place)

static bool get_id(const char *text, char *id)
{
    size_t length = strlen(text);
    if (length >= TP_JSON_ID_BYTES)
        return false;
    for (size_t i = 0; i < length; i++)
        if (text[i] < 0x20 || text[i] > 0x7E)
            return false;
    memset(id, 0, TP_JSON_ID_BYTES);
    memcpy(id, text, length);
    return true;
}

static void set_neutral(enum tp_json_kind kind, void *place)
{
    switch (kind) {
    case TP_JSON_TEXT: break;
    case TP_JSON_NOTE: AT(char *) = NULL; break;
    case TP_JSON_ID: memset(place, 0, TP_JSON_ID_BYTES); break;
    case TP_JSON_LEVEL:
    case TP_JSON_TIME:
    case TP_JSON_FINE: AT(double) = (double)NAN; break;
    case TP_JSON_U32: AT(uint32_t) = 0; break;
    case TP_JSON_U64: AT(uint64_t) = 0; break;
    case TP_JSON_CLOCK: AT(uint64_t) = TP_NO_TIMECODE; break;
    case TP_JSON_I64: AT(int64_t) = 0; break;
    case TP_JSON_SIZE: AT(size_t) = 0; break;
    case TP_JSON_BOOL: AT(bool) = false; break;
    case TP_JSON_TRISTATE: AT(int) = -1; break;
    case TP_JSON_RATE: AT(struct tp_timecode_rate) = (struct tp_timecode_rate){0}; break;
    case TP_JSON_ENCODING: AT(enum tp_encoding) = TP_ENCODING_NONE; break;
    case TP_JSON_CONTAINER: AT(enum tp_container) = TP_CONTAINER_NONE; break;
    case TP_JSON_PAIR_POLICY: AT(enum tp_pair_policy) = TP_PAIR_AUTO; break;
    }
}

static bool get_whole(enum tp_json_kind kind, const json_t *value, void *place)
{
    uint64_t read;
    uint64_t max = kind == TP_JSON_U32 ? UINT32_MAX : kind == TP_JSON_SIZE ? SIZE_MAX : UINT64_MAX;
    if (!get_u64(value, max, &read))
        return false;
    if (kind == TP_JSON_U32)
        AT(uint32_t) = (uint32_t)read;
    else if (kind == TP_JSON_SIZE)
        AT(size_t) = (size_t)read;
    else
        AT(uint64_t) = read;
    return true;
}

static bool get_value(enum tp_json_kind kind, const json_t *value, void *place)
{
    const char *text = json_string_value(value);
    switch (kind) {
    case TP_JSON_TEXT:
    case TP_JSON_NOTE: return text != NULL;
    case TP_JSON_ID: return text != NULL && get_id(text, place);
    case TP_JSON_LEVEL:
    case TP_JSON_TIME:
    case TP_JSON_FINE: return get_real(value, place);
    case TP_JSON_U32:
    case TP_JSON_U64:
    case TP_JSON_CLOCK:
    case TP_JSON_SIZE: return get_whole(kind, value, place);
    case TP_JSON_I64: AT(int64_t) = json_integer_value(value); return json_is_integer(value);
    case TP_JSON_BOOL: AT(bool) = json_is_true(value); return json_is_boolean(value);
    case TP_JSON_TRISTATE: AT(int) = json_is_true(value); return json_is_boolean(value);
    case TP_JSON_RATE: return text != NULL && tp_words_rate_read(text, place);
    case TP_JSON_ENCODING: return text != NULL && get_encoding(text, place);
    case TP_JSON_CONTAINER: return text != NULL && get_container(text, place);
    case TP_JSON_PAIR_POLICY: return text != NULL && get_pair_policy(text, place);
    }
    return false;
}

static bool may_be_null(enum tp_json_kind kind)
{
    return kind == TP_JSON_NOTE || kind == TP_JSON_LEVEL || kind == TP_JSON_TIME || kind == TP_JSON_FINE ||
           kind == TP_JSON_CLOCK || kind == TP_JSON_TRISTATE || kind == TP_JSON_RATE || kind == TP_JSON_ENCODING ||
           kind == TP_JSON_CONTAINER;
}

static enum tp_json_trouble get_field(const struct tp_json_field *field, const json_t *value, void *place)
{
    bool is_absent = value == NULL || (json_is_null(value) && may_be_null(field->kind));
    if (is_absent)
        set_neutral(field->kind, place);
    else if (!get_value(field->kind, value, place))
        return TP_JSON_WRONG_TYPE;
    if (field->kind != TP_JSON_TEXT && (field->kind != TP_JSON_NOTE || is_absent))
        return TP_JSON_FINE_SO_FAR;
    AT(char *) = tp_strdup(value != NULL ? json_string_value(value) : "");
    return AT(char *) != NULL ? TP_JSON_FINE_SO_FAR : TP_JSON_NO_MEMORY;
}

#undef AT

enum tp_json_trouble tp_json_get_fields(const json_t *from, const struct tp_json_field *fields, void *object,
                                        const char **key)
{
    for (const struct tp_json_field *field = fields; field->key != NULL; field++) {
        enum tp_json_trouble trouble =
            get_field(field, json_object_get(from, field->key), (char *)object + field->offset);
        if (trouble != TP_JSON_FINE_SO_FAR) {
            *key = field->key;
            return trouble;
        }
    }
    return TP_JSON_FINE_SO_FAR;
}
