/* SPDX-License-Identifier: MIT */
/*
 * What a manifest, history or report says should be there: paths with sizes and hashes.
 * Paths are raw bytes, relative, '/' separated, without "." and ".." components. Invariant after tp_listing_settle():
 * bytewise order, each path once.
 */
#ifndef TP_HANDOFF_LISTING_H
#define TP_HANDOFF_LISTING_H

#include "base/hashes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>

struct tp_listed {
    char *path;
    uint64_t bytes; /* when bytes_known */
    bool bytes_known;
    struct tp_hash_values hashes; /* "" when not given */
    uint32_t generation;          /* of a history; else 0 */
};
struct tp_listing {
    struct tp_listed *items;
    size_t count, capacity;
};

void tp_listing_clear(struct tp_listing *listing);

/* Adds a file; the path is copied and cleaned ("./a//b" is "a/b"). `hashes` by enum tp_hash: NULL or "" = not given.
 * Errors: TP_ERR_MEMORY; TP_ERR_FORMAT for a path that is empty, absolute or leads outside, for a hash that is not hex
 * of its length, and when none is given. */
enum tp_status tp_listing_add(struct tp_listing *listing, const char *path, const char *const hashes[TP_HASH_COUNT],
                              const uint64_t *bytes, struct tp_error *error) TP_MUST_USE;

/* The same for a file whose hash is not known. */
enum tp_status tp_listing_add_unhashed(struct tp_listing *listing, const char *path, uint64_t bytes,
                                       struct tp_error *error) TP_MUST_USE;

/* Sorts and merges entries of one path: a higher generation replaces, the same one must agree (else TP_ERR_FORMAT). */
enum tp_status tp_listing_settle(struct tp_listing *listing, struct tp_error *error) TP_MUST_USE;

/* After settling. NULL when it is not there. */
const struct tp_listed *tp_listing_find(const struct tp_listing *listing, const char *path);

/* The bytes that lower-case hex stands for, NUL-terminated; NULL when it is none, is empty, or memory is short. */
char *tp_from_hex(const char *hex);

/* A cleaned copy of a relative path, or NULL: no memory, or the path is empty, absolute or leads outside (*outside). */
char *tp_relative_path_clean(const char *path, bool *outside);

#endif
