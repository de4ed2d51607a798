/* SPDX-License-Identifier: MIT */
/*
 * Everything below a folder, by name: files, folders, and what is neither. Nothing is opened but folders.
 * Links are followed as in read/scan.h, except that a folder already on the way down is TP_TREE_SPECIAL.
 * Written apart from read/scan.c on purpose: a hand-off counts what the scan may have passed over.
 */
#ifndef TP_HANDOFF_TREE_H
#define TP_HANDOFF_TREE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>
#include <takeproof/error.h>
#include <time.h>

#define TP_TREE_DEPTH_MAX 64

enum tp_tree_kind {
    TP_TREE_FILE,
    TP_TREE_FOLDER,
    TP_TREE_SPECIAL,   /* pipe, socket, device, dangling link, link that leads back */
    TP_TREE_UNREADABLE /* a folder that cannot be listed, an entry that cannot be looked at */
};

struct tp_tree_entry {
    char *path; /* relative to the root, raw bytes */
    enum tp_tree_kind kind;
    uint64_t bytes;
    struct timespec modified, accessed;
    dev_t device;
    ino_t inode;
    const char *why; /* static words for SPECIAL and UNREADABLE */
};
struct tp_tree {
    struct tp_tree_entry *entries; /* bytewise by path */
    size_t count, capacity;
};

/* Errors: TP_ERR_OPEN when the root cannot be listed, TP_ERR_MEMORY; then the tree is empty. */
enum tp_status tp_tree_list(const char *root, struct tp_tree *tree, struct tp_error *error) TP_MUST_USE;
void tp_tree_clear(struct tp_tree *tree);
/* NULL when there is none. */
const struct tp_tree_entry *tp_tree_find(const struct tp_tree *tree, const char *path);

#endif
