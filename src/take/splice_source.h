/* SPDX-License-Identifier: MIT */
/*
 * One channel of a recording that was checked, at any frame, as exact numbers: PCM of every width and float are all
 * held by a double without rounding. Reads with pread, never maps. Memory: one buffer. One thread per source.
 */
#ifndef TP_TAKE_SPLICE_SOURCE_H
#define TP_TAKE_SPLICE_SOURCE_H

#include <takeproof/result.h>

struct tp_splice_source;

/* Opens `path` for channel `channel` of `file` (encoding, bit_depth, channel_count, audio_offset and frames as
 * measured). A file whose size or time of change is no longer what was checked is TP_ERR_READ: what is spliced must be
 * what was judged. Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_UNSUPPORTED, TP_ERR_MEMORY. */
enum tp_status tp_splice_source_open(struct tp_splice_source **source, const char *path, const struct tp_file *file,
                                     uint32_t channel, struct tp_error *error) TP_MUST_USE;
void tp_splice_source_close(struct tp_splice_source *source); /* NULL is fine */

uint64_t tp_splice_source_frames(const struct tp_splice_source *source);
/* Frames [start, start + frames); what lies before the first or after the last frame is 0. NaN and Inf become 0.
 * Errors: TP_ERR_READ. */
enum tp_status tp_splice_source_read(struct tp_splice_source *source, int64_t start, size_t frames, double *samples,
                                     struct tp_error *error) TP_MUST_USE;
/* `size` bytes of the file at `offset`, for its metadata; false when they are not there. */
bool tp_splice_source_bytes(struct tp_splice_source *source, uint64_t offset, void *bytes, size_t size);

#endif
