/* SPDX-License-Identifier: MIT */
/*
 * One forward read of a file, in blocks. Whoever else wants the bytes (hashes, copies) is a tap: it sees every byte
 * of the file once, in order, as it comes from the medium, so that a card is read once for everything.
 *
 * Invariant: position <= bytes seen by taps <= file size. Memory: one buffer of TP_STREAM_BLOCK + TP_STREAM_PEEK_MAX.
 * A stream belongs to one thread. Never mmap: a pulled card must be an error, not SIGBUS.
 */
#ifndef TP_READ_STREAM_H
#define TP_READ_STREAM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>

#define TP_STREAM_BLOCK ((size_t)256 << 10)
#define TP_STREAM_PEEK_MAX ((size_t)64 << 10)

/* Called with each run of bytes of the file, in order, without gaps. A tap keeps its own errors. */
struct tp_tap {
    void (*bytes)(void *user, const uint8_t *bytes, size_t size);
    void (*wait)(
        void *user); /* NULL, or returns once the tap is done with the bytes, which stay as they are till then */
    void *user;
};

struct tp_stream;

/* Opens for one pass. `taps` is copied. Errors: TP_ERR_OPEN, TP_ERR_MEMORY. */
enum tp_status tp_stream_open(struct tp_stream **stream, const char *path, const struct tp_tap *taps, size_t tap_count,
                              struct tp_error *error) TP_MUST_USE;
void tp_stream_close(struct tp_stream *stream); /* waits for the taps; NULL is fine */

/*
 * From here on, a stretch that the medium does not give is tried again, at last in pieces of TP_STREAM_PIECE, and what
 * still fails is replaced by zeros (taps see them) and listed as a gap, so that the rest of the file is saved. Whoever
 * asks for this must look at tp_stream_gaps() before calling the file read. A medium that is gone (the device says so,
 * or TP_STREAM_GONE bytes in a row fail) is still TP_ERR_READ.
 */
#define TP_STREAM_PIECE ((size_t)4 << 10)
#define TP_STREAM_GONE ((uint64_t)1 << 20)
#define TP_STREAM_GAPS_MAX 256
struct tp_gap {
    uint64_t offset, bytes;
    int os_errno;
};
void tp_stream_forgive(struct tp_stream *stream);
/* What was replaced so far, in order; valid until the next read. Returns the count. */
size_t tp_stream_gaps(const struct tp_stream *stream, const struct tp_gap **gaps);

uint64_t tp_stream_bytes(const struct tp_stream *stream); /* file size when opened */
int64_t tp_stream_modified_s(const struct tp_stream *stream);
uint64_t tp_stream_position(const struct tp_stream *stream); /* of the next byte to be consumed */
uint64_t tp_stream_remaining(const struct tp_stream *stream);

/* Makes at least min(want, remaining) bytes visible without consuming them; want <= TP_STREAM_PEEK_MAX.
 * *bytes stays valid until the next call. *got may be larger than want. At the end of the file *got is 0.
 * Errors: TP_ERR_READ (also when the file turns out shorter than it was when opened). */
enum tp_status tp_stream_peek(struct tp_stream *stream, size_t want, const uint8_t **bytes, size_t *got,
                              struct tp_error *error) TP_MUST_USE;
/* Consumes bytes that a peek has shown. */
void tp_stream_consume(struct tp_stream *stream, size_t size);
/* Reads and passes over `size` bytes (taps see them); stops at the end of the file. Errors: TP_ERR_READ. */
enum tp_status tp_stream_skip(struct tp_stream *stream, uint64_t size, struct tp_error *error) TP_MUST_USE;
/* Copies exactly `size` bytes out; TP_ERR_FORMAT when the file ends first. */
enum tp_status tp_stream_read(struct tp_stream *stream, void *buffer, size_t size, struct tp_error *error) TP_MUST_USE;

#endif
