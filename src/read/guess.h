/* SPDX-License-Identifier: MIT */
/*
 * The format of sound without a header, told from its bytes. Only for salvage, and always reported as a guess.
 *
 * Common practice, no source: the most significant byte of a sample takes few values (recordings seldom fill their
 * range), the others many; so the byte position with the least entropy gives width and phase. Then samples resemble
 * those of their own channel one frame earlier more than any others; so the step with the smallest mean difference
 * gives the channel count.
 */
#ifndef TP_READ_GUESS_H
#define TP_READ_GUESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_GUESS_BYTES ((size_t)256 << 10) /* a good look */
#define TP_GUESS_CHANNELS_MAX 16

struct tp_guess {
    uint32_t bit_depth; /* 16, 24 or 32 */
    bool is_float;      /* 32-bit float */
    uint32_t channel_count;
    size_t phase; /* bytes before the first whole frame begins, below one frame */
};

/* False when the bytes show no sound (too few, constant, noise in every byte). `known_bits` 0 = any width;
 * `known_channels` 0 = any count. */
bool tp_guess_format(const uint8_t *bytes, size_t size, uint32_t known_bits, uint32_t known_channels,
                     struct tp_guess *guess);

#endif
