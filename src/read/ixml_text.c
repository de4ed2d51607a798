/* SPDX-License-Identifier: MIT */
#include "read/ixml_text.h"

#include "base/text.h"

#include <errno.h>
#include <iconv.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Through iconv; NULL with errno ENOMEM when memory is short, else NULL when the encoding is unknown or does not fit.
 */
static char *convert(const char *encoding, const char *bytes, size_t size, size_t *converted)
{
    iconv_t state = iconv_open("UTF-8", encoding);
    if (state == (iconv_t)-1)
        return NULL;
    size_t capacity = size * 4 + 16;
    char *out = malloc(capacity);
    char *to = out;
    size_t room = capacity;
    char *from = tp_strndup(bytes, size); /* iconv's input is not const */
    char *at = from;
    size_t left = size;
    bool memory = out != NULL && from != NULL;
    bool ok = memory && (iconv(state, &at, &left, &to, &room) != (size_t)-1 || errno == EINVAL);
    iconv_close(state);
    free(from);
    if (!ok) {
        free(out);
        errno = memory ? EILSEQ : ENOMEM;
        return NULL;
    }
    *converted = capacity - room;
    return out;
}

/* The name in <?xml … encoding="NAME"?>; "" when there is none or it is unreasonable. */
static void declared_encoding(const char *bytes, size_t size, char name[40])
{
    static const char key[] = "encoding";
    name[0] = '\0';
    const char *end = memchr(bytes, '>', size < 200 ? size : 200);
    if (end == NULL || size < 5 || memcmp(bytes, "<?xml", 5) != 0)
        return;
    const char *at = memmem(bytes, (size_t)(end - bytes), key, sizeof key - 1);
    if (at == NULL)
        return;
    at += sizeof key - 1;
    at += strspn(at, " =\t");
    char quote = *at++;
    size_t length = 0;
    if (quote == '"' || quote == '\'')
        for (; at + length < end && at[length] != quote && length < 39; length++)
            name[length] = at[length];
    name[length] = '\0';
}

static const char *utf16_name(const uint8_t *b, size_t size)
{
    if (size < 4)
        return NULL;
    if ((b[0] == 0xFF && b[1] == 0xFE) || (b[0] == 0xFE && b[1] == 0xFF))
        return "UTF-16";
    if (b[0] == '<' && b[1] == 0)
        return "UTF-16LE";
    return b[0] == 0 && b[1] == '<' ? "UTF-16BE" : NULL;
}

char *tp_ixml_text_utf8(const uint8_t *data, size_t size, size_t *length)
{
    const char *bytes = (const char *)data;
    const char *name = utf16_name(data, size);
    char *whole = NULL;
    size_t whole_size = 0;
    errno = 0;
    if (name != NULL && (whole = convert(name, bytes, size, &whole_size)) == NULL && errno == ENOMEM)
        return NULL;
    const char *start;
    *length = tp_trim(whole != NULL ? whole : bytes, whole != NULL ? whole_size : size, &start);
    char *text = tp_strndup(start, *length);
    free(whole);
    if (text == NULL || tp_utf8_is_valid(text, *length))
        return text;
    char declared[40];
    declared_encoding(text, *length, declared);
    errno = 0;
    char *better =
        declared[0] != '\0' && strcasecmp(declared, "utf-8") != 0 ? convert(declared, text, *length, length) : NULL;
    if (better == NULL && errno != ENOMEM) {
        better = tp_utf8_from_any(text, *length);
        *length = better != NULL ? strlen(better) : 0;
    }
    free(text);
    return better;
}

static bool is_reference(const char *at, const char *end)
{
    static const char *const names[] = {"amp;", "lt;", "gt;", "quot;", "apos;"};
    size_t left = (size_t)(end - at);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (left >= strlen(names[i]) && memcmp(at, names[i], strlen(names[i])) == 0)
            return true;
    size_t digits = left > 1 && at[0] == '#' ? 1 : 0;
    while (digits > 0 && digits < left && digits < 10 && strchr("0123456789abcdefABCDEFx", at[digits]) != NULL)
        digits++;
    return digits > 1 && digits < left && at[digits] == ';';
}

bool tp_ixml_text_mend(char **text, size_t *length, bool *mended)
{
    struct tp_text out = {0};
    const char *end = *text + *length;
    *mended = false;
    const char *from = *text;
    for (const char *at = *text; (at = memchr(at, '&', (size_t)(end - at))) != NULL; at++) {
        if (is_reference(at + 1, end))
            continue;
        tp_text_append(&out, from, (size_t)(at - from));
        tp_text_add(&out, "&amp;");
        from = at + 1;
        *mended = true;
    }
    if (!*mended)
        return true;
    tp_text_append(&out, from, (size_t)(end - from));
    size_t size = out.length;
    char *bytes = tp_text_take(&out);
    if (bytes == NULL)
        return false;
    free(*text);
    *text = bytes;
    *length = size;
    return true;
}
