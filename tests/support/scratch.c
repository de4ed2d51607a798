/* SPDX-License-Identifier: MIT */
#include "support/scratch.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static void give_up(const char *what)
{
    fprintf(stderr, "scratch: %s: %s\n", what, strerror(errno));
    exit(99);
}

static void *must(void *memory)
{
    if (!memory)
        give_up("memory");
    return memory;
}

char *scratch_format(const char *format, ...)
{
    char *text = NULL;
    va_list values;
    va_start(values, format);
    if (vasprintf(&text, format, values) < 0)
        give_up("memory");
    va_end(values);
    return text;
}

char *scratch_new(void)
{
    const char *base = getenv("TMPDIR");
    char *folder = scratch_format("%s/takeproof-test-XXXXXX", base && *base ? base : "/tmp");
    if (!mkdtemp(folder))
        give_up(folder);
    return folder;
}

static int remove_one(const char *path, const struct stat *info, int kind, struct FTW *where)
{
    (void)info, (void)where;
    if (kind == FTW_DP || kind == FTW_DNR)
        rmdir(path);
    else
        unlink(path);
    return 0;
}

void scratch_remove(char *folder)
{
    if (folder)
        nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
    free(folder);
}

void scratch_folder(const char *path)
{
    char *copy = must(strdup(path));
    for (char *slash = strchr(copy + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        mkdir(copy, 0777);
        *slash = '/';
    }
    if (mkdir(copy, 0777) != 0 && errno != EEXIST)
        give_up(path);
    free(copy);
}

void scratch_write(const char *path, const void *bytes, size_t size)
{
    FILE *file = fopen(path, "wb");
    if (!file || (size && fwrite(bytes, 1, size, file) != size) || fclose(file) != 0)
        give_up(path);
}

char *scratch_read(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    if (!file)
        return NULL;
    char *bytes = NULL;
    size_t count = 0, got;
    do {
        bytes = must(realloc(bytes, count + 65537));
        got = fread(bytes + count, 1, 65536, file);
        count += got;
    } while (got > 0);
    fclose(file);
    bytes[count] = '\0';
    if (size)
        *size = count;
    return bytes;
}

void scratch_copy(const char *from, const char *to)
{
    size_t size;
    char *bytes = scratch_read(from, &size);
    if (!bytes)
        give_up(from);
    scratch_write(to, bytes, size);
    free(bytes);
}

static uint64_t mix(uint64_t hash, const void *bytes, size_t size)
{
    const uint8_t *b = bytes;
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ b[i]) * 0x100000001B3u;
    return hash;
}

static uint64_t mix_file(uint64_t hash, const char *path)
{
    int fd = open(path, O_RDONLY | O_NOATIME | O_NONBLOCK);
    uint8_t block[65536];
    ssize_t got;
    while (fd >= 0 && (got = read(fd, block, sizeof block)) > 0)
        hash = mix(hash, block, (size_t)got);
    if (fd >= 0)
        close(fd);
    return hash;
}

static uint64_t fingerprint(uint64_t hash, const char *path)
{
    struct stat info;
    if (lstat(path, &info) != 0)
        return hash;
    hash = mix(hash, path, strlen(path));
    hash = mix(hash, &info.st_mode, sizeof info.st_mode);
    hash = mix(hash, &info.st_mtim, sizeof info.st_mtim);
    hash = mix(hash, &info.st_ctim, sizeof info.st_ctim);
    if (S_ISREG(info.st_mode))
        return mix_file(mix(hash, &info.st_size, sizeof info.st_size), path);
    if (!S_ISDIR(info.st_mode))
        return hash;
    struct dirent **entries;
    int count = scandir(path, &entries, NULL, alphasort);
    for (int i = 0; i < count; i++) {
        if (strcmp(entries[i]->d_name, ".") != 0 && strcmp(entries[i]->d_name, "..") != 0) {
            char *inner = scratch_format("%s/%s", path, entries[i]->d_name);
            hash = fingerprint(hash, inner);
            free(inner);
        }
        free(entries[i]);
    }
    if (count >= 0)
        free(entries);
    return hash;
}

uint64_t scratch_fingerprint(const char *folder)
{
    return fingerprint(0xCBF29CE484222325u, folder);
}

static void become(const char *const *argv, const char *folder, const char *const *environment, int out, int err)
{
    int null = open("/dev/null", O_RDONLY);
    dup2(null, 0);
    dup2(out, 1);
    dup2(err, 2);
    for (; environment && *environment; environment++) {
        char *entry = strdup(*environment);
        if (entry)
            putenv(entry);
    }
    if (folder && chdir(folder) != 0)
        _exit(98);
    char **words = NULL;
    memcpy(&words, &argv, sizeof words); /* execvp wants char *const *, and leaves them alone */
    execvp(words[0], words);
    fprintf(stderr, "cannot run '%s': %s\n", words[0], strerror(errno));
    _exit(127);
}

static double clock_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

struct pipe_end {
    int fd;
    char *bytes;
    size_t size;
};

static void drain(struct pipe_end *end)
{
    end->bytes = must(realloc(end->bytes, end->size + 65537));
    ssize_t got = read(end->fd, end->bytes + end->size, 65536);
    if (got > 0) {
        end->size += (size_t)got;
        return;
    }
    if (got < 0 && errno == EINTR)
        return;
    close(end->fd);
    end->fd = -1;
}

/* Reads both pipes to their ends; kills the child when the time is over. */
static void listen_to(pid_t child, struct pipe_end ends[2], double until_s)
{
    bool killed = false;
    while (ends[0].fd >= 0 || ends[1].fd >= 0) {
        struct pollfd polls[2] = {{ends[0].fd, POLLIN, 0}, {ends[1].fd, POLLIN, 0}};
        poll(polls, 2, 200);
        for (int i = 0; i < 2; i++) {
            if (ends[i].fd >= 0 && polls[i].revents)
                drain(&ends[i]);
        }
        if (!killed && clock_s() > until_s) {
            kill(child, SIGKILL);
            killed = true;
        }
    }
}

void run_program(const char *const *argv, const char *folder, const char *const *environment, unsigned limit_s,
                 struct run *run)
{
    int out[2], err[2];
    if (pipe2(out, O_CLOEXEC) != 0 || pipe2(err, O_CLOEXEC) != 0)
        give_up("pipe");
    double start_s = clock_s();
    fflush(NULL);
    pid_t child = fork();
    if (child < 0)
        give_up("fork");
    if (child == 0)
        become(argv, folder, environment, out[1], err[1]);
    close(out[1]);
    close(err[1]);
    struct pipe_end ends[2] = {{.fd = out[0]}, {.fd = err[0]}};
    listen_to(child, ends, start_s + (limit_s ? limit_s : 60));
    int status = 0;
    struct rusage usage;
    while (wait4(child, &status, 0, &usage) < 0 && errno == EINTR)
        ;
    *run = (struct run){.exit_status = WIFSIGNALED(status) ? 128 + WTERMSIG(status) : WEXITSTATUS(status),
                        .out = ends[0].bytes,
                        .err = ends[1].bytes,
                        .out_size = ends[0].size,
                        .err_size = ends[1].size,
                        .max_rss_bytes = (uint64_t)usage.ru_maxrss * 1024,
                        .seconds = clock_s() - start_s};
    run->out[run->out_size] = '\0';
    run->err[run->err_size] = '\0';
}

void run_clear(struct run *run)
{
    free(run->out);
    free(run->err);
    *run = (struct run){0};
}

const char *run_takeproof(void)
{
    const char *path = getenv("TAKEPROOF");
    return path && *path ? path : "build/takeproof";
}
