/* SPDX-License-Identifier: MIT */
#include "take/splice_wave.h"

#include "base/num.h"

#include <string.h>

#define BLOCK 1024

static void put(FILE *out, const void *bytes, size_t size)
{
    /* A short write stays in ferror(out), which the caller asks once. */
    (void)!fwrite(bytes, 1, size, out);
}

static void put_u32(FILE *out, uint32_t value)
{
    uint8_t bytes[4];
    tp_put_le32(bytes, value);
    put(out, bytes, sizeof bytes);
}

static void put_u16(FILE *out, uint16_t value)
{
    uint8_t bytes[2];
    tp_put_le16(bytes, value);
    put(out, bytes, sizeof bytes);
}

static void put_u64(FILE *out, uint64_t value)
{
    put_u32(out, (uint32_t)value);
    put_u32(out, (uint32_t)(value >> 32));
}

static uint64_t padded(uint64_t bytes)
{
    return bytes + (bytes & 1);
}

static void put_chunk(FILE *out, const char *id, const uint8_t *data, size_t size)
{
    if (data == NULL)
        return;
    put(out, id, 4);
    put_u32(out, (uint32_t)size);
    put(out, data, size);
    if (size & 1)
        put(out, "", 1);
}

static bool is_float(const struct tp_splice_wave *wave)
{
    return wave->encoding == TP_ENCODING_FLOAT;
}

static uint32_t sample_bytes(const struct tp_splice_wave *wave)
{
    return wave->bit_depth / 8;
}

static void put_fmt(const struct tp_splice_wave *wave, FILE *out)
{
    put(out, "fmt ", 4);
    put_u32(out, is_float(wave) ? 18 : 16);
    put_u16(out, is_float(wave) ? 3 : 1);
    put_u16(out, 1);
    put_u32(out, wave->sample_rate_hz);
    put_u32(out, wave->sample_rate_hz * sample_bytes(wave));
    put_u16(out, (uint16_t)sample_bytes(wave));
    put_u16(out, (uint16_t)wave->bit_depth);
    if (!is_float(wave))
        return;
    put_u16(out, 0);
    put(out, "fact", 4);
    put_u32(out, 4);
    put_u32(out, wave->frames < UINT32_MAX ? (uint32_t)wave->frames : UINT32_MAX);
}

void tp_splice_wave_begin(const struct tp_splice_wave *wave, FILE *out)
{
    uint64_t data = wave->frames * sample_bytes(wave);
    uint64_t riff = 4 + 8 + (is_float(wave) ? 18u + 12u : 16u) + 8 + padded(data);
    riff += wave->bext != NULL ? 8 + padded(wave->bext_bytes) : 0;
    riff += wave->ixml != NULL ? 8 + padded(wave->ixml_bytes) : 0;
    bool large = riff + 36 > UINT32_MAX;
    put(out, large ? "RF64" : "RIFF", 4);
    put_u32(out, large ? UINT32_MAX : (uint32_t)riff);
    put(out, "WAVE", 4);
    if (large) {
        put(out, "ds64", 4);
        put_u32(out, 28);
        put_u64(out, riff + 36);
        put_u64(out, data);
        put_u64(out, wave->frames);
        put_u32(out, 0);
    }
    put_fmt(wave, out);
    put_chunk(out, "bext", wave->bext, wave->bext_bytes);
    put_chunk(out, "iXML", wave->ixml, wave->ixml_bytes);
    put(out, "data", 4);
    put_u32(out, large ? UINT32_MAX : (uint32_t)data);
}

static void put_pcm(const struct tp_splice_wave *wave, double sample, uint8_t *bytes)
{
    double scale = wave->bit_depth == 24 ? 0x1p23 : 0x1p31;
    double value = nearbyint(sample * scale);
    value = value > scale - 1.0 ? scale - 1.0 : value < -scale ? -scale : value;
    uint32_t word = (uint32_t)(int32_t)value;
    for (uint32_t i = 0; i < sample_bytes(wave); i++)
        bytes[i] = (uint8_t)(word >> 8 * i);
}

static void put_float(const struct tp_splice_wave *wave, double sample, uint8_t *bytes)
{
    if (wave->bit_depth == 32) {
        float narrow = (float)sample;
        uint32_t word;
        memcpy(&word, &narrow, sizeof word);
        tp_put_le32(bytes, word);
    } else {
        uint64_t word;
        memcpy(&word, &sample, sizeof word);
        tp_put_le64(bytes, word);
    }
}

void tp_splice_wave_samples(const struct tp_splice_wave *wave, const double *samples, size_t frames, FILE *out)
{
    uint8_t bytes[BLOCK * 8];
    uint32_t width = sample_bytes(wave);
    for (size_t at = 0; at < frames;) {
        size_t n = frames - at < BLOCK ? frames - at : BLOCK;
        for (size_t i = 0; i < n; i++) {
            if (is_float(wave))
                put_float(wave, samples[at + i], bytes + i * width);
            else
                put_pcm(wave, samples[at + i], bytes + i * width);
        }
        put(out, bytes, n * width);
        at += n;
    }
}

void tp_splice_wave_end(const struct tp_splice_wave *wave, FILE *out)
{
    if (wave->frames * sample_bytes(wave) & 1)
        put(out, "", 1);
}
