/* SPDX-License-Identifier: MIT */
#include "handoff/moved.h"

#include "base/io.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

#define NAMESAKES_MAX 64 /* of one name: beyond it nothing is paired */

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

/* ---- a whole tree that is off ---- */

/* The front part of a path. */
struct front {
    const char *path;
    size_t bytes;
    bool deeper;
};
struct fronts {
    struct front *items;
    size_t count, capacity;
};

static bool add_front(struct fronts *fronts, const char *path, size_t bytes, bool deeper)
{
    if (!tp_grow(&fronts->items, &fronts->capacity, fronts->count, sizeof *fronts->items))
        return false;
    fronts->items[fronts->count++] = (struct front){path, bytes, deeper};
    return true;
}

static int front_order(const void *a, const void *b)
{
    const struct front *left = a, *right = b;
    if (left->deeper != right->deeper)
        return left->deeper ? -1 : 1;
    if (left->bytes != right->bytes)
        return left->bytes < right->bytes ? -1 : 1;
    return memcmp(left->path, right->path, left->bytes);
}

/* Folders that stand in front of a listed file in the tree. */
static bool collect_deeper(const struct tp_listing *listing, const struct tp_tree *tree, struct fronts *fronts)
{
    for (size_t i = 0; i < tree->count; i++) {
        const struct tp_tree_entry *entry = &tree->entries[i];
        const char *slash = entry->kind == TP_TREE_FILE ? strchr(entry->path, '/') : NULL;
        for (; slash != NULL; slash = strchr(slash + 1, '/'))
            if (tp_listing_find(listing, slash + 1) != NULL &&
                !add_front(fronts, entry->path, (size_t)(slash + 1 - entry->path), true))
                return false;
    }
    return true;
}

/* And those that the list has in front of a file of the tree. */
static bool collect_higher(const struct tp_listing *listing, const struct tp_tree *tree, struct fronts *fronts)
{
    for (size_t i = 0; i < listing->count; i++) {
        const char *path = listing->items[i].path, *slash = strchr(path, '/');
        for (; slash != NULL; slash = strchr(slash + 1, '/')) {
            const struct tp_tree_entry *entry = tp_tree_find(tree, slash + 1);
            if (entry != NULL && entry->kind == TP_TREE_FILE &&
                !add_front(fronts, path, (size_t)(slash + 1 - path), false))
                return false;
        }
    }
    return true;
}

static size_t count_in_place(const struct tp_listing *listing, const struct tp_tree *tree)
{
    size_t count = 0;
    for (size_t i = 0; i < listing->count; i++) {
        const struct tp_tree_entry *entry = tp_tree_find(tree, listing->items[i].path);
        count += entry != NULL && entry->kind == TP_TREE_FILE;
    }
    return count;
}

/* The longest row of equal fronts; its length in *votes. */
static const struct front *most_frequent(struct fronts *fronts, size_t *votes)
{
    const struct front *best = NULL;
    *votes = 0;
    if (fronts->count > 0)
        qsort(fronts->items, fronts->count, sizeof *fronts->items, front_order);
    for (size_t i = 0; i < fronts->count;) {
        size_t end = i + 1;
        while (end < fronts->count && front_order(&fronts->items[i], &fronts->items[end]) == 0)
            end++;
        if (end - i > *votes) {
            best = &fronts->items[i];
            *votes = end - i;
        }
        i = end;
    }
    return best;
}

enum tp_status tp_moved_find(const struct tp_listing *listing, const struct tp_tree *tree, struct tp_moved_lead *lead,
                             struct tp_error *error)
{
    *lead = (struct tp_moved_lead){0};
    if (2 * count_in_place(listing, tree) >= listing->count)
        return TP_OK;
    struct fronts fronts = {0};
    size_t votes = 0;
    enum tp_status status = TP_OK;
    if (!collect_deeper(listing, tree, &fronts) || !collect_higher(listing, tree, &fronts))
        status = no_memory(error);
    const struct front *best = status == TP_OK ? most_frequent(&fronts, &votes) : NULL;
    if (best != NULL && 2 * votes > listing->count) {
        lead->deeper = best->deeper;
        lead->path = tp_strndup(best->path, best->bytes);
        if (lead->path == NULL)
            status = no_memory(error);
    }
    free(fronts.items);
    return status;
}

