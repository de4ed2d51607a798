/* SPDX-License-Identifier: MIT */
/*
 * report.json back into a report. The file may come from anyone: every index is checked against its list, every size
 * against its bound, and what is read is used only when all of it is sound.
 */
#include "base/io.h"
#include "report/json_fields.h"
#include "report/words.h"
#include "result.h"

#include <ctype.h>
#include <inttypes.h>
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

#define REPORT_BYTES_MAX ((size_t)1 << 30)
#define CHANNELS_MAX 65535
#define EXCERPT_BYTES_MAX ((size_t)16 << 20) /* of one */

/* Sticky: after the first trouble nothing more is stored and the first reason stays. */
struct reader {
    const char *path;
    enum tp_status status;
    struct tp_error *error;
    struct tp_report *report;
};

static bool stop(struct reader *r, const char *where, const char *what)
{
    if (r->status == TP_OK)
        r->status = tp_error_set(r->error, TP_ERR_FORMAT, 0, "'%s' is not a takeproof report: %s%s%s", r->path, where,
                                 where[0] != '\0' ? ": " : "", what);
    return false;
}

static bool stop_memory(struct reader *r)
{
    if (r->status == TP_OK)
        r->status = tp_error_set(r->error, TP_ERR_MEMORY, 0, "cannot read '%s': not enough memory", r->path);
    return false;
}

static bool get_fields(struct reader *r, const json_t *from, const struct tp_json_field *fields, void *object,
                       const char *where)
{
    const char *key = "";
    if (!json_is_object(from))
        return stop(r, where, "not an object");
    switch (tp_json_get_fields(from, fields, object, &key)) {
    case TP_JSON_FINE_SO_FAR: return true;
    case TP_JSON_NO_MEMORY: return stop_memory(r);
    case TP_JSON_WRONG_TYPE: break;
    }
    struct tp_text what = {0};
    tp_text_format(&what, "\"%s\" has a value that cannot be", key);
    stop(r, where, what.failed ? "a wrong value" : what.bytes);
    tp_text_clear(&what);
    return false;
}

/* One text of an object into *out; absent is "". */
static bool get_text(struct reader *r, const json_t *from, const char *key, char **out)
{
    const json_t *value = json_object_get(from, key);
    if (value != NULL && !json_is_string(value))
        return stop(r, key, "not a string");
    *out = tp_strdup(value != NULL ? json_string_value(value) : "");
    return *out != NULL || stop_memory(r);
}

/* Absent or null is NULL. */
static bool get_optional_text(struct reader *r, const json_t *from, const char *key, char **out)
{
    const json_t *value = json_object_get(from, key);
    *out = NULL;
    return value == NULL || json_is_null(value) || get_text(r, from, key, out);
}

/* An array member with room for its elements; absent is empty. */
static bool get_list(struct reader *r, const json_t *from, const char *key, size_t size_each, size_t count_max,
                     const json_t **array, void **items, size_t *count)
{
    *array = json_object_get(from, key);
    *items = NULL;
    *count = 0;
    if (*array == NULL)
        return true;
    if (!json_is_array(*array))
        return stop(r, key, "not a list");
    size_t length = json_array_size(*array);
    if (length > count_max)
        return stop(r, key, "too long");
    if (length == 0)
        return true;
    *items = calloc(length, size_each);
    if (*items == NULL)
        return stop_memory(r);
    *count = length;
    return true;
}

static bool get_index(struct reader *r, const json_t *from, const char *key, size_t count, size_t *out)
{
    const json_t *value = json_object_get(from, key);
    *out = TP_NO_INDEX;
    if (value == NULL || json_is_null(value))
        return true;
    if (!json_is_integer(value) || json_integer_value(value) < 0 || (uint64_t)json_integer_value(value) >= count)
        return stop(r, key, "points at nothing");
    *out = (size_t)json_integer_value(value);
    return true;
}

/* "file_index" and "channel", the latter 1-based there. */
static bool get_reference(struct reader *r, const json_t *from, size_t *file, uint32_t *channel)
{
    if (!json_is_object(from))
        return stop(r, "", "a reference to a channel is not an object");
    if (!get_index(r, from, "file_index", r->report->file_count, file))
        return false;
    const json_t *value = json_object_get(from, "channel");
    *channel = TP_NO_CHANNEL;
    if (value == NULL || json_is_null(value))
        return true;
    json_int_t number = json_integer_value(value);
    uint32_t count = *file == TP_NO_INDEX ? CHANNELS_MAX : r->report->files[*file].channel_count;
    if (!json_is_integer(value) || number < 1 || number > (json_int_t)count)
        return stop(r, "channel", "points at nothing");
    *channel = (uint32_t)(number - 1);
    return true;
}

