/* SPDX-License-Identifier: MIT */
/*
 * What the name of a track says of it: "Boom Safety" is the safety of "Boom", "MixL" the left half of a mix. Words end
 * at spaces and other signs, and where a small letter is followed by a capital. Common practice, no source; the
 * function of a track is from the open iXML specification (MIX, L-MIX, R-MIX, LEFT, RIGHT).
 *
 * Names are hostile text: read within TP_TRACK_BASE bytes, never trusted alone.
 */
#ifndef TP_BASE_TRACK_NAME_H
#define TP_BASE_TRACK_NAME_H

#include <stdbool.h>

#define TP_TRACK_BASE 48 /* bytes, NUL included; a longer name is cut */

struct tp_track {
    bool is_mix, is_safety, is_main;
    char side;                /* 'l', 'r' or 0 */
    char base[TP_TRACK_BASE]; /* the name without the words of these, in small letters, without spaces */
};

/* NULL is "". */
void tp_track_read(const char *name, const char *function, struct tp_track *track);
/* True when the names call one the safety of the other: the same name, and one of them says safety. */
bool tp_track_is_pair(const struct tp_track *a, const struct tp_track *b);
/* True when one of them says safety, and of something that has another name. */
bool tp_track_is_stranger(const struct tp_track *a, const struct tp_track *b);

#endif
