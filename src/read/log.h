/* SPDX-License-Identifier: MIT */
/*
 * The set's notes as CSV (RFC 4180; semicolons and tabs are understood too, as spreadsheets of many countries write
 * them).
 *
 * The first row names the columns, in any order and case; unknown columns are passed over:
 *     scene · take · file (name, filename) · good (status, circled, ok) · notes (note, remarks, comment) · start (start
 * time, timecode) A file column, or scene and take, must be among them. `good` understands good, ok, yes, y, x, 1, *,
 * circled, print and ng, no good, no, n, bad, 0; anything else is "not said". Other text encodings become UTF-8.
 */
#ifndef TP_READ_LOG_H
#define TP_READ_LOG_H

#include <takeproof/takeproof.h> /* tp_log_template() */

#include <stdbool.h>
#include <stddef.h>

#define TP_LOG_BYTES_MAX ((size_t)16 << 20)
#define TP_LOG_ROWS_MAX 100000

struct tp_log_entry {
    size_t line;                               /* 1-based, of the row's beginning */
    char *scene, *take, *file, *notes, *start; /* trimmed, "" when absent, never NULL */
    int good;                                  /* 1 good, 0 no good, -1 not said */
};
struct tp_log {
    struct tp_log_entry *entries;
    size_t count;
    bool has_file_column;
};

/* Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY, TP_ERR_FORMAT ("'day.csv' line 1: …"). End with tp_log_clear(). */
enum tp_status tp_log_read(const char *path, struct tp_log *log, struct tp_error *error) TP_MUST_USE;
/* The same from memory; `name` is used in messages. */
enum tp_status tp_log_read_bytes(const char *bytes, size_t size, const char *name, struct tp_log *log,
                                 struct tp_error *error) TP_MUST_USE;
void tp_log_clear(struct tp_log *log);

#endif
