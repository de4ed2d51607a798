/* SPDX-License-Identifier: MIT */
#include "read/format.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { TAG_PCM = 1, TAG_FLOAT = 3, TAG_EXTENSIBLE = 0xFFFE };
enum { RATE_MIN_HZ = 1000, RATE_MAX_HZ = 3072000 };

/* Names of format tags: the registry of RFC 2361 and Microsoft's mmreg.h, from memory. */
static const struct {
    uint16_t tag;
    const char *name;
} tag_names[] = {
    {0x0000, "no format at all"},
    {0x0001, "PCM"},
    {0x0002, "Microsoft ADPCM"},
    {0x0003, "IEEE float"},
    {0x0006, "A-law"},
    {0x0007, "mu-law"},
    {0x0011, "IMA ADPCM"},
    {0x0031, "GSM 6.10"},
    {0x0040, "G.721 ADPCM"},
    {0x0050, "MPEG layer 1 or 2"},
    {0x0055, "MP3"},
    {0x0092, "AC-3 over SPDIF"},
    {0x00FF, "AAC"},
    {0x0161, "WMA"},
    {0x2000, "AC-3"},
    {0x2001, "DTS"},
    {0xF1AC, "FLAC"},
};

const char *tp_format_tag_name(uint16_t tag)
{
    for (size_t i = 0; i < sizeof tag_names / sizeof tag_names[0]; i++)
        if (tag_names[i].tag == tag)
            return tag_names[i].name;
    return NULL;
}

struct fields {
    uint16_t tag, channels, block_align, bits;
    uint32_t rate_hz, byte_rate;
    bool extensible;
    uint16_t valid_bits; /* 0 = as the container */
    uint32_t mask;
};

/* Bytes 2 to 15 of the sub-format GUIDs: the common one, and that of B-format (ambisonic) PCM. */
static const uint8_t guid_tail[14] = {0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71};
static const uint8_t guid_tail_b_format[14] = {0, 0, 0x21, 0x07, 0xD3, 0x11, 0x86, 0x44, 0xC8, 0xC1, 0xCA, 0, 0, 0};

static void read_fields(const uint8_t *b, size_t size, struct fields *f)
{
    *f = (struct fields){.tag = tp_le16(b),
                         .channels = tp_le16(b + 2),
                         .rate_hz = tp_le32(b + 4),
                         .byte_rate = tp_le32(b + 8),
                         .block_align = tp_le16(b + 12),
                         .bits = tp_le16(b + 14)};
    f->extensible = f->tag == TAG_EXTENSIBLE;
    if (!f->extensible || size < 40)
        return;
    f->valid_bits = tp_le16(b + 18);
    f->mask = tp_le32(b + 20);
    if (memcmp(b + 26, guid_tail, sizeof guid_tail) == 0 || memcmp(b + 26, guid_tail_b_format, sizeof guid_tail) == 0)
        f->tag = tp_le16(b + 24);
}

#define OBSERVE(file, code, value, limit, ...)                                                                         \
    tp_observe(&(file)->observations, code, TP_NO_CHANNEL, (double)NAN, (double)NAN, value, limit, __VA_ARGS__)

/* Each check returns false when memory is short, and says in *believed whether the sound can be decoded. */

static bool check_tag(struct tp_file *file, const struct fields *f, bool *believed)
{
    *believed = f->tag == TAG_PCM || f->tag == TAG_FLOAT;
    if (*believed)
        return true;
    const char *name = tp_format_tag_name(f->tag);
    if (f->tag == TAG_EXTENSIBLE)
        return OBSERVE(
            file, TP_CODE_WRONG_ENCODING, (double)NAN, (double)NAN,
            "The header uses the extensible form but leaves out, or gives an unknown value for, the part that "
            "says what the samples are, so they cannot be read.");
    return OBSERVE(file, TP_CODE_WRONG_ENCODING, (double)NAN, (double)NAN,
                   "The sound is %s (format tag 0x%04X), neither PCM nor float, so it cannot be measured.",
                   name != NULL ? name : "in an unknown encoding", f->tag);
}

static bool check_channels(struct tp_file *file, const struct fields *f, bool *believed)
{
    *believed = f->channels >= 1 && f->channels <= TP_FORMAT_CHANNELS_MAX;
    if (*believed)
        return true;
    return OBSERVE(file, TP_CODE_WRONG_CHANNEL_COUNT, f->channels, TP_FORMAT_CHANNELS_MAX,
                   "The header says %u channels; 1 to %d can be read, so the sound was not.", f->channels,
                   TP_FORMAT_CHANNELS_MAX);
}

static bool check_rate(struct tp_file *file, const struct fields *f, bool *believed)
{
    *believed = f->rate_hz >= RATE_MIN_HZ && f->rate_hz <= RATE_MAX_HZ;
    if (*believed)
        return true;
    return OBSERVE(file, TP_CODE_WRONG_SAMPLE_RATE, f->rate_hz, (double)NAN,
                   "The header says %lu samples a second, which no recorder makes, so the sound was not read.",
                   (unsigned long)f->rate_hz);
}

static bool check_bits(struct tp_file *file, const struct fields *f, bool *believed)
{
    *believed = f->tag == TAG_FLOAT ? f->bits == 32 || f->bits == 64 : f->bits >= 1 && f->bits <= 32;
    if (*believed)
        return true;
    return OBSERVE(file, TP_CODE_WRONG_BIT_DEPTH, f->bits, (double)NAN,
                   "The header says %u bits of %s a sample, which cannot be read.", f->bits,
                   f->tag == TAG_FLOAT ? "float" : "PCM");
}

