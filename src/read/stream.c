/* SPDX-License-Identifier: MIT */
#include "read/stream.h"

#include "base/io.h"
#include "base/text.h"

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
    uint8_t *buffer;     /* capacity: block + peek */
    size_t start, end;   /* valid bytes in buffer */
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

void tp_stream_close(struct tp_stream *stream)
{
    if (stream == NULL)
        return;
    if (stream->fd >= 0)
        close(stream->fd);
    free(stream->path);
    free(stream->buffer);
    free(stream->taps);
    free(stream);
}

uint64_t tp_stream_bytes(const struct tp_stream *stream) { return stream->bytes; }

int64_t tp_stream_modified_s(const struct tp_stream *stream) { return stream->modified_s; }

uint64_t tp_stream_position(const struct tp_stream *stream)
{
    return stream->read_offset - (stream->end - stream->start);
}

uint64_t tp_stream_remaining(const struct tp_stream *stream) { return stream->bytes - tp_stream_position(stream); }

/* Reads one more block behind what is buffered. The file's size at opening is the law: growth is not followed (a file
 * still being written), shrinkage is an error. */
static enum tp_status fill(struct tp_stream *stream, struct tp_error *error)
{
    uint64_t left = stream->bytes - stream->read_offset;
    size_t want = left < TP_STREAM_BLOCK ? (size_t)left : TP_STREAM_BLOCK;
    if (capacity - stream->end < want) {
        memmove(stream->buffer, stream->buffer + stream->start, stream->end - stream->start);
        stream->end -= stream->start;
        stream->start = 0;
        if (capacity - stream->end < want)
            want = capacity - stream->end;
    }
    size_t got;
    enum tp_status status =
        tp_file_read_at(stream->fd, stream->path, stream->read_offset, stream->buffer + stream->end, want, &got, error);
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
