/* SPDX-License-Identifier: MIT */
#include "take/names.h"

#include "take/group.h"
#include "take/parts.h"

#include <string.h>
#include <strings.h>

enum { NAME_MAX_BYTES = 255, PARTS_MAX = 32, STEPS_MAX = 200000 };
enum part { PART_TEXT, PART_SCENE, PART_TAKE, PART_TRACK, PART_DATE, PART_N };

struct pattern_part {
    enum part kind;
    const char *text; /* of PART_TEXT */
    size_t length;
};

static const struct {
    const char *word;
    enum part kind;
} words[] = {
    {"{scene}", PART_SCENE}, {"{take}", PART_TAKE}, {"{track}", PART_TRACK}, {"{date}", PART_DATE}, {"{n}", PART_N}};

static size_t word_at(const char *at, enum part *kind)
{
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        size_t length = strlen(words[i].word);
        if (strncmp(at, words[i].word, length) == 0) {
            *kind = words[i].kind;
            return length;
        }
    }
    return 0;
}

/* 0 when it has too many parts. */
static size_t split_pattern(const char *pattern, struct pattern_part parts[PARTS_MAX])
{
    size_t count = 0;
    for (const char *at = pattern; *at != '\0';) {
        if (count == PARTS_MAX)
            return 0;
        enum part kind;
        size_t length = word_at(at, &kind);
        if (length > 0) {
            parts[count++] = (struct pattern_part){.kind = kind};
            at += length;
            continue;
        }
        enum part next;
        while (at[length] != '\0' && word_at(at + length, &next) == 0)
            length++;
        parts[count++] = (struct pattern_part){.kind = PART_TEXT, .text = at, .length = length};
        at += length;
    }
    return count;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}
static bool is_letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (unsigned char)c >= 0x80;
}

static bool all_digits(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (!is_digit(text[i]))
            return false;
    return length > 0;
}

static bool is_date(const char *text, size_t length)
{
    if (length == 6 || length == 8)
        return all_digits(text, length);
    return length == 10 && strchr("-_.", text[4]) != NULL && text[7] == text[4] && all_digits(text, 4) &&
           all_digits(text + 5, 2) && all_digits(text + 8, 2);
}

static bool fits(enum part kind, const char *text, size_t length)
{
    if (length == 0 || length >= TP_NAME_PART)
        return false;
    if (kind == PART_DATE)
        return is_date(text, length);
    if (kind == PART_N)
        return all_digits(text, length);
    for (size_t i = 0; kind != PART_SCENE && i < length; i++)
        if (!is_digit(text[i]) && !is_letter(text[i]))
            return false;
    return true;
}

struct match {
    const struct pattern_part *parts;
    size_t part_count;
    const char *name;
    size_t length;
    size_t starts[PARTS_MAX + 1];
    /* What failed from here once fails again, which keeps the search short; not so when a repeated word ties the rest
     * to what came before: then the steps are counted instead. */
    bool repeats;
    size_t steps;
    bool failed[PARTS_MAX + 1][NAME_MAX_BYTES + 1];
};

/* The same word twice means the same text. */
static bool agrees_with_earlier(const struct match *m, size_t part, size_t at, size_t length)
{
    for (size_t i = 0; i < part; i++)
        if (m->parts[i].kind == m->parts[part].kind &&
            (m->starts[i + 1] - m->starts[i] != length || memcmp(m->name + m->starts[i], m->name + at, length) != 0))
            return false;
    return true;
}

static bool match_from(struct match *m, size_t part, size_t at)
{
    m->starts[part] = at;
    if (part == m->part_count)
        return at == m->length;
    if (m->failed[part][at])
        return false;
    const struct pattern_part *p = &m->parts[part];
    if (p->kind == PART_TEXT) {
        if (p->text != NULL && m->length - at >= p->length && memcmp(m->name + at, p->text, p->length) == 0 &&
            match_from(m, part + 1, at + p->length))
            return true;
    } else {
        for (size_t length = 1; length <= m->length - at && (!m->repeats || m->steps++ < STEPS_MAX); length++)
            if (fits(p->kind, m->name + at, length) && agrees_with_earlier(m, part, at, length) &&
                match_from(m, part + 1, at + length))
                return true;
    }
    m->failed[part][at] = !m->repeats;
    return false;
}

