/* SPDX-License-Identifier: MIT */
/*
 * ASC MHL v2.0 histories (an open standard of the American Society of Cinematographers): the folder "ascmhl" at the
 * root of a delivered tree, one manifest a generation, and a chain file that holds each manifest's C4.
 *
 * Hashes are XXH64 when written, XXH64 and XXH3 when read: the schema has no SHA-256. XML cannot carry every file name:
 * bytes that are not UTF-8 and control characters are written as U+FFFD in <path>, made unique by a number behind it,
 * and the true bytes stand in hex under <metadata>, where our reader finds them.
 *
 * Reading is bounded (TP_MHL_BYTES_MAX, nesting 32) and refuses any document type declaration. A path that leads
 * outside the tree is an error. Entries with action "failed" prove nothing and are passed over.
 */
#ifndef TP_HANDOFF_MHL_H
#define TP_HANDOFF_MHL_H

#include "handoff/listing.h"

#define TP_MHL_FOLDER "ascmhl"
#define TP_MHL_CHAIN "ascmhl_chain.xml"
#define TP_MHL_BYTES_MAX ((size_t)256 << 20)

struct tp_mhl_file {
    const char *path; /* raw bytes */
    uint64_t bytes;
    int64_t modified_s;
    const char *xxh64;
};

struct tp_mhl_options {
    int64_t made_s;      /* Unix time */
    const char *host;    /* name of this machine */
    const char *version; /* of the program */
    const char *process; /* "transfer", "in-place" */
};

/*
 * Adds a generation to the history of `root` (started when there is none). Files that an earlier generation lists get
 * the action "verified" or, when the hash differs, "failed"; others "original". *generation is its number. Errors:
 * TP_ERR_FORMAT (the history that is there cannot be trusted, or has no XXH64 of one of the files to compare with:
 * nothing is added), TP_ERR_WRITE, TP_ERR_SPACE,
 * TP_ERR_READ, TP_ERR_OPEN, TP_ERR_MEMORY.
 */
enum tp_status tp_mhl_add(const char *root, const struct tp_mhl_file *files, size_t count,
                          const struct tp_mhl_options *options, uint32_t *generation,
                          struct tp_error *error) TP_MUST_USE;

/* Reads every generation named in the chain of an "ascmhl" folder into an empty listing, checking each C4; the newest
 * entry of a path counts. *generations is their number. Errors as for reading. */
enum tp_status tp_mhl_read_history(const char *folder, struct tp_listing *listing, uint32_t *generations,
                                   struct tp_error *error) TP_MUST_USE;

/* Reads one manifest from memory into `listing` (added, not settled). `name` is for messages. */
enum tp_status tp_mhl_read(struct tp_listing *listing, uint32_t generation, const char *bytes, size_t size,
                           const char *name, struct tp_error *error) TP_MUST_USE;

#endif
