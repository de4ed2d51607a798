/* SPDX-License-Identifier: MIT */
#include "handoff/target.h"

#include "base/io.h"
#include "base/text.h"
#include "handoff/copier.h"
#include "handoff/readback.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

/* Dirty pages are handed to the medium this often, so that the flush at the end has little left to do. */
#define WRITEBACK_BYTES ((uint64_t)8 << 20)
/* Behind the words of a conflict; the whole stands without a full stop, as every message. */
#define WHAT_NOW "Give this card a folder of its own, or use --set-aside to rename the other file and copy again"

static enum tp_status lock(struct tp_target *target, struct tp_error *error)
{
    target->lock_fd = open(target->path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (target->lock_fd < 0)
        return tp_error_set(error, TP_ERR_WRITE, errno, "cannot use the destination '%s': %s", target->path,
                            strerror(errno));
    struct stat status;
    if (fstat(target->lock_fd, &status) == 0)
        target->device = status.st_dev;
    while (flock(target->lock_fd, LOCK_EX | LOCK_NB) != 0) {
        if (errno == EINTR)
            continue;
        if (errno == EWOULDBLOCK)
            return tp_error_set(error, TP_ERR_EXISTS, 0,
                                "another offload is writing to '%s': wait for it to end, then run again", target->path);
        return tp_error_set(error, TP_ERR_WRITE, errno, "cannot lock the destination '%s': %s", target->path,
                            strerror(errno));
    }
    return TP_OK;
}

/* The folder is ours by its name, so every plain file in it is an unfinished copy. */
static void clear_temporaries(const char *folder)
{
    DIR *listing = opendir(folder);
    if (listing == NULL)
        return;
    struct dirent *entry;
    while ((entry = readdir(listing)) != NULL) {
        char *path = tp_path_join(folder, entry->d_name);
        struct stat status;
        if (path != NULL && lstat(path, &status) == 0 && S_ISREG(status.st_mode))
            unlink(path);
        free(path);
    }
    closedir(listing);
}

static enum tp_status write_status(int cause)
{
    return cause == ENOSPC || cause == EDQUOT || cause == EFBIG ? TP_ERR_SPACE : TP_ERR_WRITE;
}

/* True when a file of that name can be made in our own folder; else errno says why. */
static bool try_name(const struct tp_target *target, const char *name)
{
    char *path = tp_path_join(target->temporary_folder, name);
    if (path == NULL) {
        errno = ENOMEM;
        return false;
    }
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
    int cause = errno;
    bool made = fd >= 0;
    if (made) {
        close(fd);
        unlink(path);
    }
    free(path);
    errno = cause;
    /* A name that is taken is a name that can be. */
    return made || cause == EEXIST;
}

static enum tp_status probe(struct tp_target *target, struct tp_error *error)
{
    char *lower = tp_path_join(target->temporary_folder, "probe.part");
    char *upper = tp_path_join(target->temporary_folder, "PROBE.part");
    enum tp_status status = TP_OK;
    int fd = -1;
    if (lower == NULL || upper == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    else if ((fd = open(lower, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0666)) < 0)
        status = tp_error_set(error, write_status(errno), errno, "cannot write to the destination '%s': %s",
                              target->path, strerror(errno));
    if (fd >= 0) {
        close(fd);
        target->folds_case = access(upper, F_OK) == 0;
        unlink(lower);
    }
    free(lower);
    free(upper);
    return status;
}

static enum tp_status make_temporary_folder(struct tp_target *target, struct tp_error *error)
{
    struct stat status;
    if (mkdir(target->temporary_folder, 0777) != 0 && errno != EEXIST)
        return tp_error_set(error, write_status(errno), errno, "cannot write to the destination '%s': %s", target->path,
                            strerror(errno));
    if (lstat(target->temporary_folder, &status) != 0 || !S_ISDIR(status.st_mode))
        return tp_error_set(error, TP_ERR_WRITE, 0, "'%s' is in the way: it should be a folder",
                            target->temporary_folder);
    clear_temporaries(target->temporary_folder);
    return probe(target, error);
}

enum tp_status tp_target_open(struct tp_target *target, const char *path, struct tp_error *error)
{
    *target = (struct tp_target){.lock_fd = -1};
    char *temporary_folder = tp_path_join(path, TP_COPY_FOLDER);
    target->path = tp_strdup(path);
    enum tp_status status = TP_OK;
    if (target->path == NULL || temporary_folder == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    if (status == TP_OK)
        status = tp_folder_make(path, error);
    if (status == TP_OK)
        status = lock(target, error);
    if (status == TP_OK) {
        /* Only now: without the lock the folder of temporaries belongs to another run. */
        target->temporary_folder = temporary_folder;
        temporary_folder = NULL;
        status = make_temporary_folder(target, error);
    }
    free(temporary_folder);
    if (status != TP_OK)
        tp_target_close(target);
    return status;
}

void tp_target_close(struct tp_target *target)
{
    if (target->temporary_folder != NULL) {
        clear_temporaries(target->temporary_folder);
        (void)rmdir(target->temporary_folder);
    }
    if (target->lock_fd >= 0)
        close(target->lock_fd);
    free(target->temporary_folder);
    free(target->path);
    *target = (struct tp_target){.lock_fd = -1};
}

static bool is_there(const struct tp_target *target, const struct tp_tree_entry *entry)
{
    char *path = tp_path_join(target->path, entry->path);
    struct stat status;
    bool there =
        path != NULL && stat(path, &status) == 0 && S_ISREG(status.st_mode) && (uint64_t)status.st_size == entry->bytes;
    free(path);
    return there;
}

enum tp_status tp_target_check_room(const struct tp_target *target, const struct tp_tree *plan, uint64_t reserved,
                                    uint64_t *needed, struct tp_error *error)
{
    struct statvfs room;
    *needed = 0;
    if (statvfs(target->path, &room) != 0)
        return TP_OK; /* unknown is no reason to refuse: a full disk will say so itself */
    uint64_t unit = room.f_frsize > 0 ? room.f_frsize : 4096;
    for (size_t i = 0; i < plan->count; i++) {
        const struct tp_tree_entry *entry = &plan->entries[i];
        if (entry->kind == TP_TREE_FOLDER)
            *needed += unit;
        else if (entry->kind == TP_TREE_FILE && !is_there(target, entry))
            *needed += (entry->bytes / unit + 2) * unit;
    }
    uint64_t free_bytes = (uint64_t)room.f_bavail * unit;
    if (reserved + *needed <= free_bytes)
        return TP_OK;
    return tp_error_set(
        error, TP_ERR_SPACE, 0,
        "'%s' has room for %llu bytes and %llu are needed%s: nothing was copied, make room or choose another",
        target->path, (unsigned long long)free_bytes, (unsigned long long)(reserved + *needed),
        reserved > 0 ? " by all destinations on that file system" : "");
}

void tp_target_fail(struct tp_target_file *file, enum tp_copy_state state, const char *format, ...)
{
    if (state > file->state)
        file->state = state;
    if (file->message != NULL)
        return;
    char *words = NULL;
    va_list values;
    va_start(values, format);
    if (vasprintf(&words, format, values) >= 0)
        file->message = words;
    va_end(values);
}

/* What only some file systems take: worth a try before a large file is written in vain. */
static bool is_unusual(const char *name)
{
    size_t length = strlen(name);
    if (length > 200 || strpbrk(name, "\"*:<>?\\|") != NULL || name[length - 1] == '.' || name[length - 1] == ' ')
        return true;
    for (const char *at = name; *at != '\0'; at++)
        if ((unsigned char)*at < 0x20 || *at == 0x7f)
            return true;
    return !tp_utf8_is_valid(name, length);
}

static void start_writing(struct tp_target_file *file, const char *name, size_t number)
{
    if (is_unusual(name) && !try_name(file->target, name)) {
        tp_target_fail(file, TP_COPY_FAILED, "the destination cannot hold the name '%s': %s", file->path,
                       strerror(errno));
        return;
    }
    file->temporary = tp_format("%s/%zu.part", file->target->temporary_folder, number);
    if (file->temporary != NULL)
        file->fd = open(file->temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (file->temporary == NULL)
        tp_target_fail(file, TP_COPY_FAILED, "not enough memory to copy '%s'", file->path);
    else if (file->fd < 0)
        tp_target_fail(file, TP_COPY_FAILED, "cannot write '%s' at byte 0: %s", file->path, strerror(errno));
}

void tp_target_start(struct tp_target_file *file, const struct tp_target *target, const char *relative, uint64_t bytes,
                     size_t number, bool set_aside)
{
    *file = (struct tp_target_file){.target = target, .fd = -1, .set_aside = set_aside};
    file->path = tp_path_join(target->path, relative);
    if (file->path == NULL) {
        tp_target_fail(file, TP_COPY_FAILED, "not enough memory to copy");
        return;
    }
    struct stat status;
    bool found = lstat(file->path, &status) == 0;
    if (!found && errno != ENOENT) {
        tp_target_fail(file, TP_COPY_FAILED, "cannot copy to '%s': %s", file->path, strerror(errno));
        return;
    }
    if (found && S_ISDIR(status.st_mode)) {
        tp_target_fail(file, TP_COPY_CONFLICT, "'%s' is a folder at the destination and a file on the card",
                       file->path);
        return;
    }
    bool same_size = found && S_ISREG(status.st_mode) && (uint64_t)status.st_size == bytes;
    file->there = found;
    if (found && !same_size && !set_aside) {
        tp_target_fail(file, TP_COPY_CONFLICT,
                       "another file is already there as '%s' (%llu bytes, the card's has %llu): it was left alone and "
                       "the card's was not copied. " WHAT_NOW,
                       file->path, (unsigned long long)status.st_size, (unsigned long long)bytes);
        return;
    }
    if (found && !set_aside)
        return;
    const char *slash = strrchr(relative, '/');
    start_writing(file, slash != NULL ? slash + 1 : relative, number);
}

/* Frees the room at once: the next file may need it. */
static void drop_temporary(struct tp_target_file *file)
{
    if (file->fd >= 0)
        close(file->fd);
    file->fd = -1;
    if (file->temporary != NULL)
        unlink(file->temporary);
    free(file->temporary);
    file->temporary = NULL;
}

static void start_writeback(struct tp_target_file *file)
{
    if (file->written - file->flushed < WRITEBACK_BYTES)
        return;
#ifdef SYNC_FILE_RANGE_WRITE
    (void)sync_file_range(file->fd, (off_t)file->flushed, (off_t)(file->written - file->flushed),
                          SYNC_FILE_RANGE_WRITE);
#endif
    file->flushed = file->written;
}

void tp_target_write(struct tp_target_file *file, const uint8_t *bytes, size_t size)
{
    while (size > 0 && file->fd >= 0) {
        ssize_t n = write(file->fd, bytes, size);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            tp_target_fail(file, TP_COPY_FAILED, "cannot write '%s' at byte %llu: %s", file->path,
                           (unsigned long long)file->written, n < 0 ? strerror(errno) : "nothing was taken");
            drop_temporary(file);
            return;
        }
        bytes += n;
        size -= (size_t)n;
        file->written += (uint64_t)n;
    }
    if (file->fd >= 0)
        start_writeback(file);
}

int tp_rename_to_new(const char *from, const char *to)
{
#ifdef RENAME_NOREPLACE
    if (renameat2(AT_FDCWD, from, AT_FDCWD, to, RENAME_NOREPLACE) == 0)
        return 0;
    if (errno != EINVAL && errno != ENOSYS)
        return -1;
#endif
    if (link(from, to) == 0)
        return unlink(from);
    if (errno == EEXIST)
        return -1;
    /* Neither is there (FAT by way of some drivers): the lock on the destination makes looking first good enough. */
    struct stat status;
    if (lstat(to, &status) == 0) {
        errno = EEXIST;
        return -1;
    }
    return errno == ENOENT ? rename(from, to) : -1;
}

/* Renames to the first free of "to", "to-2" … "to-9"; *name is what it became. */
static bool rename_beside(const char *from, const char *path, const char *suffix, char **name)
{
    for (int i = 1; i <= 9; i++) {
        char *to = i == 1 ? tp_format("%s%s", path, suffix) : tp_format("%s%s-%d", path, suffix, i);
        if (to != NULL && tp_rename_to_new(from, to) == 0) {
            *name = to;
            return true;
        }
        bool taken = to != NULL && errno == EEXIST;
        free(to);
        if (!taken)
            return false;
    }
    return false;
}

static bool flush(struct tp_target_file *file, const struct timespec times[2])
{
    (void)futimens(file->fd, times); /* a medium without such times is no reason to fail */
    int failed;
    while ((failed = fsync(file->fd)) != 0 && errno == EINTR)
        ;
    int cause = errno;
    if (close(file->fd) != 0 && failed == 0 && errno != EINTR) {
        failed = -1;
        cause = errno;
    }
    file->fd = -1;
    errno = cause;
    return failed == 0;
}

/* True when `path` holds what the card gave. */
static bool proves(struct tp_target_file *file, const char *path, const struct tp_true_bytes *expected, bool *differs,
                   uint64_t *differs_at)
{
    struct tp_error error = {0};
    bool equal = false;
    enum tp_status status = tp_readback_compare(path, expected, &equal, differs_at, &file->readback, &error);
    *differs = status == TP_OK && !equal;
    if (status != TP_OK)
        tp_target_fail(file, TP_COPY_FAILED, "'%s' could not be read back: %s", file->path, tp_error_text(&error));
    tp_error_clear(&error);
    return status == TP_OK && equal;
}

/* "different from the start on"; owned by the caller, NULL when memory is short. Compared by marks, so not to the
 * byte. */
static char *how_alike(uint64_t alike_bytes)
{
    if (alike_bytes == 0)
        return tp_strdup("different from the start on");
    uint64_t tenths_mb = alike_bytes / 100000; /* rounded down, and a mark is more than one */
    return tp_format("alike up to about %llu.%llu MB", (unsigned long long)(tenths_mb / 10),
                     (unsigned long long)(tenths_mb % 10));
}

static void fail_as_other(struct tp_target_file *file, uint64_t alike_bytes)
{
    char *alike = how_alike(alike_bytes);
    tp_target_fail(
        file, TP_COPY_CONFLICT,
        "another file is already there as '%s' (as long as the card's, %s): it was left alone and the card's "
        "was not copied. " WHAT_NOW,
        file->path, alike != NULL ? alike : "but different");
    free(alike);
}

static void fail_as_damaged(struct tp_target_file *file, uint64_t alike_bytes)
{
    char *alike = how_alike(alike_bytes);
    tp_target_fail(file, TP_COPY_FAILED, "the copy '%s' came back different from the card (%s): it was removed",
                   file->path, alike != NULL ? alike : "not alike");
    free(alike);
}

static void settle_existing(struct tp_target_file *file, const struct tp_true_bytes *expected)
{
    bool differs;
    uint64_t at = 0;
    int fd = open(file->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd >= 0) {
        /* It may have been left by something that did not flush. */
        (void)fsync(fd);
        close(fd);
    }
    if (proves(file, file->path, expected, &differs, &at))
        file->state = TP_COPY_KEPT;
    else if (differs)
        fail_as_other(file, at);
}

/* True when the name is free for the new copy, or the old one turned out to be right (then it is KEPT). */
static bool make_way(struct tp_target_file *file, const struct tp_true_bytes *expected)
{
    struct stat status;
    if (lstat(file->path, &status) == 0 && S_ISREG(status.st_mode) && (uint64_t)status.st_size == expected->bytes) {
        bool differs;
        uint64_t at;
        if (proves(file, file->path, expected, &differs, &at)) {
            file->state = TP_COPY_KEPT;
            return true;
        }
        if (!differs)
            return false;
    }
    char *name = NULL;
    if (rename_beside(file->path, file->path, ".differs", &name)) {
        free(name);
        return true;
    }
    tp_target_fail(file, TP_COPY_CONFLICT, "'%s' differs from the card and could not be set aside: %s", file->path,
                   strerror(errno));
    return false;
}

static void commit(struct tp_target_file *file)
{
    if (tp_rename_to_new(file->temporary, file->path) == 0) {
        free(file->temporary);
        file->temporary = NULL;
        file->state = TP_COPY_COPIED;
    } else if (errno == EEXIST) {
        tp_target_fail(file, TP_COPY_CONFLICT, "'%s' appeared while it was copied: it was left alone", file->path);
    } else {
        tp_target_fail(file, TP_COPY_FAILED, "cannot give the copy its name '%s': %s", file->path, strerror(errno));
    }
}

static void settle_written(struct tp_target_file *file, const struct tp_true_bytes *expected)
{
    const struct timespec times[2] = {expected->accessed, expected->modified};
    bool differs;
    uint64_t at = 0;
    if (!flush(file, times))
        tp_target_fail(file, TP_COPY_FAILED, "cannot flush '%s' (%llu bytes) to the medium: %s", file->path,
                       (unsigned long long)file->written, strerror(errno));
    else if (proves(file, file->temporary, expected, &differs, &at)) {
        if (!file->there || make_way(file, expected)) {
            if (file->state != TP_COPY_KEPT)
                commit(file);
        }
    } else if (differs)
        fail_as_damaged(file, at);
    drop_temporary(file);
}

void tp_target_settle(struct tp_target_file *file, const struct tp_true_bytes *expected)
{
    if (file->state > TP_COPY_KEPT) {
        drop_temporary(file);
        return;
    }
    file->state = TP_COPY_FAILED; /* until proven otherwise */
    if (file->temporary != NULL)
        settle_written(file, expected);
    else if (file->there)
        settle_existing(file, expected);
    else
        tp_target_fail(file, TP_COPY_FAILED, "'%s' was not written", file->path);
}

void tp_target_give_up(struct tp_target_file *file, const char *why, bool keep)
{
    char *name = NULL;
    const struct timespec times[2] = {{.tv_nsec = UTIME_OMIT}, {.tv_nsec = UTIME_OMIT}};
    if (keep && file->state <= TP_COPY_KEPT && file->fd >= 0 && file->written > 0 && flush(file, times) &&
        rename_beside(file->temporary, file->path, TP_COPY_INCOMPLETE, &name)) {
        tp_target_fail(file, TP_COPY_SKIPPED, "%s; what could be read is in '%s', with zeros for the rest", why, name);
        free(file->temporary);
        file->temporary = NULL;
    }
    free(name);
    tp_target_fail(file, TP_COPY_SKIPPED, "%s", why);
    drop_temporary(file);
}

void tp_target_file_clear(struct tp_target_file *file)
{
    drop_temporary(file);
    free(file->path);
    free(file->message);
    *file = (struct tp_target_file){.fd = -1};
}
