/* SPDX-License-Identifier: MIT */
/*
 * What a file name tells, by the production's pattern or, without one, by the habit of recorders.
 *
 * Pattern: literal text and the words {scene} {take} {track} {date} {n}, matched with the whole name without folder and
 * extension. {scene} is any text; {take} and {track} letters and digits; {date} yyyymmdd, yymmdd or yyyy-mm-dd (also
 * with _ or .); {n} digits. A word takes as little as lets the rest match. The same word twice must mean the same.
 * Without a pattern every name fits; its last run of digits is the number and what stands before it the prefix
 * (common practice of recorder counters, no source).
 */
#ifndef TP_TAKE_NAMES_H
#define TP_TAKE_NAMES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_NAME_PART 128 /* bytes of a part, NUL included; a longer one does not match */

struct tp_name_fields {
    char scene[TP_NAME_PART], take[TP_NAME_PART], track[TP_NAME_PART], date[TP_NAME_PART];
    bool has_number;
    uint64_t number;  /* of {n}, else of the last run of digits */
    size_t number_at; /* where its digits begin in the name, and how many they are */
    size_t number_digits;
};

/* `name` may carry folder and extension; `pattern` NULL or "" = none. False when the name does not follow the pattern
 * (the number is then still read by habit). Names over 255 bytes follow no pattern. */
bool tp_name_read(const char *pattern, const char *name, struct tp_name_fields *fields);

/* Like tp_name_read() of a file that is a part of a longer recording: the number of the part behind the name, such as
 * "_0001", need not be in the pattern. */
bool tp_name_read_part(const char *pattern, const char *name, struct tp_name_fields *fields);

/* Whether the file was renamed: `original` is the name that its metadata says it was recorded under, NULL or ""
 * when it says none. Folder, extension and case are not compared, nor what a recorder puts behind a name to tell tracks
 * (group.h) and parts (parts.h). */
bool tp_name_differs(const char *original, const char *name);

#endif
