/* SPDX-License-Identifier: MIT */
#include "handoff/listing.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

void tp_listing_clear(struct tp_listing *listing)
{
    for (size_t i = 0; i < listing->count; i++)
        free(listing->items[i].path);
    free(listing->items);
    *listing = (struct tp_listing){0};
}

char *tp_relative_path_clean(const char *path, bool *outside)
{
    *outside = path[0] == '/';
    struct tp_text clean = {0};
    for (const char *at = path; *at != '\0' && !*outside;) {
        size_t length = strcspn(at, "/");
        bool dots = length == 2 && at[0] == '.' && at[1] == '.';
        if (dots)
            *outside = true;
        else if (length > 0 && !(length == 1 && at[0] == '.')) {
            if (clean.length > 0)
                tp_text_add(&clean, "/");
            tp_text_append(&clean, at, length);
        }
        at += length + (at[length] == '/');
    }
    if (clean.length == 0)
        *outside = true;
    if (*outside) {
        tp_text_clear(&clean);
        return NULL;
    }
    return tp_text_take(&clean);
}

static bool hex_copy(char to[TP_HASH_SIZE], const char *from, size_t length)
{
    if (from == NULL || *from == '\0') {
        *to = '\0';
        return true;
    }
    if (strlen(from) != length || strspn(from, "0123456789abcdefABCDEF") != length)
        return false;
    for (size_t i = 0; i <= length; i++)
        to[i] = (char)(from[i] >= 'A' && from[i] <= 'F' ? from[i] + ('a' - 'A') : from[i]);
    return true;
}

static enum tp_status add_listed(struct tp_listing *listing, const char *path, struct tp_listed *listed,
                                 struct tp_error *error)
{
    bool outside;
    listed->path = tp_relative_path_clean(path, &outside);
    if (listed->path == NULL && outside)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the path '%s' leads outside the folder", path);
    if (listed->path == NULL || !tp_grow(&listing->items, &listing->capacity, listing->count, sizeof *listing->items)) {
        free(listed->path);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    }
    listing->items[listing->count++] = *listed;
    return TP_OK;
}

enum tp_status tp_listing_add(struct tp_listing *listing, const char *path, const char *const hashes[TP_HASH_COUNT],
                              const uint64_t *bytes, struct tp_error *error)
{
    struct tp_listed listed = {.bytes = bytes != NULL ? *bytes : 0, .bytes_known = bytes != NULL};
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        if (!hex_copy(listed.hashes.hex[hash], hashes[hash], tp_hash_kinds[hash].digits))
            return tp_error_set(error, TP_ERR_FORMAT, 0, "the hash of '%s' is not a hash", path);
    if (tp_hash_strongest(&listed.hashes)[0] == '\0')
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' has no SHA-256, XXH64 or XXH3", path);
    return add_listed(listing, path, &listed, error);
}

enum tp_status tp_listing_add_unhashed(struct tp_listing *listing, const char *path, uint64_t bytes,
                                       struct tp_error *error)
{
    struct tp_listed listed = {.bytes = bytes, .bytes_known = true};
    return add_listed(listing, path, &listed, error);
}

static int by_path_then_generation(const void *a, const void *b)
{
    const struct tp_listed *left = a, *right = b;
    int order = strcmp(left->path, right->path);
    if (order != 0)
        return order;
    return (left->generation > right->generation) - (left->generation < right->generation);
}

/* False when the two contradict each other. */
static bool merge_hashes(const struct tp_hash_values *earlier, struct tp_hash_values *later)
{
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        const char *from = earlier->hex[hash];
        char *to = later->hex[hash];
        if (*to == '\0')
            memcpy(to, from, TP_HASH_SIZE);
        else if (*from != '\0' && strcmp(from, to) != 0)
            return false;
    }
    return true;
}

/* `later` wins where it says more; false when the two contradict each other. */
static bool merge(struct tp_listed *earlier, struct tp_listed *later)
{
    if (earlier->generation == later->generation) {
        if (!merge_hashes(&earlier->hashes, &later->hashes) ||
            (earlier->bytes_known && later->bytes_known && earlier->bytes != later->bytes))
            return false;
        if (!later->bytes_known) {
            later->bytes = earlier->bytes;
            later->bytes_known = earlier->bytes_known;
        }
    }
    free(earlier->path);
    *earlier = *later;
    return true;
}

enum tp_status tp_listing_settle(struct tp_listing *listing, struct tp_error *error)
{
    if (listing->count == 0)
        return TP_OK;
    qsort(listing->items, listing->count, sizeof *listing->items, by_path_then_generation);
    enum tp_status status = TP_OK;
    size_t kept = 1;
    for (size_t i = 1; i < listing->count; i++) {
        struct tp_listed *last = &listing->items[kept - 1], *item = &listing->items[i];
        if (strcmp(last->path, item->path) != 0) {
            listing->items[kept++] = *item;
        } else if (status != TP_OK || !merge(last, item)) {
            if (status == TP_OK)
                status =
                    tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is listed twice with different hashes", last->path);
            free(item->path);
        }
    }
    listing->count = kept;
    return status;
}

static int path_order(const void *key, const void *item)
{
    return strcmp(key, ((const struct tp_listed *)item)->path);
}

const struct tp_listed *tp_listing_find(const struct tp_listing *listing, const char *path)
{
    return listing->count == 0 ? NULL
                               : bsearch(path, listing->items, listing->count, sizeof *listing->items, path_order);
}

char *tp_from_hex(const char *hex)
{
    size_t length = strlen(hex);
    if (length == 0 || length % 2 != 0 || strspn(hex, "0123456789abcdef") != length)
        return NULL;
    char *raw = malloc(length / 2 + 1);
    for (size_t i = 0; raw != NULL && i < length; i += 2) {
        unsigned high = (unsigned)(hex[i] <= '9' ? hex[i] - '0' : hex[i] - 'a' + 10);
        unsigned low = (unsigned)(hex[i + 1] <= '9' ? hex[i + 1] - '0' : hex[i + 1] - 'a' + 10);
        raw[i / 2] = (char)(high << 4 | low);
    }
    if (raw != NULL)
        raw[length / 2] = '\0';
    return raw;
}
