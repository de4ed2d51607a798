/* SPDX-License-Identifier: MIT */
/*
 * Which files are parts of one recording, and which parts are not here.
 *
 * A part is told by the file set of its iXML (open specification: FAMILY_UID, TOTAL_FILES, FILE_SET_INDEX) and by a
 * running number that a recorder puts behind the name of the take ("T05_0002": common practice, no source). Alone the
 * number says nothing, as it may as well count takes: it needs the file set beside it, or a start time that runs on.
 */
#ifndef TP_TAKE_PARTS_H
#define TP_TAKE_PARTS_H

#include <takeproof/result.h>

/* More files than this is no set but a damaged number. */
#define TP_PARTS_MAX 999

/* The number behind the last separator of a name: "day/T05_0002.WAV" has its stem "day/T05" and 2. */
struct tp_part_name {
    size_t stem_length;       /* of the path, without the separator */
    size_t number_at, digits; /* of the path */
    uint64_t number;
};
/* False when the name has no such number of at most 9 digits, or nothing before it. */
bool tp_part_of_name(const char *path, struct tp_part_name *part);

/* How many files the recorder says that the recording has; 0 when it does not say, or one. */
uint32_t tp_set_total(const struct tp_file *file);

/* Whether b is a later part of a's recording, though parts between them may not be here. `gap` is the samples from the
 * end of a to the start of b; `same_slate`: scene and take are known and equal. */
bool tp_part_follows(const struct tp_file *a, const struct tp_file *b, int64_t gap, bool same_slate);

/* Tells the missing parts of every take as `segment-gap` observations of its first file. Files must be ordered by
 * source, then path. Call when the parts are joined. Errors: TP_ERR_MEMORY. */
enum tp_status tp_parts_observe(struct tp_report *report, struct tp_error *error) TP_MUST_USE;

#endif
