/* SPDX-License-Identifier: MIT */
#include "read/unpack.h"

#include "base/num.h"
#include "base/vector.h"

/* Bytes of the file that are taken at once: with the samples they become they stay in the first-level cache while one
 * channel after the other is picked from them. */
#define STRETCH_BYTES ((size_t)8 << 10)

#define INLINE static inline __attribute__((always_inline))

/* One loop a sample format, for one channel. `stride`: bytes from one of its samples to the next. They return the bits
 * seen, or how many samples were not finite. */

INLINE uint32_t loop_u8(size_t stride, const uint8_t *restrict bytes, size_t frames, float *restrict out)
{
    uint32_t seen = 0;
    for (size_t i = 0; i < frames; i++) {
        int32_t value = (int32_t)bytes[i * stride] - 128;
        seen |= (uint32_t)value << 24;
        out[i] = (float)value * 0x1p-7f;
    }
    return seen;
}

INLINE uint32_t loop_16(size_t stride, const uint8_t *restrict bytes, size_t frames, float *restrict out)
{
    uint32_t seen = 0;
    for (size_t i = 0; i < frames; i++) {
        uint16_t value = tp_le16(bytes + i * stride);
        seen |= value;
        out[i] = (float)(int16_t)value * 0x1p-15f;
    }
    return seen << 16;
}

INLINE uint32_t loop_32(size_t stride, const uint8_t *restrict bytes, size_t frames, float *restrict out)
{
    uint32_t seen = 0;
    for (size_t i = 0; i < frames; i++) {
        uint32_t value = tp_le32(bytes + i * stride);
        seen |= value;
        out[i] = tp_float_from_left_justified((int32_t)value);
    }
    return seen;
}

/* Inf and NaN become 0. In integers, which need no branch. */
INLINE uint32_t finite_or_zero(uint32_t bits, uint32_t *not_finite)
{
    const uint32_t exponent = 0x7F800000;
    uint32_t keep = (bits & exponent) != exponent;
    *not_finite += 1 - keep;
    return bits & (0 - keep);
}

INLINE uint32_t loop_float(size_t stride, const uint8_t *restrict bytes, size_t frames, float *restrict out)
{
    uint32_t not_finite = 0;
    for (size_t i = 0; i < frames; i++) {
        uint32_t bits = finite_or_zero(tp_le32(bytes + i * stride), &not_finite);
        memcpy(&out[i], &bits, sizeof bits);
    }
    return not_finite;
}

INLINE uint32_t loop_double(size_t stride, const uint8_t *restrict bytes, size_t frames, float *restrict out)
{
    uint32_t not_finite = 0;
    for (size_t i = 0; i < frames; i++) {
        uint64_t bits = tp_le64(bytes + i * stride);
        double value;
        memcpy(&value, &bits, sizeof value);
        float sample = tp_float_from_double(value);
        uint32_t rounded;
        memcpy(&rounded, &sample, sizeof rounded);
        rounded = finite_or_zero(rounded, &not_finite);
        memcpy(&out[i], &rounded, sizeof rounded);
    }
    return not_finite;
}

/* Two or three bytes a sample, any stride. One load of four bytes is four times as fast as three of one; the last
 * sample may have nothing behind it. */
static TP_CLONES uint32_t unpack_narrow(size_t width, size_t stride, const uint8_t *restrict bytes, size_t frames,
                                        float *restrict out)
{
    const unsigned shift = 32 - 8 * (unsigned)width;
    uint32_t seen = 0;
    if (frames == 0)
        return 0;
    for (size_t i = 0; i + 1 < frames; i++) {
        uint32_t value = tp_le32(bytes + i * stride) << shift;
        seen |= value;
        out[i] = (float)(int32_t)value * 0x1p-31f;
    }
    const uint8_t *last = bytes + (frames - 1) * stride;
    uint32_t value = (uint32_t)tp_le16(last) << shift | (width == 3 ? (uint32_t)last[2] << 24 : 0);
    out[frames - 1] = (float)(int32_t)value * 0x1p-31f;
    return seen | value;
}

INLINE uint32_t loop_of(const struct tp_packing *format, size_t channels, const uint8_t *bytes, size_t frames,
                        float *out)
{
    if (format->encoding == TP_ENCODING_FLOAT)
        return format->bytes_per_sample == 4 ? loop_float(4 * channels, bytes, frames, out)
                                             : loop_double(8 * channels, bytes, frames, out);
    switch (format->bytes_per_sample) {
    case 1: return loop_u8(channels, bytes, frames, out);
    case 2:
        return channels <= 2 ? loop_16(2 * channels, bytes, frames, out)
                             : unpack_narrow(2, 2 * channels, bytes, frames, out);
    case 3: return unpack_narrow(3, 3 * channels, bytes, frames, out);
    default: return loop_32(4 * channels, bytes, frames, out);
    }
}