static bool get_verdict(struct reader *r, const json_t *from, enum tp_verdict *out)
{
    const char *name = json_string_value(json_object_get(from, "verdict"));
    for (int i = TP_VERDICT_PASS; name != NULL && i <= TP_VERDICT_FAIL; i++)
        if (strcmp(name, tp_verdict_name((enum tp_verdict)i)) == 0) {
            *out = (enum tp_verdict)i;
            return true;
        }
    return stop(r, "verdict", "neither pass, listen nor fail");
}

static bool get_code(struct reader *r, const json_t *from, const char *key, enum tp_code *out)
{
    const char *name = json_string_value(json_object_get(from, key));
    if (name == NULL || !tp_finding_code_from_name(name, out))
        return stop(r, key, "not a code that this version knows");
    return true;
}

static bool get_severity(struct reader *r, const json_t *from, enum tp_severity *out)
{
    const char *name = json_string_value(json_object_get(from, "severity"));
    for (int i = TP_NOTE; name != NULL && i <= TP_FAIL; i++)
        if (strcmp(name, tp_severity_name((enum tp_severity)i)) == 0) {
            *out = (enum tp_severity)i;
            return true;
        }
    return stop(r, "severity", "neither fail, listen nor note");
}

static bool get_real(struct reader *r, const json_t *from, const char *key, double *out)
{
    const json_t *value = json_object_get(from, key);
    *out = (double)NAN;
    if (value == NULL || json_is_null(value))
        return true;
    if (!json_is_number(value) || fabs(json_number_value(value)) >= 1e15)
        return stop(r, key, "not a number that can be");
    *out = json_number_value(value);
    return true;
}

/* Reports of an earlier version have no "more_places". */
static bool read_finding(struct reader *r, const json_t *from, struct tp_finding *f)
{
    static const struct tp_json_field fields[] = {
        {"more_places", TP_JSON_SIZE, offsetof(struct tp_finding, more_places)}, {NULL, TP_JSON_TEXT, 0}};
    return get_fields(r, from, fields, f, "findings") && get_code(r, from, "code", &f->code) &&
           get_severity(r, from, &f->severity) && get_reference(r, from, &f->file, &f->channel) &&
           get_real(r, from, "start_s", &f->start_s) && get_real(r, from, "end_s", &f->end_s) &&
           get_real(r, from, "value", &f->value) && get_real(r, from, "limit", &f->limit) &&
           get_text(r, from, "message", &f->message);
}

static bool read_findings(struct reader *r, const json_t *from, struct tp_finding **findings, size_t *count)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "findings", sizeof **findings, SIZE_MAX, &array, &items, count))
        return false;
    *findings = items;
    for (size_t i = 0; i < *count; i++)
        if (!read_finding(r, json_array_get(array, i), &(*findings)[i]))
            return false;
    return true;
}

static const char *choice_of(const json_t *use)
{
    const char *name = json_string_value(json_object_get(use, "choice"));
    return name != NULL ? name : "";
}

static bool read_use(struct reader *r, const json_t *from, struct tp_use *use)
{
    const char *name = choice_of(from);
    bool is_known = false;
    for (int i = TP_CHOICE_MAIN; i <= TP_CHOICE_SINGLE; i++)
        if (strcmp(name, tp_choice_name((enum tp_choice)i)) == 0) {
            use->choice = (enum tp_choice)i;
            is_known = true;
        }
    if (!is_known)
        return stop(r, "choice", "not one of the choices");
    if (!get_reference(r, from, &use->file, &use->channel) || !get_text(r, from, "reason", &use->reason))
        return false;
    bool has_channel = use->file != TP_NO_INDEX && use->channel != TP_NO_CHANNEL;
    return has_channel || use->choice == TP_CHOICE_NONE || stop(r, "use", "names no channel");
}

static bool read_splices(struct reader *r, const json_t *from, struct tp_pair *pair)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "splices", sizeof *pair->splices, SIZE_MAX, &array, &items, &pair->splice_count))
        return false;
    pair->splices = items;
    for (size_t i = 0; i < pair->splice_count; i++) {
        const json_t *splice = json_array_get(array, i);
        if (!get_fields(r, splice, tp_json_splice_fields, &pair->splices[i], "splices") ||
            !get_code(r, splice, "cause", &pair->splices[i].cause))
            return false;
    }
    return true;
}

