/* SPDX-License-Identifier: MIT */
/* Shared by the JSON of offload and compare: names that may not be UTF-8, and writing it out. */
#ifndef TP_HANDOFF_JSON_OUT_H
#define TP_HANDOFF_JSON_OUT_H

#include <jansson.h>
#include <stdio.h>
#include <takeproof/error.h>

/* A JSON string with bytes that are no UTF-8 replaced by U+FFFD; JSON null for NULL. NULL when memory is short. */
json_t *tp_json_out_text(const char *text);
/* Sets "path", and "path_hex" when the name is not UTF-8. -1 when memory is short. */
int tp_json_out_path(json_t *object, const char *key, const char *path);
/* Seconds to a microsecond, null for NaN. */
json_t *tp_json_out_seconds(double seconds);
/* `value`, or NULL (then it is freed) when `failed` is not 0: the returns of what was put into it, or-ed together. */
json_t *tp_json_out_whole(json_t *value, int failed);
/* Takes `root` (NULL: memory was short). Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
enum tp_status tp_json_out_write(json_t *root, FILE *out, struct tp_error *error) TP_MUST_USE;

#endif
