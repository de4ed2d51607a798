/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "handoff/json_out.h"
#include "handoff/safe_text.h"

#include <inttypes.h>
#include <stdlib.h>
#include <takeproof/compare.h>

void tp_comparison_free(struct tp_comparison *comparison)
{
    if (comparison == NULL)
        return;
    for (size_t i = 0; i < comparison->item_count; i++) {
        free(comparison->items[i].path);
        free(comparison->items[i].found);
        free(comparison->items[i].message);
        free(comparison->items[i].listed_hash);
    }
    free(comparison->items);
    free(comparison->expected);
    free(comparison->folder);
    free(comparison->kind);
    free(comparison->words);
    free(comparison->hint);
    free(comparison->next);
    free(comparison);
}

const char *tp_compare_state_name(enum tp_compare_state state)
{
    switch (state) {
    case TP_COMPARE_MISSING: return "missing";
    case TP_COMPARE_CHANGED: return "changed";
    case TP_COMPARE_UNREADABLE: return "unreadable";
    case TP_COMPARE_RENAMED: return "renamed";
    case TP_COMPARE_EXTRA: return "extra";
    case TP_COMPARE_UNPROVEN: return "unproven";
    case TP_COMPARE_SAME: return "same";
    }
    return "";
}

enum tp_code tp_compare_state_code(enum tp_compare_state state)
{
    switch (state) {
    case TP_COMPARE_MISSING: return TP_CODE_COPY_MISSING;
    case TP_COMPARE_CHANGED: return TP_CODE_COPY_CHANGED;
    case TP_COMPARE_UNREADABLE: return TP_CODE_UNREADABLE;
    case TP_COMPARE_RENAMED:
    case TP_COMPARE_EXTRA: return TP_CODE_COPY_EXTRA;
    case TP_COMPARE_UNPROVEN:
    case TP_COMPARE_SAME: break;
    }
    return TP_CODE_COUNT;
}

void tp_comparison_write_text(const struct tp_comparison *comparison, bool quiet, FILE *out)
{
    if (!quiet) {
        tp_safe_print(out, comparison->folder);
        fputs(" against the ", out);
        tp_safe_print(out, comparison->kind);
        fputs(" in ", out);
        tp_safe_print(out, comparison->expected);
        fputs("\n", out);
    }
    for (size_t i = 0; !quiet && i < comparison->item_count; i++) {
        const struct tp_compare_item *item = &comparison->items[i];
        if (item->state == TP_COMPARE_SAME)
            continue;
        fprintf(out, "  %-10s  ", tp_compare_state_name(item->state));
        tp_safe_print(out, item->path);
        fputs(": ", out);
        tp_safe_print(out, item->message);
        fputc('\n', out);
        if (item->listed_hash != NULL)
            fprintf(out, "              the right copy has %s %s\n", item->listed_hash_kind, item->listed_hash);
    }
    if (comparison->hint != NULL) {
        tp_safe_print(out, comparison->hint);
        fputc('\n', out);
    }
    if (!quiet && comparison->next != NULL) {
        tp_safe_print(out, comparison->next);
        fputc('\n', out);
    }
    tp_safe_print(out, comparison->words);
    fputc('\n', out);
}

static json_t *item_json(const struct tp_compare_item *item)
{
    json_t *object = json_object();
    enum tp_code code = tp_compare_state_code(item->state);
    int failed = tp_json_out_path(object, "path", item->path);
    failed |= json_object_set_new(object, "state", json_string(tp_compare_state_name(item->state)));
    failed |= json_object_set_new(object, "code",
                                  code < TP_CODE_COUNT ? json_string(tp_finding_info(code)->name) : json_null());
    failed |= json_object_set_new(object, "bytes", json_integer((json_int_t)item->bytes));
    if (item->found != NULL)
        failed |= tp_json_out_path(object, "found", item->found);
    failed |= json_object_set_new(object, "message", tp_json_out_text(item->message));
    if (item->listed_hash != NULL)
        failed |=
            json_object_set_new(object, "listed_hashes", json_pack("{s:s}", item->listed_hash_kind, item->listed_hash));
    return tp_json_out_whole(object, failed);
}

enum tp_status tp_comparison_write_json(const struct tp_comparison *comparison, FILE *out, struct tp_error *error)
{
    json_t *items = json_array(), *counts = json_object();
    int failed = 0;
    for (size_t i = 0; i < comparison->item_count; i++)
        failed |= json_array_append_new(items, item_json(&comparison->items[i]));
    for (int s = 0; s <= TP_COMPARE_SAME; s++)
        failed |= json_object_set_new(counts, tp_compare_state_name((enum tp_compare_state)s),
                                      json_integer((json_int_t)comparison->counts[s]));
    json_t *root = json_pack("{s:i, s:o, s:o, s:o, s:b, s:b, s:o, s:o, s:o, s:o, s:o}", "format", 1, "expected",
                             tp_json_out_text(comparison->expected), "kind", tp_json_out_text(comparison->kind),
                             "folder", tp_json_out_text(comparison->folder), "all_there", (int)comparison->all_there,
                             "equal", (int)comparison->equal, "words", tp_json_out_text(comparison->words), "hint",
                             tp_json_out_text(comparison->hint), "next", tp_json_out_text(comparison->next), "counts",
                             counts, "files", items);
    return tp_json_out_write(tp_json_out_whole(root, failed), out, error);
}

static enum tp_status write_json(const void *user, FILE *out, struct tp_error *error)
{
    return tp_comparison_write_json(user, out, error);
}

static enum tp_status write_text(const void *user, FILE *out, struct tp_error *error)
{
    tp_comparison_write_text(user, false, out);
    return tp_written(out, false, "the comparison", error);
}

enum tp_status tp_comparison_write_set(const struct tp_comparison *comparison, const char *directory,
                                       struct tp_error *error)
{
    const char *folder = comparison->folder;
    enum tp_status status = tp_report_folder_check(directory, &folder, 1, error);
    if (status == TP_OK)
        status = tp_folder_make(directory, error);
    if (status == TP_OK)
        status = tp_whole_file_write(directory, "compare.json", write_json, comparison, error);
    return status == TP_OK ? tp_whole_file_write(directory, "compare.txt", write_text, comparison, error) : status;
}