const struct tp_tree_entry *tp_moved_entry(const struct tp_moved_lead *lead, const struct tp_tree *tree,
                                           const char *listed)
{
    if (lead->path == NULL)
        return NULL;
    size_t bytes = strlen(lead->path);
    const struct tp_tree_entry *entry = NULL;
    if (!lead->deeper) {
        entry = strncmp(listed, lead->path, bytes) == 0 ? tp_tree_find(tree, listed + bytes) : NULL;
    } else {
        char *path = tp_format("%s%s", lead->path, listed);
        entry = path != NULL ? tp_tree_find(tree, path) : NULL;
        free(path);
    }
    return entry != NULL && entry->kind == TP_TREE_FILE ? entry : NULL;
}

/* ---- single files ---- */

struct namesake {
    const char *name;
    size_t item;
    bool extra;
};

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

static int name_order(const void *a, const void *b)
{
    const struct namesake *left = a, *right = b;
    int order = strcmp(left->name, right->name);
    if (order == 0 && left->extra != right->extra)
        order = left->extra ? 1 : -1;
    return order != 0 ? order : (left->item > right->item) - (left->item < right->item);
}

/* Folders that two paths share, counted from the name upwards. */
static size_t folders_shared(const char *a, const char *b)
{
    size_t left = strlen(a), right = strlen(b), shared = 0;
    while (left > 0 && right > 0 && a[left - 1] == b[right - 1]) {
        left--;
        right--;
        shared += a[left] == '/';
    }
    bool whole = (left == 0 || a[left - 1] == '/') && (right == 0 || b[right - 1] == '/');
    return shared + (whole && left != right);
}

static enum tp_status tell_changed(struct tp_compare_item *missing, struct tp_compare_item *extra)
{
    char *message = tp_format("'%s' has its name, but not the content that was listed", extra->path);
    if (message == NULL)
        return TP_ERR_MEMORY;
    free(missing->message);
    missing->message = message;
    missing->state = TP_COMPARE_CHANGED;
    missing->bytes = extra->bytes;
    missing->found = extra->path;
    extra->path = NULL; /* dropped below */
    return TP_OK;
}

/* The one of `count` extra files that belongs to it, or NULL. */
static struct tp_compare_item *partner_of(struct tp_comparison *comparison, const char *path,
                                          const struct namesake *extras, size_t count, bool alone)
{
    struct tp_compare_item *best = NULL;
    size_t most = 0;
    bool doubtful = false;
    for (size_t i = 0; i < count; i++) {
        struct tp_compare_item *extra = &comparison->items[extras[i].item];
        if (extra->path == NULL)
            continue;
        size_t shared = folders_shared(path, extra->path);
        doubtful = best != NULL && shared == most ? true : shared > most ? false : doubtful;
        if (best == NULL || shared > most) {
            best = extra;
            most = shared;
        }
    }
    return alone || (!doubtful && most > 1) ? best : NULL;
}

static enum tp_status pair_namesakes(struct tp_comparison *comparison, const struct namesake *row, size_t count)
{
    size_t missing = 0;
    while (missing < count && !row[missing].extra)
        missing++;
    bool alone = missing == 1 && count == 2;
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < missing && count <= NAMESAKES_MAX && status == TP_OK; i++) {
        struct tp_compare_item *item = &comparison->items[row[i].item];
        struct tp_compare_item *extra = partner_of(comparison, item->path, row + missing, count - missing, alone);
        if (extra != NULL)
            status = tell_changed(item, extra);
    }
    return status;
}

static void drop_paired(struct tp_comparison *comparison)
{
    size_t kept = 0;
    for (size_t i = 0; i < comparison->item_count; i++) {
        if (comparison->items[i].path != NULL)
            comparison->items[kept++] = comparison->items[i];
        else
            free(comparison->items[i].message);
    }
    comparison->item_count = kept;
}

enum tp_status tp_moved_pair(struct tp_comparison *comparison, struct tp_error *error)
{
    struct namesake *all = calloc(comparison->item_count + 1, sizeof *all);
    size_t count = 0;
    enum tp_status status = all != NULL ? TP_OK : no_memory(error);
    for (size_t i = 0; all != NULL && i < comparison->item_count; i++) {
        const struct tp_compare_item *item = &comparison->items[i];
        bool extra = item->state == TP_COMPARE_EXTRA;
        if (extra || (item->state == TP_COMPARE_MISSING && item->listed_hash != NULL))
            all[count++] = (struct namesake){base_name(item->path), i, extra};
    }
    if (count > 0)
        qsort(all, count, sizeof *all, name_order);
    for (size_t i = 0; i < count && status == TP_OK;) {
        size_t end = i + 1;
        while (end < count && strcmp(all[end].name, all[i].name) == 0)
            end++;
        if (pair_namesakes(comparison, all + i, end - i) != TP_OK)
            status = no_memory(error);
        i = end;
    }
    free(all);
    drop_paired(comparison);
    return status;
}