/* With strides that are known when this is compiled, contiguous vectors are loaded. */
static TP_CLONES uint32_t unpack_channel(const struct tp_packing *format, const uint8_t *bytes, size_t frames,
                                         float *out)
{
    switch (format->channel_count) {
    case 1: return loop_of(format, 1, bytes, frames, out);
    case 2: return loop_of(format, 2, bytes, frames, out);
    default: return loop_of(format, format->channel_count, bytes, frames, out);
    }
}

/* --- the bytes of eight samples shuffled to their places at once --- */

typedef uint8_t v16b __attribute__((vector_size(16)));
typedef uint32_t v8u __attribute__((vector_size(32)));
typedef int32_t v8i __attribute__((vector_size(32)));

/* Four samples from `a` in the lower half, four from `b` in the upper. Reads 16 bytes at each, and leaves four of them.
 */
TP_AVX2 INLINE void load_8(tp_v32b *bytes, const uint8_t *a, const uint8_t *b)
{
    v16b lower, upper;
    memcpy(&lower, a, sizeof lower);
    memcpy(&upper, b, sizeof upper);
    *bytes = __builtin_shufflevector(lower, upper, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19,
                                     20, 21, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31);
}

TP_AVX2 INLINE void store_8(float *out, const v8u *left_justified, v8u *seen)
{
    tp_v8f samples = __builtin_convertvector((v8i)*left_justified, tp_v8f) * 0x1p-31f;
    *seen |= *left_justified;
    memcpy(out, &samples, sizeof samples);
}

TP_AVX2 INLINE uint32_t bits_of(const v8u *lanes)
{
    uint32_t seen = 0;
    for (size_t i = 0; i < 8; i++)
        seen |= (*lanes)[i];
    return seen;
}

/* Left-justified samples of both halves in the order wanted. The lowest byte is filled with another and masked away. */
#define SAMPLE(half, n)                                                                                                \
    16 * (half) + 3 * (n), 16 * (half) + 3 * (n), 16 * (half) + 3 * (n) + 1, 16 * (half) + 3 * (n) + 2
#define HALF(half, a, b, c, d) SAMPLE(half, a), SAMPLE(half, b), SAMPLE(half, c), SAMPLE(half, d)
#define SAMPLES(v, a, b, c, d) ((v8u)__builtin_shufflevector(v, v, HALF(0, a, b, c, d), HALF(1, a, b, c, d)) & ~0xFFu)

static TP_AVX2 uint32_t unpack_24_mono(const uint8_t *bytes, size_t frames, float *out)
{
    v8u seen = {0};
    size_t i = 0;
    for (; i + 9 < frames; i += 8) {
        tp_v32b eight;
        load_8(&eight, bytes + 3 * i, bytes + 3 * i + 12);
        v8u samples = SAMPLES(eight, 0, 1, 2, 3);
        store_8(out + i, &samples, &seen);
    }
    return bits_of(&seen) | unpack_narrow(3, 3, bytes + 3 * i, frames - i, out + i);
}

static TP_AVX2 uint32_t unpack_24_stereo(const uint8_t *bytes, size_t frames, float *left, float *right)
{
    v8u seen = {0};
    size_t i = 0;
    for (; i + 8 < frames; i += 8) {
        tp_v32b early, late;
        load_8(&early, bytes + 6 * i, bytes + 6 * i + 24);
        load_8(&late, bytes + 6 * i + 12, bytes + 6 * i + 36);
        tp_v4d two = (tp_v4d)SAMPLES(early, 0, 2, 1, 3), next = (tp_v4d)SAMPLES(late, 0, 2, 1, 3);
        v8u a = (v8u)__builtin_shufflevector(two, next, 0, 4, 2, 6);
        v8u b = (v8u)__builtin_shufflevector(two, next, 1, 5, 3, 7);
        store_8(left + i, &a, &seen);
        store_8(right + i, &b, &seen);
    }
    bytes += 6 * i;
    return bits_of(&seen) | unpack_narrow(3, 6, bytes, frames - i, left + i) |
           unpack_narrow(3, 6, bytes + 3, frames - i, right + i);
}

/* Of each half of `a` and of `b`: the first or the last two, of a and b by turns. */
#define ZIPPED(a, b, i)                                                                                                \
    __builtin_shufflevector(a, b, i, 8 + (i), (i) + 1, 9 + (i), 4 + (i), 12 + (i), 5 + (i), 13 + (i))

/* Rows of four channels, of frames n and n + 4, to eight frames of each channel. */
TP_AVX2 INLINE void turn(v8u x[4])
{
    v8u even = ZIPPED(x[0], x[2], 0), odd = ZIPPED(x[1], x[3], 0), even_late = ZIPPED(x[0], x[2], 2),
        odd_late = ZIPPED(x[1], x[3], 2);
    x[0] = ZIPPED(even, odd, 0);
    x[1] = ZIPPED(even, odd, 2);
    x[2] = ZIPPED(even_late, odd_late, 0);
    x[3] = ZIPPED(even_late, odd_late, 2);
}

