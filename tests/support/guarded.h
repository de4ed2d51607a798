/* SPDX-License-Identifier: MIT */
/*
 * Memory between two pages that nobody may touch: reading or writing one byte too many ends the process with SIGSEGV,
 * in vector code as well, which the sanitizers do not see everywhere.
 */
#ifndef TESTS_SUPPORT_GUARDED_H
#define TESTS_SUPPORT_GUARDED_H

#include <stddef.h>

enum guarded_side { GUARDED_START, GUARDED_END }; /* where the first or the last byte touches the page */

/* Ends the process with a message when there is no memory. Zeros. Aligned as `size` is at GUARDED_END. */
void *guarded_new(size_t size, enum guarded_side side);
void guarded_free(void *memory, size_t size);

#endif
