/* SPDX-License-Identifier: MIT */
#include "handoff/verify.h"

#include "base/io.h"
#include "base/text.h"
#include "handoff/copier.h"
#include "handoff/hash.h"
#include "handoff/mhl.h"
#include "handoff/moved.h"
#include "handoff/tree.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

struct missing {
    const char *key; /* its strongest hash */
    const struct tp_listed *listed;
    size_t item;
    size_t taken; /* of the first of a row of equal keys: how many are found again */
};

struct verify {
    const struct tp_listing *listing;
    const struct tp_compare_options *options;
    struct tp_comparison *comparison;
    struct tp_tree tree;
    bool *met; /* of each entry of the tree: told already as a listed file that is elsewhere */
    struct tp_moved_lead lead;
    size_t item_capacity;
    struct tp_progress progress;
    struct missing *missing; /* by key, once everything listed is compared */
    size_t missing_count;
    uint64_t *missing_bytes; /* sorted sizes of the missing */
    size_t missing_bytes_count;
    bool any_size;   /* one of the missing has no known size */
    unsigned hashes; /* that the missing have, by TP_HASH_BIT() */
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

/* Takes `message`. NULL when memory is short. */
static struct tp_compare_item *add(struct verify *verify, enum tp_compare_state state, const char *path, uint64_t bytes,
                                   char *message)
{
    struct tp_comparison *comparison = verify->comparison;
    if ((message == NULL && state != TP_COMPARE_SAME) ||
        !tp_grow(&comparison->items, &verify->item_capacity, comparison->item_count, sizeof *comparison->items)) {
        free(message);
        return NULL;
    }
    struct tp_compare_item *item = &comparison->items[comparison->item_count++];
    *item = (struct tp_compare_item){.state = state, .path = tp_strdup(path), .bytes = bytes, .message = message};
    return item->path != NULL ? item : NULL;
}

/* ---- hashing ---- */

static void count_bytes(void *user, const uint8_t *bytes, size_t size)
{
    (void)bytes;
    struct verify *verify = user;
    verify->progress.bytes_done += size;
    if (verify->options->progress != NULL)
        verify->options->progress(verify->options->progress_user, &verify->progress);
}

static bool cancelled(const struct verify *verify)
{
    return verify->options->cancel != NULL && *verify->options->cancel != 0;
}

static enum tp_status hash_stream(struct verify *verify, const char *path, struct tp_hasher *hasher, uint64_t *bytes,
                                  struct tp_error *error)
{
    const struct tp_tap taps[] = {tp_hasher_tap(hasher), {.bytes = count_bytes, .user = verify}};
    struct tp_stream *stream;
    enum tp_status status = tp_stream_open(&stream, path, taps, 2, error);
    if (status != TP_OK)
        return status;
    *bytes = tp_stream_bytes(stream);
    while (status == TP_OK && tp_stream_remaining(stream) > 0) {
        if (cancelled(verify))
            status = tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped on request: nothing is proven");
        else
            status = tp_stream_skip(stream, (uint64_t)64 << 20, error);
    }
    tp_stream_close(stream);
    return status;
}

static unsigned hashes_of(const struct tp_listed *listed)
{
    unsigned known = 0;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        if (listed->hashes.hex[hash][0] != '\0')
            known |= TP_HASH_BIT(hash);
    return known;
}

static enum tp_status hash_file(struct verify *verify, const char *relative, unsigned wanted, struct tp_listed *found,
                                struct tp_error *error)
{
    *found = (struct tp_listed){0};
    char *path = tp_path_join(verify->options->folder, relative);
    struct tp_hasher *hasher = NULL;
    enum tp_status status = path != NULL ? tp_hasher_new(&hasher, wanted, error) : no_memory(error);
    if (status == TP_OK) {
        verify->progress.path = relative;
        status = hash_stream(verify, path, hasher, &found->bytes, error);
    }
    if (status == TP_OK)
        status = tp_hasher_finish(hasher, &found->hashes, error);
    verify->progress.files_done++;
    tp_hasher_free(hasher);
    free(path);
    return status;
}

static bool same_content(const struct tp_listed *listed, const struct tp_listed *found)
{
    if (listed->bytes_known && listed->bytes != found->bytes)
        return false;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        const char *hex = listed->hashes.hex[hash];
        if (*hex != '\0' && strcmp(hex, found->hashes.hex[hash]) != 0)
            return false;
    }
    return hashes_of(listed) != 0;
}

