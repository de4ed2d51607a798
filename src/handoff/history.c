/* SPDX-License-Identifier: MIT */
#include "handoff/history.h"

#include "base/text.h"
#include "handoff/mhl.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static bool card_has_history(const struct tp_offload_result *result)
{
    static const char start[] = TP_MHL_FOLDER "/";
    for (size_t i = 0; i < result->file_count; i++)
        if (strncmp(result->files[i].path, start, sizeof start - 1) == 0)
            return true;
    return false;
}

static enum tp_status add(struct tp_offload_result *result, size_t t, const struct tp_mhl_options *options,
                          struct tp_error *error)
{
    struct tp_offload_destination *destination = &result->destinations[t];
    struct tp_mhl_file *files = calloc(result->file_count + 1, sizeof *files);
    if (files == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    size_t count = 0;
    for (size_t i = 0; i < result->file_count; i++) {
        const struct tp_offload_file *file = &result->files[i];
        if (file->read_whole && file->copies[t].state <= TP_COPY_KEPT)
            files[count++] = (struct tp_mhl_file){file->path, file->bytes, file->modified_s, file->xxh64};
    }
    struct tp_error cause = {0};
    enum tp_status status = TP_OK;
    if (count > 0)
        status = tp_mhl_add(destination->path, files, count, options, &destination->history_generation, &cause);
    free(files);
    if (status != TP_OK)
        destination->history_message = tp_format("no history was written: %s", tp_error_text(&cause));
    bool lost = status != TP_OK && destination->history_message == NULL;
    tp_error_clear(&cause);
    return lost ? tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory") : TP_OK;
}

enum tp_status tp_offload_add_histories(struct tp_offload_result *result, int64_t made_s, struct tp_error *error)
{
    if (card_has_history(result))
        return TP_OK;
    char host[256];
    if (gethostname(host, sizeof host) != 0)
        host[0] = '\0';
    host[sizeof host - 1] = '\0';
    const struct tp_mhl_options options = {
        .made_s = made_s, .host = host, .version = TP_VERSION, .process = "transfer"};
    for (size_t t = 0; t < result->destination_count; t++) {
        enum tp_status status = add(result, t, &options, error);
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}