static bool read_pair(struct reader *r, const json_t *from, struct tp_pair **out)
{
    if (from == NULL || json_is_null(from))
        return true;
    struct tp_pair *pair = calloc(1, sizeof *pair);
    if (pair == NULL)
        return stop_memory(r);
    *out = pair;
    if (!get_fields(r, from, tp_json_pair_fields, pair, "pair") ||
        !get_reference(r, json_object_get(from, "main"), &pair->main.file, &pair->main.channel) ||
        !get_reference(r, json_object_get(from, "safety"), &pair->safety.file, &pair->safety.channel) ||
        !read_splices(r, from, pair))
        return false;
    const char *polarity = json_string_value(json_object_get(from, "polarity"));
    if (polarity == NULL || (strcmp(polarity, "same") != 0 && strcmp(polarity, "inverted") != 0))
        return stop(r, "polarity", "neither same nor inverted");
    pair->inverted = polarity[0] == 'i';
    bool has_channels = pair->main.file != TP_NO_INDEX && pair->main.channel != TP_NO_CHANNEL &&
                        pair->safety.file != TP_NO_INDEX && pair->safety.channel != TP_NO_CHANNEL;
    return has_channels || stop(r, "pair", "names no channels");
}

static bool read_optional_reference(struct reader *r, const json_t *from, const char *key, struct tp_channel_ref *ref)
{
    const json_t *value = json_object_get(from, key);
    *ref = (struct tp_channel_ref){TP_NO_INDEX, TP_NO_CHANNEL};
    if (value == NULL)
        return true;
    if (!get_reference(r, value, &ref->file, &ref->channel))
        return false;
    bool has_channel = ref->file != TP_NO_INDEX && ref->channel != TP_NO_CHANNEL;
    return has_channel || stop(r, key, "names no channel");
}

static bool read_partners(struct reader *r, const json_t *from, struct tp_signal *signal)
{
    signal->dead_partner_is_main = json_is_true(json_object_get(from, "dead_partner_is_main"));
    return read_optional_reference(r, from, "copy", &signal->copy) &&
           read_optional_reference(r, from, "dead_partner", &signal->dead_partner) &&
           read_optional_reference(r, from, "same_as", &signal->same_as);
}

/* Reports of an earlier version do not say which channel a signal is of: the main of its pair, or the one used. */
static bool read_signal_channel(struct reader *r, const json_t *from, struct tp_signal *signal)
{
    if (json_object_get(from, "of") != NULL)
        return read_optional_reference(r, from, "of", &signal->channel);
    signal->channel =
        signal->pair != NULL ? signal->pair->main : (struct tp_channel_ref){signal->use.file, signal->use.channel};
    return true;
}

/* "part" is 1-based there; reports of an earlier version have none. */
static bool read_part(struct reader *r, const json_t *from, const struct tp_take *take, struct tp_signal *signal)
{
    const json_t *part = json_object_get(from, "part");
    json_int_t number = part != NULL ? json_integer_value(part) : 1;
    if ((part != NULL && !json_is_integer(part)) || number < 1 || (json_int_t)take->part_count < number)
        return stop(r, "part", "points at nothing");
    signal->part = (size_t)(number - 1);
    return true;
}

static bool read_signals(struct reader *r, const json_t *from, struct tp_take *take)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "signals", sizeof *take->signals, CHANNELS_MAX, &array, &items, &take->signal_count))
        return false;
    take->signals = items;
    for (size_t i = 0; i < take->signal_count; i++) {
        const json_t *signal = json_array_get(array, i);
        if (!read_partners(r, signal, &take->signals[i]) || !read_part(r, signal, take, &take->signals[i]) ||
            !get_text(r, signal, "name", &take->signals[i].name) ||
            !read_use(r, json_object_get(signal, "use"), &take->signals[i].use) ||
            !read_pair(r, json_object_get(signal, "pair"), &take->signals[i].pair) ||
            !read_signal_channel(r, signal, &take->signals[i]))
            return false;
    }
    return true;
}

