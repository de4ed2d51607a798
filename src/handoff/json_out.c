/* SPDX-License-Identifier: MIT */
#include "handoff/json_out.h"

#include "base/num.h"
#include "base/text.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

json_t *tp_json_out_text(const char *text)
{
    if (text == NULL)
        return json_null();
    char *repaired = tp_utf8_repair(text, strlen(text));
    json_t *string = repaired != NULL ? json_string(repaired) : NULL;
    free(repaired);
    return string;
}

int tp_json_out_path(json_t *object, const char *key, const char *path)
{
    size_t length = strlen(path);
    int failed = json_object_set_new(object, key, tp_json_out_text(path));
    if (failed != 0 || tp_utf8_is_valid(path, length))
        return failed;
    char *hex = malloc(2 * length + 1), *hex_key = tp_format("%s_hex", key);
    failed = -1;
    if (hex != NULL && hex_key != NULL) {
        tp_hex((const uint8_t *)path, length, hex);
        failed = json_object_set_new(object, hex_key, json_string(hex));
    }
    free(hex);
    free(hex_key);
    return failed;
}

json_t *tp_json_out_seconds(double seconds)
{
    return isfinite(seconds) ? json_real(tp_number_round(seconds, 6)) : json_null();
}

json_t *tp_json_out_whole(json_t *value, int failed)
{
    if (failed == 0)
        return value;
    json_decref(value);
    return NULL;
}

enum tp_status tp_json_out_write(json_t *root, FILE *out, struct tp_error *error)
{
    if (root == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    errno = 0;
    bool written = json_dumpf(root, out, JSON_INDENT(2) | JSON_REAL_PRECISION(15)) == 0 && fputc('\n', out) != EOF;
    int cause = errno;
    json_decref(root);
    if (!written)
        return tp_error_set(error, cause == ENOMEM ? TP_ERR_MEMORY : TP_ERR_WRITE, cause, "cannot write the result: %s",
                            cause != 0 ? strerror(cause) : "write failed");
    return TP_OK;
}
