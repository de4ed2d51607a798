/* SPDX-License-Identifier: MIT */
/*
 * A library to preload: makes the medium under one program misbehave at a chosen point.
 *
 *     FAULTIO="KIND AT SEED"   what, where (bytes or calls, counted from 0), and the seed of what is random
 *     FAULTIO_CARD, FAULTIO_DEST   absolute folders; the faults strike only below them
 *     FAULTIO_MARK             file that gets a line when the fault struck, and the totals at the end
 *
 * KIND
 *     count       nothing; only the totals
 *     eio         card: the 4096-byte block that holds byte AT (of all card bytes, in the order first read) fails for
 * good flaky       the same block fails twice and then reads pulled      card: from byte AT on nothing can be read,
 * opened, listed or looked at short       every read and write takes a random part eintr       every third call that
 * may is interrupted enospc      destination: after AT bytes no more fit readonly    destination: from call AT on it
 * refuses every change fsync       destination: the AT-th fsync fails changes     card: when byte AT is read, one byte
 * of that file is changed grows       card: likewise, a byte is added behind its end vanishes    card: likewise, the
 * file is removed rot         destination: after the AT-th fsync one byte of that file is other on the medium kill
 * SIGKILL at call AT fold        destination: names ignore case, as on FAT fat         the same, and names that FAT
 * cannot hold and files above SEED bytes are refused
 */
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

enum kind {
    NONE,
    COUNT,
    EIO_BLOCK,
    FLAKY,
    PULLED,
    SHORT,
    INTERRUPT,
    NO_SPACE,
    READ_ONLY,
    FSYNC,
    CHANGES,
    GROWS,
    VANISHES,
    ROT,
    KILL,
    FOLD,
    FAT
};
static const char *const kind_names[] = {"none",     "count",  "eio",      "flaky", "pulled",  "short",
                                         "eintr",    "enospc", "readonly", "fsync", "changes", "grows",
                                         "vanishes", "rot",    "kill",     "fold",  "fat"};

static struct {
    enum kind kind;
    uint64_t at, seed;
    char card[PATH_MAX], dest[PATH_MAX], mark[PATH_MAX];
    pthread_mutex_t lock;
    uint64_t calls, card_bytes, dest_bytes, dest_calls, fsyncs, random;
    bool struck;
    char bad_path[PATH_MAX]; /* of the block that fails */
    off_t bad_offset;
    unsigned bad_tries;
} fault = {.lock = PTHREAD_MUTEX_INITIALIZER};

/* The next definition of a function, looked up each time: this is no place for speed. */
#define REAL(result, name, ...) ((result(*)(__VA_ARGS__))next_of(#name))
static void *next_of(const char *name)
{
    return dlsym(RTLD_NEXT, name);
}

static void take_setting(const char *name, char *to)
{
    const char *value = getenv(name);
    if (value != NULL && strlen(value) < PATH_MAX)
        memcpy(to, value, strlen(value) + 1);
}

__attribute__((constructor)) static void begin(void)
{
    const char *text = getenv("FAULTIO");
    if (text == NULL)
        return;
    char name[32] = "";
    unsigned long long at = 0, seed = 0;
    if (sscanf(text, "%31s %llu %llu", name, &at, &seed) < 1)
        return;
    for (size_t i = 0; i < sizeof kind_names / sizeof *kind_names; i++)
        if (strcmp(name, kind_names[i]) == 0)
            fault.kind = (enum kind)i;
    fault.at = at;
    fault.seed = seed;
    fault.random = seed * 2654435761u + 88172645463325252u;
    take_setting("FAULTIO_CARD", fault.card);
    take_setting("FAULTIO_DEST", fault.dest);
    take_setting("FAULTIO_MARK", fault.mark);
}

