/* SPDX-License-Identifier: MIT */
/*
 * Compiles the file named by TP_LANES_SOURCE once for each instruction set that is worth it, with as many values side
 * by side as its registers hold: eight where there is AVX2 (x86-64-v3 and -v4, chosen when the program runs), or
 * sixteen with -v4 if TP_LANES_SIXTEEN is defined, four everywhere else. Nothing is
 * contracted to fused operations (-std=c11), so the figures are the same on every machine (tests/measure/test_lanes.c).
 *
 * That file gives every name that it makes at file level as TP_LEVEL(name), and is called by TP_CHOSEN(name). What it
 * works with: TP_LANES; `lanes`, a vector of as many floats; the macros and functions below. Vectors of GNU C (gcc and
 * clang, any processor); target_clones would not do, as gcc 12 takes wide vectors apart before it clones.
 */
#ifndef TP_MEASURE_LANES_H
#define TP_MEASURE_LANES_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* What adds up across the lanes does so in this many partial sums, in TP_EIGHT / TP_LANES vectors: then the order is
 * the same however wide they are. Not with TP_LANES_SIXTEEN. */
#define TP_EIGHT 8

#if defined(__x86_64__) && defined(__GNUC__) && __GNUC__ >= 12 && !defined(__clang__) &&                               \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__) && !defined(TP_PLAIN)
#define TP_LEVELS
#define TP_CHOSEN(name)                                                                                                \
    (__builtin_cpu_supports("x86-64-v4") ? name##_v4 : __builtin_cpu_supports("x86-64-v3") ? name##_v3 : name##_plain)
#else
#define TP_CHOSEN(name) name##_plain
#endif

#endif

#ifdef TP_LANES_SOURCE
#ifdef TP_LEVELS
#pragma GCC push_options
#pragma GCC target("arch=x86-64-v4")
#define TP_LEVEL(name) name##_v4
#ifdef TP_LANES_SIXTEEN
#define TP_LANES 16
#else
#define TP_LANES 8
#endif
#include "measure/lanes_types.h"
#include TP_LANES_SOURCE
#undef TP_LEVEL
#undef TP_LANES
#pragma GCC pop_options
#pragma GCC push_options
#pragma GCC target("arch=x86-64-v3")
#define TP_LEVEL(name) name##_v3
#define TP_LANES 8
#include "measure/lanes_types.h"
#include TP_LANES_SOURCE
#undef TP_LEVEL
#undef TP_LANES
#pragma GCC pop_options
#endif
#define TP_LEVEL(name) name##_plain
#define TP_LANES 4
#include "measure/lanes_types.h"
#include TP_LANES_SOURCE
#undef TP_LEVEL
#undef TP_LANES
#undef TP_LANES_SOURCE
#undef TP_LANES_SIXTEEN
#endif