/* "use" and "pair" of a take repeat its first signal for scripts; what disagrees was edited. */
static bool check_first_signal(struct reader *r, const json_t *from)
{
    const json_t *first = json_array_get(json_object_get(from, "signals"), 0);
    const json_t *use = json_object_get(from, "use"), *pair = json_object_get(from, "pair");
    bool agrees = first == NULL ? json_is_object(use) && strcmp(tp_choice_name(TP_CHOICE_NONE), choice_of(use)) == 0
                                : json_equal(use, json_object_get(first, "use")) &&
                                      json_equal(pair, json_object_get(first, "pair"));
    return agrees || stop(r, "use", "it does not agree with \"signals\"");
}

static bool read_take_files(struct reader *r, const json_t *from, struct tp_take *take)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "file_indexes", sizeof *take->files, r->report->file_count, &array, &items,
                  &take->file_count))
        return false;
    take->files = items;
    for (size_t i = 0; i < take->file_count; i++) {
        const json_t *value = json_array_get(array, i);
        if (!json_is_integer(value) || json_integer_value(value) < 0 ||
            (uint64_t)json_integer_value(value) >= r->report->file_count)
            return stop(r, "file_indexes", "points at nothing");
        take->files[i] = (size_t)json_integer_value(value);
    }
    return true;
}

/* Every part has a file at least; reports of an earlier version do not count parts. */
static bool check_parts(struct reader *r, struct tp_take *take)
{
    if (take->part_count == 0)
        take->part_count = 1;
    return take->part_count == 1 || take->part_count <= take->file_count ||
           stop(r, "part_count", "more parts than files");
}

static bool read_take(struct reader *r, const json_t *from, struct tp_take *take)
{
    return get_fields(r, from, tp_json_take_fields, take, "takes") &&
           get_fields(r, from, tp_json_clock_fields, take, "takes") && get_verdict(r, from, &take->verdict) &&
           read_take_files(r, from, take) && check_parts(r, take) && read_signals(r, from, take) &&
           check_first_signal(r, from) && read_findings(r, from, &take->findings, &take->finding_count);
}

static bool read_clips(struct reader *r, const json_t *from, const char *key, struct tp_clip_run **runs, size_t *count)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, key, sizeof **runs, TP_CLIPS_MAX, &array, &items, count))
        return false;
    *runs = items;
    for (size_t i = 0; i < *count; i++)
        if (!get_fields(r, json_array_get(array, i), tp_json_clip_fields, &(*runs)[i], key))
            return false;
    return true;
}