static void mark(const char *format, ...)
{
    if (fault.mark[0] == '\0')
        return;
    char line[512];
    va_list values;
    va_start(values, format);
    int length = vsnprintf(line, sizeof line, format, values);
    va_end(values);
    int fd = REAL(int, open64, const char *, int, ...)(fault.mark, O_WRONLY | O_CREAT | O_APPEND, 0666);
    if (fd >= 0 && length > 0)
        (void)!REAL(ssize_t, write, int, const void *, size_t)(fd, line, (size_t)length);
    if (fd >= 0)
        REAL(int, close, int)(fd);
}

static void strike(void)
{
    if (!fault.struck)
        mark("struck\n");
    fault.struck = true;
}

__attribute__((destructor)) static void end(void)
{
    if (fault.kind == COUNT)
        mark("totals %llu %llu %llu %llu %llu\n", (unsigned long long)fault.calls, (unsigned long long)fault.card_bytes,
             (unsigned long long)fault.dest_bytes, (unsigned long long)fault.dest_calls,
             (unsigned long long)fault.fsyncs);
}

static uint64_t roll(void)
{
    fault.random ^= fault.random << 13;
    fault.random ^= fault.random >> 7;
    fault.random ^= fault.random << 17;
    return fault.random >> 11;
}

static bool below(const char *path, const char *folder)
{
    size_t length = strlen(folder);
    return length > 0 && strncmp(path, folder, length) == 0 && (path[length] == '/' || path[length] == '\0');
}
static bool on_card(const char *path)
{
    return below(path, fault.card);
}
static bool on_dest(const char *path)
{
    return below(path, fault.dest);
}

static void path_of(int fd, char path[PATH_MAX])
{
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, PATH_MAX - 1);
    path[length > 0 ? length : 0] = '\0';
}

/* Counts a call; dies there when it is the one. Called with the lock held. */
static void count_call(void)
{
    if (fault.kind == KILL && fault.calls == fault.at) {
        strike();
        raise(SIGKILL);
    }
    fault.calls++;
}

static bool interrupted(void)
{
    if (fault.kind != INTERRUPT || roll() % 3 != 0)
        return false;
    strike();
    errno = EINTR;
    return true;
}

/* A change below the destination: true when it is refused. */
static bool refused(const char *path)
{
    if (!on_dest(path))
        return false;
    bool now = fault.kind == READ_ONLY && fault.dest_calls >= fault.at;
    fault.dest_calls++;
    if (now) {
        strike();
        errno = EROFS;
    }
    return now;
}

static bool gone(const char *path)
{
    if (fault.kind != PULLED || !on_card(path) || fault.card_bytes < fault.at)
        return false;
    strike();
    errno = EIO;
    return true;
}

/* ---- names ---- */

/* The name as the destination stores it. NULL: it cannot (errno). */
static const char *stored(const char *path, char other[PATH_MAX], bool creating)
{
    if ((fault.kind != FOLD && fault.kind != FAT) || !on_dest(path) || strlen(path) >= PATH_MAX)
        return path;
    memcpy(other, path, strlen(path) + 1);
    for (char *at = other + strlen(fault.dest); *at != '\0'; at++) {
        if (fault.kind == FAT && creating &&
            (strchr("\"*:<>?\\|", *at) != NULL || (unsigned char)*at < 0x20 ||
             ((*at == '.' || *at == ' ') && (at[1] == '\0' || at[1] == '/')))) {
            strike();
            errno = EINVAL;
            return NULL;
        }
        if (*at >= 'A' && *at <= 'Z')
            *at = (char)(*at + ('a' - 'A'));
    }
    return other;
}

/* ---- the calls ---- */

int open64(const char *path, int flags, ...)
{
    mode_t mode = 0;
    if ((flags & O_CREAT) != 0) {
        va_list values;
        va_start(values, flags);
        mode = va_arg(values, mode_t);
        va_end(values);
    }
    char other[PATH_MAX];
    bool changes = (flags & O_ACCMODE) != O_RDONLY;
    pthread_mutex_lock(&fault.lock);
    count_call();
    const char *name = stored(path, other, (flags & O_CREAT) != 0);
    bool failed = name == NULL || gone(path) || (changes && refused(path));
    int cause = errno;
    pthread_mutex_unlock(&fault.lock);
    if (failed) {
        errno = cause;
        return -1;
    }
    return REAL(int, open64, const char *, int, ...)(name, flags, mode);
}

