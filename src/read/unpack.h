/* SPDX-License-Identifier: MIT */
/*
 * The own engine of decode.h: interleaved little-endian bytes to planes of floats, in loops that the compiler
 * vectorises. The same figures whatever the instruction set.
 */
#ifndef TP_READ_UNPACK_H
#define TP_READ_UNPACK_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <takeproof/result.h>

struct tp_packing {
    enum tp_encoding encoding;
    uint32_t bytes_per_sample; /* PCM: 1 (unsigned), 2, 3, 4; float: 4, 8 */
    uint32_t channel_count;
};

/* Writes `frames` samples to each of channel_count planes; adds what is not finite (and becomes 0) to
 * non_finite[channel]. Returns all integers OR'ed together, left-justified in 32 bits; 0 of floats.
 */
uint32_t tp_unpack(const struct tp_packing *format, const uint8_t *bytes, size_t frames, float *const *planes,
                   uint64_t *non_finite);

/* How both engines round to float: what is not at full scale stays off it. */
static inline float tp_float_from_left_justified(int32_t value)
{
    /* The largest float below full scale is 2^31 - 128; what lies between would be rounded to either. */
    const int32_t most = INT32_MAX - 127;
    int32_t inside = value > most ? most : value < -most ? -most : value;
    int32_t kept = value == INT32_MAX || value <= -INT32_MAX ? value : inside;
    return (float)kept * 0x1p-31f;
}

static inline float tp_float_from_double(double value)
{
    uint64_t exact;
    float sample = (float)value;
    uint32_t rounded;
    memcpy(&exact, &value, sizeof exact);
    memcpy(&rounded, &sample, sizeof rounded);
    /* In integers, which need no branch: 1.0 from less than 1.0 goes one step back. */
    rounded -= (uint32_t)((rounded & INT32_MAX) == 0x3F800000) & (uint32_t)((exact & INT64_MAX) < 0x3FF0000000000000);
    memcpy(&sample, &rounded, sizeof sample);
    return sample;
}

#endif
