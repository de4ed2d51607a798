/* SPDX-License-Identifier: MIT */
/* Whether reports may go into a folder: not onto the card, and not over the reports of another one. */
#include "base/hashes.h"
#include "base/io.h"
#include "base/text.h"
#include "read/place.h"
#include "read/scan.h"

#include <errno.h>
#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>
#include <unistd.h>

#define JSON_BYTES_MAX ((size_t)256 << 20)

/* What a set of reports is about: its recordings, each as its size and base name, sorted. */
struct about {
    char *source; /* the first one, for the words; NULL when nothing is known */
    char **keys;
    size_t count, capacity;
};

/* What may be found in a folder, and the files that tell the same. */
static const struct {
    const char *name;
    const char *source_key; /* of the JSON: a string, or a list of them */
    const char *files[4];
} sets[] = {
    {"report.json", "sources", {"report.json", "report.html", "report.csv", "findings.csv"}},
    {"offload.json", "card", {"offload.json", "manifest.sha256"}},
    {"compare.json", "folder", {"compare.json", "compare.txt"}},
};
#define SET_COUNT (sizeof sets / sizeof sets[0])
#define REPORT_SET 0
#define COMPARE_SET 2

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to look at the folder of the report");
}

static void about_clear(struct about *about)
{
    for (size_t i = 0; i < about->count; i++)
        free(about->keys[i]);
    free(about->keys);
    free(about->source);
    *about = (struct about){0};
}

static bool about_add(struct about *about, const char *path, uint64_t bytes)
{
    const char *slash = strrchr(path, '/'), *name = slash != NULL ? slash + 1 : path;
    if (!tp_scan_is_wav_name(name))
        return true;
    if (!tp_grow(&about->keys, &about->capacity, about->count, sizeof *about->keys))
        return false;
    about->keys[about->count] = tp_format("%" PRIu64 "/%s", bytes, name);
    return about->keys[about->count] != NULL && ++about->count > 0;
}

