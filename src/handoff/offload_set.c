/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "base/text.h"
#include "handoff/manifest.h"

#include <stdlib.h>
#include <takeproof/offload.h>

static enum tp_status write_json(const struct tp_offload_result *result, const char *path, struct tp_error *error)
{
    struct tp_whole_file file;
    enum tp_status status = tp_whole_file_open(&file, path, true, error);
    if (status != TP_OK)
        return status;
    status = tp_offload_write_json(result, file.stream, error);
    if (status != TP_OK) {
        tp_whole_file_abandon(&file);
        return status;
    }
    return tp_whole_file_commit(&file, error);
}

static enum tp_status write_manifest(const struct tp_offload_result *result, const char *path, struct tp_error *error)
{
    struct tp_text lines = {0};
    for (size_t i = 0; i < result->file_count; i++)
        if (result->files[i].read_whole)
            tp_manifest_line(&lines, result->files[i].sha256, result->files[i].path);
    if (lines.failed) {
        tp_text_clear(&lines);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    }
    struct tp_whole_file file;
    enum tp_status status = tp_whole_file_open(&file, path, true, error);
    if (status == TP_OK) {
        fwrite(lines.bytes != NULL ? lines.bytes : "", 1, lines.length, file.stream);
        status = tp_whole_file_commit(&file, error);
    }
    tp_text_clear(&lines);
    return status;
}

enum tp_status tp_offload_write_set(const struct tp_offload_result *result, const char *directory,
                                    struct tp_error *error)
{
    enum tp_status status = tp_folder_make(directory, error);
    char *json = tp_path_join(directory, "offload.json"), *manifest = tp_path_join(directory, "manifest.sha256");
    if (status == TP_OK && (json == NULL || manifest == NULL))
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    if (status == TP_OK)
        status = write_json(result, json, error);
    if (status == TP_OK)
        status = write_manifest(result, manifest, error);
    free(json);
    free(manifest);
    return status;
}
