/* SPDX-License-Identifier: MIT */
#ifndef TP_HANDOFF_SAFE_TEXT_H
#define TP_HANDOFF_SAFE_TEXT_H

#include <stdio.h>

/* Prints text that may hold names from a card: control characters and what is no UTF-8 become U+FFFD, so that nothing
 * reaches the terminal as a command. */
void tp_safe_print(FILE *out, const char *text);

#endif
