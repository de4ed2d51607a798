/* SPDX-License-Identifier: MIT */
/*
 * The INI file of a spec. libinih splits the lines; it gives its handler no line number and cuts long lines in two, so
 * it is fed by a reader of ours that counts lines and refuses what it could misread.
 */
#include "base/io.h"
#include "base/text.h"
#include "judge/spec_table.h"

#include <ini.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/suggest.h>

#define SPEC_BYTES_MAX ((size_t)1 << 20)
#define ERRORS_MAX 20
/* libinih's own buffer is 200 bytes unless a distribution chose otherwise: the limit is the same everywhere this way.
 */
#define LINE_BYTES_MAX 197

struct line_error {
    unsigned line;
    char *text;
};

struct spec_reader {
    struct tp_spec *spec;
    const char *name;
    const char *at, *end;
    unsigned line;
    unsigned *set_on_line; /* one for each row; 0 = not set */
    struct line_error errors[ERRORS_MAX];
    size_t error_count;
    bool no_memory;
};

static bool has_error_on(const struct spec_reader *reader, unsigned line)
{
    for (size_t i = 0; i < reader->error_count; i++) {
        if (reader->errors[i].line == line)
            return true;
    }
    return false;
}

/* Takes over `text`. Errors are kept in line order; the first of a line stays. */
static void add_error(struct spec_reader *reader, unsigned line, char *text)
{
    if (text == NULL)
        reader->no_memory = true;
    if (text == NULL || reader->error_count == ERRORS_MAX || has_error_on(reader, line)) {
        free(text);
        return;
    }
    size_t place = reader->error_count++;
    for (; place > 0 && reader->errors[place - 1].line > line; place--)
        reader->errors[place] = reader->errors[place - 1];
    reader->errors[place] = (struct line_error){line, text};
}

static bool section_is_known(const char *section, size_t length)
{
    for (const struct tp_spec_key *key = tp_spec_keys(); key->key != NULL; key++) {
        if (strlen(key->section) == length && memcmp(key->section, section, length) == 0)
            return true;
    }
    return false;
}

/* A section without keys never reaches the handler, so unknown ones are found here. */
static void check_section(struct spec_reader *reader, const char *line, size_t length)
{
    const char *close = memchr(line, ']', length);
    if (close == NULL)
        return;
    size_t name_length = (size_t)(close - line) - 1;
    if (section_is_known(line + 1, name_length))
        return;
    char *name = tp_strndup(line + 1, name_length);
    struct tp_suggestion near = {.word = name};
    for (const struct tp_spec_key *key = tp_spec_keys(); key->key != NULL && name != NULL; key++)
        tp_suggest(&near, key->section);
    add_error(reader, reader->line,
              name == NULL        ? NULL
              : near.name != NULL ? tp_format("there is no section [%s]; did you mean [%s]?", name, near.name)
                                  : tp_format("there is no section [%s]", name));
    free(name);
}

static bool has_control(const char *line, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)line[i];
        if ((byte < 0x20 && byte != '\t') || byte == 0x7F)
            return true;
    }
    return false;
}

/* What libinih shall see of a line: UTF-8, or nothing of a line that is refused. */
static size_t accept_line(struct spec_reader *reader, const char *line, size_t length, char *buffer, size_t size)
{
    char *text = tp_utf8_from_any(line, length);
    if (text == NULL) {
        reader->no_memory = true;
        return 0;
    }
    size_t text_length = strlen(text), accepted = 0;
    if (memchr(line, '\0', length) != NULL)
        add_error(reader, reader->line, tp_format("the line holds a NUL byte: save the file as UTF-8 text"));
    else if (has_control(text, text_length)) /* some of them are blanks to libinih */
        add_error(reader, reader->line, tp_format("the line holds a control character: save the file as plain text"));
    else if (text_length > LINE_BYTES_MAX || text_length + 2 > size)
        add_error(reader, reader->line, tp_format("the line is longer than %d bytes", LINE_BYTES_MAX));
    else
        accepted = text_length;
    if (accepted > 0 && text[0] == '[')
        check_section(reader, text, accepted);
    memcpy(buffer, text, accepted);
    free(text);
    return accepted;
}

