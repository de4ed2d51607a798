/* SPDX-License-Identifier: MIT */
#include "read/stream.h"

#include "base/io.h"
#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct tp_stream {
    int fd;
    char *path;
    uint64_t bytes;
    int64_t modified_s;
    uint64_t read_offset; /* next byte to come from the medium */
    struct tp_tap *taps;
    size_t tap_count;
    uint8_t *buffer;   /* capacity: block + peek */
    size_t start, end; /* valid bytes in buffer */
    bool forgiving;
    struct tp_gap *gaps;
    size_t gap_count, gap_capacity;
    uint64_t failed_in_a_row_bytes;
};

static const size_t capacity = TP_STREAM_BLOCK + TP_STREAM_PEEK_MAX;

enum tp_status tp_stream_open(struct tp_stream **stream, const char *path, const struct tp_tap *taps, size_t tap_count,
                              struct tp_error *error)
{
    struct tp_stream *opened = calloc(1, sizeof *opened);
    if (opened == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", path);
    opened->fd = -1;
    opened->path = tp_strdup(path);
    opened->buffer = malloc(capacity);
    opened->taps = calloc(tap_count + 1, sizeof *opened->taps);
    enum tp_status status = TP_OK;
    if (opened->path == NULL || opened->buffer == NULL || opened->taps == NULL) {
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", path);
        goto failed;
    }
    if (tap_count > 0)
        memcpy(opened->taps, taps, tap_count * sizeof *taps);
    opened->tap_count = tap_count;
    status = tp_file_open(path, &opened->fd, &opened->bytes, &opened->modified_s, error);
    if (status != TP_OK)
        goto failed;
#ifdef POSIX_FADV_SEQUENTIAL
    (void)posix_fadvise(opened->fd, 0, 0, POSIX_FADV_SEQUENTIAL);
#endif
    *stream = opened;
    return TP_OK;
failed:
    tp_stream_close(opened);
    return status;
}

static void wait_for_taps(const struct tp_stream *stream)
{
    for (size_t i = 0; i < stream->tap_count; i++)
        if (stream->taps[i].wait != NULL)
            stream->taps[i].wait(stream->taps[i].user);
}

void tp_stream_close(struct tp_stream *stream)
{
    if (stream == NULL)
        return;
    wait_for_taps(stream);
    if (stream->fd >= 0)
        close(stream->fd);
    free(stream->path);
    free(stream->buffer);
    free(stream->taps);
    free(stream->gaps);
    free(stream);
}

uint64_t tp_stream_bytes(const struct tp_stream *stream)
{
    return stream->bytes;
}

int64_t tp_stream_modified_s(const struct tp_stream *stream)
{
    return stream->modified_s;
}

uint64_t tp_stream_position(const struct tp_stream *stream)
{
    return stream->read_offset - (stream->end - stream->start);
}

uint64_t tp_stream_remaining(const struct tp_stream *stream)
{
    return stream->bytes - tp_stream_position(stream);
}

void tp_stream_forgive(struct tp_stream *stream)
{
    stream->forgiving = true;
}

size_t tp_stream_gaps(const struct tp_stream *stream, const struct tp_gap **gaps)
{
    *gaps = stream->gaps;
    return stream->gap_count;
}

/* False when the medium counts as gone or the gaps are too many to go on. */
static bool note_gap(struct tp_stream *stream, uint64_t offset, size_t bytes, int cause)
{
    stream->failed_in_a_row_bytes += bytes;
    if (cause == ENODEV || cause == ENXIO || cause == EBADF || cause == ESTALE || cause == ENOTCONN ||
        stream->failed_in_a_row_bytes > TP_STREAM_GONE)
        return false;
    struct tp_gap *last = stream->gap_count > 0 ? &stream->gaps[stream->gap_count - 1] : NULL;
    if (last != NULL && last->offset + last->bytes == offset) {
        last->bytes += bytes;
        return true;
    }
    if (stream->gap_count >= TP_STREAM_GAPS_MAX ||
        !tp_grow(&stream->gaps, &stream->gap_capacity, stream->gap_count, sizeof *stream->gaps))
        return false;
    stream->gaps[stream->gap_count++] = (struct tp_gap){.offset = offset, .bytes = bytes, .os_errno = cause};
    return true;
}

static enum tp_status read_piece(struct tp_stream *stream, uint64_t offset, uint8_t *to, size_t size, size_t *got,
                                 struct tp_error *error)
{
    enum { TRIES = 3 };
    enum tp_status status = TP_OK;
    for (int i = 0; i < TRIES; i++) {
        status = tp_file_read_at(stream->fd, stream->path, offset, to, size, got, error);
        if (status == TP_OK) {
            stream->failed_in_a_row_bytes = 0;
            return TP_OK;
        }
    }
    return status;
}

/* Goes on where a read of a block failed, piece by piece. */
static enum tp_status read_past_damage(struct tp_stream *stream, uint8_t *to, size_t want, size_t *got,
                                       struct tp_error *error)
{
    while (*got < want) {
        struct tp_error cause = {0};
        uint64_t at = stream->read_offset + *got;
        size_t size = TP_STREAM_PIECE - (size_t)(at % TP_STREAM_PIECE), arrived;
        if (size > want - *got)
            size = want - *got;
        enum tp_status status = read_piece(stream, at, to + *got, size, &arrived, &cause);
        if (status != TP_OK && note_gap(stream, at, size, cause.os_errno)) {
            memset(to + *got, 0, size);
            arrived = size;
            status = TP_OK;
        }
        if (status != TP_OK)
            tp_error_set(error, status, cause.os_errno, "%s", tp_error_text(&cause));
        if (status != TP_OK && error != NULL)
            error->offset = cause.offset;
        tp_error_clear(&cause);
        *got += arrived;
        if (status != TP_OK || arrived < size)
            return status;
    }
    return TP_OK;
}

static enum tp_status read_block(struct tp_stream *stream, uint8_t *to, size_t want, size_t *got,
                                 struct tp_error *error)
{
    struct tp_error first = {0};
    enum tp_status status = tp_file_read_at(stream->fd, stream->path, stream->read_offset, to, want, got,
                                            stream->forgiving ? &first : error);
    tp_error_clear(&first);
    if (status != TP_ERR_READ || !stream->forgiving) {
        stream->failed_in_a_row_bytes = 0;
        return status;
    }
    return read_past_damage(stream, to, want, got, error);
}

/* Reads one more block behind what is buffered. The file's size at opening is the law: growth is not followed (a file
 * still being written), shrinkage is an error. */
static enum tp_status fill(struct tp_stream *stream, struct tp_error *error)
{
    uint64_t left = stream->bytes - stream->read_offset;
    size_t want = left < TP_STREAM_BLOCK ? (size_t)left : TP_STREAM_BLOCK;
    wait_for_taps(stream);
    if (capacity - stream->end < want) {
        memmove(stream->buffer, stream->buffer + stream->start, stream->end - stream->start);
        stream->end -= stream->start;
        stream->start = 0;
        if (capacity - stream->end < want)
            want = capacity - stream->end;
    }
    size_t got;
    enum tp_status status = read_block(stream, stream->buffer + stream->end, want, &got, error);
    for (size_t i = 0; i < stream->tap_count; i++)
        stream->taps[i].bytes(stream->taps[i].user, stream->buffer + stream->end, got);
    stream->end += got;
    stream->read_offset += got;
    if (status == TP_OK && got < want) {
        status = tp_error_set(error, TP_ERR_READ, 0,
                              "'%s' became shorter while it was read (at byte %llu): is something still writing to it?",
                              stream->path, (unsigned long long)stream->read_offset);
        if (error != NULL)
            error->offset = stream->read_offset;
    }
    return status;
}

enum tp_status tp_stream_peek(struct tp_stream *stream, size_t want, const uint8_t **bytes, size_t *got,
                              struct tp_error *error)
{
    if (want > TP_STREAM_PEEK_MAX)
        want = TP_STREAM_PEEK_MAX;
    while (stream->end - stream->start < want && stream->read_offset < stream->bytes) {
        if (stream->start == stream->end)
            stream->start = stream->end = 0;
        enum tp_status status = fill(stream, error);
        if (status != TP_OK)
            return status;
    }
    *bytes = stream->buffer + stream->start;
    *got = stream->end - stream->start;
    return TP_OK;
}

void tp_stream_consume(struct tp_stream *stream, size_t size)
{
    size_t shown = stream->end - stream->start;
    stream->start += size < shown ? size : shown;
}

enum tp_status tp_stream_skip(struct tp_stream *stream, uint64_t size, struct tp_error *error)
{
    while (size > 0) {
        const uint8_t *bytes;
        size_t got;
        enum tp_status status = tp_stream_peek(stream, 1, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        if (got == 0)
            return TP_OK;
        if (got > size)
            got = (size_t)size;
        tp_stream_consume(stream, got);
        size -= got;
    }
    return TP_OK;
}

enum tp_status tp_stream_read(struct tp_stream *stream, void *buffer, size_t size, struct tp_error *error)
{
    uint8_t *to = buffer;
    while (size > 0) {
        const uint8_t *bytes;
        size_t got;
        enum tp_status status = tp_stream_peek(stream, 1, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        if (got == 0)
            return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' ends too early", stream->path);
        if (got > size)
            got = size;
        memcpy(to, bytes, got);
        tp_stream_consume(stream, got);
        to += got;
        size -= got;
    }
    return TP_OK;
}
