/* SPDX-License-Identifier: MIT */
#include "base/io.h"

#include "base/num.h"
#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#ifndef O_CLOEXEC
#define O_CLOEXEC 0
#endif

static int open_without_trace(const char *path)
{
    int flags = O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY;
#ifdef O_NOATIME
    int fd = open(path, flags | O_NOATIME);
    if (fd >= 0 || errno != EPERM)
        return fd;
#endif
    return open(path, flags);
}

enum tp_status tp_file_open(const char *path, int *fd, uint64_t *bytes, int64_t *modified_s, struct tp_error *error)
{
    int opened = open_without_trace(path);
    if (opened < 0)
        return tp_error_set(error, TP_ERR_OPEN, errno, "cannot open '%s': %s", path, strerror(errno));
    struct stat status;
    if (fstat(opened, &status) != 0 || !S_ISREG(status.st_mode)) {
        close(opened);
        return tp_error_set(error, TP_ERR_OPEN, 0, "cannot read '%s': it is not a regular file", path);
    }
    *fd = opened;
    *bytes = (uint64_t)status.st_size;
    *modified_s = (int64_t)status.st_mtime;
    return TP_OK;
}

enum tp_status tp_file_read_at(int fd, const char *path, uint64_t offset, void *buffer, size_t size, size_t *got,
                               struct tp_error *error)
{
    *got = 0;
    while (*got < size) {
        uint64_t at = offset + *got;
        if (at > INT64_MAX)
            break;
        ssize_t n = pread(fd, (char *)buffer + *got, size - *got, (off_t)at);
        if (n == 0)
            break;
        if (n < 0) {
            if (errno == EINTR)
                continue;
            int cause = errno;
            tp_error_set(error, TP_ERR_READ, cause, "cannot read '%s' at byte %llu: %s", path, (unsigned long long)at,
                         strerror(cause));
            if (error != NULL)
                error->offset = at;
            return TP_ERR_READ;
        }
        *got += (size_t)n;
    }
    return TP_OK;
}

enum tp_status tp_file_read_all(const char *path, size_t limit, char **bytes, size_t *size, struct tp_error *error)
{
    int fd;
    uint64_t length;
    int64_t modified_s;
    enum tp_status status = tp_file_open(path, &fd, &length, &modified_s, error);
    if (status != TP_OK)
        return status;
    char *buffer = NULL;
    if (length > limit || length >= SIZE_MAX) {
        status = tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is too large (%llu bytes) to be what was asked for", path,
                              (unsigned long long)length);
    } else if ((buffer = malloc((size_t)length + 1)) == NULL) {
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read '%s'", path);
    } else {
        status = tp_file_read_at(fd, path, 0, buffer, (size_t)length, size, error);
    }
    close(fd);
    if (status != TP_OK) {
        free(buffer);
        return status;
    }
    buffer[*size] = '\0';
    *bytes = buffer;
    return TP_OK;
}

enum tp_status tp_written(FILE *out, bool lost, const char *what, struct tp_error *error)
{
    if (lost)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to write %s", what);
    return ferror(out) ? tp_error_set(error, TP_ERR_WRITE, errno, "cannot write %s", what) : TP_OK;
}

char *tp_path_join(const char *folder, const char *name)
{
    size_t length = strlen(folder);
    const char *between = length > 0 && folder[length - 1] == '/' ? "" : "/";
    return tp_format("%s%s%s", folder, between, name);
}

