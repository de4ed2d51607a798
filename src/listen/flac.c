/* SPDX-License-Identifier: MIT */
#include "listen/flac.h"

#include "read/sndfile_open.h"

#include <sndfile.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A file in memory that the encoder goes back in to finish its header. */
struct memory_file {
    uint8_t *bytes;
    size_t size, capacity, position;
    bool failed;
};

static sf_count_t file_length(void *user)
{
    return (sf_count_t)((struct memory_file *)user)->size;
}

static sf_count_t file_tell(void *user)
{
    return (sf_count_t)((struct memory_file *)user)->position;
}

static sf_count_t file_seek(sf_count_t offset, int whence, void *user)
{
    struct memory_file *file = user;
    sf_count_t base = whence == SEEK_CUR ? (sf_count_t)file->position : whence == SEEK_END ? (sf_count_t)file->size : 0;
    if (base + offset >= 0 && base + offset <= (sf_count_t)file->size)
        file->position = (size_t)(base + offset);
    return (sf_count_t)file->position;
}

static sf_count_t file_read(void *to, sf_count_t count, void *user)
{
    struct memory_file *file = user;
    size_t left = file->size - file->position;
    size_t length = (size_t)count < left ? (size_t)count : left;
    memcpy(to, file->bytes + file->position, length);
    file->position += length;
    return (sf_count_t)length;
}

static bool make_room(struct memory_file *file, size_t size)
{
    if (size <= file->capacity)
        return true;
    size_t capacity = size > SIZE_MAX / 2 ? size : size * 2;
    uint8_t *bytes = realloc(file->bytes, capacity);
    if (bytes == NULL)
        return false;
    file->bytes = bytes;
    file->capacity = capacity;
    return true;
}

static sf_count_t file_write(const void *from, sf_count_t count, void *user)
{
    struct memory_file *file = user;
    size_t length = (size_t)count;
    if (count < 0 || length > SIZE_MAX - file->position || !make_room(file, file->position + length)) {
        file->failed = true;
        return 0;
    }
    memcpy(file->bytes + file->position, from, length);
    file->position += length;
    if (file->position > file->size)
        file->size = file->position;
    return count;
}

static bool encode(struct memory_file *file, const int16_t *samples, size_t frames, uint32_t sample_rate_hz)
{
    SF_VIRTUAL_IO callbacks = {file_length, file_seek, file_read, file_write, file_tell};
    SF_INFO info = {.samplerate = (int)sample_rate_hz, .channels = 1, .format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16};
    SNDFILE *out = tp_sndfile_open_virtual(&callbacks, SFM_WRITE, &info, file);
    if (out == NULL)
        return false;
    double best = 1.0;
    sf_command(out, SFC_SET_COMPRESSION_LEVEL, &best, sizeof best);
    bool written = sf_writef_short(out, samples, (sf_count_t)frames) == (sf_count_t)frames;
    return sf_close(out) == 0 && written && !file->failed;
}

enum tp_status tp_flac_encode(const int16_t *samples, size_t frames, uint32_t sample_rate_hz, uint8_t **bytes,
                              size_t *size, struct tp_error *error)
{
    struct memory_file file = {0};
    if (!encode(&file, samples, frames, sample_rate_hz)) {
        free(file.bytes);
        return file.failed
                   ? tp_error_set(error, TP_ERR_MEMORY, 0, "cannot make a listening excerpt: not enough memory")
                   : tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                                  "cannot make a listening excerpt: this libsndfile writes no FLAC at this rate");
    }
    *bytes = file.bytes;
    *size = file.size;
    return TP_OK;
}