/* Decodes at least one and at most `size_max` bytes. */
static bool read_base64(struct reader *r, const json_t *from, const char *key, size_t size_max, uint8_t **out,
                        size_t *size)
{
    const json_t *value = json_object_get(from, key);
    const char *text = json_string_value(value);
    size_t length = text != NULL ? json_string_length(value) : 0;
    if (text == NULL || length == 0 || length % 4 != 0 || length > (size_max + 2) / 3 * 4 ||
        strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/=") != length)
        return stop(r, key, "not base64, or too long");
    size_t padding = text[length - 1] != '=' ? 0 : text[length - 2] != '=' ? 1 : 2;
    unsigned char *bytes = malloc(length / 4 * 3);
    if (bytes == NULL)
        return stop_memory(r);
    if (strcspn(text, "=") != length - padding ||
        EVP_DecodeBlock(bytes, (const unsigned char *)text, (int)length) != (int)(length / 4 * 3)) {
        free(bytes);
        return stop(r, key, "not base64");
    }
    *out = bytes;
    *size = length / 4 * 3 - padding;
    return true;
}

static bool read_bins(struct reader *r, const json_t *from, const char *key, int8_t **out, size_t *count)
{
    uint8_t *bytes = NULL;
    if (!read_base64(r, from, key, TP_OVERVIEW_BINS_MAX, &bytes, count))
        return false;
    *out = (int8_t *)bytes;
    return true;
}

static bool read_waveform(struct reader *r, const json_t *from, struct tp_overview *overview)
{
    if (from == NULL || json_is_null(from))
        return true;
    size_t min_count = 0, max_count = 0;
    if (!read_bins(r, from, "min", &overview->min, &min_count) ||
        !read_bins(r, from, "max", &overview->max, &max_count))
        return false;
    const json_t *frames = json_object_get(from, "frames_per_bin");
    if (min_count != max_count || !json_is_integer(frames) || json_integer_value(frames) < 1)
        return stop(r, "waveform", "its parts do not fit");
    overview->bin_count = (uint32_t)min_count;
    overview->frames_per_bin = (uint64_t)json_integer_value(frames);
    return true;
}

static bool read_channel(struct reader *r, const json_t *from, struct tp_channel *channel)
{
    return get_fields(r, from, tp_json_channel_fields, channel, "channels") &&
           read_clips(r, from, "clips", &channel->clips, &channel->clip_count) &&
           read_clips(r, from, "flat_tops", &channel->flat_tops, &channel->flat_top_count) &&
           read_waveform(r, json_object_get(from, "waveform"), &channel->overview);
}

static bool read_channels(struct reader *r, const json_t *from, struct tp_file *file)
{
    const json_t *array;
    void *items;
    size_t count;
    if (!get_list(r, from, "channels", sizeof *file->channels, CHANNELS_MAX, &array, &items, &count))
        return false;
    if (count != 0 && count != file->channel_count) {
        free(items);
        return stop(r, "channels", "their number is not \"channel_count\"");
    }
    file->channels = items;
    for (size_t i = 0; i < count; i++)
        if (!read_channel(r, json_array_get(array, i), &file->channels[i]))
            return false;
    return true;
}

static bool read_hash(struct reader *r, const json_t *from, const struct tp_hash_kind *kind, char *out)
{
    const json_t *value = json_object_get(from, kind->key);
    if (value == NULL || json_is_null(value))
        return true;
    const char *text = json_string_value(value);
    if (text == NULL || strlen(text) != kind->digits || strspn(text, "0123456789abcdef") != kind->digits)
        return stop(r, kind->key, "not a hash");
    memcpy(out, text, kind->digits + 1);
    return true;
}

static bool read_hashes(struct reader *r, const json_t *from, char *const out[TP_HASH_COUNT])
{
    const json_t *hashes = json_object_get(from, "hashes");
    bool good = true;
    for (enum tp_hash kind = 0; kind < TP_HASH_COUNT && good; kind++)
        good = read_hash(r, hashes, &tp_hash_kinds[kind], out[kind]);
    return good;
}

static int hex_digit(char c)
{
    return isdigit((unsigned char)c) ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

static char *from_hex(const char *hex)
{
    size_t length = strlen(hex);
    char *raw = length % 2 == 0 ? malloc(length / 2 + 1) : NULL;
    if (raw == NULL)
        return NULL;
    for (size_t i = 0; i < length / 2; i++) {
        int high = hex_digit(hex[2 * i]), low = hex_digit(hex[2 * i + 1]);
        if (high < 0 || low < 0 || (high == 0 && low == 0)) {
            free(raw);
            return NULL;
        }
        raw[i] = (char)(high << 4 | low);
    }
    raw[length / 2] = '\0';
    return raw;
}

static bool read_path(struct reader *r, const json_t *from, char **path, char **raw, bool *is_utf8)
{
    if (!get_text(r, from, "path", path))
        return false;
    const json_t *hex = json_object_get(from, "path_hex");
    *is_utf8 = hex == NULL;
    if (hex != NULL && !json_is_string(hex))
        return stop(r, "path_hex", "not a string");
    *raw = hex != NULL ? from_hex(json_string_value(hex)) : tp_strdup(*path);
    return *raw != NULL || (hex != NULL ? stop(r, "path_hex", "not hex") : stop_memory(r));
}

static bool read_source_index(struct reader *r, const json_t *from, size_t *source)
{
    if (!get_index(r, from, "source", r->report->source_count, source))
        return false;
    return *source != TP_NO_INDEX || stop(r, "source", "missing");
}

static bool read_lists(struct reader *r, const json_t *from, const struct tp_json_list *lists, void *object)
{
    for (const struct tp_json_list *list = lists; list->key != NULL; list++) {
        const json_t *array;
        void *items;
        size_t count;
        if (!get_list(r, from, list->key, list->size, list->count_max, &array, &items, &count))
            return false;
        memcpy((char *)object + list->pointer_offset, &items, sizeof items);
        memcpy((char *)object + list->count_offset, &count, sizeof count);
        for (size_t i = 0; i < count; i++)
            if (!get_fields(r, json_array_get(array, i), list->fields, (char *)items + i * list->size, list->key))
                return false;
    }
    return true;
}

static bool read_ixml(struct reader *r, const json_t *from, struct tp_file *file)
{
    if (from == NULL || json_is_null(from))
        return true;
    file->ixml = calloc(1, sizeof *file->ixml);
    if (file->ixml == NULL)
        return stop_memory(r);
    return get_fields(r, from, tp_json_ixml_fields, file->ixml, "ixml") &&
           read_lists(r, from, tp_json_ixml_lists, file->ixml);
}

static bool read_bext(struct reader *r, const json_t *from, struct tp_file *file)
{
    if (from == NULL || json_is_null(from))
        return true;
    file->bext = calloc(1, sizeof *file->bext);
    if (file->bext == NULL)
        return stop_memory(r);
    return get_fields(r, from, tp_json_bext_fields, file->bext, "bext");
}

static bool read_file_numbers(struct reader *r, const json_t *from, struct tp_file *file)
{
    static const struct tp_json_field fields[] = {{"bytes", TP_JSON_U64, offsetof(struct tp_file, bytes)},
                                                  {"modified_s", TP_JSON_I64, offsetof(struct tp_file, modified_s)},
                                                  {NULL, TP_JSON_TEXT, 0}};
    return get_fields(r, from, fields, file, "files") && read_hashes(r, from, (char *const[])TP_HASHES_OF(file)) &&
           get_verdict(r, from, &file->verdict);
}

static bool read_file(struct reader *r, const json_t *from, struct tp_file *file)
{
    return get_fields(r, from, tp_json_format_fields, file, "files") &&
           read_path(r, from, &file->path, &file->path_raw, &file->path_is_utf8) &&
           read_source_index(r, from, &file->source) && read_file_numbers(r, from, file) &&
           read_bext(r, json_object_get(from, "bext"), file) && read_ixml(r, json_object_get(from, "ixml"), file) &&
           read_lists(r, from, tp_json_file_lists, file) &&
           get_fields(r, json_object_get(from, "programme"), tp_json_programme_fields, &file->programme, "programme") &&
           read_channels(r, from, file);
}

static bool read_other(struct reader *r, const json_t *from, struct tp_other *other)
{
    static const struct tp_json_field fields[] = {{"bytes", TP_JSON_U64, offsetof(struct tp_other, bytes)},
                                                  {NULL, TP_JSON_TEXT, 0}};
    return get_fields(r, from, fields, other, "others") &&
           read_path(r, from, &other->path, &other->path_raw, &other->path_is_utf8) &&
           read_source_index(r, from, &other->source) && read_hashes(r, from, (char *const[])TP_HASHES_OF(other)) &&
           get_text(r, from, "why", &other->why);
}

static bool get_readback(struct reader *r, const json_t *from, enum tp_readback *out)
{
    const char *name = json_string_value(json_object_get(from, "readback"));
    for (int i = TP_READBACK_NONE; name != NULL && i <= TP_READBACK_CACHED; i++)
        if (strcmp(name, tp_readback_name((enum tp_readback)i)) == 0) {
            *out = (enum tp_readback)i;
            return true;
        }
    return stop(r, "readback", "not a way to read back");
}

static bool read_destinations(struct reader *r, const json_t *from, struct tp_handoff *handoff)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "destinations", sizeof *handoff->destinations, TP_DESTINATIONS_MAX, &array, &items,
                  &handoff->destination_count))
        return false;
    handoff->destinations = items;
    for (size_t i = 0; i < handoff->destination_count; i++) {
        const json_t *destination = json_array_get(array, i);
        struct tp_handoff_destination *to = &handoff->destinations[i];
        if (!get_fields(r, destination, tp_json_destination_fields, to, "destinations") ||
            !get_readback(r, destination, &to->readback) || !get_optional_text(r, destination, "message", &to->message))
            return false;
    }
    return true;
}