enum tp_status tp_folder_make(const char *path, struct tp_error *error)
{
    char *partial = tp_strdup(path);
    if (partial == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    enum tp_status status = TP_OK;
    for (char *at = partial + (*partial == '/');; at++) {
        if (*at != '/' && *at != '\0')
            continue;
        char kept = *at;
        *at = '\0';
        struct stat found;
        if (*partial != '\0' && mkdir(partial, 0777) != 0 &&
            !(errno == EEXIST && stat(partial, &found) == 0 && S_ISDIR(found.st_mode))) {
            status = tp_error_set(error, TP_ERR_WRITE, errno, "cannot make folder '%s': %s", partial, strerror(errno));
            break;
        }
        *at = kept;
        if (kept == '\0')
            break;
    }
    free(partial);
    return status;
}

bool tp_path_is_inside(const char *path, const char *folder)
{
    char *inner = realpath(path, NULL);
    char *outer = realpath(folder, NULL);
    bool inside = false;
    if (inner != NULL && outer != NULL) {
        size_t length = strlen(outer);
        inside = strncmp(inner, outer, length) == 0 &&
                 (inner[length] == '/' || inner[length] == '\0' || (length == 1 && outer[0] == '/'));
    }
    free(inner);
    free(outer);
    return inside;
}

char *tp_path_existing(const char *path, const char **rest)
{
    size_t length = strlen(path);
    for (;;) {
        char *part = length > 0 ? tp_strndup(path, length) : tp_strdup(path[0] == '/' ? "/" : ".");
        struct stat status;
        if (part == NULL || length == 0 || lstat(part, &status) == 0) {
            *rest = path + length;
            return part;
        }
        free(part);
        while (length > 0 && path[length - 1] == '/')
            length--;
        while (length > 0 && path[length - 1] != '/')
            length--;
        while (length > 1 && path[length - 1] == '/')
            length--;
    }
}

bool tp_path_goes_back(const char *path)
{
    for (const char *at = strstr(path, ".."); at != NULL; at = strstr(at + 1, ".."))
        if ((at == path || at[-1] == '/') && (at[2] == '/' || at[2] == '\0'))
            return true;
    return false;
}

enum tp_overlap tp_folders_overlap(const char *path, const char *other)
{
    const char *rest;
    char *part = tp_path_existing(path, &rest);
    enum tp_overlap overlap = TP_OVERLAP_NONE;
    /* A folder that is still to be made cannot hold anything, but what leads to it may go back. */
    if (part == NULL || tp_path_goes_back(rest))
        overlap = TP_OVERLAP_UNCLEAR;
    else if (tp_path_is_inside(part, other))
        overlap = TP_OVERLAP_INSIDE;
    else if (*rest == '\0' && tp_path_is_inside(other, part))
        overlap = TP_OVERLAP_AROUND;
    free(part);
    return overlap;
}

static enum tp_status write_status(int cause)
{
    return cause == ENOSPC || cause == EDQUOT || cause == EFBIG ? TP_ERR_SPACE : TP_ERR_WRITE;
}

enum tp_status tp_whole_file_open(struct tp_whole_file *file, const char *path, bool replace, struct tp_error *error)
{
    *file = (struct tp_whole_file){.replace = replace};
    if (!replace && access(path, F_OK) == 0)
        return tp_error_set(error, TP_ERR_EXISTS, 0, "'%s' is there already and is left alone", path);
    file->path = tp_strdup(path);
    file->temporary = tp_format("%s.part-%ld", path, (long)getpid());
    if (file->path == NULL || file->temporary == NULL) {
        tp_whole_file_abandon(file);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to write '%s'", path);
    }
    int fd = open(file->temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (fd < 0 || (file->stream = fdopen(fd, "w")) == NULL) {
        int cause = errno;
        if (fd >= 0)
            close(fd);
        tp_whole_file_abandon(file);
        return tp_error_set(error, write_status(cause), cause, "cannot write '%s': %s", path, strerror(cause));
    }
    return TP_OK;
}

static void folder_sync(const char *path)
{
    char *folder = tp_strdup(path);
    if (folder == NULL)
        return;
    char *slash = strrchr(folder, '/');
    if (slash != NULL)
        slash[slash == folder] = '\0';
    int fd = open(slash != NULL ? folder : ".", O_RDONLY | O_CLOEXEC);
    free(folder);
    if (fd < 0)
        return;
    /* Some file systems cannot sync a folder; the file's own fsync has already succeeded. */
    (void)fsync(fd);
    close(fd);
}

enum tp_status tp_whole_file_commit(struct tp_whole_file *file, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    errno = 0;
    bool written = ferror(file->stream) == 0 && fflush(file->stream) == 0 && fsync(fileno(file->stream)) == 0;
    int cause = errno;
    if (fclose(file->stream) != 0 && written) {
        written = false;
        cause = errno;
    }
    file->stream = NULL;
    if (written) {
        /* link() refuses an existing target where rename() would replace it. */
        int renamed = file->replace ? rename(file->temporary, file->path) : link(file->temporary, file->path);
        if (renamed != 0 && !file->replace && errno != EEXIST && access(file->path, F_OK) != 0)
            renamed = rename(file->temporary, file->path); /* a file system without hard links, such as FAT */
        written = renamed == 0;
        cause = errno;
    }
    if (!written)
        status = tp_error_set(error, cause == EEXIST ? TP_ERR_EXISTS : write_status(cause), cause,
                              "cannot write '%s': %s", file->path, cause != 0 ? strerror(cause) : "write failed");
    else
        folder_sync(file->path);
    tp_whole_file_abandon(file);
    return status;
}

void tp_whole_file_abandon(struct tp_whole_file *file)
{
    if (file->stream != NULL)
        fclose(file->stream);
    if (file->temporary != NULL)
        unlink(file->temporary);
    free(file->temporary);
    free(file->path);
    *file = (struct tp_whole_file){0};
}

enum tp_status tp_whole_file_write(const char *directory, const char *name, tp_write_fn *write, const void *user,
                                   struct tp_error *error)
{
    struct tp_whole_file file;
    char *path = tp_path_join(directory, name);
    if (path == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to write '%s'", name);
    enum tp_status status = tp_whole_file_open(&file, path, true, error);
    free(path);
    if (status != TP_OK)
        return status;
    status = write(user, file.stream, error);
    if (status == TP_OK)
        return tp_whole_file_commit(&file, error);
    tp_whole_file_abandon(&file);
    return status;
}
