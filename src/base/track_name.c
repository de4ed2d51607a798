/* SPDX-License-Identifier: MIT */
#include "base/track_name.h"

#include <stddef.h>
#include <string.h>
#include <strings.h>

#define NAME_BYTES_MAX 256

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}
static bool is_capital(char c)
{
    return c >= 'A' && c <= 'Z';
}
static bool is_small(char c)
{
    return c >= 'a' && c <= 'z';
}
/* Beyond ASCII all are taken as letters. */
static bool is_of_word(char c)
{
    return is_digit(c) || is_capital(c) || is_small(c) || (unsigned char)c >= 0x80;
}

static bool is_one_of(const char *word, size_t length, const char *const *words)
{
    for (; *words != NULL; words++)
        if (strlen(*words) == length && strncasecmp(word, *words, length) == 0)
            return true;
    return false;
}

/* "12dB", or "-12" that stands on its own: how far a safety lies under its main. */
static bool is_distance(const char *name, const char *word, size_t length)
{
    size_t digits = 0;
    while (digits < length && is_digit(word[digits]))
        digits++;
    if (digits == 0)
        return false;
    if (digits == length)
        return word > name + 1 && word[-1] == '-' && word[-2] == ' ';
    return length - digits == 2 && strncasecmp(word + digits, "db", 2) == 0;
}

static bool read_mix(const char *word, size_t length, struct tp_track *track)
{
    static const char *const mixes[] = {"mix", "mixdown", "mixes", NULL};
    static const char *const left[] = {"mixl", "mixleft", NULL};
    static const char *const right[] = {"mixr", "mixright", NULL};
    static const char *const both[] = {"mixlr", NULL};
    size_t letters = length;
    while (letters > 0 && is_digit(word[letters - 1]))
        letters--;
    bool is_left = is_one_of(word, letters, left), is_right = is_one_of(word, letters, right);
    if (!is_left && !is_right && !is_one_of(word, letters, mixes) && !is_one_of(word, letters, both))
        return false;
    track->is_mix = true;
    track->side = is_left ? 'l' : is_right ? 'r' : track->side;
    return true;
}

static bool read_role(const char *name, const char *word, size_t length, struct tp_track *track)
{
    static const char *const safeties[] = {"safety", "safe", "saf", "sfty", "backup", "low", "lo", "pad", NULL};
    static const char *const mains[] = {"main", "high", "hi", "normal", NULL};
    static const char *const left[] = {"l", "left", NULL};
    static const char *const right[] = {"r", "right", NULL};
    if (is_one_of(word, length, safeties) || is_distance(name, word, length))
        track->is_safety = true;
    else if (is_one_of(word, length, mains))
        track->is_main = true;
    else if (is_one_of(word, length, left))
        track->side = 'l';
    else if (is_one_of(word, length, right))
        track->side = 'r';
    else
        return read_mix(word, length, track);
    return true;
}

static void keep(struct tp_track *track, const char *word, size_t length)
{
    size_t at = strlen(track->base);
    for (size_t i = 0; i < length && at + 1 < sizeof track->base; i++)
        track->base[at++] = is_capital(word[i]) ? (char)(word[i] - 'A' + 'a') : word[i];
}

static void read_function(const char *function, struct tp_track *track)
{
    static const char *const mixes[] = {"MIX", "L-MIX", "R-MIX", NULL};
    size_t length = strlen(function);
    if (is_one_of(function, length, mixes))
        track->is_mix = true;
    if (strcasecmp(function, "L-MIX") == 0 || strcasecmp(function, "LEFT") == 0)
        track->side = 'l';
    if (strcasecmp(function, "R-MIX") == 0 || strcasecmp(function, "RIGHT") == 0)
        track->side = 'r';
}

/* A capital behind a small letter, but for that of "dB". */
static bool begins_word(const char *word, size_t length)
{
    char before = word[length - 1];
    bool is_db = before == 'd' && word[length] == 'B' && (length == 1 || is_digit(word[length - 2]));
    return is_small(before) && is_capital(word[length]) && !is_db;
}

void tp_track_read(const char *name, const char *function, struct tp_track *track)
{
    *track = (struct tp_track){0};
    size_t length = name != NULL ? strnlen(name, NAME_BYTES_MAX) : 0;
    for (size_t at = 0; at < length;) {
        size_t end = at;
        while (end < length && is_of_word(name[end]) && (end == at || !begins_word(name + at, end - at)))
            end++;
        if (end > at && !read_role(name, name + at, end - at, track))
            keep(track, name + at, end - at);
        at = end > at ? end : at + 1;
    }
    if (function != NULL)
        read_function(function, track);
}

bool tp_track_is_pair(const struct tp_track *a, const struct tp_track *b)
{
    return a->is_safety != b->is_safety && a->is_mix == b->is_mix && strcmp(a->base, b->base) == 0 &&
           (a->base[0] != '\0' || a->is_main || b->is_main || a->is_mix);
}

bool tp_track_is_stranger(const struct tp_track *a, const struct tp_track *b)
{
    return (a->is_safety || b->is_safety) && a->base[0] != '\0' && b->base[0] != '\0' && strcmp(a->base, b->base) != 0;
}
