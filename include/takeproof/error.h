/* SPDX-License-Identifier: MIT */
/*
 * What went wrong, in words a person can act on.
 *
 * An error is what stops us from looking: a folder that cannot be read, a full disk, no memory.
 * A damaged file is not an error but data: it yields findings (see findings.h).
 *
 * Ownership: the caller owns a struct tp_error, starts it as {0} and ends it with
 * tp_error_clear(). Functions that take `struct tp_error *` accept NULL when the words are not wanted.
 * Threads: an error belongs to one thread at a time.
 */
#ifndef TAKEPROOF_ERROR_H
#define TAKEPROOF_ERROR_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define TP_API __attribute__((visibility("default")))
#define TP_MUST_USE __attribute__((warn_unused_result))
#define TP_PRINTF(format_at, values_at) __attribute__((format(printf, format_at, values_at)))
#else
#define TP_API
#define TP_MUST_USE
#define TP_PRINTF(format_at, values_at)
#endif

/* Values are pinned: they are part of the ABI. */
enum tp_status {
    TP_OK = 0,
    TP_ERR_MEMORY = 1,      /* an allocation failed */
    TP_ERR_USAGE = 2,       /* the call or the command line makes no sense */
    TP_ERR_OPEN = 3,        /* a file or folder cannot be opened */
    TP_ERR_READ = 4,        /* reading failed part way; `offset` says where */
    TP_ERR_WRITE = 5,       /* writing, flushing or renaming failed */
    TP_ERR_EXISTS = 6,      /* the target is there already and may not be replaced */
    TP_ERR_SPACE = 7,       /* no room left on the target */
    TP_ERR_SPEC = 8,        /* the spec file has an error; the message gives file and line */
    TP_ERR_FORMAT = 9,      /* a file that we must understand (report, manifest, log) is not what it should be */
    TP_ERR_CANCELLED = 10,  /* the caller asked to stop */
    TP_ERR_UNSUPPORTED = 11 /* a library or this system cannot do it */
};

struct tp_error {
    enum tp_status status;
    int os_errno;    /* 0 when the operating system was not involved */
    uint64_t offset; /* byte offset in the file for TP_ERR_READ and TP_ERR_FORMAT, else 0 */
    char *message;   /* owned; NULL until set, or when there was no memory even for the words */
};

/* The sentence for people: the message, or the words of the status. Never NULL; valid until the error changes. */
TP_API const char *tp_error_text(const struct tp_error *error);

/* Words for a status ("cannot open"). Never NULL. */
TP_API const char *tp_status_words(enum tp_status status);

/* Frees the message and returns the error to {0}. NULL is fine. */
TP_API void tp_error_clear(struct tp_error *error);

/* Fills `error` (replacing what it held) and returns `status`, so that a caller can `return tp_error_set(...)`.
 * Sentence: what failed, 'subject', what to do next; no capital, no full stop. errno is taken by the caller. */
TP_API enum tp_status tp_error_set(struct tp_error *error, enum tp_status status, int os_errno, const char *format, ...)
    TP_PRINTF(4, 5);

#ifdef __cplusplus
}
#endif
#endif
