/* SPDX-License-Identifier: MIT */
/*
 * Preloaded library: the FAILALLOC_AT-th allocation that comes from takeproof or its libraries (counting from 1) gives
 * NULL, and with FAILALLOC_ALL every later one too. Writes the number of allocations to the file FAILALLOC_COUNT at
 * exit.
 * Allocations of libcrypto and libsndfile themselves never fail: version 3.0 of the first dereferences NULL when its
 * own start-up runs out of memory, version 1.2.0 of the second when it gathers chunks. Nor do those of libjansson that
 * have the sizes to which its parser's text buffer grows: version 2.14 then leaves a byte out of a string (lex_save).
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static atomic_long calls;
static atomic_long fail_at = -1;
static atomic_bool over; /* main() has returned */

static long limit(void)
{
    long at = atomic_load(&fail_at);
    if (at < 0) {
        const char *text = getenv("FAILALLOC_AT");
        at = text != NULL ? atol(text) : 0;
        atomic_store(&fail_at, at);
    }
    return at;
}

static int is_not_ours(const void *caller, size_t size)
{
    Dl_info info;
    if (dladdr(caller, &info) == 0 || info.dli_fname == NULL)
        return 0;
    if (size >= 32 && (size & (size - 1)) == 0 && strstr(info.dli_fname, "libjansson") != NULL)
        return 1;
    return strstr(info.dli_fname, "libcrypto") != NULL || strstr(info.dli_fname, "libsndfile") != NULL;
}

static int must_fail(const void *caller, size_t size)
{
    if (atomic_load(&over) || is_not_ours(caller, size))
        return 0;
    long at = limit();
    long call = atomic_fetch_add(&calls, 1) + 1;
    return at > 0 && (call == at || (call > at && getenv("FAILALLOC_ALL") != NULL));
}

extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *block, size_t size);
void *malloc(size_t size);
void *calloc(size_t count, size_t size);
void *realloc(void *block, size_t size);

void *malloc(size_t size)
{
    if (must_fail(__builtin_return_address(0), size)) {
        errno = ENOMEM;
        return NULL;
    }
    return __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    if (must_fail(__builtin_return_address(0), size)) {
        errno = ENOMEM;
        return NULL;
    }
    return __libc_calloc(count, size);
}

void *realloc(void *block, size_t size)
{
    if (must_fail(__builtin_return_address(0), size)) {
        errno = ENOMEM;
        return NULL;
    }
    return __libc_realloc(block, size);
}

typedef int main_function(int argc, char **argv, char **environment);
typedef int start_function(main_function *main, int argc, char **argv, void (*init)(void), void (*fini)(void),
                           void (*rtld_fini)(void), void *stack_end);
static main_function *real_main;

static int run_main(int argc, char **argv, char **environment)
{
    int status = real_main(argc, argv, environment);
    atomic_store(&over, true);
    return status;
}

/* What the C library's start-up code calls instead of main(); glibc, csu/libc-start.c. */
start_function __libc_start_main;
int __libc_start_main(main_function *main, int argc, char **argv, void (*init)(void), void (*fini)(void),
                      void (*rtld_fini)(void), void *stack_end)
{
    start_function *next = (start_function *)dlsym(RTLD_NEXT, "__libc_start_main");
    real_main = main;
    return next(run_main, argc, argv, init, fini, rtld_fini, stack_end);
}

static int count_fd = -1;

/* Opened at the start: later the program may write below its own folders only. */
__attribute__((constructor)) static void start(void)
{
    const char *path = getenv("FAILALLOC_COUNT");
    if (path != NULL)
        count_fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
}

__attribute__((destructor)) static void tell(void)
{
    if (count_fd >= 0)
        dprintf(count_fd, "%ld\n", atomic_load(&calls));
}
