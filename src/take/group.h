/* SPDX-License-Identifier: MIT */
/*
 * Files that may belong to one take, told by name alone: they are then read side by side, so that two files of a pair
 * can be compared in the one pass. The name only brings files together; whether they are one take is settled afterwards
 * from length, time and signal (assemble.h).
 *
 * A name is read as STEM + separator + TRACK + extension. A track told in words (tr1, ch2, main, safety, left …) is
 * sure; a bare one- or two-digit number or a single letter may as well count takes, so such files only group when
 * nearly equal in size. Common practice of recorders that write one file a track, no source.
 */
#ifndef TP_TAKE_GROUP_H
#define TP_TAKE_GROUP_H

#include <takeproof/result.h>

#define TP_GROUP_FILES_MAX 16

enum tp_track_kind { TP_TRACK_NONE, TP_TRACK_MAYBE, TP_TRACK_SURE };

/* What grouping needs to know of a file; `path` relative to its source. */
struct tp_group_file {
    size_t source;
    const char *path;
    uint64_t bytes;
};

struct tp_group {
    size_t files[TP_GROUP_FILES_MAX]; /* indexes as given, ascending */
    size_t file_count;
};
struct tp_groups {
    struct tp_group *items; /* ordered by their first file */
    size_t count;
};

/* Every file lands in exactly one group. Files must be ordered by source, then path. Errors: TP_ERR_MEMORY. */
enum tp_status tp_groups_make(const struct tp_group_file *files, size_t file_count, struct tp_groups *groups,
                              struct tp_error *error) TP_MUST_USE;
void tp_groups_clear(struct tp_groups *groups);

/* Length of the stem of a file name (no folder, no extension), and whether a track was cut off behind it.
 * The name keeps its extension when it has no dot. */
size_t tp_group_stem(const char *name, enum tp_track_kind *kind);

#endif