/* Errors of one file are its finding; what stops the whole is returned. */
static bool stops_all(enum tp_status status)
{
    return status == TP_ERR_MEMORY || status == TP_ERR_CANCELLED || status == TP_ERR_UNSUPPORTED;
}

/* ---- what is listed ---- */

/* Where it is when it is not where the list says. Takes nothing. NULL stays NULL. */
static struct tp_compare_item *place(struct tp_compare_item *item, const struct tp_tree_entry *entry)
{
    if (item == NULL || strcmp(entry->path, item->path) == 0)
        return item;
    char *found = tp_strdup(entry->path);
    char *message = item->state == TP_COMPARE_RENAMED
                        ? tp_format("its content is in '%s'", entry->path)
                        : tp_format("in '%s' %s", entry->path, item->message != NULL ? item->message : "");
    if (found == NULL || message == NULL) {
        free(found);
        free(message);
        return NULL;
    }
    free(item->message);
    item->found = found;
    item->message = message;
    return item;
}

static struct tp_compare_item *judge_listed(struct verify *verify, const struct tp_listed *listed,
                                            const struct tp_tree_entry *entry, const struct tp_listed *found)
{
    const char *path = listed->path;
    if (same_content(listed, found))
        return strcmp(entry->path, path) == 0
                   ? add(verify, TP_COMPARE_SAME, path, found->bytes, NULL)
                   : add(verify, TP_COMPARE_RENAMED, path, found->bytes, tp_strdup("its content is elsewhere"));
    if (listed->bytes_known && listed->bytes != found->bytes)
        return add(verify, TP_COMPARE_CHANGED, path, found->bytes,
                   tp_format("it has %llu bytes instead of %llu", (unsigned long long)found->bytes,
                             (unsigned long long)listed->bytes));
    return add(verify, TP_COMPARE_CHANGED, path, found->bytes, tp_strdup("its content is not what was listed"));
}

static void note_missing(struct verify *verify, const struct tp_listed *listed)
{
    const char *key = tp_hash_strongest(&listed->hashes);
    if (key[0] == '\0')
        return;
    verify->hashes |= hashes_of(listed);
    verify->missing[verify->missing_count++] =
        (struct missing){.key = key, .listed = listed, .item = verify->comparison->item_count};
    if (listed->bytes_known)
        verify->missing_bytes[verify->missing_bytes_count++] = listed->bytes;
    else
        verify->any_size = true;
}

/* What tells the right copy from the wrong one. False when memory is short. */
static bool keep_hash(struct tp_compare_item *item, const struct tp_listed *listed)
{
    if (item->state != TP_COMPARE_MISSING && item->state != TP_COMPARE_CHANGED && item->state != TP_COMPARE_UNREADABLE)
        return true;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT && item->listed_hash == NULL; hash++) {
        if (listed->hashes.hex[hash][0] == '\0')
            continue;
        item->listed_hash_kind = tp_hash_kinds[hash].key;
        item->listed_hash = tp_strdup(listed->hashes.hex[hash]);
        if (item->listed_hash == NULL)
            return false;
    }
    return true;
}

