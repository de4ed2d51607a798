/* SPDX-License-Identifier: MIT */
/* What a person may have meant. */
#ifndef TP_CLI_SUGGEST_H
#define TP_CLI_SUGGEST_H

#include <stddef.h>

/* The best of the names offered so far. Start with {.word = what was typed}. */
struct tp_cli_suggestion {
    const char *word;
    const char *name; /* NULL: none is near */
    size_t steps;
};

/* Letters left out, added, changed or swapped with their neighbour between two words; more than a third of the word, or
 * more than 32 letters, is not near. */
void tp_cli_suggest(struct tp_cli_suggestion *best, const char *name);

#endif