int open(const char *path, int flags, ...)
{
    mode_t mode = 0;
    if ((flags & O_CREAT) != 0) {
        va_list values;
        va_start(values, flags);
        mode = va_arg(values, mode_t);
        va_end(values);
    }
    return open64(path, flags, mode);
}

/* Does the block of trouble begin in this read? Sets it once. */
static void place_bad_block(const char *path, off_t offset, size_t size)
{
    if (fault.bad_path[0] != '\0' || fault.card_bytes + size <= fault.at)
        return;
    memcpy(fault.bad_path, path, strlen(path) + 1);
    fault.bad_offset = (offset + (off_t)(fault.at - fault.card_bytes)) / 4096 * 4096;
}

/* How much of the read comes before the bad block; -1 with errno when it begins in it. */
static ssize_t before_bad_block(const char *path, off_t offset, size_t size)
{
    if (strcmp(path, fault.bad_path) != 0 || offset >= fault.bad_offset + 4096 ||
        offset + (off_t)size <= fault.bad_offset)
        return (ssize_t)size;
    if (offset < fault.bad_offset)
        return (ssize_t)(fault.bad_offset - offset);
    if (fault.kind == FLAKY && fault.bad_tries++ >= 2)
        return (ssize_t)size;
    strike();
    mark("bad %lld %s\n", (long long)fault.bad_offset, path);
    errno = EIO;
    return -1;
}

static void flip_byte(const char *path, off_t offset)
{
    int fd = REAL(int, open64, const char *, int, ...)(path, O_RDWR);
    unsigned char byte;
    if (fd >= 0 && REAL(ssize_t, pread64, int, void *, size_t, off_t)(fd, &byte, 1, offset) == 1) {
        byte ^= 0x40;
        (void)!pwrite(fd, &byte, 1, offset);
        strike();
    }
    if (fd >= 0)
        REAL(int, close, int)(fd);
}

static void change_source(const char *path, off_t size)
{
    if (fault.struck)
        return;
    if (fault.kind == CHANGES && size > 0)
        flip_byte(path, (off_t)(roll() % (uint64_t)size));
    if (fault.kind == VANISHES && REAL(int, unlink, const char *)(path) == 0)
        strike();
    if (fault.kind == GROWS) {
        int fd = REAL(int, open64, const char *, int, ...)(path, O_WRONLY | O_APPEND);
        if (fd >= 0 && REAL(ssize_t, write, int, const void *, size_t)(fd, "+", 1) == 1)
            strike();
        if (fd >= 0)
            REAL(int, close, int)(fd);
    }
}

static ssize_t card_read(int fd, const char *path, off_t offset, size_t size)
{
    struct stat status;
    ssize_t allowed = (ssize_t)size;
    if (gone(path))
        return -1;
    if (fault.kind == PULLED && fault.card_bytes + size > fault.at)
        allowed = (ssize_t)(fault.at - fault.card_bytes) > 0 ? (ssize_t)(fault.at - fault.card_bytes) : 1;
    if (fault.kind == EIO_BLOCK || fault.kind == FLAKY) {
        /* Only what the file really has counts. */
        size_t there = fstat(fd, &status) == 0 && offset < status.st_size ? (size_t)(status.st_size - offset) : 0;
        size_t real = size < there ? size : there;
        place_bad_block(path, offset, real);
        allowed = before_bad_block(path, offset, real);
    }
    if ((fault.kind == CHANGES || fault.kind == GROWS || fault.kind == VANISHES) &&
        fault.card_bytes + size > fault.at && fstat(fd, &status) == 0)
        change_source(path, status.st_size);
    return allowed;
}

