/* SPDX-License-Identifier: MIT */
#include "handoff/expected.h"

#include "base/io.h"
#include "base/text.h"
#include "handoff/manifest.h"
#include "handoff/mhl.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define MANIFEST_BYTES_MAX ((size_t)256 << 20)

static bool ends_with(const char *text, const char *end)
{
    size_t length = strlen(text), tail = strlen(end);
    return length >= tail && strcmp(text + length - tail, end) == 0;
}

static enum tp_status read_history(struct tp_expected *expected, const char *folder, struct tp_error *error)
{
    uint32_t generations = 0;
    enum tp_status status = tp_mhl_read_history(folder, &expected->listing, &generations, error);
    if (status == TP_OK)
        expected->kind =
            tp_format("ASC MHL history of %" PRIu32 " generation%s", generations, generations == 1 ? "" : "s");
    return status;
}

static enum tp_status read_chain_file(struct tp_expected *expected, const char *path, struct tp_error *error)
{
    char *folder = tp_strdup(path);
    if (folder == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    char *slash = strrchr(folder, '/');
    if (slash != NULL)
        slash[slash == folder] = '\0';
    enum tp_status status = read_history(expected, slash != NULL ? folder : ".", error);
    free(folder);
    return status;
}

static char *path_of(const json_t *file)
{
    const char *hex = json_string_value(json_object_get(file, "path_hex"));
    const char *path = json_string_value(json_object_get(file, "path"));
    return hex != NULL ? tp_from_hex(hex) : path != NULL ? tp_strdup(path) : NULL;
}

static enum tp_status add_offloaded(struct tp_listing *listing, const json_t *file, struct tp_error *error)
{
    const json_t *bytes = json_object_get(file, "bytes"), *hashes = json_object_get(file, "hashes");
    char *path = path_of(file);
    enum tp_status status;
    uint64_t size = json_is_integer(bytes) && json_integer_value(bytes) >= 0 ? (uint64_t)json_integer_value(bytes) : 0;
    if (path == NULL || !json_is_integer(bytes))
        status = tp_error_set(error, TP_ERR_FORMAT, 0, "a file lacks its path or its size");
    else if (json_is_object(hashes)) {
        const char *hex[TP_HASH_COUNT];
        for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
            hex[hash] = json_string_value(json_object_get(hashes, tp_hash_kinds[hash].key));
        status = tp_listing_add(listing, path, hex, &size, error);
    } else
        status = tp_listing_add_unhashed(listing, path, size, error);
    free(path);
    return status;
}

/* The receipt of an offload is told from a report by its "may_be_wiped". */
static enum tp_status read_offload(struct tp_expected *expected, const char *path, const json_t *root,
                                   struct tp_error *error)
{
    const json_t *files = json_object_get(root, "files");
    struct tp_error cause = {0};
    enum tp_status status =
        json_is_array(files) ? TP_OK : tp_error_set(&cause, TP_ERR_FORMAT, 0, "it has no list of files");
    for (size_t i = 0; status == TP_OK && i < json_array_size(files); i++)
        status = add_offloaded(&expected->listing, json_array_get(files, i), &cause);
    if (status == TP_OK)
        status = tp_listing_settle(&expected->listing, &cause);
    if (status != TP_OK)
        tp_error_set(error, status, 0, "cannot read the offload's record '%s': %s", path, tp_error_text(&cause));
    tp_error_clear(&cause);
    return status;
}

static enum tp_status read_json(struct tp_expected *expected, const char *path, const char *bytes, size_t size,
                                struct tp_error *error)
{
    json_error_t where;
    json_t *root = json_loadb(bytes, size, JSON_REJECT_DUPLICATES, &where);
    enum tp_status status = TP_OK;
    expected->is_report = root == NULL || json_object_get(root, "may_be_wiped") == NULL;
    if (!expected->is_report)
        status = read_offload(expected, path, root, error);
    expected->kind = tp_strdup(expected->is_report ? "report" : "record of an offload");
    json_decref(root);
    return status;
}

static enum tp_status read_bytes(struct tp_expected *expected, const char *path, const char *bytes, size_t size,
                                 struct tp_error *error)
{
    const char *start;
    size_t length = tp_trim(bytes, size, &start);
    if (length > 0 && *start == '{')
        return read_json(expected, path, bytes, size, error);
    bool marked = length >= 3 && strncmp(start, "\xef\xbb\xbf", 3) == 0;
    if (ends_with(path, ".mhl") || (length > 0 && start[marked ? 3 : 0] == '<')) {
        expected->kind = tp_strdup("ASC MHL manifest");
        enum tp_status status = tp_mhl_read(&expected->listing, 1, bytes, size, path, error);
        return status == TP_OK ? tp_listing_settle(&expected->listing, error) : status;
    }
    expected->kind = tp_strdup("manifest");
    return tp_manifest_read(&expected->listing, bytes, size, path, error);
}

static enum tp_status read_file(struct tp_expected *expected, const char *path, struct tp_error *error)
{
    char *bytes = NULL;
    size_t size = 0;
    enum tp_status status = tp_file_read_all(path, MANIFEST_BYTES_MAX, &bytes, &size, error);
    if (status == TP_OK)
        status = read_bytes(expected, path, bytes, size, error);
    free(bytes);
    return status;
}

/* Of a folder of reports: of the strongest hash that there is one of; "" when there is none. NULL: no memory. */
static char *find_manifest(const char *folder)
{
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        char *path = tp_format("%s/manifest.%s", folder, tp_hash_kinds[hash].key);
        struct stat status;
        if (path == NULL || stat(path, &status) == 0)
            return path;
        free(path);
    }
    return tp_strdup("");
}

/* A history (the folder itself, or the one in it), else the manifest of a folder of reports. */
static enum tp_status read_folder(struct tp_expected *expected, const char *path, struct tp_error *error)
{
    char *inner = tp_path_join(path, TP_MHL_FOLDER), *chain = tp_path_join(path, TP_MHL_CHAIN);
    char *manifest = find_manifest(path);
    struct stat status;
    enum tp_status read;
    if (inner == NULL || chain == NULL || manifest == NULL)
        read = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    else if (stat(chain, &status) == 0)
        read = read_history(expected, path, error);
    else if (stat(inner, &status) == 0)
        read = read_history(expected, inner, error);
    else if (manifest[0] != '\0')
        read = read_file(expected, manifest, error);
    else
        read = tp_error_set(error, TP_ERR_FORMAT, 0,
                            "'%s' is a folder without an ASC MHL history or a manifest: name the list itself", path);
    free(inner);
    free(chain);
    free(manifest);
    return read;
}

enum tp_status tp_expected_read(struct tp_expected *expected, const char *path, struct tp_error *error)
{
    *expected = (struct tp_expected){0};
    struct stat found;
    enum tp_status status;
    if (stat(path, &found) == 0 && S_ISDIR(found.st_mode))
        status = read_folder(expected, path, error);
    else if (ends_with(path, TP_MHL_CHAIN))
        status = read_chain_file(expected, path, error);
    else
        status = read_file(expected, path, error);
    if (status == TP_OK && expected->kind == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    if (status != TP_OK)
        tp_expected_clear(expected);
    return status;
}

void tp_expected_clear(struct tp_expected *expected)
{
    tp_listing_clear(&expected->listing);
    free(expected->kind);
    *expected = (struct tp_expected){0};
}
