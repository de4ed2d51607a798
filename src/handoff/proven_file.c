/* SPDX-License-Identifier: MIT */
#include "handoff/proven_file.h"

#include "base/text.h"
#include "base/xxh.h"
#include "handoff/readback.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static enum tp_status cannot_write(const char *path, int cause, struct tp_error *error)
{
    enum tp_status status = cause == ENOSPC || cause == EDQUOT || cause == EFBIG ? TP_ERR_SPACE
                            : cause == EEXIST                                    ? TP_ERR_EXISTS
                                                                                 : TP_ERR_WRITE;
    return tp_error_set(error, status, cause, "cannot write '%s': %s", path, strerror(cause));
}

/* 0, or errno. */
static int write_and_flush(const char *path, const char *bytes, size_t size)
{
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (fd < 0)
        return errno;
    int cause = 0;
    while (size > 0 && cause == 0) {
        ssize_t n = write(fd, bytes, size);
        if (n > 0) {
            bytes += n;
            size -= (size_t)n;
        } else if (n == 0 || errno != EINTR) {
            cause = n == 0 ? EIO : errno;
        }
    }
    while (cause == 0 && fsync(fd) != 0)
        cause = errno == EINTR ? 0 : errno;
    if (close(fd) != 0 && cause == 0 && errno != EINTR)
        cause = errno;
    return cause;
}

static enum tp_status prove(const char *temporary, const char *bytes, size_t size, struct tp_error *error)
{
    size_t count = (size_t)(size / TP_MARK_BYTES + 1);
    XXH128_hash_t *marks = calloc(count, sizeof *marks);
    if (marks == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    for (size_t i = 0, at = 0; at < size; i++, at += (size_t)TP_MARK_BYTES)
        marks[i] = XXH3_128bits(bytes + at, size - at < TP_MARK_BYTES ? size - at : (size_t)TP_MARK_BYTES);
    const struct tp_true_bytes expected = {.marks = marks, .bytes = size};
    bool equal = false;
    uint64_t at = 0;
    enum tp_readback how;
    enum tp_status status = tp_readback_compare(temporary, &expected, &equal, &at, &how, error);
    if (status == TP_OK && !equal)
        status = tp_error_set(error, TP_ERR_WRITE, EIO, "'%s' came back different from what was written, at byte %llu",
                              temporary, (unsigned long long)at);
    free(marks);
    return status;
}

static void sync_folder_of(const char *path)
{
    char *folder = tp_strdup(path);
    char *slash = folder != NULL ? strrchr(folder, '/') : NULL;
    if (slash != NULL)
        slash[slash == folder] = '\0';
    int fd = folder != NULL ? open(slash != NULL ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    if (fd >= 0) {
        (void)fsync(fd); /* some file systems cannot; the file itself is flushed */
        close(fd);
    }
    free(folder);
}

enum tp_status tp_proven_file_write(const char *path, const char *bytes, size_t size, bool replace,
                                    struct tp_error *error)
{
    /* One name a folder: what a killed run left is written over by the next. */
    const char *slash = strrchr(path, '/');
    int folder = slash != NULL ? (int)(slash - path) + 1 : 0;
    char *temporary = tp_format("%.*s.takeproof.part", folder, path);
    if (temporary == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    int cause = write_and_flush(temporary, bytes, size);
    enum tp_status status = cause == 0 ? prove(temporary, bytes, size, error) : cannot_write(path, cause, error);
    if (status == TP_OK && (replace ? rename(temporary, path) : tp_rename_to_new(temporary, path)) != 0)
        status = cannot_write(path, errno, error);
    if (status == TP_OK)
        sync_folder_of(path);
    else
        unlink(temporary);
    free(temporary);
    return status;
}