/* Each file is somewhere at each destination, and a card may be wiped only with copies that can prove it: files may be
 * proven in different places, so that only the number of them all can be checked. */
static bool check_handoff(struct reader *r, const struct tp_handoff *handoff)
{
    uint64_t files = handoff->file_count;
    double proven = 0;
    bool adds_up = r->report->source_count == 1 && handoff->copies_wanted > 0, folders_good = true;
    for (size_t i = 0; i < handoff->destination_count && adds_up; i++) {
        const struct tp_handoff_destination *d = &handoff->destinations[i];
        adds_up = d->copied <= files && d->kept <= files - d->copied && d->failed == files - d->copied - d->kept;
        folders_good = folders_good && d->message == NULL;
        proven += (double)(d->copied + d->kept);
    }
    bool may_be = files > 0 && folders_good && handoff->destination_count >= handoff->copies_wanted &&
                  proven >= (double)files * handoff->copies_wanted;
    return (adds_up && (may_be || !handoff->may_be_wiped)) || stop(r, "handoff", "its numbers do not agree");
}

static bool read_handoff(struct reader *r, const json_t *from)
{
    if (from == NULL || json_is_null(from))
        return true;
    struct tp_handoff *handoff = calloc(1, sizeof *handoff);
    if (handoff == NULL)
        return stop_memory(r);
    r->report->handoff = handoff;
    return get_fields(r, from, tp_json_handoff_fields, handoff, "handoff") &&
           get_optional_text(r, from, "caution", &handoff->caution) && read_destinations(r, from, handoff) &&
           check_handoff(r, handoff);
}

