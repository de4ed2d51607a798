/* SPDX-License-Identifier: MIT */
/* What a person may have meant by a word that is not known: "did you mean". */
#ifndef TAKEPROOF_SUGGEST_H
#define TAKEPROOF_SUGGEST_H

#include <stddef.h>
#include <takeproof/error.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The best of the names offered so far. Start with {.word = what was typed}. */
struct tp_suggestion {
    const char *word;
    const char *name; /* NULL: none is near */
    size_t steps;
};

/* Letters left out, added, changed or swapped with their neighbour between two words; more than a third of the word, or
 * more than 32 letters, is not near. Keeps `name`, which must outlive *best. */
TP_API void tp_suggest(struct tp_suggestion *best, const char *name);

#ifdef __cplusplus
}
#endif
#endif
