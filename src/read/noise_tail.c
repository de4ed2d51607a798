/* SPDX-License-Identifier: MIT */
#include "read/noise_tail.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/vector.h"
#include "read/format.h"

#include <inttypes.h>
#include <string.h>

static bool is_random(const uint32_t counts[256], size_t size, double limit)
{
    double expected = (double)size / 256.0, sum = 0.0;
    for (size_t i = 0; i < 256; i++)
        sum += ((double)counts[i] - expected) * ((double)counts[i] - expected);
    return sum / expected < limit;
}

/* In two tables by turns, so that equal bytes beside one another do not wait for each other's count. */
static void count_bytes(uint32_t counts[256], const uint8_t *bytes, size_t size)
{
    uint32_t odd[256] = {0};
    size_t whole = size - size % 8;
    for (size_t i = 0; i < whole; i += 8) {
        uint64_t eight = tp_le64(bytes + i);
        for (size_t k = 0; k < 8; k += 2, eight >>= 16) {
            counts[eight & 0xFF]++;
            odd[eight >> 8 & 0xFF]++;
        }
    }
    for (size_t i = whole; i < size; i++)
        counts[bytes[i]]++;
    for (size_t i = 0; i < 256; i++)
        counts[i] += odd[i];
}

bool tp_noise_is_random(const uint8_t *bytes, size_t size)
{
    uint32_t counts[256] = {0};
    count_bytes(counts, bytes, size);
    return is_random(counts, size, TP_NOISE_CHI_SQUARE_EDGE);
}

/* Byte values that sound has more often than chance: those of ((byte - first) & mask) < size. */
struct favourites {
    uint8_t first, mask, size;
    uint32_t values; /* how many of the 256 */
};
static const struct favourites favourites[] = {
    {0xFC, 0xFF, 8, 8},   /* upper bytes of quiet integers: -4 to 3 */
    {0xE0, 0xFF, 64, 64}, /* of loud ones: -32 to 31 */
    {0x38, 0x7F, 8, 16},  /* sign and exponent of 32-bit floats from 2^-15 to 2 */
};

/* Of TP_NOISE_SAMPLE bytes. A lane counts 128 of them at most. */
static TP_CLONES uint32_t count_of(const uint8_t *bytes, const struct favourites *of)
{
    const tp_v32b first = of->first - (tp_v32b){0}, mask = of->mask | (tp_v32b){0};
    const tp_v32b size = of->size | (tp_v32b){0};
    tp_v32b counts = {0}, lane;
    for (size_t i = 0; i < TP_NOISE_SAMPLE; i += sizeof lane) {
        TP_LOAD8(lane, bytes + i);
        counts -= (tp_v32b)(((lane - first) & mask) < size);
    }
    uint32_t count = 0;
    for (size_t i = 0; i < sizeof counts; i++)
        count += counts[i];
    return count;
}

/* Exact where it says yes: the chi-square of two merged cells, favourites and others, is at most that of all values.
 * Counting every value takes ten times as long. */
static bool is_surely_sound(const uint8_t *bytes)
{
    for (size_t i = 0; i < sizeof favourites / sizeof favourites[0]; i++) {
        double expected = TP_NOISE_SAMPLE / 256.0 * favourites[i].values;
        double excess = (double)count_of(bytes, &favourites[i]) - expected;
        if (excess * excess * (1.0 / expected + 1.0 / (TP_NOISE_SAMPLE - expected)) > TP_NOISE_CHI_SQUARE + 1.0)
            return true;
    }
    return false;
}

static bool is_long(const struct tp_noise_run *run)
{
    return run->end - run->start >= TP_NOISE_BLOCKS_MIN * TP_NOISE_BLOCK;
}

