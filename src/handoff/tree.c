/* SPDX-License-Identifier: MIT */
#include "handoff/tree.h"

#include "base/io.h"
#include "base/text.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* A folder on the way down. */
struct way {
    const struct way *up;
    dev_t device;
    ino_t inode;
    int depth;
};

struct walk {
    const char *root;
    struct tp_tree *tree;
};

static bool leads_back(const struct way *way, const struct stat *status)
{
    for (; way != NULL; way = way->up)
        if (way->device == status->st_dev && way->inode == status->st_ino)
            return true;
    return false;
}

/* Takes `path`. */
static bool add(struct walk *walk, char *path, enum tp_tree_kind kind, const struct stat *status, const char *why)
{
    struct tp_tree *tree = walk->tree;
    if (path == NULL || !tp_grow(&tree->entries, &tree->capacity, tree->count, sizeof *tree->entries)) {
        free(path);
        return false;
    }
    struct tp_tree_entry entry = {.path = path, .kind = kind, .why = why};
    if (status != NULL) {
        entry.bytes = kind == TP_TREE_FILE ? (uint64_t)status->st_size : 0;
        entry.modified = status->st_mtim;
        entry.accessed = status->st_atim;
        entry.device = status->st_dev;
        entry.inode = status->st_ino;
    }
    tree->entries[tree->count++] = entry;
    return true;
}

static bool list_folder(struct walk *walk, const char *full, const char *relative, const struct way *way);

static bool descend(struct walk *walk, const char *full, char *relative, const struct stat *status,
                    const struct way *up)
{
    if (leads_back(up, status))
        return add(walk, relative, TP_TREE_SPECIAL, status, "a link that leads back to a folder above it");
    if (up->depth >= TP_TREE_DEPTH_MAX)
        return add(walk, relative, TP_TREE_UNREADABLE, status, "nested too deeply");
    struct way way = {.up = up, .device = status->st_dev, .inode = status->st_ino, .depth = up->depth + 1};
    /* The walk outlives the entry's place in the growing array, not its path. */
    return add(walk, relative, TP_TREE_FOLDER, status, NULL) && list_folder(walk, full, relative, &way);
}

static bool look(struct walk *walk, const char *full, char *relative, const struct way *way)
{
    struct stat status;
    if (stat(full, &status) != 0) {
        if (errno == ENOMEM) {
            free(relative);
            return false;
        }
        bool dangling = errno == ENOENT && lstat(full, &status) == 0 && S_ISLNK(status.st_mode);
        return add(walk, relative, dangling ? TP_TREE_SPECIAL : TP_TREE_UNREADABLE, NULL,
                   dangling ? "a link to nothing" : "cannot be looked at");
    }
    if (S_ISREG(status.st_mode))
        return add(walk, relative, TP_TREE_FILE, &status, NULL);
    if (S_ISDIR(status.st_mode))
        return descend(walk, full, relative, &status, way);
    const char *why = S_ISFIFO(status.st_mode) ? "a named pipe" : S_ISSOCK(status.st_mode) ? "a socket" : "a device";
    return add(walk, relative, TP_TREE_SPECIAL, &status, why);
}

static bool list_folder(struct walk *walk, const char *full, const char *relative, const struct way *way)
{
    DIR *folder = opendir(full);
    if (folder == NULL)
        return errno != ENOMEM &&
               add(walk, tp_strdup(relative), TP_TREE_UNREADABLE, NULL, "a folder that cannot be listed");
    bool going = true;
    struct dirent *entry;
    errno = 0;
    while (going && (entry = readdir(folder)) != NULL) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        char *inner = tp_path_join(full, entry->d_name);
        char *below = *relative == '\0' ? tp_strdup(entry->d_name) : tp_path_join(relative, entry->d_name);
        going = inner != NULL && below != NULL;
        if (going)
            going = look(walk, inner, below, way);
        else
            free(below);
        free(inner);
        errno = 0;
    }
    int cause = errno;
    closedir(folder);
    if (going && cause != 0)
        going = add(walk, tp_strdup(relative), TP_TREE_UNREADABLE, NULL, "a folder whose listing broke off");
    return going;
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const struct tp_tree_entry *)a)->path, ((const struct tp_tree_entry *)b)->path);
}

enum tp_status tp_tree_list(const char *root, struct tp_tree *tree, struct tp_error *error)
{
    *tree = (struct tp_tree){0};
    struct stat status;
    DIR *probe = opendir(root);
    if (probe == NULL || stat(root, &status) != 0) {
        int cause = errno;
        if (probe != NULL)
            closedir(probe);
        return tp_error_set(error, TP_ERR_OPEN, cause, "cannot list '%s': %s", root, strerror(cause));
    }
    closedir(probe);
    struct walk walk = {.root = root, .tree = tree};
    struct way way = {.device = status.st_dev, .inode = status.st_ino};
    if (!list_folder(&walk, root, "", &way)) {
        tp_tree_clear(tree);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to list '%s'", root);
    }
    if (tree->count > 0)
        qsort(tree->entries, tree->count, sizeof *tree->entries, by_path);
    return TP_OK;
}

void tp_tree_clear(struct tp_tree *tree)
{
    for (size_t i = 0; i < tree->count; i++)
        free(tree->entries[i].path);
    free(tree->entries);
    *tree = (struct tp_tree){0};
}

static int path_order(const void *key, const void *entry)
{
    return strcmp(key, ((const struct tp_tree_entry *)entry)->path);
}

const struct tp_tree_entry *tp_tree_find(const struct tp_tree *tree, const char *path)
{
    return tree->count == 0 ? NULL : bsearch(path, tree->entries, tree->count, sizeof *tree->entries, path_order);
}
