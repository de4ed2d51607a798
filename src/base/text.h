/* SPDX-License-Identifier: MIT */
/*
 * Text: a growing buffer, UTF-8 repair, and nothing about any output format (escaping lives with each format
 * in report/).
 *
 * struct tp_text invariant: `bytes` is NULL or NUL-terminated with bytes[length] == 0. `failed` is sticky:
 * after an allocation fails, appends do nothing and tp_text_take() gives NULL, so that callers check once. A writer
 * that puts together many texts points `lost` of each at one flag of its own and asks that once, at the end.
 */
#ifndef TP_BASE_TEXT_H
#define TP_BASE_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>

struct tp_text {
    char *bytes;
    size_t length, capacity;
    bool failed;
    bool *lost; /* set to true when an append fails; NULL when nobody asks; kept by take and clear */
};

void tp_text_append(struct tp_text *text, const char *bytes, size_t length);
void tp_text_add(struct tp_text *text, const char *string);
void tp_text_format(struct tp_text *text, const char *format, ...) TP_PRINTF(2, 3);
/* "-23.0" by tp_number_text; an absent level adds `absent`. */
void tp_text_number(struct tp_text *text, double value, int decimals, const char *absent);
/* Hands the string over (never NULL unless an allocation failed) and empties the buffer. */
char *tp_text_take(struct tp_text *text);
void tp_text_clear(struct tp_text *text);

/* Heap copies; NULL only when memory is short. */
char *tp_strdup(const char *string);
char *tp_strndup(const char *bytes, size_t length);
/* printf to a new string. */
char *tp_format(const char *format, ...) TP_PRINTF(1, 2);
char *tp_vformat(const char *format, va_list values) TP_PRINTF(1, 0);

/* Length in bytes of the UTF-8 sequence at `bytes` (1-4), or 0 when it is not well formed
 * (over-long, surrogate, above U+10FFFF, cut off). RFC 3629. */
size_t tp_utf8_length(const char *bytes, size_t available);
bool tp_utf8_is_valid(const char *bytes, size_t length);
/* A copy with every byte that is no part of well-formed UTF-8 replaced by U+FFFD. NULL when memory is short. */
char *tp_utf8_repair(const char *bytes, size_t length);
/* A copy of text in an unknown 8-bit encoding: kept when valid UTF-8, else read as Windows-1252
 * (the superset of Latin-1 that field metadata is written in; common practice, no source). */
char *tp_utf8_from_any(const char *bytes, size_t length);
/* Columns a terminal needs, counting each code point as one and combining marks (U+0300-036F) as none. */
size_t tp_utf8_columns(const char *string);

/* Removes spaces, tabs, CR, LF and NULs at both ends: sets *start and returns the length left. */
size_t tp_trim(const char *bytes, size_t length, const char **start);

/* Lower-case hex of `size` bytes; `out` holds 2*size+1. */
void tp_hex(const uint8_t *bytes, size_t size, char *out);

/* Grows an array for one more element: doubles `*items` when count reaches *capacity. False when memory is short. */
bool tp_grow(void *items_pointer, size_t *capacity, size_t count, size_t item_size);

#endif
