/* SPDX-License-Identifier: MIT */
/*
 * Preloaded library that plays a parser taken over by a hostile file: at the first byte range read from a source it
 * tries to write to the file FAILWRITE_SOURCE, to make the file FAILWRITE_OWN, and to start a program, and tells on
 * stderr what came of it ("landlock N: source 13, own 0, program 13": version, then errno of each). 13 is EACCES.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

static atomic_flag done = ATOMIC_FLAG_INIT;

static int try_to_write(const char *path, int flags)
{
    int fd = open(path, flags | O_WRONLY | O_CLOEXEC, 0666);
    int error = fd < 0 ? errno : 0;
    if (fd >= 0)
        close(fd);
    return error;
}

static int try_to_start(void)
{
    int status = 0;
    pid_t child = fork();
    if (child == 0) {
        execl("/bin/true", "true", (char *)NULL);
        _exit(errno);
    }
    return waitpid(child, &status, 0) == child && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void attack(void)
{
    const char *source = getenv("FAILWRITE_SOURCE"), *own = getenv("FAILWRITE_OWN");
    if (source == NULL || own == NULL || atomic_flag_test_and_set(&done))
        return;
    long version = syscall(444, NULL, 0, 1); /* landlock_create_ruleset, asked for its version */
    int on_source = try_to_write(source, O_APPEND), on_own = try_to_write(own, O_CREAT), on_program = try_to_start();
    fprintf(stderr, "landlock %ld: source %d, own %d, program %d\n", version, on_source, on_own, on_program);
}

ssize_t pread64(int fd, void *buffer, size_t size, off64_t offset);
ssize_t pread64(int fd, void *buffer, size_t size, off64_t offset)
{
    attack();
    return (ssize_t)syscall(SYS_pread64, fd, buffer, size, offset);
}
