/* SPDX-License-Identifier: MIT */
/*
 * A long recording that the recorder split into several files becomes one take again.
 *
 * Take B continues take A when both have the same number of files and the same format, B's name comes after A's in the
 * same folder, and one of these holds (common practice, no source):
 * - B starts exactly at the sample after A's last, which only a split does;
 * - both carry the same iXML family and B starts within TP_SEGMENT_GAP_MAX_S of A's end;
 * - A is at a size limit of file systems (within 64 MiB below 2 GiB or 4 GiB) and B starts within that time;
 * - B is a later part by its file set, or by scene, take, running number and time (parts.h): parts may lack between.
 * A gap or overlap, in samples, is a `segment-gap` observation of B's first file.
 */
#ifndef TP_TAKE_SEGMENTS_H
#define TP_TAKE_SEGMENTS_H

#include <takeproof/result.h>

#define TP_SEGMENT_GAP_MAX_S 1.0

/* Joins takes of the report in place: files, signals, duration and end timecode of the later go to the earlier; take
 * indexes in files are set anew, part_count of every take and part of every signal are set. Call when takes are
 * assembled and before they are judged. Errors: TP_ERR_MEMORY. */
enum tp_status tp_segments_join(struct tp_report *report, struct tp_error *error) TP_MUST_USE;

/* Start since midnight in samples: iXML before bext where both exist (iXML usage guidelines); TP_NO_TIMECODE when
 * unknown. */
uint64_t tp_start_samples(const struct tp_file *file);

/* Whether take b goes on where a ends, or is a later part of the same recording. */
bool tp_take_follows(const struct tp_report *report, const struct tp_take *a, const struct tp_take *b);

/* Whether the file is one of several of a recording, by its file set or by what was joined. */
bool tp_is_part(const struct tp_report *report, const struct tp_file *file);

#endif
