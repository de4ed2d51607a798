/* SPDX-License-Identifier: MIT */
/* The text of an iXML chunk before it is XML: its encoding, and the slips of writers that can be mended. */
#ifndef TP_READ_IXML_TEXT_H
#define TP_READ_IXML_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* The whole chunk as UTF-8, trimmed and NUL-terminated; owned by the caller. NULL when memory is short. */
char *tp_ixml_text_utf8(const uint8_t *data, size_t size, size_t *length);

/* "Q&A" without the escape is the commonest slip of hand-made iXML: reads it as meant, *mended tells whether there was
 * one. Replaces *text. False when memory is short. */
bool tp_ixml_text_mend(char **text, size_t *length, bool *mended);

#endif
