/* SPDX-License-Identifier: MIT */
#include "read/guess.h"

#include "base/num.h"

#include <math.h>
#include <string.h>

enum { BYTES_MIN = 2048, WIDTH_MAX = 4 };
#define CONSTANT_BITS 0.01

/* Bits of information a byte at `position` of each group of `width` carries: 0 … 8. */
static double entropy_at(const uint8_t *bytes, size_t size, size_t width, size_t position)
{
    size_t counts[256] = {0};
    size_t total = 0;
    for (size_t i = position; i < size; i += width, total++)
        counts[bytes[i]]++;
    double bits = 0.0;
    for (size_t v = 0; v < 256; v++)
        if (counts[v] > 0)
            bits -= (double)counts[v] / (double)total * log2((double)counts[v] / (double)total);
    return bits;
}

struct layout {
    size_t width, top; /* bytes a sample, and the place of its most significant byte within the groups */
    double contrast;   /* entropy of the other bytes above that of the top one */
};

static struct layout find_layout(const uint8_t *bytes, size_t size, uint32_t known_bits)
{
    struct layout best = {0};
    for (size_t width = 2; width <= WIDTH_MAX; width++) {
        if (known_bits != 0 && known_bits != width * 8)
            continue;
        double sum = 0.0, least = INFINITY;
        size_t top = 0, moving = 0;
        for (size_t p = 0; p < width; p++) {
            double entropy = entropy_at(bytes, size, width, p);
            if (entropy < CONSTANT_BITS)
                continue; /* a low byte that is never used: 16 bits in 24 */
            sum += entropy;
            moving++;
            if (entropy < least) {
                least = entropy;
                top = p;
            }
        }
        if (moving < 2)
            continue;
        /* A wrong width mixes the bytes, so that all look alike; a multiple of the right one has no more contrast. */
        double contrast = (sum - least) / (double)(moving - 1) - least;
        if (contrast > best.contrast + 0.05)
            best = (struct layout){.width = width, .top = top, .contrast = contrast};
    }
    return best;
}

static double sample_at(const uint8_t *at, size_t width, bool is_float)
{
    if (is_float) {
        uint32_t word = tp_le32(at);
        float value;
        memcpy(&value, &word, sizeof value);
        return isfinite(value) ? (double)value : 0.0;
    }
    uint32_t word = 0;
    for (size_t i = 0; i < width; i++)
        word = word >> 8 | (uint32_t)at[i] << 24;
    return (double)(int32_t)word / 2147483648.0;
}

/* In 32-bit float the top byte holds sign and exponent: sound below full scale gives 0x30…0x3F or 0xB0…0xBF. */
static bool looks_like_float(const uint8_t *bytes, size_t size, size_t first)
{
    size_t fitting = 0, total = 0;
    for (size_t i = first; i + 4 <= size; i += 4, total++) {
        uint8_t top = bytes[i + 3];
        fitting += (top & 0x7F) >= 0x2F && (top & 0x7F) <= 0x41;
    }
    return total > 0 && fitting * 10 >= total * 9;
}

/* Sets *first for 32-bit float. Its low bytes may well be the ones that move least: a converter of 24 bits never fills
 * them. */
static bool find_float(const uint8_t *bytes, size_t size, size_t *first)
{
    for (size_t phase = 0; phase < 4; phase++) {
        if (looks_like_float(bytes, size, phase)) {
            *first = phase;
            return true;
        }
    }
    return false;
}

/* Mean difference between samples `step` apart, relative to their mean size. */
static double roughness(const uint8_t *bytes, size_t size, size_t first, size_t width, bool is_float, size_t step)
{
    double differences = 0.0, sizes = 0.0;
    for (size_t i = first; i + (step + 1) * width <= size; i += width) {
        double a = sample_at(bytes + i, width, is_float);
        differences += fabs(sample_at(bytes + i + step * width, width, is_float) - a);
        sizes += fabs(a);
    }
    return sizes > 0.0 ? differences / sizes : INFINITY;
}

static uint32_t find_channels(const uint8_t *bytes, size_t size, size_t first, size_t width, bool is_float)
{
    uint32_t best = 1;
    double least = INFINITY;
    for (uint32_t step = 1; step <= TP_GUESS_CHANNELS_MAX; step++) {
        double rough = roughness(bytes, size, first, width, is_float, step);
        /* Two frames back is worse than one, so a multiple of the count never wins; it must win clearly over fewer. */
        if (rough < least * 0.9) {
            least = rough;
            best = step;
        }
    }
    return best;
}

bool tp_guess_format(const uint8_t *bytes, size_t size, uint32_t known_bits, uint32_t known_channels,
                     struct tp_guess *guess)
{
    if (size < BYTES_MIN)
        return false;
    struct layout layout = find_layout(bytes, size, known_bits);
    if (layout.width == 0 || layout.contrast < 0.5)
        return false;
    size_t first = (layout.top + 1) % layout.width;
    bool is_float = layout.width == 4 && find_float(bytes, size, &first);
    uint32_t channels =
        known_channels != 0 ? known_channels : find_channels(bytes, size, first, layout.width, is_float);
    *guess = (struct tp_guess){
        .bit_depth = (uint32_t)layout.width * 8, .is_float = is_float, .channel_count = channels, .phase = first};
    return true;
}
