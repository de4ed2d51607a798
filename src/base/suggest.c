/* SPDX-License-Identifier: MIT */
#include <string.h>
#include <takeproof/suggest.h>

#define LETTERS_MAX 32

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Optimal string alignment, row by row. */
static size_t steps_between(const char *a, const char *b)
{
    size_t rows[3][LETTERS_MAX + 1];
    size_t *before = rows[0], *last = rows[1], *row = rows[2];
    size_t width = strlen(b);
    for (size_t j = 0; j <= width; j++)
        last[j] = before[j] = j;
    for (size_t i = 1; a[i - 1] != '\0'; i++) {
        row[0] = i;
        for (size_t j = 1; j <= width; j++) {
            row[j] = least(least(last[j], row[j - 1]) + 1, last[j - 1] + (a[i - 1] != b[j - 1]));
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
                row[j] = least(row[j], before[j - 2] + 1);
        }
        size_t *free_row = before;
        before = last;
        last = row;
        row = free_row;
    }
    return last[width];
}

void tp_suggest(struct tp_suggestion *best, const char *name)
{
    size_t length = strlen(best->word);
    if (length == 0 || length > LETTERS_MAX || strlen(name) > LETTERS_MAX)
        return;
    size_t steps = steps_between(best->word, name);
    if (steps > length / 3 + (length < 6) || (best->name != NULL && steps >= best->steps))
        return;
    best->name = name;
    best->steps = steps;
}