/* Four channels beside one another, to out[channel][first] and on; `last`: no two lie behind them, and 16
 * bytes are read for their 12. */
static TP_AVX2 uint32_t unpack_24_four(size_t stride, bool last, const uint8_t *bytes, size_t first, size_t frames,
                                       float *const out[4])
{
    v8u seen = {0};
    size_t i = 0;
    for (; i + 8 + last <= frames; i += 8) {
        v8u at[4];
        for (size_t row = 0; row < 4; row++) {
            tp_v32b samples;
            load_8(&samples, bytes + (i + row) * stride, bytes + (i + 4 + row) * stride);
            at[row] = SAMPLES(samples, 0, 1, 2, 3);
        }
        turn(at);
        for (size_t channel = 0; channel < 4; channel++)
            store_8(out[channel] + first + i, &at[channel], &seen);
    }
    uint32_t all = bits_of(&seen);
    for (size_t channel = 0; channel < 4; channel++)
        all |= unpack_narrow(3, stride, bytes + i * stride + 3 * channel, frames - i, out[channel] + first + i);
    return all;
}

/* From four channels on; the last four may have some in common with those before. */
static uint32_t unpack_24_many(size_t channels, const uint8_t *bytes, size_t first, size_t frames, float *const *planes)
{
    uint32_t seen = 0;
    for (size_t done = 0; done < channels; done += 4) {
        size_t channel = channels - done < 4 ? channels - 4 : done;
        bool last = channels - channel < 6;
        seen |= unpack_24_four(3 * channels, last, bytes + 3 * channel, first, frames, planes + channel);
    }
    return seen;
}

/* --- */

/* Floats of four channels beside one another, to out[channel][first] and on. */
static TP_AVX2 void unpack_float_four(size_t stride, const uint8_t *bytes, size_t first, size_t frames,
                                      float *const out[4], uint64_t non_finite[4])
{
    const uint32_t exponent = 0x7F800000;
    v8u counts[4] = {{0}};
    size_t i = 0;
    for (; i + 8 <= frames; i += 8) {
        v8u at[4];
        for (size_t row = 0; row < 4; row++) {
            tp_v32b samples;
            load_8(&samples, bytes + (i + row) * stride, bytes + (i + 4 + row) * stride);
            at[row] = (v8u)samples;
        }
        turn(at);
        for (size_t channel = 0; channel < 4; channel++) {
            v8u none = (v8u)((at[channel] & exponent) == exponent), kept = at[channel] & ~none;
            counts[channel] -= none;
            memcpy(out[channel] + first + i, &kept, sizeof kept);
        }
    }
    for (size_t channel = 0; channel < 4; channel++) {
        for (size_t lane = 0; lane < 8; lane++)
            non_finite[channel] += counts[channel][lane];
        non_finite[channel] +=
            loop_float(stride, bytes + i * stride + 4 * channel, frames - i, out[channel] + first + i);
    }
}

/* To planes[channel][first] and on. */
static uint32_t unpack_stretch(const struct tp_packing *format, const uint8_t *bytes, size_t first, size_t frames,
                               float *const *planes, uint64_t *non_finite)
{
    if (format->encoding == TP_ENCODING_PCM && format->bytes_per_sample == 3 && tp_has_avx2()) {
        if (format->channel_count == 1)
            return unpack_24_mono(bytes, frames, planes[0] + first);
        if (format->channel_count == 2)
            return unpack_24_stereo(bytes, frames, planes[0] + first, planes[1] + first);
        if (format->channel_count >= 4)
            return unpack_24_many(format->channel_count, bytes, first, frames, planes);
    }
    uint32_t seen = 0, done = 0;
    if (format->encoding == TP_ENCODING_FLOAT && format->bytes_per_sample == 4 && tp_has_avx2())
        for (; done + 4 <= format->channel_count; done += 4)
            unpack_float_four((size_t)4 * format->channel_count, bytes + 4 * done, first, frames, planes + done,
                              non_finite + done);
    for (uint32_t channel = done; channel < format->channel_count; channel++) {
        uint32_t result =
            unpack_channel(format, bytes + channel * format->bytes_per_sample, frames, planes[channel] + first);
        if (format->encoding == TP_ENCODING_FLOAT)
            non_finite[channel] += result;
        else
            seen |= result;
    }
    return seen;
}

uint32_t tp_unpack(const struct tp_packing *format, const uint8_t *bytes, size_t frames, float *const *planes,
                   uint64_t *non_finite)
{
    size_t frame_bytes = (size_t)format->bytes_per_sample * format->channel_count;
    /* Whole vectors, so that every stretch of a plane begins where one does. */
    size_t limit = STRETCH_BYTES / frame_bytes / 16 * 16 + 16;
    uint32_t seen = 0;
    for (size_t done = 0; done < frames;) {
        size_t stretch = frames - done < limit ? frames - done : limit;
        seen |= unpack_stretch(format, bytes + done * frame_bytes, done, stretch, planes, non_finite);
        done += stretch;
    }
    return seen;
}