static int key_order(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void about_sort(struct about *about)
{
    if (about->count > 0)
        qsort(about->keys, about->count, sizeof *about->keys, key_order);
}

static size_t keys_in_common(const struct about *a, const struct about *b)
{
    size_t common = 0;
    for (size_t i = 0, k = 0; i < a->count && k < b->count;) {
        int order = strcmp(a->keys[i], b->keys[k]);
        common += order == 0;
        i += order <= 0;
        k += order >= 0;
    }
    return common;
}

static bool is_same_source(const char *source, const struct tp_output_options *options)
{
    for (size_t i = 0; source != NULL && i < options->source_count; i++)
        if (strcmp(source, options->sources[i]) == 0 ||
            tp_folders_overlap(source, options->sources[i]) == TP_OVERLAP_INSIDE)
            return true;
    return false;
}

/* A card that went on, or a copy of it, shares most of the shorter list. Cards of one name may share nothing. */
static bool is_about_other(const struct about *there, const struct about *new, const struct tp_output_options *options)
{
    size_t fewer = there->count < new->count ? there->count : new->count;
    if (fewer == 0)
        return !is_same_source(there->source, options);
    return 2 * keys_in_common(there, new) < fewer;
}

static const char *first_text(const json_t *value)
{
    return json_string_value(json_is_array(value) ? json_array_get(value, 0) : value);
}

/* What is no such file of ours is about nothing, which is another source. */
static enum tp_status about_json(struct about *about, const char *path, const char *source_key, struct tp_error *error)
{
    char *bytes = NULL;
    size_t size = 0;
    struct tp_error cause = {0};
    enum tp_status status = tp_file_read_all(path, JSON_BYTES_MAX, &bytes, &size, &cause);
    tp_error_clear(&cause);
    if (status == TP_ERR_MEMORY)
        return no_memory(error);
    json_t *root = status == TP_OK ? json_loadb(bytes, size, 0, NULL) : NULL;
    free(bytes);
    const char *source = first_text(json_object_get(root, source_key));
    const json_t *files = json_object_get(root, "files");
    bool ok = source == NULL || (about->source = tp_strdup(source)) != NULL;
    for (size_t i = 0; ok && i < json_array_size(files); i++) {
        const json_t *file = json_array_get(files, i);
        const char *found = json_string_value(json_object_get(file, "found")); /* of a comparison: under another name */
        const char *name = found != NULL ? found : json_string_value(json_object_get(file, "path"));
        json_int_t length = json_integer_value(json_object_get(file, "bytes"));
        ok = name == NULL || about_add(about, name, length > 0 ? (uint64_t)length : 0);
    }
    json_decref(root);
    about_sort(about);
    return ok ? TP_OK : no_memory(error);
}

static enum tp_status about_report(struct about *about, const struct tp_report *report, struct tp_error *error)
{
    for (size_t i = 0; i < report->file_count; i++)
        if (!about_add(about, report->files[i].path, report->files[i].bytes))
            return no_memory(error);
    return TP_OK;
}

static enum tp_status about_sources(struct about *about, const struct tp_output_options *options,
                                    struct tp_error *error)
{
    struct tp_scan scan = {0};
    enum tp_status status = tp_scan_sources(options->sources, options->source_count, &scan, error);
    for (size_t i = 0; status == TP_OK && i < scan.count; i++) {
        /* Names in JSON are repaired to UTF-8. */
        char *name = tp_utf8_repair(scan.entries[i].path, strlen(scan.entries[i].path));
        if (name == NULL || (scan.entries[i].why == NULL && !about_add(about, name, scan.entries[i].bytes)))
            status = no_memory(error);
        free(name);
    }
    tp_scan_clear(&scan);
    return status;
}

static enum tp_status about_new(struct about *about, const struct tp_output_options *options, struct tp_error *error)
{
    enum tp_status status =
        options->report != NULL ? about_report(about, options->report, error) : about_sources(about, options, error);
    about_sort(about);
    return status;
}

static enum tp_status refuse(const char *path, const struct about *there, struct tp_error *error)
{
    if (there->source == NULL)
        return tp_error_set(error, TP_ERR_EXISTS, 0,
                            "'%s' is there already and is no file of takeproof's: choose another folder, or say "
                            "--replace to replace it",
                            path);
    return tp_error_set(error, TP_ERR_EXISTS, 0,
                        "'%s' is there already and tells of other recordings, those of '%s': give each card a folder "
                        "of its own, or say --replace to replace what is there",
                        path, there->source);
}

/* TP_ERR_EXISTS when the set in the folder is about another source. */
static enum tp_status check_set(const struct tp_output_options *options, size_t set, const struct about *new,
                                struct tp_error *error)
{
    char *path = tp_path_join(options->directory, sets[set].name);
    struct about there = {0};
    if (path == NULL)
        return no_memory(error);
    enum tp_status status = TP_OK;
    if (access(path, F_OK) == 0) {
        status = about_json(&there, path, sets[set].source_key, error);
        if (status == TP_OK && is_about_other(&there, new, options))
            status = refuse(path, &there, error);
    }
    about_clear(&there);
    free(path);
    return status;
}

static bool is_looked_at(const struct tp_output_options *options, size_t set)
{
    switch (options->kind) {
    case TP_OUTPUT_REPORTS: return true;
    case TP_OUTPUT_COMPARISON: return set == COMPARE_SET;
    case TP_OUTPUT_TRACKS: break;
    }
    return false;
}

static bool holds_any(const struct tp_output_options *options)
{
    for (size_t set = 0; set < SET_COUNT; set++) {
        char *path = is_looked_at(options, set) ? tp_path_join(options->directory, sets[set].name) : NULL;
        bool there = path != NULL && access(path, F_OK) == 0;
        free(path);
        if (there)
            return true;
    }
    return false;
}

/* *gone: it was there. `name` NULL: memory was short. */
static enum tp_status remove_file(const char *directory, const char *name, bool *gone, struct tp_error *error)
{
    char *path = name != NULL ? tp_path_join(directory, name) : NULL;
    if (path == NULL)
        return no_memory(error);
    *gone = unlink(path) == 0;
    int failed = *gone || errno == ENOENT ? 0 : errno;
    if (failed != 0)
        tp_error_set(error, TP_ERR_WRITE, failed, "cannot remove '%s', which is about another source: %s", path,
                     strerror(failed));
    free(path);
    return failed != 0 ? TP_ERR_WRITE : TP_OK;
}

/* manifest.sha256, or manifest-1.sha256 … of a report about several sources, each of any hash. */
static enum tp_status remove_manifests(const char *directory, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    bool any = true;
    for (size_t i = 0; status == TP_OK && any; i++) {
        any = i == 0;
        for (enum tp_hash hash = 0; hash < TP_HASH_COUNT && status == TP_OK; hash++) {
            const char *key = tp_hash_kinds[hash].key;
            char *name = i == 0 ? tp_format("manifest.%s", key) : tp_format("manifest-%zu.%s", i, key);
            bool gone;
            status = remove_file(directory, name, &gone, error);
            any = any || (status == TP_OK && gone);
            free(name);
        }
    }
    return status;
}

static enum tp_status remove_set(const char *directory, size_t set, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    bool gone;
    for (size_t i = 0; i < sizeof sets[set].files / sizeof sets[set].files[0] && status == TP_OK; i++)
        if (sets[set].files[i] != NULL)
            status = remove_file(directory, sets[set].files[i], &gone, error);
    if (status == TP_OK && set == REPORT_SET)
        status = remove_manifests(directory, error);
    return status;
}

static enum tp_status look(const struct tp_output_options *options, bool remove, struct tp_error *error)
{
    struct about new = {0};
    enum tp_status status = holds_any(options) ? about_new(&new, options, error) : TP_OK;
    for (size_t set = 0; set < SET_COUNT && status == TP_OK; set++) {
        if (!is_looked_at(options, set))
            continue;
        status = check_set(options, set, &new, error);
        if (status == TP_ERR_EXISTS && remove) {
            tp_error_clear(error);
            status = remove_set(options->directory, set, error);
        }
    }
    about_clear(&new);
    return status;
}

enum tp_status tp_output_check(const struct tp_output_options *options, struct tp_error *error)
{
    enum tp_status status = tp_report_folder_check(options->directory, options->sources, options->source_count, error);
    for (size_t i = 0; i < options->source_count && status == TP_OK; i++)
        status = tp_place_check(options->sources[i], options->directory, options->not_on_card, error);
    return status == TP_OK && !options->replace ? look(options, false, error) : status;
}

enum tp_status tp_output_clear(const struct tp_output_options *options, struct tp_error *error)
{
    return options->replace ? look(options, true, error) : TP_OK;
}
