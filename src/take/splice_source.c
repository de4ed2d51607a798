/* SPDX-License-Identifier: MIT */
#include "take/splice_source.h"

#include "base/io.h"
#include "base/num.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BUFFER_BYTES ((size_t)256 << 10)

struct tp_splice_source {
    int fd;
    char *path;
    enum tp_encoding encoding;
    uint32_t bits;
    size_t sample_bytes, frame_bytes;
    uint64_t first_byte; /* of the channel's first sample */
    uint64_t frames;
    size_t buffer_frames;
    uint8_t *buffer;
};

static bool is_readable_format(const struct tp_file *file)
{
    uint32_t bits = file->bit_depth;
    if (file->channel_count == 0)
        return false;
    if (file->encoding == TP_ENCODING_FLOAT)
        return bits == 32 || bits == 64;
    return file->encoding == TP_ENCODING_PCM && (bits == 8 || bits == 16 || bits == 24 || bits == 32);
}

static enum tp_status open_file(struct tp_splice_source *s, const struct tp_file *file, struct tp_error *error)
{
    uint64_t bytes;
    int64_t modified_s;
    enum tp_status status = tp_file_open(s->path, &s->fd, &bytes, &modified_s, error);
    if (status != TP_OK) {
        s->fd = -1;
        return status;
    }
    if (bytes != file->bytes || modified_s != file->modified_s)
        return tp_error_set(error, TP_ERR_READ, 0, "'%s' has changed since it was checked; check it again", s->path);
    return TP_OK;
}

enum tp_status tp_splice_source_open(struct tp_splice_source **source, const char *path, const struct tp_file *file,
                                     uint32_t channel, struct tp_error *error)
{
    if (!is_readable_format(file) || channel >= file->channel_count)
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0, "'%s' holds no sound that can be spliced", path);
    struct tp_splice_source *s = calloc(1, sizeof *s);
    if (s == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", path);
    s->fd = -1;
    s->encoding = file->encoding;
    s->bits = file->bit_depth;
    s->sample_bytes = file->bit_depth / 8;
    s->frame_bytes = s->sample_bytes * file->channel_count;
    s->first_byte = file->audio_offset + channel * s->sample_bytes;
    s->frames = file->frames;
    s->buffer_frames = s->frame_bytes < BUFFER_BYTES ? BUFFER_BYTES / s->frame_bytes : 1;
    s->buffer = malloc(s->buffer_frames * s->frame_bytes);
    s->path = tp_strdup(path);
    enum tp_status status = TP_OK;
    if (s->buffer == NULL || s->path == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", path);
    if (status == TP_OK)
        status = open_file(s, file, error);
    if (status != TP_OK) {
        tp_splice_source_close(s);
        return status;
    }
    *source = s;
    return TP_OK;
}

void tp_splice_source_close(struct tp_splice_source *s)
{
    if (s == NULL)
        return;
    if (s->fd >= 0)
        close(s->fd);
    free(s->buffer);
    free(s->path);
    free(s);
}

uint64_t tp_splice_source_frames(const struct tp_splice_source *s)
{
    return s->frames;
}

static double float_sample(const uint8_t *bytes, uint32_t bits)
{
    double value;
    if (bits == 32) {
        uint32_t word = tp_le32(bytes);
        float narrow;
        memcpy(&narrow, &word, sizeof narrow);
        value = (double)narrow;
    } else {
        uint64_t word = tp_le64(bytes);
        memcpy(&value, &word, sizeof value);
    }
    return isfinite(value) ? value : 0.0;
}

static double sample(const struct tp_splice_source *s, const uint8_t *bytes)
{
    if (s->encoding == TP_ENCODING_FLOAT)
        return float_sample(bytes, s->bits);
    switch (s->bits) {
    case 8: return ((double)bytes[0] - 128.0) * 0x1p-7;
    case 16: return (double)(int16_t)tp_le16(bytes) * 0x1p-15;
    case 24:
        return (double)((int32_t)((uint32_t)bytes[0] << 8 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 24)) *
               0x1p-31;
    }
    return (double)(int32_t)tp_le32(bytes) * 0x1p-31;
}

static enum tp_status read_block(struct tp_splice_source *s, uint64_t start, size_t frames, double *samples,
                                 struct tp_error *error)
{
    /* The last frame of a file may end right after our channel: never ask for what follows it. */
    size_t size = (frames - 1) * s->frame_bytes + s->sample_bytes, got;
    enum tp_status status =
        tp_file_read_at(s->fd, s->path, s->first_byte + start * s->frame_bytes, s->buffer, size, &got, error);
    if (status == TP_OK && got < size)
        status = tp_error_set(error, TP_ERR_READ, 0, "'%s' ends earlier than when it was checked", s->path);
    for (size_t i = 0; status == TP_OK && i < frames; i++)
        samples[i] = sample(s, s->buffer + i * s->frame_bytes);
    return status;
}

enum tp_status tp_splice_source_read(struct tp_splice_source *s, int64_t start, size_t frames, double *samples,
                                     struct tp_error *error)
{
    enum tp_status status = TP_OK;
    for (size_t at = 0; at < frames && status == TP_OK;) {
        int64_t place = start + (int64_t)at;
        size_t left = frames - at, step;
        if (place < 0) {
            step = (uint64_t)-place < left ? (size_t)-place : left;
            memset(samples + at, 0, step * sizeof *samples);
        } else if ((uint64_t)place >= s->frames) {
            step = left;
            memset(samples + at, 0, step * sizeof *samples);
        } else {
            uint64_t there = s->frames - (uint64_t)place;
            step = left < s->buffer_frames ? left : s->buffer_frames;
            step = there < step ? (size_t)there : step;
            status = read_block(s, (uint64_t)place, step, samples + at, error);
        }
        at += step;
    }
    return status;
}

bool tp_splice_source_bytes(struct tp_splice_source *s, uint64_t offset, void *bytes, size_t size)
{
    size_t got = 0;
    return tp_file_read_at(s->fd, s->path, offset, bytes, size, &got, NULL) == TP_OK && got == size;
}
