/* SPDX-License-Identifier: MIT */
/*
 * Chunk walk of RIFF, RF64 and BW64, forward only, over a stream. Says where the sound is and in what format,
 * and everything that is wrong on the way. Never trusts a size. Our own beside libsndfile, which repairs silently.
 *
 * Sources: RIFF MCI 1991 (chunks, pad byte), EBU Tech 3306 (RF64), ITU-R BS.2088 (BW64), WAVE_FORMAT_EXTENSIBLE;
 * interrupted recordings: no standard, see the table in takeproof-salvage(1).
 *
 * Use: tp_riff_walk_to_audio(), then consume up to tp_riff_audio_remaining() bytes from the stream in whole frames,
 * telling tp_riff_audio_consumed() each time; when none remain, tp_riff_walk_rest(). The walk fills the tp_file:
 * container, encoding, extensible, bit_depth, valid_bits, sample_rate_hz, channel_count, channel_mask, declared_frames,
 * audio_offset, audio_bytes, bext, ixml, chunks, cues, infos, and observations (family container and metadata).
 * Memory: chunk bodies are kept up to TP_CHUNK_BODY_MAX and freed after parsing; at most TP_CHUNKS_MAX chunks are
 * listed.
 */
#ifndef TP_READ_RIFF_H
#define TP_READ_RIFF_H

#include "read/stream.h"

#include <takeproof/result.h>

#define TP_CHUNK_BODY_MAX ((size_t)1 << 20)
#define TP_CHUNKS_MAX 512

struct tp_riff;

/* `file` is filled as the walk goes and must outlive it. Errors: TP_ERR_MEMORY. */
enum tp_status tp_riff_new(struct tp_riff **riff, struct tp_stream *stream, struct tp_file *file,
                           struct tp_error *error) TP_MUST_USE;
void tp_riff_free(struct tp_riff *riff); /* NULL is fine */

/* For salvage. Zeros behind the declared end count as reserved space, but sound may come after them: tells so once the
 * rest is walked. Asked before the walk, a reader takes the zeros and what follows for sound. */
bool tp_riff_sound_may_follow_zeros(const struct tp_riff *riff);
void tp_riff_read_through_zeros(struct tp_riff *riff);

/* Walks to the first byte of sound. *has_audio is false when there is no sound to decode (not a WAV, header only, an
 * encoding we do not decode, nonsense in fmt): the reasons are in file->observations (empty-file, not-wav, header-only,
 * wrong-encoding …) and encoding may be NONE. A damaged file is not an error. Errors: TP_ERR_READ, TP_ERR_MEMORY. */
enum tp_status tp_riff_walk_to_audio(struct tp_riff *riff, bool *has_audio, struct tp_error *error) TP_MUST_USE;

/* Bytes of sound known to come, a whole number of frames; 0 at its end and only there. Ask again each time they are
 * used up: while the true end is being sought (a header that was never finished, or a size that turns out to be stale)
 * it is known a window at a time. Errors: TP_ERR_READ (peeking ahead). */
enum tp_status tp_riff_audio_remaining(struct tp_riff *riff, uint64_t *bytes, struct tp_error *error) TP_MUST_USE;
void tp_riff_audio_consumed(struct tp_riff *riff, size_t bytes);

/* Walks what follows the sound (and sound not consumed) to the end of the file and settles the observations that need
 * it (size-mismatch, trailing-bytes, truncated …). Also call it when there was no audio: taps must see every byte.
 * Errors: TP_ERR_READ, TP_ERR_MEMORY. */
enum tp_status tp_riff_walk_rest(struct tp_riff *riff, struct tp_error *error) TP_MUST_USE;

#endif
