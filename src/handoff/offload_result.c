/* SPDX-License-Identifier: MIT */
#include <stdlib.h>
#include <takeproof/offload.h>

void tp_offload_result_free(struct tp_offload_result *result)
{
    if (result == NULL)
        return;
    for (size_t i = 0; i < result->file_count; i++) {
        struct tp_offload_file *file = &result->files[i];
        for (size_t t = 0; file->copies != NULL && t < result->destination_count; t++)
            free(file->copies[t].message);
        free(file->path);
        free(file->message);
        free(file->gaps);
        free(file->take);
        free(file->copies);
    }
    for (size_t t = 0; t < result->destination_count; t++) {
        free(result->destinations[t].path);
        free(result->destinations[t].message);
        free(result->destinations[t].history_message);
    }
    for (size_t i = 0; i < result->unaccounted_count; i++)
        free(result->unaccounted[i]);
    free(result->card);
    free(result->destinations);
    free(result->files);
    free(result->unaccounted);
    free(result->words);
    free(result->caution);
    free(result);
}

const char *tp_copy_state_name(enum tp_copy_state state)
{
    switch (state) {
    case TP_COPY_COPIED: return "copied";
    case TP_COPY_KEPT: return "kept";
    case TP_COPY_FAILED: return "failed";
    case TP_COPY_CONFLICT: return "conflict";
    case TP_COPY_SKIPPED: return "skipped";
    }
    return "";
}