/* Settles the bytes of a sample. A lone contradiction of block align is overruled when the byte rate sides with the
 * rest. */
static bool check_align(struct tp_file *file, const struct fields *f, uint32_t *sample_bytes, bool *believed)
{
    uint32_t expected = ((uint32_t)f->bits + 7) / 8;
    uint32_t frame = expected * f->channels;
    *sample_bytes = expected;
    *believed = true;
    if (f->block_align == frame)
        return true;
    if (f->tag == TAG_PCM && f->bits == 24 && f->block_align == 4u * f->channels) {
        *sample_bytes = 4;
        return OBSERVE(
            file, TP_CODE_SIZE_MISMATCH, f->block_align, frame,
            "The header says 24 bits a sample but %u bytes a frame, 4 for each sample; the sound was read as "
            "filling the upper 24 of 32 bits, which may be wrong: listen.",
            f->block_align);
    }
    *believed = f->byte_rate == (uint64_t)f->rate_hz * frame;
    return OBSERVE(
        file, TP_CODE_SIZE_MISMATCH, f->block_align, frame,
        *believed ? "The header says %u bytes a frame, but %u channels of %u bits need %lu; the byte rate agrees "
                    "with %lu, and the sound was read so."
                  : "The header says %u bytes a frame, but %u channels of %u bits need %lu (byte rate %lu): it "
                    "contradicts itself, so the sound was not read.",
        f->block_align, f->channels, f->bits, (unsigned long)frame, (unsigned long)(*believed ? frame : f->byte_rate));
}

static bool check_all(struct tp_file *file, const struct fields *f, uint32_t *sample_bytes, bool *believed)
{
    bool (*const checks[])(struct tp_file *, const struct fields *, bool *) = {check_tag, check_channels, check_rate,
                                                                               check_bits};
    *believed = true;
    for (size_t i = 0; i < sizeof checks / sizeof checks[0] && *believed; i++)
        if (!checks[i](file, f, believed))
            return false;
    return !*believed || check_align(file, f, sample_bytes, believed);
}

static unsigned count_bits(uint32_t word)
{
    unsigned count = 0;
    for (; word != 0; word &= word - 1)
        count++;
    return count;
}

/* Oddities that change nothing about the sound: for the chunk list only. */
static char *find_problem(const struct fields *f, uint32_t sample_bytes)
{
    uint64_t byte_rate = (uint64_t)f->rate_hz * f->channels * sample_bytes;
    if (f->byte_rate != byte_rate)
        return tp_format("byte rate says %lu, the other fields give %llu", (unsigned long)f->byte_rate,
                         (unsigned long long)byte_rate);
    if (f->extensible && f->valid_bits > sample_bytes * 8)
        return tp_format("%u valid bits in a container of %lu", f->valid_bits, (unsigned long)sample_bytes * 8);
    if (f->extensible && count_bits(f->mask) > f->channels)
        return tp_format("channel mask 0x%lX names %u places for %u channels", (unsigned long)f->mask,
                         count_bits(f->mask), f->channels);
    return tp_strdup("");
}

enum tp_status tp_format_read(const uint8_t *body, size_t size, struct tp_file *file, char **problem,
                              struct tp_error *error)
{
    struct fields f;
    uint32_t sample_bytes = 0;
    bool believed = false;
    *problem = NULL;
    file->encoding = TP_ENCODING_NONE;
    if (size < 16) {
        *problem = tp_format("has %zu bytes; the shortest that can be read has 16", size);
        if (*problem == NULL ||
            !OBSERVE(file, TP_CODE_SIZE_MISMATCH, (double)size, 16,
                     "The fmt chunk, which says what the sound is, has only %zu of at least 16 bytes, so "
                     "the sound was not read.",
                     size))
            return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the fmt chunk");
        return TP_OK;
    }
    read_fields(body, size, &f);
    if (!check_all(file, &f, &sample_bytes, &believed))
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the fmt chunk");
    file->extensible = f.extensible;
    file->sample_rate_hz = f.rate_hz;
    file->channel_count = f.channels <= TP_FORMAT_CHANNELS_MAX ? f.channels : 0;
    file->channel_mask = f.mask;
    file->bit_depth = believed ? sample_bytes * 8 : f.bits;
    uint32_t valid = f.extensible && f.valid_bits != 0 ? f.valid_bits : f.bits;
    file->valid_bits = f.tag == TAG_FLOAT || valid > file->bit_depth ? file->bit_depth : valid;
    if (!believed)
        return TP_OK;
    file->encoding = f.tag == TAG_FLOAT ? TP_ENCODING_FLOAT : TP_ENCODING_PCM;
    *problem = find_problem(&f, sample_bytes);
    if (*problem == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the fmt chunk");
    if ((*problem)[0] == '\0') {
        free(*problem);
        *problem = NULL;
    }
    return TP_OK;
}

uint32_t tp_format_frame_bytes(const struct tp_file *file)
{
    return file->encoding == TP_ENCODING_NONE ? 0 : file->bit_depth / 8 * file->channel_count;
}

double tp_format_seconds_at(const struct tp_file *file, uint64_t byte)
{
    uint32_t frame_bytes = tp_format_frame_bytes(file);
    return frame_bytes > 0 ? (double)((byte - file->audio_offset) / frame_bytes) / file->sample_rate_hz : (double)NAN;
}
