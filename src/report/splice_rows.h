/* SPDX-License-Identifier: MIT */
/* The rows that splices.csv holds already, so that a later run adds to the list instead of forgetting the others. */
#ifndef TP_REPORT_SPLICE_ROWS_H
#define TP_REPORT_SPLICE_ROWS_H

#include <takeproof/splice.h>

#define TP_SPLICE_LIST_BYTES_MAX ((size_t)16 << 20)

/* Zeroed: none. */
struct tp_splice_rows {
    char *text; /* the whole file; NULL when there is none */
    size_t bytes;
};

/* Reads the list at `path`; none is there: no rows. Errors: TP_ERR_EXISTS (there is something, but no such list),
 * TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY. */
enum tp_status tp_splice_rows_read(struct tp_splice_rows *rows, const char *path, struct tp_error *error) TP_MUST_USE;
void tp_splice_rows_clear(struct tp_splice_rows *rows);

/* The list: its head, the kept rows byte for byte, and the rows of `result`. A row is not kept when `result` has a pair
 * of that take, or a track of that name. Errors: TP_ERR_MEMORY; those of writing are left to
 * ferror(out). */
enum tp_status tp_splice_rows_write(const struct tp_splice_rows *rows, const struct tp_splice_result *result, FILE *out,
                                    struct tp_error *error) TP_MUST_USE;

/* The parts of tp_splice_write_csv(). */
void tp_splice_csv_head(FILE *out);
void tp_splice_csv_rows(const struct tp_splice_result *result, FILE *out);

#endif
