/* SPDX-License-Identifier: MIT */
#include "read/log.h"

#include "base/io.h"
#include "base/num.h"
#include "base/text.h"

#include <ctype.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum column { COLUMN_SCENE, COLUMN_TAKE, COLUMN_FILE, COLUMN_GOOD, COLUMN_NOTES, COLUMN_START, COLUMNS };
enum { CELLS_MAX = 256 };

static const struct {
    const char *name;
    enum column column;
} column_names[] = {
    {"scene", COLUMN_SCENE},    {"take", COLUMN_TAKE},         {"file", COLUMN_FILE},
    {"filename", COLUMN_FILE},  {"file name", COLUMN_FILE},    {"name", COLUMN_FILE},
    {"good", COLUMN_GOOD},      {"status", COLUMN_GOOD},       {"circled", COLUMN_GOOD},
    {"ok", COLUMN_GOOD},        {"good/no good", COLUMN_GOOD}, {"notes", COLUMN_NOTES},
    {"note", COLUMN_NOTES},     {"remarks", COLUMN_NOTES},     {"comment", COLUMN_NOTES},
    {"comments", COLUMN_NOTES}, {"start", COLUMN_START},       {"start time", COLUMN_START},
    {"timecode", COLUMN_START}, {"tc", COLUMN_START},          {"start timecode", COLUMN_START},
};

static const struct {
    const char *word;
    int good;
} good_words[] = {{"good", 1},    {"ok", 1},      {"yes", 1},   {"y", 1},    {"x", 1},  {"1", 1},
                  {"*", 1},       {"circled", 1}, {"print", 1}, {"true", 1}, {"ng", 0}, {"n.g.", 0},
                  {"no good", 0}, {"no", 0},      {"n", 0},     {"bad", 0},  {"0", 0},  {"false", 0}};

struct reader {
    const char *at, *end;
    const char *name;
    char separator;
    size_t line; /* of `at` */
};

/* One row; `cells` are owned by the caller. */
struct row {
    char *cells[CELLS_MAX];
    size_t count;
    size_t line;
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read the notes");
}

static void row_clear(struct row *row)
{
    for (size_t i = 0; i < row->count; i++)
        free(row->cells[i]);
    row->count = 0;
}

/* The separator of the first row is that of all: the one that stands in it most often outside quotes. */
static char find_separator(const char *at, const char *end)
{
    static const char candidates[] = ",;\t";
    size_t counts[3] = {0};
    bool quoted = false;
    for (; at < end && (quoted || (*at != '\n' && *at != '\r')); at++) {
        quoted = quoted != (*at == '"');
        const char *found = !quoted && *at != '\0' ? strchr(candidates, *at) : NULL;
        if (found != NULL)
            counts[found - candidates]++;
    }
    size_t best = 0;
    for (size_t i = 1; i < 3; i++)
        if (counts[i] > counts[best])
            best = i;
    return candidates[best];
}

static bool at_line_end(const struct reader *r)
{
    return r->at >= r->end || *r->at == '\n' || *r->at == '\r';
}

static void pass_line_end(struct reader *r)
{
    if (r->at < r->end && *r->at == '\r')
        r->at++;
    if (r->at < r->end && *r->at == '\n')
        r->at++;
    r->line++;
}

/* A quoted cell: doubled quotes are one, line ends are text. False when the closing quote never comes. */
static bool read_quoted(struct reader *r, struct tp_text *text)
{
    for (r->at++; r->at < r->end; r->at++) {
        if (*r->at == '"') {
            r->at++;
            if (r->at >= r->end || *r->at != '"')
                return true;
        }
        r->line += *r->at == '\n' || (*r->at == '\r' && (r->at + 1 >= r->end || r->at[1] != '\n'));
        tp_text_append(text, r->at, 1);
    }
    return false;
}

static char *trimmed(struct tp_text *text)
{
    const char *start = "";
    size_t length = text->length > 0 ? tp_trim(text->bytes, text->length, &start) : 0;
    char *cell = text->failed ? NULL : tp_utf8_from_any(start, length);
    tp_text_clear(text);
    return cell;
}

static enum tp_status read_cell(struct reader *r, struct row *row, struct tp_error *error)
{
    struct tp_text text = {0};
    if (r->at < r->end && *r->at == '"' && !read_quoted(r, &text)) {
        tp_text_clear(&text);
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' line %zu: a quote is opened and never closed", r->name,
                            row->line);
    }
    while (!at_line_end(r) && *r->at != r->separator)
        tp_text_append(&text, r->at++, 1);
    char *cell = trimmed(&text);
    if (cell == NULL)
        return no_memory(error);
    if (row->count < CELLS_MAX)
        row->cells[row->count++] = cell;
    else
        free(cell);
    return TP_OK;
}

static enum tp_status read_row(struct reader *r, struct row *row, struct tp_error *error)
{
    *row = (struct row){.line = r->line};
    enum tp_status status = read_cell(r, row, error);
    while (status == TP_OK && !at_line_end(r)) {
        r->at++; /* the separator */
        status = read_cell(r, row, error);
    }
    if (status == TP_OK)
        pass_line_end(r);
    else
        row_clear(row);
    return status;
}

static bool is_blank(const struct row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cells[i][0] != '\0')
            return false;
    return true;
}

