/* SPDX-License-Identifier: MIT */
/*
 * Does a row of chunks begin here, or is this sound? Pure functions over a window of bytes, for recordings whose header
 * does not tell where the sound ends. No standard says how to decide; the rules are below.
 */
#ifndef TP_READ_CHUNKS_H
#define TP_READ_CHUNKS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_CHUNK_HEADER 8

/* Four bytes of printable ASCII, as RIFF wants. */
bool tp_chunk_id_is_printable(const uint8_t *id);
/* One of the ids that are written to WAV files by open documents or as reserve. */
bool tp_chunk_id_is_known(const uint8_t *id);

/*
 * `window` shows the first `size` of the `left` bytes up to the end of the file.
 *
 * tp_chunks_follow: for the place where a header says that the sound ends. True when a known id stands there, or a
 * printable one whose size leads exactly to the end of the file (one pad byte more or less), or on to another such
 * header.
 *
 * tp_chunks_finish_file: for any place within sound. True only when a known id stands there and the sizes lead, header
 * by header, exactly to the end of the file (or to zeros in sight), or when it is an iXML chunk whose XML is in sight
 * and whose end is not. The chance that sound does this is below 1 in 10^9 a file of any length.
 */
bool tp_chunks_follow(const uint8_t *window, size_t size, uint64_t left);
bool tp_chunks_finish_file(const uint8_t *window, size_t size, uint64_t left);

/* The first offset below `limit` (<= size) at which tp_chunks_finish_file() holds and whose parity is that of
 * `offset_of_window` made even (chunks start at even offsets of the file). Returns limit when there is none. */
size_t tp_chunks_find_finish(const uint8_t *window, size_t size, uint64_t left, uint64_t offset_of_window,
                             size_t limit);

#endif
