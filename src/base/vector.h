/* SPDX-License-Identifier: MIT */
/*
 * Eight values (or 32 bytes) at a time for the inner loops, with the vector types of GNU C (gcc and clang, any
 * processor: where there are no registers so wide the compiler splits them). The order of every sum is fixed by these
 * eight lanes and nothing is contracted to fused operations (-std=c11), so the figures are the same on every machine.
 *
 * TP_CLONES before a function has gcc compile it for several instruction sets and choose when the program starts
 * (x86-64 with glibc). Without it, as under the sanitizers or with TP_PLAIN, the plain one runs. gcc 12 takes vectors
 * that the plain set lacks apart before it clones: good for loops that it vectorises itself; what is written in wide
 * vectors, with comparisons and shuffles, belongs in measure/lanes.h.
 */
#ifndef TP_BASE_VECTOR_H
#define TP_BASE_VECTOR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

typedef uint8_t tp_v32b __attribute__((vector_size(32)));
typedef float tp_v8f __attribute__((vector_size(32)));
typedef double tp_v4d __attribute__((vector_size(32)));
typedef double tp_v8d __attribute__((vector_size(64)));

#if defined(__x86_64__) && defined(__gnu_linux__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__) && !defined(TP_PLAIN)
#define TP_CLONES __attribute__((target_clones("avx512f", "avx2", "default")))
#else
#define TP_CLONES
#endif

/* TP_AVX2 before a function that is called only where tp_has_avx2(): for what is slow with less, as shuffling bytes. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(TP_PLAIN)
#define TP_AVX2 __attribute__((target("avx2")))
static inline bool tp_has_avx2(void)
{
    return __builtin_cpu_supports("avx2");
}
#else
#define TP_AVX2
static inline bool tp_has_avx2(void)
{
    return false;
}
#endif

/* From any address. */
#define TP_LOAD8(vector, address) memcpy(&(vector), (address), sizeof(vector))

#endif
