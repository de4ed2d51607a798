/* SPDX-License-Identifier: MIT */
#include "read/noise_tail.h"

#include "base/num.h"
#include "base/observe.h"
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

static void count_bytes(uint32_t counts[256], const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        counts[bytes[i]]++;
}

bool tp_noise_is_random(const uint8_t *bytes, size_t size)
{
    uint32_t counts[256] = {0};
    count_bytes(counts, bytes, size);
    return is_random(counts, size, TP_NOISE_CHI_SQUARE_EDGE);
}

static bool is_long(const struct tp_noise_run *run)
{
    return run->end - run->start >= TP_NOISE_BLOCKS_MIN * TP_NOISE_BLOCK;
}

static void close_sample(struct tp_noise_tail *tail)
{
    uint64_t block = tail->position / TP_NOISE_BLOCK * TP_NOISE_BLOCK;
    if (is_random(tail->counts, TP_NOISE_SAMPLE, TP_NOISE_CHI_SQUARE)) {
        if (tail->open.end == 0)
            tail->open.start = block;
        tail->open.end = block + TP_NOISE_BLOCK;
    } else {
        if (is_long(&tail->open))
            tail->runs[tail->run_count++ % TP_NOISE_RUNS] = tail->open;
        tail->open = (struct tp_noise_run){0};
    }
    memset(tail->counts, 0, sizeof tail->counts);
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
            count_bytes(tail->counts, bytes, piece);
        if (sampled && piece == left)
            close_sample(tail);
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
    uint32_t frame = tp_format_frame_bytes(file);
    double from = (double)((start - file->audio_offset) / frame) / file->sample_rate_hz;
    double to = (double)(file->audio_bytes / frame) / file->sample_rate_hz;
    char seconds[TP_NUMBER_SIZE], place[TP_NUMBER_SIZE];
    return tp_observe(
        &file->observations, TP_CODE_UNFINISHED_HEADER, TP_NO_CHANNEL, from, to, (double)(sound_end - start),
        (double)NAN,
        "From about %s s on, the last %s s are random bytes and no sound: what the card held before. They "
        "are noise at full scale, turn down before you play.",
        tp_number_text(place, from, 3), tp_number_text(seconds, to - from, 3));
}