static enum tp_status compare_listed(struct verify *verify, const struct tp_listed *listed, struct tp_error *error)
{
    const struct tp_tree_entry *entry = tp_tree_find(&verify->tree, listed->path);
    struct tp_compare_item *item;
    if (entry == NULL && (entry = tp_moved_entry(&verify->lead, &verify->tree, listed->path)) != NULL)
        verify->met[entry - verify->tree.entries] = true;
    if (entry == NULL || entry->kind == TP_TREE_FOLDER) {
        note_missing(verify, listed);
        item = add(verify, TP_COMPARE_MISSING, listed->path, 0,
                   tp_strdup(entry == NULL ? "it is not there" : "a folder is there instead"));
    } else if (entry->kind != TP_TREE_FILE) {
        item = add(verify, TP_COMPARE_UNREADABLE, listed->path, 0, tp_format("it is %s", entry->why));
    } else if (hashes_of(listed) == 0) {
        bool sized = entry->bytes == listed->bytes;
        item = add(verify, sized ? TP_COMPARE_UNPROVEN : TP_COMPARE_CHANGED, listed->path, entry->bytes,
                   sized ? tp_strdup("its size is right; the list has no hash of it")
                         : tp_format("it has %llu bytes instead of %llu", (unsigned long long)entry->bytes,
                                     (unsigned long long)listed->bytes));
    } else {
        struct tp_listed found;
        struct tp_error cause = {0};
        enum tp_status status = hash_file(verify, entry->path, hashes_of(listed), &found, &cause);
        if (stops_all(status)) {
            tp_error_set(error, status, cause.os_errno, "%s", tp_error_text(&cause));
            tp_error_clear(&cause);
            return status;
        }
        item = status == TP_OK
                   ? judge_listed(verify, listed, entry, &found)
                   : add(verify, TP_COMPARE_UNREADABLE, listed->path, entry->bytes, tp_strdup(tp_error_text(&cause)));
        tp_error_clear(&cause);
    }
    if (entry != NULL)
        item = place(item, entry);
    return item != NULL && keep_hash(item, listed) ? TP_OK : no_memory(error);
}

/* ---- what is not listed ---- */

static bool starts_with(const char *path, const char *start)
{
    return strncmp(path, start, strlen(start)) == 0;
}

/* The list, and what our own commands write beside it. */
static bool belongs_to_list(const struct verify *verify, const char *relative)
{
    static const char *const ours[] = {"report.html",     "report.csv",     "findings.csv",  "report.json",
                                       "manifest.sha256", "manifest.xxh64", "manifest.xxh3", "offload.json",
                                       "compare.json",    "compare.txt"};
    char *path = tp_path_join(verify->options->folder, relative);
    char *real = path != NULL ? realpath(path, NULL) : NULL, *list = realpath(verify->options->expected, NULL);
    bool belongs = false;
    if (real != NULL && list != NULL) {
        char *name = strrchr(real, '/'), *list_name = strrchr(list, '/');
        belongs = strcmp(real, list) == 0;
        bool beside = name - real == list_name - list && strncmp(real, list, (size_t)(name - real)) == 0;
        for (size_t i = 0; beside && i < sizeof ours / sizeof *ours; i++)
            belongs = belongs || strcmp(name + 1, ours[i]) == 0;
    }
    free(path);
    free(real);
    free(list);
    return belongs;
}

static bool is_passed_over(const struct verify *verify, const struct tp_tree_entry *entry)
{
    return entry->kind == TP_TREE_FOLDER || verify->met[entry - verify->tree.entries] ||
           tp_listing_find(verify->listing, entry->path) != NULL || starts_with(entry->path, TP_MHL_FOLDER "/") ||
           starts_with(entry->path, TP_COPY_FOLDER "/") ||
           (entry->kind == TP_TREE_FILE && belongs_to_list(verify, entry->path));
}

static int by_key(const void *a, const void *b)
{
    const struct missing *left = a, *right = b;
    int order = strcmp(left->key, right->key);
    return order != 0 ? order : (left->item > right->item) - (left->item < right->item);
}

static int by_bytes(const void *a, const void *b)
{
    const uint64_t *left = a, *right = b;
    return (*left > *right) - (*left < *right);
}

static void sort_missing(struct verify *verify)
{
    if (verify->missing_count > 0)
        qsort(verify->missing, verify->missing_count, sizeof *verify->missing, by_key);
    if (verify->missing_bytes_count > 0)
        qsort(verify->missing_bytes, verify->missing_bytes_count, sizeof *verify->missing_bytes, by_bytes);
}

/* Only a file that could be one of the missing is read. */
static bool might_be_missing(const struct verify *verify, const struct tp_tree_entry *entry)
{
    return verify->any_size || (verify->missing_bytes_count > 0 &&
                                bsearch(&entry->bytes, verify->missing_bytes, verify->missing_bytes_count,
                                        sizeof *verify->missing_bytes, by_bytes) != NULL);
}

