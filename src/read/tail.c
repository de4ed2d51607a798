/* SPDX-License-Identifier: MIT */
#include "read/tail.h"

#include "base/num.h"
#include "base/observe.h"
#include "read/format.h"

#include <inttypes.h>
#include <string.h>

/* Walks from one byte that is not zero to the next; memchr cannot look for "not", so words of eight are skipped. */
static size_t zeros_at(const uint8_t *bytes, size_t size)
{
    size_t i = 0;
    uint64_t word;
    for (; i + sizeof word <= size; i += sizeof word) {
        memcpy(&word, bytes + i, sizeof word);
        if (word != 0)
            break;
    }
    while (i < size && bytes[i] == 0)
        i++;
    return i;
}

/* End of the last byte that is not zero; 0 when all are. */
static size_t last_nonzero(const uint8_t *bytes, size_t size)
{
    while (size > 0 && bytes[size - 1] == 0)
        size--;
    return size;
}

static void close_run(struct tp_tail *tail, uint64_t next_nonzero)
{
    if (next_nonzero - tail->nonzero_end >= TP_TAIL_MIN_BYTES)
        tail->runs[tail->run_count++ % TP_TAIL_RUNS] = (struct tp_tail_run){tail->nonzero_end, next_nonzero};
}

/* A run that could matter is at least as long as a probe step: one probe each half of it finds it. */
static void on_bytes(void *user, const uint8_t *bytes, size_t size)
{
    enum { STEP = TP_TAIL_MIN_BYTES / 2 };
    struct tp_tail *tail = user;
    for (size_t at = 0; at < size;) {
        size_t zeros = zeros_at(bytes + at, size - at);
        if (at + zeros == size)
            break;
        close_run(tail, tail->position + at + zeros);
        at += zeros;
        size_t piece = size - at < STEP ? size - at : STEP;
        size_t end = last_nonzero(bytes + at, piece);
        tail->nonzero_end = tail->position + at + end;
        at += end;
    }
    tail->position += size;
}

struct tp_tap tp_tail_tap(struct tp_tail *tail)
{
    return (struct tp_tap){.bytes = on_bytes, .user = tail};
}

uint64_t tp_tail_start(const struct tp_tail *tail, const struct tp_file *file)
{
    uint64_t sound_end = file->audio_offset + file->audio_bytes;
    uint32_t frame = tp_format_frame_bytes(file);
    uint64_t start = sound_end;
    if (tail->nonzero_end < sound_end)
        start = tail->nonzero_end;
    for (size_t i = 0; i < tail->run_count && i < TP_TAIL_RUNS; i++)
        if (tail->runs[i].end >= sound_end && tail->runs[i].start < sound_end)
            start = tail->runs[i].start;
    /* 8-bit sound rests at 128, and its zeros are full scale: never silence. */
    uint64_t block = (start + TP_TAIL_BLOCK - 1) / TP_TAIL_BLOCK * TP_TAIL_BLOCK;
    bool fits = frame != 0 && start > file->audio_offset && sound_end >= start + TP_TAIL_MIN_BYTES &&
                block - start < (frame > TP_TAIL_BESIDE ? frame : TP_TAIL_BESIDE);
    return fits ? block : sound_end;
}

bool tp_tail_observe(const struct tp_tail *tail, struct tp_file *file)
{
    uint64_t sound_end = file->audio_offset + file->audio_bytes;
    uint64_t start = tp_tail_start(tail, file);
    if (start >= sound_end || file->sample_rate_hz == 0)
        return true;
    double from = tp_format_seconds_at(file, start), to = tp_format_seconds_at(file, sound_end);
    char seconds[TP_NUMBER_SIZE], place[TP_NUMBER_SIZE];
    return tp_observe(
        &file->observations, TP_CODE_TRUNCATED, TP_NO_CHANNEL, from, to, (double)(sound_end - start), 0.0,
        "The last %s s, from %s s on, are nothing but zeros that begin at a block of the card (byte %" PRIu64
        "): this sound was recorded but never written.",
        tp_number_text(seconds, to - from, 3), tp_number_text(place, from, 3), start);
}
