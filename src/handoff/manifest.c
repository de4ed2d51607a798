/* SPDX-License-Identifier: MIT */
#include "handoff/manifest.h"

#include <stdlib.h>
#include <string.h>

/* How a line of each hash looks. */
static const struct form {
    const char *tag;     /* before the name where the name comes first */
    const char *prefix;  /* before the digits where they come first */
    const char *escaped; /* a name with one of these is written with escapes */
    bool tagged;         /* the name is written first */
} forms[TP_HASH_COUNT] = {
    [TP_HASH_SHA256] = {"SHA256", "", "\\\n\r", false},
    [TP_HASH_XXH64] = {"XXH64", "", "\n\r", false},
    [TP_HASH_XXH3] = {"XXH3", "XXH3_", "\n", true},
};

static void add_escaped(struct tp_text *text, const char *path)
{
    for (const char *at = path; *at != '\0';) {
        size_t plain = strcspn(at, "\\\n\r");
        tp_text_append(text, at, plain);
        at += plain;
        if (*at != '\0')
            tp_text_add(text, *at == '\\' ? "\\\\" : *at == '\n' ? "\\n" : "\\r");
        at += *at != '\0';
    }
}

void tp_manifest_line(struct tp_text *text, enum tp_hash hash, const char *hex, const char *path)
{
    const struct form *form = &forms[hash];
    bool escape = strpbrk(path, form->escaped) != NULL;
    tp_text_add(text, escape ? "\\" : "");
    if (form->tagged)
        tp_text_format(text, "%s (", form->tag);
    else
        tp_text_format(text, "%s%s  ", form->prefix, hex);
    if (escape)
        add_escaped(text, path);
    else
        tp_text_add(text, path);
    if (form->tagged)
        tp_text_format(text, ") = %s", hex);
    tp_text_add(text, "\n");
}

/* In place. False for an escape that does not exist. */
static bool unescape(char *name)
{
    char *to = name;
    for (const char *from = name; *from != '\0'; from++) {
        if (*from != '\\') {
            *to++ = *from;
            continue;
        }
        from++;
        if (*from != '\\' && *from != 'n' && *from != 'r')
            return false;
        *to++ = (char)(*from == 'n' ? '\n' : *from == 'r' ? '\r' : '\\');
    }
    *to = '\0';
    return true;
}

/* Splits "SHA256 (name) = hex"; the name may hold ") = " itself, so the last one counts. */
static bool split_tagged(char *line, enum tp_hash hash, char **name, char **hex)
{
    size_t length = strlen(line), tag = strlen(forms[hash].tag), digits = tp_hash_kinds[hash].digits;
    if (strncmp(line, forms[hash].tag, tag) != 0 || length < tag + 2 + 4 + digits || strncmp(line + tag, " (", 2) != 0)
        return false;
    char *tail = line + length - digits - 4;
    if (strncmp(tail, ") = ", 4) != 0)
        return false;
    *tail = '\0';
    *name = line + tag + 2;
    *hex = tail + 4;
    return true;
}

static bool split_plain(char *line, enum tp_hash hash, char **name, char **hex)
{
    size_t prefix = strlen(forms[hash].prefix), digits = tp_hash_kinds[hash].digits;
    if (strncmp(line, forms[hash].prefix, prefix) != 0)
        return false;
    char *at = line + prefix, *end = at + digits;
    if (strspn(at, "0123456789abcdefABCDEF") != digits || end[0] != ' ' || (end[1] != ' ' && end[1] != '*'))
        return false;
    *end = '\0';
    *hex = at;
    *name = end + 2;
    return true;
}

static enum tp_status read_line(struct tp_listing *listing, char *line, size_t length, struct tp_error *error)
{
    char *name = NULL, *hex = NULL;
    if (strlen(line) != length)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "there is a NUL byte in the line");
    if (length == 0 || line[0] == '#')
        return TP_OK;
    bool escaped = line[0] == '\\';
    line += escaped;
    enum tp_hash hash = 0;
    while (hash < TP_HASH_COUNT && !split_tagged(line, hash, &name, &hex) && !split_plain(line, hash, &name, &hex))
        hash++;
    if (hash == TP_HASH_COUNT)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "this is no line of SHA-256, XXH64 or XXH3 checksums");
    if (escaped && !unescape(name))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the name holds a wrong escape");
    const char *hashes[TP_HASH_COUNT] = {NULL};
    hashes[hash] = hex;
    return tp_listing_add(listing, name, hashes, NULL, error);
}

/* A file that passed through another system may have CR LF throughout; a lone CR belongs to a name. */
static bool has_crlf_lines(const char *bytes, size_t size)
{
    const char *end = memchr(bytes, '\n', size);
    return end != NULL && end > bytes && end[-1] == '\r';
}

static enum tp_status read_lines(struct tp_listing *listing, char *bytes, size_t size, struct tp_error *error)
{
    bool crlf = has_crlf_lines(bytes, size);
    size_t number = 0;
    for (char *at = bytes, *end = bytes + size; at < end;) {
        char *stop = memchr(at, '\n', (size_t)(end - at));
        char *next = stop != NULL ? stop + 1 : end;
        size_t length = (size_t)((stop != NULL ? stop : end) - at);
        if (crlf && length > 0 && at[length - 1] == '\r')
            length--;
        at[length] = '\0';
        number++;
        struct tp_error cause = {0};
        enum tp_status status = read_line(listing, at, length, &cause);
        if (status != TP_OK) {
            tp_error_set(error, status, 0, "line %zu: %s", number, tp_error_text(&cause));
            tp_error_clear(&cause);
            return status;
        }
        at = next;
    }
    return tp_listing_settle(listing, error);
}

enum tp_status tp_manifest_read(struct tp_listing *listing, const char *bytes, size_t size, const char *name,
                                struct tp_error *error)
{
    *listing = (struct tp_listing){0};
    char *copy = tp_strndup(bytes, size);
    if (copy == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", name);
    struct tp_error cause = {0};
    enum tp_status status = read_lines(listing, copy, size, &cause);
    free(copy);
    if (status != TP_OK) {
        tp_error_set(error, status, 0, "cannot read the manifest '%s': %s", name, tp_error_text(&cause));
        tp_listing_clear(listing);
    }
    tp_error_clear(&cause);
    return status;
}
