/* SPDX-License-Identifier: MIT */
/*
 * The terminal summary: the verdict in one line, problems, one line a take with the channel to use, totals, next step.
 * Our own words are ASCII; text from files is shown as UTF-8 with everything that could move the cursor, change colours
 * or reorder the line (C0, DEL, C1, line separators, bidirectional controls) written out as \xNN or \uNNNN.
 */
#ifndef TP_REPORT_TERMINAL_H
#define TP_REPORT_TERMINAL_H

#include "base/text.h"

/* Appends `string` so that a terminal shows it and does nothing else. Bounded: at most `columns_max` columns, then
 * "...". */
void tp_terminal_text(struct tp_text *out, const char *string, size_t columns_max);

/* True for code points that reorder or hide text: U+200B-200F, U+202A-202E, U+2060-2069, U+061C, U+2028/9, U+FEFF. */
bool tp_code_point_is_sly(uint32_t code_point);

/* The code point of a well-formed UTF-8 sequence of `length` bytes. */
uint32_t tp_utf8_code_point(const char *bytes, size_t length);

#endif
