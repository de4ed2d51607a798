/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "handoff/safe_text.h"
#include "result.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/offload.h>

static void print_destination(const struct tp_offload_destination *destination, FILE *out)
{
    fputs("  ", out);
    tp_safe_print(out, destination->path);
    fprintf(out, ": %zu copied, %zu there already, %zu not there; %s\n", destination->copied, destination->kept,
            destination->failed, tp_readback_words(destination->readback));
    if (destination->history_generation > 0)
        fprintf(out, "    ASC MHL history: generation %" PRIu32 "\n", destination->history_generation);
    const char *const messages[] = {destination->message, destination->history_message};
    for (size_t i = 0; i < 2; i++) {
        if (messages[i] == NULL)
            continue;
        fputs("    ", out);
        tp_safe_print(out, messages[i]);
        fputc('\n', out);
    }
}

static void print_gap(const struct tp_offload_file *file, const struct tp_offload_gap *gap, FILE *out)
{
    fprintf(out, "    %" PRIu64 " bytes from byte %" PRIu64 " cannot be read", gap->bytes, gap->offset);
    if (!isnan(gap->start_s)) {
        char start[TP_NUMBER_SIZE], length[TP_NUMBER_SIZE];
        fprintf(out, ": %s s of the sound, at %s", tp_number_text(length, gap->end_s - gap->start_s, 3),
                tp_duration_text(start, gap->start_s, 3));
    }
    if (file->take != NULL) {
        fputs(", in take ", out);
        tp_safe_print(out, file->take);
    }
    fputc('\n', out);
}

static bool has_trouble(const struct tp_offload_result *result, const struct tp_offload_file *file)
{
    return !file->read_whole || file->verified < result->destination_count;
}

static void print_trouble(const struct tp_offload_result *result, const struct tp_offload_file *file, FILE *out)
{
    fputs("  ", out);
    tp_safe_print(out, file->path);
    fputc('\n', out);
    for (size_t i = 0; i < file->gap_count; i++)
        print_gap(file, &file->gaps[i], out);
    if (file->message != NULL) {
        fputs("    ", out);
        tp_safe_print(out, file->message);
        fputc('\n', out);
    }
    for (size_t t = 0; t < result->destination_count; t++) {
        const struct tp_offload_copy *copy = &file->copies[t];
        if (copy->state <= TP_COPY_KEPT || copy->message == NULL)
            continue;
        if (file->message != NULL && strcmp(copy->message, file->message) == 0)
            continue;
        fputs("    ", out);
        tp_safe_print(out, copy->message);
        fputc('\n', out);
    }
}

static void print_details(const struct tp_offload_result *result, FILE *out)
{
    fputs("Copies of ", out);
    tp_safe_print(out, result->card);
    fprintf(out, " (%zu files)\n", result->file_count);
    for (size_t t = 0; t < result->destination_count; t++)
        print_destination(&result->destinations[t], out);
    bool headed = false;
    for (size_t i = 0; i < result->file_count; i++) {
        if (!has_trouble(result, &result->files[i]))
            continue;
        if (!headed)
            fputs("Not proven everywhere:\n", out);
        headed = true;
        print_trouble(result, &result->files[i], out);
    }
    for (size_t i = 0; i < result->unaccounted_count; i++) {
        fputs(i == 0 ? "Not accounted for:\n  " : "  ", out);
        tp_safe_print(out, result->unaccounted[i]);
        fputc('\n', out);
    }
}

void tp_offload_write_text(const struct tp_offload_result *result, bool quiet, FILE *out)
{
    if (!quiet)
        print_details(result, out);
    if (result->caution != NULL) {
        fputs("Note: ", out);
        tp_safe_print(out, result->caution);
        fputs(".\n", out);
    }
    tp_safe_print(out, result->words);
    fputc('\n', out);
}
