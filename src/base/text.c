/* SPDX-License-Identifier: MIT */
#include "base/text.h"

#include "base/num.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool fail(struct tp_text *text)
{
    text->failed = true;
    if (text->lost != NULL)
        *text->lost = true;
    return false;
}

static bool reserve(struct tp_text *text, size_t more)
{
    if (text->failed)
        return false;
    if (more >= SIZE_MAX - text->length - 1)
        return fail(text);
    size_t need = text->length + more + 1;
    if (need <= text->capacity)
        return true;
    size_t capacity = text->capacity < 64 ? 64 : text->capacity;
    while (capacity < need)
        capacity = capacity > SIZE_MAX / 2 ? need : capacity * 2;
    char *bytes = realloc(text->bytes, capacity);
    if (bytes == NULL)
        return fail(text);
    text->bytes = bytes;
    text->capacity = capacity;
    return true;
}

void tp_text_append(struct tp_text *text, const char *bytes, size_t length)
{
    if (!reserve(text, length))
        return;
    if (length > 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void tp_text_add(struct tp_text *text, const char *string)
{
    tp_text_append(text, string, strlen(string));
}

static void add_formatted(struct tp_text *text, const char *format, va_list values)
{
    va_list again;
    va_copy(again, values);
    int length = vsnprintf(NULL, 0, format, values);
    if (length < 0) {
        fail(text);
    } else if (reserve(text, (size_t)length)) {
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
}

void tp_text_format(struct tp_text *text, const char *format, ...)
{
    va_list values;
    va_start(values, format);
    add_formatted(text, format, values);
    va_end(values);
}

void tp_text_number(struct tp_text *text, double value, int decimals, const char *absent)
{
    char number[TP_NUMBER_SIZE];
    tp_text_add(text, isfinite(value) ? tp_number_text(number, value, decimals) : absent);
}

char *tp_text_take(struct tp_text *text)
{
    tp_text_append(text, "", 0);
    char *bytes = text->failed ? NULL : text->bytes;
    if (text->failed)
        free(text->bytes);
    *text = (struct tp_text){.lost = text->lost};
    return bytes;
}

void tp_text_clear(struct tp_text *text)
{
    free(text->bytes);
    *text = (struct tp_text){.lost = text->lost};
}

char *tp_strdup(const char *string)
{
    return tp_strndup(string, strlen(string));
}

char *tp_strndup(const char *bytes, size_t length)
{
    if (length == SIZE_MAX)
        return NULL;
    char *copy = malloc(length + 1);
    if (copy == NULL)
        return NULL;
    if (length > 0)
        memcpy(copy, bytes, length);
    copy[length] = '\0';
    return copy;
}

char *tp_vformat(const char *format, va_list values)
{
    struct tp_text text = {0};
    add_formatted(&text, format, values);
    return tp_text_take(&text);
}

char *tp_format(const char *format, ...)
{
    va_list values;
    va_start(values, format);
    char *text = tp_vformat(format, values);
    va_end(values);
    return text;
}

size_t tp_utf8_length(const char *bytes, size_t available)
{
    if (available == 0)
        return 0;
    const unsigned char *b = (const unsigned char *)bytes;
    if (b[0] < 0x80)
        return 1;
    size_t length = b[0] >= 0xF0 ? 4 : b[0] >= 0xE0 ? 3 : 2;
    if (b[0] < 0xC2 || b[0] > 0xF4 || available < length)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((b[i] & 0xC0) != 0x80)
            return 0;
    if ((b[0] == 0xE0 && b[1] < 0xA0) || (b[0] == 0xED && b[1] > 0x9F) || (b[0] == 0xF0 && b[1] < 0x90) ||
        (b[0] == 0xF4 && b[1] > 0x8F))
        return 0;
    return length;
}

bool tp_utf8_is_valid(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length;) {
        size_t step = tp_utf8_length(bytes + i, length - i);
        if (step == 0)
            return false;
        i += step;
    }
    return true;
}

char *tp_utf8_repair(const char *bytes, size_t length)
{
    struct tp_text text = {0};
    for (size_t i = 0; i < length;) {
        size_t step = tp_utf8_length(bytes + i, length - i);
        if (step == 0)
            tp_text_add(&text, "\xEF\xBF\xBD");
        else
            tp_text_append(&text, bytes + i, step);
        i += step == 0 ? 1 : step;
    }
    return tp_text_take(&text);
}

/* Code points of Windows-1252 bytes 0x80-0x9F; 0 = unassigned. Source: Unicode mapping file CP1252.TXT, from memory. */
static const uint16_t windows_1252[32] = {0x20AC, 0,      0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021,
                                          0x02C6, 0x2030, 0x0160, 0x2039, 0x0152, 0,      0x017D, 0,
                                          0,      0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014,
                                          0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0,      0x017E, 0x0178};

char *tp_utf8_from_any(const char *bytes, size_t length)
{
    if (tp_utf8_is_valid(bytes, length))
        return tp_strndup(bytes, length);
    struct tp_text text = {0};
    for (size_t i = 0; i < length; i++) {
        unsigned char byte = (unsigned char)bytes[i];
        unsigned code = byte >= 0x80 && byte < 0xA0 ? windows_1252[byte - 0x80] : byte;
        if (code == 0 && byte != 0)
            code = 0xFFFD;
        char out[3];
        size_t size = 0;
        if (code < 0x80) {
            out[size++] = (char)code;
        } else if (code < 0x800) {
            out[size++] = (char)(0xC0 | code >> 6);
            out[size++] = (char)(0x80 | (code & 0x3F));
        } else {
            out[size++] = (char)(0xE0 | code >> 12);
            out[size++] = (char)(0x80 | (code >> 6 & 0x3F));
            out[size++] = (char)(0x80 | (code & 0x3F));
        }
        tp_text_append(&text, out, size);
    }
    return tp_text_take(&text);
}

size_t tp_utf8_columns(const char *string)
{
    size_t columns = 0;
    for (const unsigned char *b = (const unsigned char *)string; *b != 0; b++) {
        bool continuation = (*b & 0xC0) == 0x80;
        bool combining = *b == 0xCC || (*b == 0xCD && b[1] < 0xB0);
        if (!continuation && !combining)
            columns++;
    }
    return columns;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '\0';
}

size_t tp_trim(const char *bytes, size_t length, const char **start)
{
    while (length > 0 && is_blank(bytes[length - 1]))
        length--;
    while (length > 0 && is_blank(bytes[0])) {
        bytes++;
        length--;
    }
    *start = bytes;
    return length;
}

void tp_hex(const uint8_t *bytes, size_t size, char *out)
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < size; i++) {
        out[2 * i] = digits[bytes[i] >> 4];
        out[2 * i + 1] = digits[bytes[i] & 15];
    }
    out[2 * size] = '\0';
}

bool tp_grow(void *items_pointer, size_t *capacity, size_t count, size_t item_size)
{
    if (count < *capacity)
        return true;
    size_t larger = *capacity < 8 ? 8 : *capacity * 2;
    size_t size;
    if (larger <= *capacity || !tp_size_mul(larger, item_size, &size))
        return false;
    void *items;
    memcpy(&items, items_pointer, sizeof items);
    items = realloc(items, size);
    if (items == NULL)
        return false;
    memcpy(items_pointer, &items, sizeof items);
    *capacity = larger;
    return true;
}
