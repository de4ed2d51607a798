/* SPDX-License-Identifier: MIT */
#include "handoff/json_out.h"

#include <takeproof/offload.h>

/* Each part is NULL when memory was short for any of it: putting NULL into a whole fails in turn, up to the top. */

static json_t *copies_json(const struct tp_offload_result *result, const struct tp_offload_file *file)
{
    json_t *list = json_array();
    int failed = 0;
    for (size_t t = 0; t < result->destination_count; t++) {
        const struct tp_offload_copy *copy = &file->copies[t];
        json_t *item =
            json_pack("{s:i, s:s, s:s, s:o}", "destination", (int)t + 1, "state", tp_copy_state_name(copy->state),
                      "readback", tp_readback_name(copy->readback), "message", tp_json_out_text(copy->message));
        failed |= json_array_append_new(list, item);
    }
    return tp_json_out_whole(list, failed);
}

static json_t *gaps_json(const struct tp_offload_file *file)
{
    json_t *list = json_array();
    int failed = 0;
    for (size_t i = 0; i < file->gap_count; i++) {
        const struct tp_offload_gap *gap = &file->gaps[i];
        failed |= json_array_append_new(
            list, json_pack("{s:I, s:I, s:o, s:o}", "offset", (json_int_t)gap->offset, "bytes", (json_int_t)gap->bytes,
                            "start_s", tp_json_out_seconds(gap->start_s), "end_s", tp_json_out_seconds(gap->end_s)));
    }
    return tp_json_out_whole(list, failed);
}

static json_t *file_json(const struct tp_offload_result *result, const struct tp_offload_file *file)
{
    json_t *object = json_object();
    int failed = tp_json_out_path(object, "path", file->path);
    failed |= json_object_set_new(object, "bytes", json_integer((json_int_t)file->bytes));
    failed |= json_object_set_new(
        object, "hashes",
        file->read_whole ? json_pack("{s:s, s:s}", "sha256", file->sha256, "xxh64", file->xxh64) : json_null());
    failed |= json_object_set_new(object, "take", tp_json_out_text(file->take));
    failed |= json_object_set_new(object, "read_whole", json_boolean(file->read_whole));
    failed |= json_object_set_new(object, "message", tp_json_out_text(file->message));
    failed |= json_object_set_new(object, "gaps", gaps_json(file));
    failed |= json_object_set_new(object, "verified", json_integer((json_int_t)file->verified));
    failed |= json_object_set_new(object, "copies", copies_json(result, file));
    return tp_json_out_whole(object, failed);
}

static json_t *destination_json(const struct tp_offload_destination *destination)
{
    json_t *object = json_object();
    int failed = tp_json_out_path(object, "path", destination->path);
    failed |= json_object_set_new(object, "bytes_copied", json_integer((json_int_t)destination->bytes_copied));
    failed |= json_object_set_new(object, "copied", json_integer((json_int_t)destination->copied));
    failed |= json_object_set_new(object, "kept", json_integer((json_int_t)destination->kept));
    failed |= json_object_set_new(object, "failed", json_integer((json_int_t)destination->failed));
    failed |= json_object_set_new(object, "readback", json_string(tp_readback_name(destination->readback)));
    failed |= json_object_set_new(object, "message", tp_json_out_text(destination->message));
    failed |= json_object_set_new(object, "history_generation", json_integer(destination->history_generation));
    failed |= json_object_set_new(object, "history_message", tp_json_out_text(destination->history_message));
    return tp_json_out_whole(object, failed);
}

enum tp_status tp_offload_write_json(const struct tp_offload_result *result, FILE *out, struct tp_error *error)
{
    json_t *destinations = json_array(), *files = json_array(), *unaccounted = json_array();
    int failed = 0;
    for (size_t t = 0; t < result->destination_count; t++)
        failed |= json_array_append_new(destinations, destination_json(&result->destinations[t]));
    for (size_t i = 0; i < result->file_count; i++)
        failed |= json_array_append_new(files, file_json(result, &result->files[i]));
    for (size_t i = 0; i < result->unaccounted_count; i++)
        failed |= json_array_append_new(unaccounted, tp_json_out_text(result->unaccounted[i]));
    json_t *root = json_pack("{s:i, s:o, s:i, s:b, s:b, s:o, s:o, s:o, s:o, s:o}", "format", 1, "card",
                             tp_json_out_text(result->card), "copies_wanted", (int)result->copies_wanted,
                             "may_be_wiped", (int)result->may_be_wiped, "complete", (int)result->complete, "words",
                             tp_json_out_text(result->words), "caution", tp_json_out_text(result->caution),
                             "destinations", destinations, "files", files, "unaccounted", unaccounted);
    return tp_json_out_write(tp_json_out_whole(root, failed), out, error);
}
