/* SPDX-License-Identifier: MIT */
/*
 * Scratch folders, running a program, and small file chores for the tests. Failures of the chores end the process with
 * a message (exit 99): tests have nothing to save.
 */
#ifndef TESTS_SUPPORT_SCRATCH_H
#define TESTS_SUPPORT_SCRATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A new empty folder under TMPDIR (else /tmp). Owned by the caller; scratch_remove() deletes and frees it. */
char *scratch_new(void);
void scratch_remove(char *folder); /* NULL is fine; never follows links */

/* printf to a new string, owned by the caller. */
char *scratch_format(const char *format, ...) __attribute__((format(printf, 1, 2)));

void scratch_folder(const char *path); /* with its parents; an existing one is fine */
void scratch_write(const char *path, const void *bytes, size_t size);
void scratch_copy(const char *from, const char *to);
/* Whole file, NUL-terminated; NULL when it cannot be opened. Owned by the caller. */
char *scratch_read(const char *path, size_t *size);
/* FNV-1a 64 of names, kinds, modes, sizes, times of change and contents of everything under a folder, in byte order:
 * equal before and after means that nothing was touched. Pipes and devices are not opened. */
uint64_t scratch_fingerprint(const char *folder);

struct run {
    int exit_status; /* 0…255; 128 + number when a signal ended it */
    char *out, *err; /* NUL-terminated */
    size_t out_size, err_size;
    uint64_t max_rss_bytes; /* getrusage(2) of the child */
    double seconds;         /* wall clock */
};

/* Runs argv[0] (found through PATH) with argv until NULL, stdin from /dev/null. `folder`: where it starts, or NULL.
 * `environment`: "NAME=value" entries set on top of ours, ended by NULL, or NULL. Ended by SIGKILL after `limit_s`
 * seconds (0 = 60): exit_status is then 137. */
void run_program(const char *const *argv, const char *folder, const char *const *environment, unsigned limit_s,
                 struct run *run);
void run_clear(struct run *run);

/* The program under test: TAKEPROOF from the environment, else build/takeproof. Static or environment text. */
const char *run_takeproof(void);

#endif
