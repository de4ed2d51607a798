/* SPDX-License-Identifier: MIT */
#include "handoff/manifest.h"

#include <stdlib.h>
#include <string.h>

void tp_manifest_line(struct tp_text *text, const char *hash, const char *path)
{
    bool escape = strpbrk(path, "\\\n\r") != NULL;
    tp_text_format(text, "%s%s  ", escape ? "\\" : "", hash);
    for (const char *at = path; *at != '\0';) {
        size_t plain = strcspn(at, "\\\n\r");
        tp_text_append(text, at, plain);
        at += plain;
        if (*at != '\0')
            tp_text_add(text, *at == '\\' ? "\\\\" : *at == '\n' ? "\\n" : "\\r");
        at += *at != '\0';
    }
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
static bool split_tagged(char *line, char **name, char **hash)
{
    static const char start[] = "SHA256 (";
    size_t length = strlen(line);
    if (strncmp(line, start, sizeof start - 1) != 0 || length < sizeof start - 1 + 4 + 64)
        return false;
    char *tail = line + length - 64 - 4;
    if (strncmp(tail, ") = ", 4) != 0)
        return false;
    *tail = '\0';
    *name = line + sizeof start - 1;
    *hash = tail + 4;
    return true;
}

static bool split_plain(char *line, char **name, char **hash)
{
    size_t digits = strspn(line, "0123456789abcdefABCDEF");
    if ((digits != 64 && digits != 16) || line[digits] != ' ' || (line[digits + 1] != ' ' && line[digits + 1] != '*'))
        return false;
    line[digits] = '\0';
    *hash = line;
    *name = line + digits + 2;
    return true;
}

static enum tp_status read_line(struct tp_listing *listing, char *line, size_t length, struct tp_error *error)
{
    char *name, *hash;
    if (strlen(line) != length)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "there is a NUL byte in the line");
    if (length == 0 || line[0] == '#')
        return TP_OK;
    bool escaped = line[0] == '\\';
    line += escaped;
    if (!split_tagged(line, &name, &hash) && !split_plain(line, &name, &hash))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "this is no line of SHA-256 or XXH64 checksums");
    if (escaped && !unescape(name))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the name holds a wrong escape");
    bool short_hash = strlen(hash) == 16;
    return tp_listing_add(listing, name, short_hash ? NULL : hash, short_hash ? hash : NULL, NULL, error);
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