ssize_t pread64(int fd, void *buffer, size_t size, off_t offset)
{
    char path[PATH_MAX];
    path_of(fd, path);
    pthread_mutex_lock(&fault.lock);
    count_call();
    ssize_t allowed = (ssize_t)size;
    if (interrupted())
        allowed = -1;
    else if (on_card(path))
        allowed = card_read(fd, path, offset, size);
    if (fault.kind == SHORT && allowed > 1 && (on_card(path) || on_dest(path))) {
        strike();
        allowed = 1 + (ssize_t)(roll() % (uint64_t)allowed);
    }
    int cause = errno;
    ssize_t got = -1;
    if (allowed >= 0) {
        got = REAL(ssize_t, pread64, int, void *, size_t, off_t)(fd, buffer, (size_t)allowed, offset);
        cause = errno;
        /* O_DIRECT takes whole blocks only: read all and tell of less. */
        if (got < 0 && cause == EINVAL && (size_t)allowed < size) {
            got = REAL(ssize_t, pread64, int, void *, size_t, off_t)(fd, buffer, size, offset);
            cause = errno;
            got = got > allowed ? allowed : got;
        }
        if (got > 0 && on_card(path))
            fault.card_bytes += (uint64_t)got;
    }
    pthread_mutex_unlock(&fault.lock);
    errno = cause;
    return got;
}

ssize_t pread(int fd, void *buffer, size_t size, off_t offset)
{
    return pread64(fd, buffer, size, offset);
}
ssize_t __pread64_chk(int fd, void *buffer, size_t size, off_t offset, size_t capacity);
ssize_t __pread64_chk(int fd, void *buffer, size_t size, off_t offset, size_t capacity)
{
    return size <= capacity ? pread64(fd, buffer, size, offset) : -1;
}

/* How much of a write to the destination is taken; -1 with errno. */
static ssize_t dest_write(int fd, const char *path, size_t size)
{
    if (refused(path))
        return -1;
    if (fault.kind == NO_SPACE && fault.dest_bytes + size > fault.at) {
        strike();
        errno = ENOSPC;
        return fault.at > fault.dest_bytes ? (ssize_t)(fault.at - fault.dest_bytes) : -1;
    }
    off_t place = lseek(fd, 0, SEEK_CUR);
    if (fault.kind == FAT && place >= 0 && (uint64_t)place + size > fault.seed) {
        strike();
        errno = EFBIG;
        return -1;
    }
    return (ssize_t)size;
}

ssize_t write(int fd, const void *bytes, size_t size)
{
    char path[PATH_MAX];
    path_of(fd, path);
    pthread_mutex_lock(&fault.lock);
    ssize_t allowed = (ssize_t)size;
    if (on_dest(path)) {
        count_call();
        allowed = interrupted() ? -1 : dest_write(fd, path, size);
        if (fault.kind == SHORT && allowed > 1) {
            strike();
            allowed = 1 + (ssize_t)(roll() % (uint64_t)allowed);
        }
    }
    int cause = errno;
    ssize_t taken = -1;
    if (allowed >= 0) {
        taken = REAL(ssize_t, write, int, const void *, size_t)(fd, bytes, (size_t)allowed);
        cause = errno;
        if (taken > 0 && on_dest(path))
            fault.dest_bytes += (uint64_t)taken;
    }
    pthread_mutex_unlock(&fault.lock);
    errno = cause;
    return taken;
}

int fsync(int fd)
{
    char path[PATH_MAX];
    path_of(fd, path);
    pthread_mutex_lock(&fault.lock);
    bool failed = false, rots = false;
    struct stat status;
    if (on_dest(path)) {
        count_call();
        failed = interrupted() || refused(path);
        bool this_one = !failed && fault.fsyncs == fault.at;
        if (this_one && fault.kind == FSYNC) {
            strike();
            errno = EIO;
            failed = true;
        }
        rots = this_one && fault.kind == ROT;
        fault.fsyncs += !failed;
    }
    int cause = errno;
    int result = -1;
    if (!failed) {
        result = REAL(int, fsync, int)(fd);
        cause = errno;
        if (rots && fstat(fd, &status) == 0 && S_ISREG(status.st_mode) && status.st_size > 0)
            flip_byte(path, (off_t)(roll() % (uint64_t)status.st_size));
        else if (rots)
            fault.at++; /* an empty file has nothing to rot: the next one */
    }
    pthread_mutex_unlock(&fault.lock);
    errno = cause;
    return result;
}

