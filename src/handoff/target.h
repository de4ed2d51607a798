/* SPDX-License-Identifier: MIT */
/*
 * One destination: its lock, its folder of unfinished copies, and the way of one file there:
 *
 *     start (is it there already? else a temporary file) → write… → settle (flush, times, read back, compare, rename)
 *
 * Nothing is ever replaced or removed except our own temporary files. A failure is kept in the target file as state and
 * sentence. Threads: open/close from one; one target file from one thread at a time, any number of them side by side.
 */
#ifndef TP_HANDOFF_TARGET_H
#define TP_HANDOFF_TARGET_H

#include "base/xxh.h"
#include "handoff/tree.h"

#include <takeproof/offload.h>

/* Bytes covered by one mark: the hash by which a difference is found again after the fact. */
#define TP_MARK_BYTES ((uint64_t)1 << 20)

struct tp_target {
    char *path;
    char *temporary_folder;
    int lock_fd;
    bool folds_case;
    dev_t device;
    size_t other_files; /* there and not the card's, as counted at the end */
};

/* Makes the folder, locks it, clears what an interrupted run left. The struct is uninitialised before; on error it
 * needs no closing. Errors: TP_ERR_EXISTS (locked by another run), TP_ERR_WRITE, TP_ERR_SPACE, TP_ERR_MEMORY. */
enum tp_status tp_target_open(struct tp_target *target, const char *path, struct tp_error *error) TP_MUST_USE;
void tp_target_close(struct tp_target *target);

/* *needed: bytes still to be written there for `plan`, roundings included. Together with `reserved`, what other
 * destinations need on the same file system, they must fit. Errors: TP_ERR_SPACE. */
enum tp_status tp_target_check_room(const struct tp_target *target, const struct tp_tree *plan, uint64_t reserved,
                                    uint64_t *needed, struct tp_error *error) TP_MUST_USE;

/* What was read from the card: a hash (XXH3, 128 bits) of each TP_MARK_BYTES, the last one shorter. A copy is compared
 * by these, which finds a difference and its place in one pass. */
struct tp_true_bytes {
    const XXH128_hash_t *marks;
    uint64_t bytes;
    struct timespec modified, accessed;
};

struct tp_target_file {
    const struct tp_target *target;
    char *path;      /* where it belongs */
    char *temporary; /* NULL: nothing is written */
    int fd;
    bool there; /* a file of equal size has the name: prove it */
    bool set_aside;
    uint64_t written, flushed;
    enum tp_copy_state state;
    enum tp_readback readback;
    char *message;
};

/* `number` makes the temporary name. Never fails as a call: see file->state. */
void tp_target_start(struct tp_target_file *file, const struct tp_target *target, const char *relative, uint64_t bytes,
                     size_t number, bool set_aside);
void tp_target_write(struct tp_target_file *file, const uint8_t *bytes, size_t size);
/* Brings it to COPIED or KEPT, or to a state that says why not. */
void tp_target_settle(struct tp_target_file *file, const struct tp_true_bytes *expected);
/* For a file of the card that was not read whole: TP_COPY_SKIPPED. With `keep`, what was written stays as
 * "<name>.incomplete" (the message says so). `why` is the sentence. */
void tp_target_give_up(struct tp_target_file *file, const char *why, bool keep);
void tp_target_file_clear(struct tp_target_file *file);

/* A rename that refuses an existing target: 0, or -1 with errno. */
int tp_rename_to_new(const char *from, const char *to);

/* Replaces state by a worse one with a sentence; the first sentence stays. */
void tp_target_fail(struct tp_target_file *file, enum tp_copy_state state, const char *format, ...) TP_PRINTF(3, 4);

#endif