static enum tp_status read_header(struct reader *r, size_t where[COLUMNS], struct tp_error *error)
{
    struct row row;
    enum tp_status status = read_row(r, &row, error);
    if (status != TP_OK)
        return status;
    for (size_t c = 0; c < COLUMNS; c++)
        where[c] = SIZE_MAX;
    for (size_t i = 0; i < row.count; i++)
        for (size_t k = 0; k < sizeof column_names / sizeof column_names[0]; k++)
            if (strcasecmp(row.cells[i], column_names[k].name) == 0 && where[column_names[k].column] == SIZE_MAX)
                where[column_names[k].column] = i;
    row_clear(&row);
    if (where[COLUMN_FILE] != SIZE_MAX || (where[COLUMN_SCENE] != SIZE_MAX && where[COLUMN_TAKE] != SIZE_MAX))
        return TP_OK;
    return tp_error_set(
        error, TP_ERR_FORMAT, 0,
        "'%s' line 1: the first row must name the columns, and 'file', or 'scene' and 'take', must be among them",
        r->name);
}

/* Moves the cell out of the row. */
static char *take_cell(struct row *row, size_t index)
{
    if (index >= row->count)
        return tp_strdup("");
    char *cell = row->cells[index];
    row->cells[index] = NULL;
    return cell != NULL ? cell : tp_strdup("");
}

static int read_good(const char *text)
{
    for (size_t i = 0; i < sizeof good_words / sizeof good_words[0]; i++)
        if (strcasecmp(text, good_words[i].word) == 0)
            return good_words[i].good;
    return -1;
}

static void entry_clear(struct tp_log_entry *entry)
{
    free(entry->scene);
    free(entry->take);
    free(entry->file);
    free(entry->notes);
    free(entry->start);
}

static enum tp_status add_entry(struct tp_log *log, size_t *capacity, struct row *row, const size_t where[COLUMNS],
                                const char *name, struct tp_error *error)
{
    char *good = take_cell(row, where[COLUMN_GOOD]);
    struct tp_log_entry entry = {.line = row->line,
                                 .scene = take_cell(row, where[COLUMN_SCENE]),
                                 .take = take_cell(row, where[COLUMN_TAKE]),
                                 .file = take_cell(row, where[COLUMN_FILE]),
                                 .notes = take_cell(row, where[COLUMN_NOTES]),
                                 .start = take_cell(row, where[COLUMN_START]),
                                 .good = good != NULL ? read_good(good) : -1};
    bool ok = good != NULL && entry.scene != NULL && entry.take != NULL && entry.file != NULL && entry.notes != NULL &&
              entry.start != NULL && tp_grow(&log->entries, capacity, log->count, sizeof *log->entries);
    free(good);
    if (!ok) {
        entry_clear(&entry);
        return no_memory(error);
    }
    /* A dash or a word says nothing; a wrong time would be taken for one that was compared. */
    if (isdigit((unsigned char)entry.start[0]) && isnan(tp_clock_read(entry.start))) {
        enum tp_status status = tp_error_set(error, TP_ERR_FORMAT, 0,
                                             "'%s' line %zu: '%s' is no time of day; write 10:20, 10:20:30 or "
                                             "10:20:30:12",
                                             name, entry.line, entry.start);
        entry_clear(&entry);
        return status;
    }
    log->entries[log->count++] = entry;
    return TP_OK;
}

enum tp_status tp_log_read_bytes(const char *bytes, size_t size, const char *name, struct tp_log *log,
                                 struct tp_error *error)
{
    *log = (struct tp_log){0};
    struct reader r = {.at = bytes, .end = bytes + size, .name = name, .line = 1};
    if (size >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0)
        r.at += 3;
    if (r.at == r.end)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' line 1: the file is empty", name);
    if (memchr(bytes, '\0', size) != NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is no text file: save the notes as CSV in UTF-8", name);
    r.separator = find_separator(r.at, r.end);
    size_t where[COLUMNS], capacity = 0;
    enum tp_status status = read_header(&r, where, error);
    log->has_file_column = status == TP_OK && where[COLUMN_FILE] != SIZE_MAX;
    while (status == TP_OK && r.at < r.end) {
        struct row row;
        status = read_row(&r, &row, error);
        if (status == TP_OK && !is_blank(&row))
            status = log->count < TP_LOG_ROWS_MAX
                         ? add_entry(log, &capacity, &row, where, name, error)
                         : tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' line %zu: more than %d rows", name, row.line,
                                        TP_LOG_ROWS_MAX);
        row_clear(&row);
    }
    if (status != TP_OK)
        tp_log_clear(log);
    return status;
}

enum tp_status tp_log_read(const char *path, struct tp_log *log, struct tp_error *error)
{
    char *bytes;
    size_t size;
    *log = (struct tp_log){0};
    enum tp_status status = tp_file_read_all(path, TP_LOG_BYTES_MAX, &bytes, &size, error);
    if (status != TP_OK)
        return status;
    status = tp_log_read_bytes(bytes, size, path, log, error);
    free(bytes);
    return status;
}

void tp_log_clear(struct tp_log *log)
{
    for (size_t i = 0; i < log->count; i++)
        entry_clear(&log->entries[i]);
    free(log->entries);
    *log = (struct tp_log){0};
}

const char *tp_log_template(void)
{
    return "scene,take,file,good,notes,start\r\n"
           "12A,1,T001.wav,good,\"boom, wide\",10:20:00\r\n"
           "12A,2,T002.wav,ng,boat horn at the end,10:24:30\r\n";
}
