/* SPDX-License-Identifier: MIT */
/*
 * xxHash. Where the library itself chooses the instruction set when the program runs, that: XXH3 is then twice as fast
 * or more, with the same values.
 */
#ifndef TP_BASE_XXH_H
#define TP_BASE_XXH_H

#include <xxhash.h>
#if defined(__x86_64__) && defined(__has_include)
#if __has_include(<xxh_x86dispatch.h>)
#include <xxh_x86dispatch.h>
#endif
#endif

#endif