/* Same contract as fgets: one line with its line feed, or NULL at the end. */
static char *read_line(char *buffer, int size, void *user)
{
    struct spec_reader *reader = user;
    if (reader->at == reader->end)
        return NULL;
    reader->line++;
    const char *feed = memchr(reader->at, '\n', (size_t)(reader->end - reader->at));
    const char *line;
    const char *stop = feed != NULL ? feed : reader->end;
    /* Blanks in front would make libinih continue the value of the line before. */
    size_t length = tp_trim(reader->at, (size_t)(stop - reader->at), &line);
    length = accept_line(reader, line, length, buffer, (size_t)size);
    reader->at = feed != NULL ? feed + 1 : reader->end;
    buffer[length] = '\n';
    buffer[length + 1] = '\0';
    return buffer;
}

static char *unknown_key_text(const char *section, const char *key)
{
    for (const struct tp_spec_key *known = tp_spec_keys(); known->key != NULL; known++) {
        if (strcmp(known->key, key) == 0)
            return tp_format("'%s' belongs in section [%s]", key, known->section);
    }
    struct tp_suggestion near = {.word = key};
    const struct tp_spec_key *meant = NULL;
    for (const struct tp_spec_key *known = tp_spec_keys(); known->key != NULL; known++) {
        tp_suggest(&near, known->key);
        if (near.name == known->key)
            meant = known;
    }
    if (meant == NULL)
        return tp_format("there is no key '%s' in section [%s]", key, section);
    bool is_here = strcmp(meant->section, section) == 0;
    return tp_format("there is no key '%s' in section [%s]; did you mean '%s'%s%s%s?", key, section, meant->key,
                     is_here ? "" : " in section [", is_here ? "" : meant->section, is_here ? "" : "]");
}

/* libinih's handler: 0 = error. */
static int take_value(void *user, const char *section, const char *key, const char *value)
{
    struct spec_reader *reader = user;
    const struct tp_spec_key *keys = tp_spec_keys();
    size_t index = 0;
    while (keys[index].key != NULL && (strcmp(keys[index].key, key) != 0 || strcmp(keys[index].section, section) != 0))
        index++;
    if (*section != '\0' && !section_is_known(section, strlen(section)))
        return 0; /* its first line has been reported */
    if (keys[index].key == NULL) {
        add_error(reader, reader->line, unknown_key_text(section, key));
        return 0;
    }
    if (reader->set_on_line[index] != 0) {
        add_error(reader, reader->line,
                  tp_format("'%s' is given twice; the first is on line %u", key, reader->set_on_line[index]));
        return 0;
    }
    reader->set_on_line[index] = reader->line;
    /* What is accepted must be accepted again when it is printed: with blanks around the sign. */
    if (strlen(key) + strlen(" = ") + strlen(value) > LINE_BYTES_MAX) {
        add_error(reader, reader->line, tp_format("the line is longer than %d bytes", LINE_BYTES_MAX));
        return 0;
    }
    struct tp_error error = {0};
    enum tp_status status = tp_spec_value_read(reader->spec, index, value, &error);
    if (status == TP_ERR_MEMORY)
        reader->no_memory = true;
    else if (status != TP_OK)
        add_error(reader, reader->line, tp_strdup(tp_error_text(&error)));
    tp_error_clear(&error);
    return status == TP_OK;
}

/* Line of the later of two keys, 0 when neither was set. */
static unsigned later_line(const struct spec_reader *reader, const char *one, const char *other)
{
    unsigned line = 0;
    const struct tp_spec_key *keys = tp_spec_keys();
    for (size_t i = 0; keys[i].key != NULL; i++) {
        bool asked = strcmp(keys[i].key, one) == 0 || strcmp(keys[i].key, other) == 0;
        if (asked && reader->set_on_line[i] > line)
            line = reader->set_on_line[i];
    }
    return line;
}