/* The first of the row of missing files with that key, or NULL. */
static struct missing *row_of(const struct verify *verify, const char *key)
{
    size_t low = 0, high = verify->missing_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(verify->missing[middle].key, key) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low < verify->missing_count && strcmp(verify->missing[low].key, key) == 0 ? &verify->missing[low] : NULL;
}

/* The next missing file of that content that is not found again yet. */
static struct tp_compare_item *take_missing(struct verify *verify, const char *key, const struct tp_listed *found)
{
    struct missing *first = row_of(verify, key);
    if (first == NULL)
        return NULL;
    struct missing *next = first + first->taken, *end = verify->missing + verify->missing_count;
    if (next >= end || strcmp(next->key, key) != 0 || !same_content(next->listed, found))
        return NULL;
    first->taken++;
    return &verify->comparison->items[next->item];
}

/* True when the file is a missing one under another name; *status tells when the words could not be kept. */
static bool settle_missing(struct verify *verify, const struct tp_tree_entry *entry, const struct tp_listed *found,
                           enum tp_status *status)
{
    struct tp_compare_item *item = NULL;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT && item == NULL; hash++)
        item = take_missing(verify, found->hashes.hex[hash], found);
    if (item == NULL)
        return false;
    free(item->message);
    free(item->listed_hash);
    item->listed_hash = NULL;
    item->listed_hash_kind = NULL;
    item->state = TP_COMPARE_RENAMED;
    item->bytes = found->bytes;
    item->found = tp_strdup(entry->path);
    item->message = tp_format("its content is in '%s'", entry->path);
    if (item->found == NULL || item->message == NULL)
        *status = TP_ERR_MEMORY;
    return true;
}

static enum tp_status compare_unlisted(struct verify *verify, const struct tp_tree_entry *entry, struct tp_error *error)
{
    if (is_passed_over(verify, entry))
        return TP_OK;
    if (entry->kind == TP_TREE_UNREADABLE || entry->kind == TP_TREE_SPECIAL) {
        bool folder = entry->kind == TP_TREE_UNREADABLE;
        return add(verify, folder ? TP_COMPARE_UNREADABLE : TP_COMPARE_EXTRA, entry->path, 0,
                   tp_format("it is %s", entry->why)) != NULL
                   ? TP_OK
                   : no_memory(error);
    }
    if (might_be_missing(verify, entry)) {
        struct tp_listed found;
        struct tp_error cause = {0};
        enum tp_status status = hash_file(verify, entry->path, verify->hashes, &found, &cause);
        if (stops_all(status))
            tp_error_set(error, status, cause.os_errno, "%s", tp_error_text(&cause));
        tp_error_clear(&cause);
        if (stops_all(status))
            return status;
        if (status == TP_OK && settle_missing(verify, entry, &found, &status))
            return status == TP_OK ? TP_OK : no_memory(error);
    }
    return add(verify, TP_COMPARE_EXTRA, entry->path, entry->bytes, tp_strdup("it is not in the list")) != NULL
               ? TP_OK
               : no_memory(error);
}

/* ---- the whole ---- */

static int by_state_and_path(const void *a, const void *b)
{
    const struct tp_compare_item *left = a, *right = b;
    if (left->state != right->state)
        return left->state < right->state ? -1 : 1;
    return strcmp(left->path, right->path);
}

static char *conclude(struct tp_comparison *comparison)
{
    for (size_t i = 0; i < comparison->item_count; i++)
        comparison->counts[comparison->items[i].state]++;
    const size_t *counts = comparison->counts;
    comparison->all_there =
        counts[TP_COMPARE_MISSING] + counts[TP_COMPARE_CHANGED] + counts[TP_COMPARE_UNREADABLE] == 0;
    comparison->equal = comparison->all_there && counts[TP_COMPARE_RENAMED] + counts[TP_COMPARE_EXTRA] == 0 &&
                        counts[TP_COMPARE_UNPROVEN] == 0;
    size_t listed = comparison->item_count - counts[TP_COMPARE_EXTRA];
    if (comparison->equal)
        return tp_format("This is what left the set: all %zu listed files are here, byte for byte.", listed);
    if (comparison->all_there)
        return tp_format(
            "Of %zu listed files %zu are here byte for byte under their names, %zu under other names, and %zu "
            "only by size, for the list has no hash of them; %zu files are extra.",
            listed, counts[TP_COMPARE_SAME], counts[TP_COMPARE_RENAMED], counts[TP_COMPARE_UNPROVEN],
            counts[TP_COMPARE_EXTRA]);
    return tp_format("This is NOT what left the set: of %zu listed files %zu missing, %zu changed, %zu unreadable, %zu "
                     "renamed; %zu extra.",
                     listed, counts[TP_COMPARE_MISSING], counts[TP_COMPARE_CHANGED], counts[TP_COMPARE_UNREADABLE],
                     counts[TP_COMPARE_RENAMED], counts[TP_COMPARE_EXTRA]);
}