DIR *opendir(const char *path)
{
    char other[PATH_MAX];
    pthread_mutex_lock(&fault.lock);
    count_call();
    bool failed = gone(path);
    const char *name = stored(path, other, false);
    pthread_mutex_unlock(&fault.lock);
    return failed ? NULL : REAL(DIR *, opendir, const char *)(name);
}

#define LOOK(function)                                                                                                 \
    int function(const char *path, struct stat64 *status)                                                              \
    {                                                                                                                  \
        char other[PATH_MAX];                                                                                          \
        pthread_mutex_lock(&fault.lock);                                                                               \
        bool failed = gone(path);                                                                                      \
        const char *name = stored(path, other, false);                                                                 \
        pthread_mutex_unlock(&fault.lock);                                                                             \
        return failed ? -1 : REAL(int, function, const char *, struct stat64 *)(name, status);                         \
    }
LOOK(stat64)
LOOK(lstat64)

int access(const char *path, int mode)
{
    char other[PATH_MAX];
    return REAL(int, access, const char *, int)(stored(path, other, false), mode);
}

/* One path that is made or removed. */
#define CHANGE_ONE(function, creating, parameters, arguments, types)                                                   \
    int function parameters                                                                                            \
    {                                                                                                                  \
        char other[PATH_MAX];                                                                                          \
        pthread_mutex_lock(&fault.lock);                                                                               \
        count_call();                                                                                                  \
        const char *name = stored(path, other, creating);                                                              \
        bool failed = name == NULL || refused(path);                                                                   \
        int cause = errno;                                                                                             \
        pthread_mutex_unlock(&fault.lock);                                                                             \
        errno = cause;                                                                                                 \
        return failed ? -1 : ((int(*) types)next_of(#function))arguments;                                              \
    }
CHANGE_ONE(mkdir, true, (const char *path, mode_t mode), (name, mode), (const char *, mode_t))
CHANGE_ONE(rmdir, false, (const char *path), (name), (const char *))
CHANGE_ONE(unlink, false, (const char *path), (name), (const char *))

#define CHANGE_TWO(function, parameters, arguments, types)                                                             \
    int function parameters                                                                                            \
    {                                                                                                                  \
        char first[PATH_MAX], second[PATH_MAX];                                                                        \
        pthread_mutex_lock(&fault.lock);                                                                               \
        count_call();                                                                                                  \
        const char *old_name = stored(from, first, false), *new_name = stored(to, second, true);                       \
        bool failed = new_name == NULL || refused(to);                                                                 \
        int cause = errno;                                                                                             \
        pthread_mutex_unlock(&fault.lock);                                                                             \
        errno = cause;                                                                                                 \
        return failed ? -1 : ((int(*) types)next_of(#function))arguments;                                              \
    }
CHANGE_TWO(rename, (const char *from, const char *to), (old_name, new_name), (const char *, const char *))
CHANGE_TWO(link, (const char *from, const char *to), (old_name, new_name), (const char *, const char *))
CHANGE_TWO(renameat2, (int from_fd, const char *from, int to_fd, const char *to, unsigned flags),
           (from_fd, old_name, to_fd, new_name, flags), (int, const char *, int, const char *, unsigned))

int futimens(int fd, const struct timespec times[2])
{
    pthread_mutex_lock(&fault.lock);
    count_call();
    pthread_mutex_unlock(&fault.lock);
    return REAL(int, futimens, int, const struct timespec[2])(fd, times);
}

int close(int fd)
{
    pthread_mutex_lock(&fault.lock);
    count_call();
    pthread_mutex_unlock(&fault.lock);
    return REAL(int, close, int)(fd);
}
