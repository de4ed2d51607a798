/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/text.h"
#include "report/json_fields.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/salvage.h>

static bool put(json_t *object, const char *key, json_t *value)
{
    return json_object_set_new(object, key, value) == 0;
}

static bool put_path(json_t *object, const char *key, const char *hex_key, const char *path)
{
    size_t length = strlen(path);
    if (!put(object, key, tp_json_text(path)))
        return false;
    if (tp_utf8_is_valid(path, length))
        return true;
    char *hex = malloc(2 * length + 1);
    if (hex != NULL)
        tp_hex((const uint8_t *)path, length, hex);
    bool ok = put(object, hex_key, hex != NULL ? json_string(hex) : NULL);
    free(hex);
    return ok;
}

static json_t *finding_json(const struct tp_finding *finding)
{
    json_t *object = json_object();
    if (object != NULL && put(object, "code", json_string(tp_finding_info(finding->code)->name)) &&
        put(object, "severity", json_string(tp_severity_name(finding->severity))) &&
        put(object, "start_s", tp_json_real(finding->start_s, 3)) &&
        put(object, "end_s", tp_json_real(finding->end_s, 3)) &&
        put(object, "value", tp_json_real(finding->value, 3)) &&
        put(object, "limit", tp_json_real(finding->limit, 3)) && put(object, "message", tp_json_text(finding->message)))
        return object;
    json_decref(object);
    return NULL;
}

static json_t *findings_json(const struct tp_salvage_result *result)
{
    json_t *array = json_array();
    bool ok = array != NULL;
    for (size_t i = 0; i < result->finding_count && ok; i++)
        ok = json_array_append_new(array, finding_json(&result->findings[i])) == 0;
    if (ok)
        return array;
    json_decref(array);
    return NULL;
}

static json_t *notes_json(const struct tp_salvage_result *result)
{
    json_t *array = json_array();
    bool ok = array != NULL;
    for (size_t i = 0; i < result->note_count && ok; i++)
        ok = json_array_append_new(array, tp_json_text(result->notes[i])) == 0;
    if (ok)
        return array;
    json_decref(array);
    return NULL;
}

static bool put_result(json_t *object, const struct tp_salvage_result *result)
{
    bool written = result->written != NULL;
    return (written ? put_path(object, "written", "written_hex", result->written)
                    : put(object, "written", json_null())) &&
           put(object, "listen", json_boolean(result->listen)) &&
           put(object, "container", tp_json_text(tp_container_name(result->container))) &&
           put(object, "encoding", tp_json_text(tp_encoding_name(result->format.encoding))) &&
           put(object, "bit_depth", json_integer(result->format.bit_depth)) &&
           put(object, "channel_count", json_integer(result->format.channel_count)) &&
           put(object, "sample_rate_hz", json_integer(result->format.sample_rate_hz)) &&
           put(object, "format_guessed", json_boolean(result->format_guessed)) &&
           put(object, "frames", tp_json_u64(result->frames)) &&
           put(object, "duration_s", tp_json_real(result->duration_s, 3)) &&
           put(object, "source_offset", tp_json_u64(result->source_offset)) &&
           put(object, "findings", findings_json(result)) && put(object, "notes", notes_json(result));
}

static const char *outcome_name(const struct tp_salvage_outcome *outcome)
{
    if (outcome->result == NULL)
        return "failed";
    return outcome->result->written == NULL ? "healthy" : "salvaged";
}

static json_t *outcome_json(const struct tp_salvage_outcome *outcome)
{
    json_t *object = json_object();
    bool ok = object != NULL && put_path(object, "path", "path_hex", outcome->path) &&
              put(object, "outcome", json_string(outcome_name(outcome)));
    if (ok && outcome->result != NULL)
        ok = put_result(object, outcome->result);
    else if (ok)
        ok = put(object, "problem", tp_json_text(outcome->problem));
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

enum tp_status tp_salvage_write_json(const struct tp_salvage_outcome *outcomes, size_t count, FILE *out,
                                     struct tp_error *error)
{
    json_t *files = json_array();
    bool ok = files != NULL;
    for (size_t i = 0; i < count && ok; i++)
        ok = json_array_append_new(files, outcome_json(&outcomes[i])) == 0;
    json_t *root = ok ? json_pack("{s:i, s:O}", "format", 1, "files", files) : NULL;
    json_decref(files);
    if (root == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the result as JSON: not enough memory");
    errno = 0;
    bool written = json_dumpf(root, out, JSON_INDENT(2) | JSON_REAL_PRECISION(15)) == 0 && fputc('\n', out) != EOF;
    json_decref(root);
    return written ? TP_OK
                   : tp_error_set(error, TP_ERR_WRITE, errno, "cannot write the result as JSON: %s", strerror(errno));
}