static void check_order(struct spec_reader *reader, const char *low_key, const char *high_key, double low, double high)
{
    if (low > high)
        add_error(reader, later_line(reader, low_key, high_key),
                  tp_format("%s is above %s: no recording could pass", low_key, high_key));
}

/* Values that are each allowed but cannot be met together. */
static void check_ranges(struct spec_reader *reader)
{
    const struct tp_spec *spec = reader->spec;
    check_order(reader, "working_level_min_dbfs", "working_level_max_dbfs", spec->working_level_min_dbfs,
                spec->working_level_max_dbfs);
    check_order(reader, "safety_below_min_db", "safety_below_max_db", spec->safety_below_min_db,
                spec->safety_below_max_db);
    bool depth_known = spec->bit_depth != 0;
    bool float_depth = spec->bit_depth == 32 || spec->bit_depth == 64;
    unsigned line = later_line(reader, "encoding", "bit_depth");
    if (depth_known && spec->encoding == TP_ENCODING_FLOAT && !float_depth)
        add_error(
            reader, line,
            tp_format("float has 32 or 64 bits, but bit_depth is %u: set it in [format]", (unsigned)spec->bit_depth));
    if (depth_known && spec->encoding == TP_ENCODING_PCM && spec->bit_depth > 32)
        add_error(reader, line, tp_format("PCM has at most 32 bits, but bit_depth is %u", (unsigned)spec->bit_depth));
}

static enum tp_status report_errors(const struct spec_reader *reader, struct tp_error *error)
{
    struct tp_text text = {0};
    for (size_t i = 0; i < reader->error_count; i++)
        tp_text_format(&text, "%s'%s' line %u: %s", i > 0 ? "\n" : "", reader->name, reader->errors[i].line,
                       reader->errors[i].text);
    char *message = tp_text_take(&text);
    enum tp_status status = tp_error_set(error, TP_ERR_SPEC, 0, "%s", message != NULL ? message : reader->name);
    free(message);
    return status;
}

static enum tp_status read_lines(struct spec_reader *reader, struct tp_error *error)
{
    int first_bad = ini_parse_stream(read_line, reader, take_value, reader);
    if (first_bad > 0)
        add_error(reader, (unsigned)first_bad, tp_strdup("not a '[section]', a 'key = value' or a '# comment'"));
    if (reader->error_count == 0)
        check_ranges(reader);
    if (reader->no_memory || first_bad < 0)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", reader->name);
    return reader->error_count > 0 ? report_errors(reader, error) : TP_OK;
}

enum tp_status tp_spec_read_bytes(struct tp_spec *spec, const char *bytes, size_t size, const char *name,
                                  struct tp_error *error)
{
    enum tp_status status = tp_spec_init(spec, error);
    if (status != TP_OK)
        return status;
    spec->is_default = false;
    bool has_mark = size >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0; /* UTF-8 byte order mark */
    struct spec_reader reader = {.spec = spec, .name = name, .at = bytes + (has_mark ? 3 : 0), .end = bytes + size};
    reader.set_on_line = calloc(tp_spec_row_count(), sizeof *reader.set_on_line);
    if (reader.set_on_line == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", name);
    else
        status = read_lines(&reader, error);
    for (size_t i = 0; i < reader.error_count; i++)
        free(reader.errors[i].text);
    free(reader.set_on_line);
    if (status != TP_OK)
        tp_spec_clear(spec);
    return status;
}

enum tp_status tp_spec_read_file(struct tp_spec *spec, const char *path, struct tp_error *error)
{
    char *bytes;
    size_t size;
    enum tp_status status = tp_file_read_all(path, SPEC_BYTES_MAX, &bytes, &size, error);
    if (status != TP_OK)
        return status;
    status = tp_spec_read_bytes(spec, bytes, size, path, error);
    free(bytes);
    return status;
}