static void close_sample(struct tp_noise_tail *tail, bool random)
{
    uint64_t block = tail->position / TP_NOISE_BLOCK * TP_NOISE_BLOCK;
    if (random) {
        if (tail->open.end == 0)
            tail->open.start = block;
        tail->open.end = block + TP_NOISE_BLOCK;
    } else {
        if (is_long(&tail->open))
            tail->runs[tail->run_count++ % TP_NOISE_RUNS] = tail->open;
        tail->open = (struct tp_noise_run){0};
    }
}

/* The part of a sample that has come. */
static void take_sample(struct tp_noise_tail *tail, const uint8_t *bytes, size_t size, bool complete)
{
    if (size == TP_NOISE_SAMPLE && is_surely_sound(bytes)) {
        close_sample(tail, false);
        return;
    }
    count_bytes(tail->counts, bytes, size);
    if (complete) {
        close_sample(tail, is_random(tail->counts, TP_NOISE_SAMPLE, TP_NOISE_CHI_SQUARE));
        memset(tail->counts, 0, sizeof tail->counts);
    }
}

static void on_bytes(void *user, const uint8_t *bytes, size_t size)
{
    struct tp_noise_tail *tail = user;
    while (size > 0) {
        uint64_t in_block = tail->position % TP_NOISE_BLOCK;
        bool sampled = in_block < TP_NOISE_SAMPLE;
        uint64_t left = (sampled ? TP_NOISE_SAMPLE : TP_NOISE_BLOCK) - in_block;
        size_t piece = left < size ? (size_t)left : size;
        if (sampled)
            take_sample(tail, bytes, piece, piece == left);
        tail->position += piece;
        bytes += piece;
        size -= piece;
    }
}

struct tp_tap tp_noise_tail_tap(struct tp_noise_tail *tail)
{
    return (struct tp_tap){.bytes = on_bytes, .user = tail};
}

/* The run must reach the sound's end, but for the block there, which may hold something else or be cut short. */
static bool reaches(const struct tp_noise_run *run, const struct tp_file *file, uint64_t sound_end)
{
    return is_long(run) && run->end + TP_NOISE_BLOCK >= sound_end && run->start < sound_end &&
           sound_end - (run->start > file->audio_offset ? run->start : file->audio_offset) >=
               TP_NOISE_BLOCKS_MIN * TP_NOISE_BLOCK;
}

uint64_t tp_noise_tail_start(const struct tp_noise_tail *tail, const struct tp_file *file)
{
    uint64_t sound_end = file->audio_offset + file->audio_bytes;
    uint32_t frame = tp_format_frame_bytes(file);
    bool confirmed = frame == 0 || file->declared_frames >= file->audio_bytes / frame;
    const struct tp_noise_run *found = reaches(&tail->open, file, sound_end) ? &tail->open : NULL;
    for (size_t i = 0; i < tail->run_count && i < TP_NOISE_RUNS; i++)
        if (reaches(&tail->runs[i], file, sound_end))
            found = &tail->runs[i];
    if (confirmed || found == NULL)
        return sound_end;
    uint64_t into = found->start > file->audio_offset ? found->start - file->audio_offset : 0;
    return file->audio_offset + (into + frame - 1) / frame * frame;
}

bool tp_noise_tail_observe(const struct tp_noise_tail *tail, struct tp_file *file)
{
    uint64_t sound_end = file->audio_offset + file->audio_bytes;
    uint64_t start = tp_noise_tail_start(tail, file);
    if (start >= sound_end || file->sample_rate_hz == 0)
        return true;
    double from = tp_format_seconds_at(file, start), to = tp_format_seconds_at(file, sound_end);
    char seconds[TP_NUMBER_SIZE], place[TP_NUMBER_SIZE];
    return tp_observe(
        &file->observations, TP_CODE_UNFINISHED_HEADER, TP_NO_CHANNEL, from, to, (double)(sound_end - start),
        (double)NAN,
        "From about %s s on, the last %s s are random bytes and no sound: what the card held before. They "
        "are noise at full scale, turn down before you play.",
        tp_number_text(place, from, 3), tp_number_text(seconds, to - from, 3));
}