static bool read_sources(struct reader *r, const json_t *from)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "sources", sizeof *r->report->sources, SIZE_MAX, &array, &items, &r->report->source_count))
        return false;
    r->report->sources = items;
    for (size_t i = 0; i < r->report->source_count; i++) {
        const char *text = json_string_value(json_array_get(array, i));
        if (text == NULL)
            return stop(r, "sources", "not strings");
        r->report->sources[i] = tp_strdup(text);
        if (r->report->sources[i] == NULL)
            return stop_memory(r);
    }
    return true;
}

/* Members that are there only where they tell something. */
static bool read_about(struct reader *r, const json_t *from)
{
    const json_t *merged = json_object_get(from, "merged"), *compared = json_object_get(from, "compared");
    if (merged != NULL && !json_is_boolean(merged))
        return stop(r, "merged", "not true or false");
    r->report->merged = json_is_true(merged);
    if (compared == NULL || json_is_null(compared))
        return true;
    if (json_string_length(json_object_get(compared, "words")) == 0)
        return stop(r, "compared", "has no words");
    return get_text(r, compared, "words", &r->report->compared) &&
           get_verdict(r, compared, &r->report->compared_verdict);
}

/* Of a merged report; as many as sources, or none. */
static bool read_source_specs(struct reader *r, const json_t *from)
{
    struct tp_report *report = r->report;
    const json_t *array;
    void *items;
    size_t count;
    if (json_object_get(from, "source_specs") == NULL)
        return true;
    if (!get_list(r, from, "source_specs", sizeof *report->source_specs, SIZE_MAX, &array, &items, &count))
        return false;
    report->source_specs = items;
    if (count != report->source_count)
        return stop(r, "source_specs", "not one for each source");
    while (report->source_spec_count < count) {
        struct tp_spec *spec = &report->source_specs[report->source_spec_count];
        if (tp_spec_init(spec, NULL) != TP_OK)
            return stop_memory(r);
        report->source_spec_count++;
        if (!get_fields(r, json_array_get(array, report->source_spec_count - 1), tp_json_spec_fields, spec,
                        "source_specs"))
            return false;
    }
    return true;
}

static bool read_head(struct reader *r, const json_t *from)
{
    struct tp_report *report = r->report;
    const json_t *format = json_object_get(from, "format");
    if (!json_is_integer(format))
        return stop(r, "", "there is no \"format\"");
    if (json_integer_value(format) != 1)
        return stop(r, "format", "this version reads format 1 only");
    return get_text(r, from, "version", &report->version) && get_text(r, from, "made", &report->made) &&
           read_sources(r, from) &&
           get_fields(r, json_object_get(from, "production"), tp_json_production_fields, &report->spec, "production") &&
           get_fields(r, json_object_get(from, "spec"), tp_json_spec_fields, &report->spec, "spec") &&
           read_source_specs(r, from) && get_verdict(r, from, &report->verdict) &&
           get_fields(r, json_object_get(from, "summary"), tp_json_summary_fields, &report->summary, "summary") &&
           read_handoff(r, json_object_get(from, "handoff")) && read_about(r, from);
}

static bool read_files(struct reader *r, const json_t *from)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "files", sizeof *r->report->files, SIZE_MAX, &array, &items, &r->report->file_count))
        return false;
    r->report->files = items;
    for (size_t i = 0; i < r->report->file_count; i++)
        if (!read_file(r, json_array_get(array, i), &r->report->files[i]))
            return false;
    return true;
}

static bool read_others(struct reader *r, const json_t *from)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "others", sizeof *r->report->others, SIZE_MAX, &array, &items, &r->report->other_count))
        return false;
    r->report->others = items;
    for (size_t i = 0; i < r->report->other_count; i++)
        if (!read_other(r, json_array_get(array, i), &r->report->others[i]))
            return false;
    return true;
}

static bool read_takes(struct reader *r, const json_t *from)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "takes", sizeof *r->report->takes, SIZE_MAX, &array, &items, &r->report->take_count))
        return false;
    r->report->takes = items;
    for (size_t i = 0; i < r->report->take_count; i++)
        if (!read_take(r, json_array_get(array, i), &r->report->takes[i]))
            return false;
    return true;
}

