/* SPDX-License-Identifier: MIT */
/* The set's notes: what is accepted is text in line order, and written as RFC 4180 it reads the same. */
#include "harness.h"

#include "base/text.h"
#include "read/log.h"

#include <stdbool.h>
#include <string.h>

static void add_cell(struct tp_text *text, const char *cell, char end)
{
    tp_text_add(text, "\"");
    for (const char *at = cell; *at != '\0'; at++)
        tp_text_append(text, *at == '"' ? "\"\"" : at, *at == '"' ? 2 : 1);
    tp_text_add(text, "\"");
    tp_text_append(text, &end, 1);
}

static void must_be_text(const char *text)
{
    FUZZ_MUST(text != NULL && tp_utf8_is_valid(text, strlen(text)));
    const char *start;
    FUZZ_MUST(tp_trim(text, strlen(text), &start) == strlen(text));
}

static void must_be_same(const struct tp_log_entry *one, const struct tp_log_entry *other)
{
    FUZZ_MUST(strcmp(one->scene, other->scene) == 0 && strcmp(one->take, other->take) == 0);
    FUZZ_MUST(strcmp(one->file, other->file) == 0 && strcmp(one->notes, other->notes) == 0);
    FUZZ_MUST(strcmp(one->start, other->start) == 0 && one->good == other->good);
}

/* A row may hold text in unknown columns alone. */
static bool is_blank(const struct tp_log_entry *entry)
{
    return entry->scene[0] == '\0' && entry->take[0] == '\0' && entry->file[0] == '\0' && entry->notes[0] == '\0' &&
           entry->start[0] == '\0' && entry->good < 0;
}

static void must_read_again(const struct tp_log *log)
{
    struct tp_text text = {0};
    tp_text_add(&text, "scene,take,file,notes,start,good\n");
    for (size_t i = 0; i < log->count; i++) {
        const struct tp_log_entry *entry = &log->entries[i];
        if (is_blank(entry))
            continue;
        add_cell(&text, entry->scene, ',');
        add_cell(&text, entry->take, ',');
        add_cell(&text, entry->file, ',');
        add_cell(&text, entry->notes, ',');
        add_cell(&text, entry->start, ',');
        add_cell(&text, entry->good < 0 ? "" : entry->good > 0 ? "yes" : "no", '\n');
    }
    struct tp_log again;
    FUZZ_MUST(!text.failed && tp_log_read_bytes(text.bytes, text.length, "again", &again, NULL) == TP_OK);
    size_t at = 0;
    for (size_t i = 0; i < log->count; i++)
        if (!is_blank(&log->entries[i]))
            must_be_same(&log->entries[i], at < again.count ? &again.entries[at++] : &log->entries[0]);
    FUZZ_MUST(at == again.count);
    tp_log_clear(&again);
    tp_text_clear(&text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_log log = {0};
    struct tp_error error = {0};
    if (tp_log_read_bytes((const char *)data, size, "fuzz.csv", &log, &error) != TP_OK) {
        FUZZ_MUST(error.message != NULL && strstr(error.message, "fuzz.csv") != NULL);
        tp_error_clear(&error);
        return 0;
    }
    FUZZ_MUST(log.count <= TP_LOG_ROWS_MAX);
    for (size_t i = 0; i < log.count; i++) {
        const struct tp_log_entry *entry = &log.entries[i];
        must_be_text(entry->scene);
        must_be_text(entry->take);
        must_be_text(entry->file);
        must_be_text(entry->notes);
        must_be_text(entry->start);
        FUZZ_MUST(entry->good >= -1 && entry->good <= 1 && entry->line > (i > 0 ? log.entries[i - 1].line : 1));
    }
    must_read_again(&log);
    tp_log_clear(&log);
    return 0;
}
