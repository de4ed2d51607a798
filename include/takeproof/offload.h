/* SPDX-License-Identifier: MIT */
/*
 * The hand-off: copy a card to one or more destinations while it is checked, prove each copy by reading it back, and
 * say whether the card may be wiped.
 *
 * Strings are owned by the result, never NULL unless said. `path` members are raw bytes of names ('/' separated,
 * relative to the card); sentences are UTF-8.
 */
#ifndef TAKEPROOF_OFFLOAD_H
#define TAKEPROOF_OFFLOAD_H

#include <takeproof/takeproof.h>

#ifdef __cplusplus
extern "C" {
#endif

struct tp_offload_options {
    const struct tp_check_options *check; /* the card is check->sources[0], a folder, the only one */
    const char *const *destinations;      /* folders; made when missing */
    size_t destination_count;             /* 1 … TP_DESTINATIONS_MAX */
    unsigned copies;                      /* verified copies wanted before the card may be wiped; 0 = 2 */
    bool set_aside; /* rename a differing file at a destination instead of leaving it in the way; never deletes */
    const char *directory; /* where the report set will go: checked not to lie inside the card; or NULL */
    bool no_history;       /* do not write an ASC MHL history at the destinations */
};

/* What became of one file at one destination. Ordered: larger is worse. */
enum tp_copy_state {
    TP_COPY_COPIED = 0,   /* written now, flushed, read back, equal */
    TP_COPY_KEPT = 1,     /* was there already; read back, equal */
    TP_COPY_FAILED = 2,   /* could not be written or read back, or came back different; not there under its name */
    TP_COPY_CONFLICT = 3, /* a differing file has the name and was left alone */
    TP_COPY_SKIPPED = 4   /* not tried: the card's file could not be read, or the destination had failed */
};

struct tp_offload_copy {
    enum tp_copy_state state;
    enum tp_readback readback;
    char *message; /* NULL when all is well; else a sentence */
};

/* A stretch of a card's file that could not be read. */
struct tp_offload_gap {
    uint64_t offset, bytes;
    double start_s, end_s; /* in the take; NaN when it holds no sound */
};

struct tp_offload_file {
    char *path;
    uint64_t bytes;
    int64_t modified_s;
    char sha256[65], xxh64[17]; /* of the bytes as read; "" when it was not read to its end */
    bool read_whole;            /* every byte was read, and the file did not change meanwhile */
    char *message;              /* NULL, or what went wrong with the card's file */
    struct tp_offload_gap *gaps;
    size_t gap_count;
    char *take;                     /* id of the take it belongs to, or NULL */
    struct tp_offload_copy *copies; /* one a destination */
    size_t verified;                /* copies proven equal */
};

struct tp_offload_destination {
    char *path;
    uint64_t bytes_copied;
    size_t copied, kept, failed; /* files; failed counts every other state */
    enum tp_readback readback;   /* the weakest that was used */
    char *message;               /* NULL, or what is wrong with the destination's folders: the copies are in doubt */
    char *history_message;       /* NULL, or why it got no entry in an ASC MHL history; the copies are not in doubt */
    uint32_t history_generation; /* of the entry written; 0 = none */
};

struct tp_offload_result {
    char *card;
    unsigned copies_wanted;
    struct tp_offload_destination *destinations;
    size_t destination_count;
    struct tp_offload_file *files; /* bytewise by path */
    size_t file_count;
    char **unaccounted; /* sentences: what is on the card and was not copied, or changed since */
    size_t unaccounted_count;
    bool complete; /* every file is verified at every destination and nothing is unaccounted for */
    bool may_be_wiped;
    char *words;   /* the last line: whether the card may be wiped, and why not */
    char *caution; /* NULL, or what to know besides (two copies on one disk …) */
};

/*
 * Copies and checks in one read of the card. A failed copy is data: see the result. *report as from tp_check(), with
 * its handoff and the hashes of its others.
 * Errors, all before anything is copied except the last two: TP_ERR_USAGE, TP_ERR_OPEN, TP_ERR_EXISTS (another run
 * holds a destination), TP_ERR_SPACE, TP_ERR_WRITE, TP_ERR_MEMORY, TP_ERR_CANCELLED. Free *result and *report.
 */
TP_API enum tp_status tp_offload(const struct tp_offload_options *options, struct tp_report **report,
                                 struct tp_offload_result **result, struct tp_error *error) TP_MUST_USE;
TP_API void tp_offload_result_free(struct tp_offload_result *result);

/* The result for people; the last line is `words`. */
TP_API void tp_offload_write_text(const struct tp_offload_result *result, bool quiet, FILE *out);
/* Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_offload_write_json(const struct tp_offload_result *result, FILE *out,
                                            struct tp_error *error) TP_MUST_USE;
/* Writes offload.json and manifest.sha256 (of every file read whole, sound or not) into `directory`.
 * Errors: as tp_report_write_set(). */
TP_API enum tp_status tp_offload_write_set(const struct tp_offload_result *result, const char *directory,
                                           struct tp_error *error) TP_MUST_USE;

TP_API const char *tp_copy_state_name(enum tp_copy_state state); /* "copied" … */

#ifdef __cplusplus
}
#endif
#endif
