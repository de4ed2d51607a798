/* SPDX-License-Identifier: MIT */
#include "handoff/readback.h"

#include "base/io.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <xxhash.h>

#define BLOCK ((size_t)TP_MARK_BYTES)
#define ALIGNMENT 4096 /* covers the logical block of every common medium */

struct readback {
    const char *path;
    int fd;
    uint64_t bytes;
    uint8_t *buffer;
    enum tp_readback how;
};

static int open_direct(const char *path)
{
#ifdef O_DIRECT
    return open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_DIRECT);
#else
    (void)path;
    errno = EINVAL;
    return -1;
#endif
}

static enum tp_readback drop_cache(int fd)
{
#ifdef POSIX_FADV_DONTNEED
    if (posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED) == 0)
        return TP_READBACK_DROPPED;
#endif
    (void)fd;
    return TP_READBACK_CACHED;
}

static enum tp_status reopen_buffered(struct readback *back, struct tp_error *error)
{
    if (back->fd >= 0)
        close(back->fd);
    back->fd = -1;
    uint64_t bytes;
    int64_t modified_s;
    enum tp_status status = tp_file_open(back->path, &back->fd, &bytes, &modified_s, error);
    if (status != TP_OK)
        return status;
    back->bytes = bytes;
    back->how = drop_cache(back->fd);
    return TP_OK;
}

/* A file system may take O_DIRECT at opening and refuse the first read, so one is made here. */
static enum tp_status open_medium(struct readback *back, struct tp_error *error)
{
    back->fd = open_direct(back->path);
    struct stat status;
    if (back->fd < 0 || fstat(back->fd, &status) != 0 || !S_ISREG(status.st_mode))
        return reopen_buffered(back, error);
    if (pread(back->fd, back->buffer, ALIGNMENT, 0) < 0 && errno != EINTR && errno != EIO)
        return reopen_buffered(back, error);
    back->bytes = (uint64_t)status.st_size;
    back->how = TP_READBACK_DIRECT;
    return TP_OK;
}

/* A short read leaves an O_DIRECT file at an odd place; the rest of the block is then read again from its start. */
static enum tp_status read_block(struct readback *back, uint64_t at, size_t *got, struct tp_error *error)
{
    if (back->how != TP_READBACK_DIRECT)
        return tp_file_read_at(back->fd, back->path, at, back->buffer, BLOCK, got, error);
    uint64_t left = at < back->bytes ? back->bytes - at : 0;
    size_t want = left < BLOCK ? (size_t)left : BLOCK;
    for (int tries = 0; tries < 100; tries++) {
        ssize_t n = pread(back->fd, back->buffer, BLOCK, (off_t)at);
        if (n >= 0 && (size_t)n >= want) {
            *got = (size_t)n;
            return TP_OK;
        }
        if (n < 0 && errno != EINTR) {
            int cause = errno;
            tp_error_set(error, TP_ERR_READ, cause, "cannot read '%s' back at byte %llu: %s", back->path,
                         (unsigned long long)at, strerror(cause));
            if (error != NULL)
                error->offset = at;
            return TP_ERR_READ;
        }
    }
    /* It keeps ending early: let the buffered way decide what is there. */
    enum tp_status status = reopen_buffered(back, error);
    return status != TP_OK ? status : tp_file_read_at(back->fd, back->path, at, back->buffer, BLOCK, got, error);
}

/* *alike: the bytes from the start on that agree, in whole marks. Nothing is read behind an end that is not aligned:
 * some file systems refuse that with O_DIRECT. */
static enum tp_status compare_all(struct readback *back, const struct tp_true_bytes *expected, uint64_t *alike,
                                  bool *equal, struct tp_error *error)
{
    *alike = 0;
    for (size_t mark = 0;; mark++) {
        size_t got;
        enum tp_status status = read_block(back, *alike, &got, error);
        if (status != TP_OK)
            return status;
        uint64_t left = expected->bytes - *alike;
        size_t want = left < BLOCK ? (size_t)left : BLOCK;
        *equal = got == want && (got == 0 || XXH128_isEqual(XXH3_128bits(back->buffer, got), expected->marks[mark]));
        if (!*equal)
            return TP_OK;
        *alike += got;
        if (got < BLOCK)
            return TP_OK;
    }
}

enum tp_status tp_readback_compare(const char *path, const struct tp_true_bytes *expected, bool *equal,
                                   uint64_t *differs_at, enum tp_readback *readback, struct tp_error *error)
{
    struct readback back = {.path = path, .fd = -1};
    void *buffer = NULL;
    if (posix_memalign(&buffer, ALIGNMENT, BLOCK) != 0)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s' back", path);
    back.buffer = buffer;
    enum tp_status status = open_medium(&back, error);
    if (status == TP_OK)
        status = compare_all(&back, expected, differs_at, equal, error);
    if (status == TP_OK)
        *readback = back.how;
    if (back.fd >= 0)
        close(back.fd);
    free(buffer);
    return status;
}