/* Only sound may be embedded: the type stands in the page as it is. */
static bool read_excerpt(struct reader *r, const json_t *from, struct tp_sound_excerpt *excerpt)
{
    if (!get_fields(r, from, tp_json_excerpt_fields, excerpt, "excerpts") ||
        !get_reference(r, from, &excerpt->file, &excerpt->channel) ||
        !read_base64(r, from, "sound", EXCERPT_BYTES_MAX, &excerpt->bytes, &excerpt->size))
        return false;
    bool points = excerpt->take < r->report->take_count &&
                  excerpt->finding < r->report->takes[excerpt->take].finding_count && excerpt->file != TP_NO_INDEX &&
                  excerpt->channel != TP_NO_CHANNEL;
    if (!points)
        return stop(r, "excerpts", "points at nothing");
    return strcmp(excerpt->mime, "audio/flac") == 0 || stop(r, "mime", "not audio/flac");
}

static bool read_excerpts(struct reader *r, const json_t *from)
{
    const json_t *array;
    void *items;
    if (!get_list(r, from, "excerpts", sizeof *r->report->excerpts, SIZE_MAX, &array, &items,
                  &r->report->excerpt_count))
        return false;
    r->report->excerpts = items;
    for (size_t i = 0; i < r->report->excerpt_count; i++)
        if (!read_excerpt(r, json_array_get(array, i), &r->report->excerpts[i]))
            return false;
    return true;
}

/* Which take a file belongs to can be checked only when the takes are known. */
static bool read_take_indexes(struct reader *r, const json_t *from)
{
    const json_t *files = json_object_get(from, "files");
    for (size_t i = 0; i < r->report->file_count; i++)
        if (!get_index(r, json_array_get(files, i), "take", r->report->take_count, &r->report->files[i].take))
            return false;
    return true;
}

/* Numbers that count what is listed must agree with the lists: the verdict's words are made of them. */
static bool check_summary(struct reader *r)
{
    const struct tp_report *report = r->report;
    size_t counts[3] = {0};
    for (size_t i = 0; i < report->take_count; i++)
        counts[report->takes[i].verdict]++;
    const struct tp_summary *s = &report->summary;
    bool agrees = s->takes == report->take_count && s->files == report->file_count &&
                  s->pass == counts[TP_VERDICT_PASS] && s->listen == counts[TP_VERDICT_LISTEN] &&
                  s->fail == counts[TP_VERDICT_FAIL];
    bool is_too_good = (counts[TP_VERDICT_FAIL] > 0 && report->verdict != TP_VERDICT_FAIL) ||
                       (counts[TP_VERDICT_LISTEN] > 0 && report->verdict == TP_VERDICT_PASS);
    return (agrees && !is_too_good) || stop(r, "summary", "it does not agree with the takes");
}

static json_t *parse(struct reader *r)
{
    char *bytes = NULL;
    size_t size;
    json_error_t trouble;
    r->status = tp_file_read_all(r->path, REPORT_BYTES_MAX, &bytes, &size, r->error);
    if (r->status != TP_OK)
        return NULL;
    json_t *root = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &trouble);
    free(bytes);
    if (root == NULL) {
        r->status = tp_error_set(r->error, TP_ERR_FORMAT, 0, "'%s' is not a takeproof report: line %d: %s", r->path,
                                 trouble.line, trouble.text);
        if (r->error != NULL)
            r->error->offset = trouble.position > 0 ? (uint64_t)trouble.position : 0;
    }
    return root;
}

enum tp_status tp_report_read_json(const char *path, struct tp_report **report, struct tp_error *error)
{
    struct reader r = {.path = path, .error = error};
    json_t *root = parse(&r);
    if (root == NULL)
        return r.status;
    r.report = calloc(1, sizeof *r.report);
    if (r.report == NULL)
        stop_memory(&r);
    else if (!json_is_object(root))
        stop(&r, "", "not an object");
    else if (read_head(&r, root) && read_files(&r, root) && read_others(&r, root) && read_takes(&r, root) &&
             read_take_indexes(&r, root) && read_findings(&r, root, &r.report->findings, &r.report->finding_count) &&
             read_excerpts(&r, root))
        check_summary(&r);
    json_decref(root);
    if (r.status != TP_OK)
        tp_report_free(r.report);
    else
        *report = r.report;
    return r.status;
}
