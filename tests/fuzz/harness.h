/* SPDX-License-Identifier: MIT */
/*
 * What every fuzz target shares: the entry point of libFuzzer and AFL++, a file made of the input, and a property check
 * that survives NDEBUG. A target asserts what must hold for any bytes; the replay driver runs it without an engine.
 */
#ifndef TP_TESTS_FUZZ_H
#define TP_TESTS_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define FUZZ_MUST(what)                                                                                                \
    do {                                                                                                               \
        if (!(what)) {                                                                                                 \
            fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__, #what);                                  \
            abort();                                                                                                   \
        }                                                                                                              \
    } while (0)

/* The input as a file; the path is valid until the next call. */
const char *fuzz_file(const uint8_t *data, size_t size, const char *extension);
/* A folder of this process for what targets write. */
const char *fuzz_folder(void);
/* Reads a stream back whole and frees it with free(). */
char *fuzz_slurp(FILE *stream, size_t *size);

#endif
