/* SPDX-License-Identifier: MIT */
#include "report/splice_rows.h"

#include "base/io.h"
#include "base/text.h"
#include "report/csv.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* What `write` prints; NULL when memory is short. */
static char *printed(void (*write)(FILE *out, const void *of), const void *of, size_t *bytes)
{
    char *text = NULL;
    FILE *out = open_memstream(&text, bytes);
    if (out == NULL)
        return NULL;
    write(out, of);
    bool failed = ferror(out) != 0;
    if (fclose(out) != 0 || failed) {
        free(text);
        return NULL;
    }
    return text;
}

static void write_head(FILE *out, const void *of)
{
    (void)of;
    tp_splice_csv_head(out);
}

static void write_cell(FILE *out, const void *of)
{
    struct tp_csv csv = {.out = out};
    tp_csv_text(&csv, of);
}

enum tp_status tp_splice_rows_read(struct tp_splice_rows *rows, const char *path, struct tp_error *error)
{
    struct stat there;
    *rows = (struct tp_splice_rows){0};
    if (lstat(path, &there) != 0 && errno == ENOENT)
        return TP_OK;
    size_t head_bytes;
    char *head = printed(write_head, NULL, &head_bytes);
    if (head == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the list of splices");
    enum tp_status status = tp_file_read_all(path, TP_SPLICE_LIST_BYTES_MAX, &rows->text, &rows->bytes, error);
    bool is_ours = status == TP_OK && rows->bytes >= head_bytes && memcmp(rows->text, head, head_bytes) == 0 &&
                   rows->text[rows->bytes - 1] == '\n';
    if (status == TP_ERR_FORMAT || (status == TP_OK && !is_ours)) {
        tp_splice_rows_clear(rows);
        tp_error_clear(error);
        status = tp_error_set(error, TP_ERR_EXISTS, 0,
                              "'%s' is there already and is no list of splices of this version: it is left alone and "
                              "nothing was written; move it away or choose another folder",
                              path);
    }
    free(head);
    return status;
}

void tp_splice_rows_clear(struct tp_splice_rows *rows)
{
    free(rows->text);
    *rows = (struct tp_splice_rows){0};
}

/* Bytes of the row with its end of line; line ends inside quotes belong to the cell. */
static size_t row_length(const char *row, size_t left)
{
    bool quoted = false;
    for (size_t i = 0; i < left; i++) {
        if (row[i] == '"')
            quoted = !quoted;
        else if (row[i] == '\n' && !quoted)
            return i + 1;
    }
    return left;
}

static size_t cell_length(const char *row, size_t left)
{
    bool quoted = false;
    for (size_t i = 0; i < left; i++) {
        if (row[i] == '"')
            quoted = !quoted;
        else if ((row[i] == ',' || row[i] == '\r' || row[i] == '\n') && !quoted)
            return i;
    }
    return left;
}

/* A cell as it is written: so they are compared. */
struct cell {
    char *text;
    size_t bytes;
};

/* Of each track the take and the name; the place of the array in *cells, also on failure. */
static bool cells_of(const struct tp_splice_result *result, struct cell **cells)
{
    *cells = calloc(2 * result->track_count + 1, sizeof **cells);
    bool good = *cells != NULL;
    for (size_t i = 0; i < 2 * result->track_count && good; i++) {
        const struct tp_spliced_track *track = &result->tracks[i / 2];
        const char *text = i % 2 == 0 ? result->report->takes[track->take].id : track->name;
        (*cells)[i].text = printed(write_cell, text, &(*cells)[i].bytes);
        good = (*cells)[i].text != NULL;
    }
    return good;
}

static void cells_free(struct cell *cells, size_t count)
{
    for (size_t i = 0; i < count && cells != NULL; i++)
        free(cells[i].text);
    free(cells);
}

static bool is_cell(const char *at, size_t bytes, const struct cell *cell)
{
    return cell->bytes > 0 && cell->bytes == bytes && memcmp(cell->text, at, bytes) == 0;
}

static bool is_replaced(const struct cell *cells, size_t track_count, const char *row, size_t bytes)
{
    size_t take = cell_length(row, bytes);
    size_t rest = take < bytes ? take + 1 : bytes;
    size_t name = cell_length(row + rest, bytes - rest);
    for (size_t i = 0; i < track_count; i++)
        if (is_cell(row, take, &cells[2 * i]) || is_cell(row + rest, name, &cells[2 * i + 1]))
            return true;
    return false;
}

enum tp_status tp_splice_rows_write(const struct tp_splice_rows *rows, const struct tp_splice_result *result, FILE *out,
                                    struct tp_error *error)
{
    struct cell *cells;
    bool good = cells_of(result, &cells);
    tp_splice_csv_head(out);
    size_t at = rows->text != NULL ? row_length(rows->text, rows->bytes) : 0;
    while (rows->text != NULL && at < rows->bytes && good) {
        size_t length = row_length(rows->text + at, rows->bytes - at);
        if (!is_replaced(cells, result->track_count, rows->text + at, length))
            fwrite(rows->text + at, 1, length, out);
        at += length;
    }
    tp_splice_csv_rows(result, out);
    cells_free(cells, 2 * result->track_count);
    return good ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the list of splices");
}