static void set_number(struct tp_name_fields *fields, const char *name, size_t at, size_t digits)
{
    fields->number = 0;
    for (size_t i = 0; i < digits && digits <= 18; i++)
        fields->number = fields->number * 10 + (uint64_t)(name[at + i] - '0');
    fields->has_number = digits > 0 && digits <= 18;
    fields->number_at = at;
    fields->number_digits = digits;
}

static void read_by_habit(const char *name, size_t length, struct tp_name_fields *fields)
{
    size_t end = length;
    while (end > 0 && !is_digit(name[end - 1]))
        end--;
    size_t start = end;
    while (start > 0 && is_digit(name[start - 1]))
        start--;
    set_number(fields, name, start, end - start);
}

static void keep(char out[TP_NAME_PART], const char *text, size_t length)
{
    memcpy(out, text, length);
    out[length] = '\0';
}

static void keep_parts(const struct match *m, struct tp_name_fields *fields)
{
    for (size_t i = 0; i < m->part_count; i++) {
        const char *text = m->name + m->starts[i];
        size_t length = m->starts[i + 1] - m->starts[i];
        switch (m->parts[i].kind) {
        case PART_TEXT: break;
        case PART_SCENE: keep(fields->scene, text, length); break;
        case PART_TAKE: keep(fields->take, text, length); break;
        case PART_TRACK: keep(fields->track, text, length); break;
        case PART_DATE: keep(fields->date, text, length); break;
        case PART_N: set_number(fields, m->name, m->starts[i], length); break;
        }
    }
}

static bool follows(const char *pattern, const char *name, size_t length, struct tp_name_fields *fields)
{
    struct pattern_part parts[PARTS_MAX];
    struct match m = {.parts = parts, .name = name, .length = length};
    if (length > NAME_MAX_BYTES || (m.part_count = split_pattern(pattern, parts)) == 0)
        return false;
    for (size_t i = 0; i < m.part_count; i++)
        for (size_t k = 0; k < i; k++)
            m.repeats = m.repeats || (parts[i].kind != PART_TEXT && parts[i].kind == parts[k].kind);
    if (!match_from(&m, 0, 0))
        return false;
    keep_parts(&m, fields);
    return true;
}

static const char *base_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

static size_t without_extension(const char *base)
{
    const char *dot = strrchr(base, '.');
    return dot != NULL && dot != base ? (size_t)(dot - base) : strlen(base);
}

bool tp_name_read(const char *pattern, const char *name, struct tp_name_fields *fields)
{
    const char *base = base_of(name);
    size_t length = without_extension(base);
    *fields = (struct tp_name_fields){0};
    read_by_habit(base, length, fields);
    return pattern == NULL || pattern[0] == '\0' || follows(pattern, base, length, fields);
}

bool tp_name_read_part(const char *pattern, const char *name, struct tp_name_fields *fields)
{
    struct tp_part_name part;
    if (pattern == NULL || pattern[0] == '\0' || !tp_part_of_name(name, &part))
        return tp_name_read(pattern, name, fields);
    const char *base = base_of(name);
    *fields = (struct tp_name_fields){0};
    read_by_habit(base, without_extension(base), fields);
    return follows(pattern, base, part.stem_length - (size_t)(base - name), fields) ||
           tp_name_read(pattern, name, fields);
}

/* Whether `was`, so long, is the base name without the track or part that a recorder puts behind it. */
static bool is_stem_of(const char *was, size_t length, const char *is)
{
    enum tp_track_kind kind;
    struct tp_part_name part;
    if (strncasecmp(was, is, length) != 0)
        return false;
    return (tp_group_stem(is, &kind) == length && kind != TP_TRACK_NONE) ||
           (tp_part_of_name(is, &part) && part.stem_length == length);
}

bool tp_name_differs(const char *original, const char *name)
{
    if (original == NULL)
        return false;
    const char *back = strrchr(original, '\\');
    const char *was = base_of(back != NULL ? back + 1 : original), *is = base_of(name);
    size_t was_length = without_extension(was), is_length = without_extension(is);
    if (*was == '\0' || strcasecmp(was, is) == 0)
        return false;
    bool same_stem = was_length == is_length && strncasecmp(was, is, is_length) == 0;
    bool had_no_extension = strlen(was) == is_length && strncasecmp(was, is, is_length) == 0;
    return !same_stem && !had_no_extension && !is_stem_of(was, was_length, is);
}
