/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "base/text.h"
#include "handoff/manifest.h"

#include <stdlib.h>
#include <takeproof/offload.h>

static enum tp_status write_json(const void *user, FILE *out, struct tp_error *error)
{
    return tp_offload_write_json(user, out, error);
}

static enum tp_status write_manifest(const void *user, FILE *out, struct tp_error *error)
{
    const struct tp_offload_result *result = user;
    struct tp_text lines = {0};
    for (size_t i = 0; i < result->file_count; i++)
        if (result->files[i].read_whole)
            tp_manifest_line(&lines, TP_HASH_SHA256, result->files[i].sha256, result->files[i].path);
    bool lost = lines.failed;
    if (!lost && lines.length > 0)
        fwrite(lines.bytes, 1, lines.length, out);
    tp_text_clear(&lines);
    return tp_written(out, lost, "the manifest", error);
}

enum tp_status tp_offload_write_set(const struct tp_offload_result *result, const char *directory,
                                    struct tp_error *error)
{
    enum tp_status status = tp_folder_make(directory, error);
    if (status == TP_OK)
        status = tp_whole_file_write(directory, "offload.json", write_json, result, error);
    return status == TP_OK ? tp_whole_file_write(directory, "manifest.sha256", write_manifest, result, error) : status;
}