/* NULL when there is none, or memory is short. */
static char *hint_of(const struct verify *verify)
{
    const char *lead = verify->lead.path;
    if (lead == NULL)
        return NULL;
    int bytes = (int)strlen(lead) - 1;
    if (verify->lead.deeper)
        return tp_format(
            "FOLDER seems to be too high: what the list names lies below '%.*s' in it. Compare with '%s/%.*s'.", bytes,
            lead, verify->comparison->folder, bytes, lead);
    return tp_format("FOLDER seems to be too low: the list names it '%.*s'. Compare with the folder that holds it.",
                     bytes, lead);
}

/* NULL when nothing is to be done, or memory is short. */
static char *next_of(const struct tp_comparison *comparison)
{
    const size_t *counts = comparison->counts;
    size_t lost = counts[TP_COMPARE_MISSING] + counts[TP_COMPARE_CHANGED] + counts[TP_COMPARE_UNREADABLE];
    if (lost == 0)
        return NULL;
    return tp_format(
        "Next: delete nothing. Ask for %s again from another copy of the card, and compare that one first: "
        "the right copy is the one whose hash is the listed one, whatever its date.%s",
        lost == 1 ? "this file" : "these files",
        counts[TP_COMPARE_CHANGED] > 0
            ? " The list has hashes of whole files: it cannot tell whether the sound of a changed file "
              "differs, or only metadata that was edited since."
            : "");
}

static enum tp_status compare_all(struct verify *verify, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < verify->tree.count; i++)
        verify->progress.bytes_total +=
            tp_listing_find(verify->listing, verify->tree.entries[i].path) != NULL ? verify->tree.entries[i].bytes : 0;
    verify->progress.files_total = verify->listing->count;
    status = tp_moved_find(verify->listing, &verify->tree, &verify->lead, error);
    for (size_t i = 0; status == TP_OK && i < verify->listing->count; i++)
        status = compare_listed(verify, &verify->listing->items[i], error);
    sort_missing(verify);
    for (size_t i = 0; status == TP_OK && i < verify->tree.count; i++)
        status = compare_unlisted(verify, &verify->tree.entries[i], error);
    return status == TP_OK ? tp_moved_pair(verify->comparison, error) : status;
}

enum tp_status tp_verify(const struct tp_listing *listing, const struct tp_compare_options *options,
                         struct tp_comparison *comparison, struct tp_error *error)
{
    struct verify verify = {.listing = listing, .options = options, .comparison = comparison};
    enum tp_status status = tp_tree_list(options->folder, &verify.tree, error);
    if (status != TP_OK)
        return status;
    verify.missing = calloc(listing->count + 1, sizeof *verify.missing);
    verify.missing_bytes = calloc(listing->count + 1, sizeof *verify.missing_bytes);
    verify.met = calloc(verify.tree.count + 1, sizeof *verify.met);
    status = verify.missing != NULL && verify.missing_bytes != NULL && verify.met != NULL ? compare_all(&verify, error)
                                                                                          : no_memory(error);
    if (status == TP_OK) {
        if (comparison->item_count > 0)
            qsort(comparison->items, comparison->item_count, sizeof *comparison->items, by_state_and_path);
        comparison->words = conclude(comparison);
        comparison->hint = hint_of(&verify);
        comparison->next = next_of(comparison);
        if (comparison->words == NULL)
            status = no_memory(error);
    }
    free(verify.missing);
    free(verify.missing_bytes);
    free(verify.met);
    free(verify.lead.path);
    tp_tree_clear(&verify.tree);
    return status;
}
