/* SPDX-License-Identifier: MIT */
#include "read/salvage_parts.h"

#include "base/io.h"
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "read/format.h"
#include "read/guess.h"
#include "read/kind.h"
#include "read/noise_tail.h"
#include "read/stream.h"
#include "result.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { DEFAULT_RATE_HZ = 48000, SECTOR = 512 };

/* Reads up to `size` bytes at `offset`; owned by the caller. */
static enum tp_status read_window(const char *path, uint64_t offset, size_t size, uint8_t **bytes, size_t *got,
                                  struct tp_error *error)
{
    int fd;
    uint64_t length;
    int64_t modified_s;
    *got = 0;
    *bytes = malloc(size + 1);
    if (*bytes == NULL)
        return tp_salvage_no_memory(error);
    enum tp_status status = tp_file_open(path, &fd, &length, &modified_s, error);
    if (status == TP_OK) {
        status = tp_file_read_at(fd, path, offset, *bytes, size, got, error);
        close(fd);
    }
    if (status != TP_OK) {
        free(*bytes);
        *bytes = NULL;
    }
    return status;
}

/* Takes a fmt body for the format of the file. False when it cannot be believed or memory is short. */
static bool adopt_fmt(struct tp_salvage *s, const uint8_t *body, size_t size)
{
    struct tp_file trial = {0};
    char *problem = NULL;
    bool ok = tp_format_read(body, size, &trial, &problem, NULL) == TP_OK && trial.encoding != TP_ENCODING_NONE;
    free(problem);
    if (ok) {
        s->file.encoding = trial.encoding;
        s->file.extensible = trial.extensible;
        s->file.bit_depth = trial.bit_depth;
        s->file.valid_bits = trial.valid_bits;
        s->file.sample_rate_hz = trial.sample_rate_hz;
        s->file.channel_count = trial.channel_count;
        s->file.channel_mask = trial.channel_mask;
    }
    tp_file_clear(&trial);
    return ok;
}

static bool adopt_given(struct tp_salvage *s)
{
    const struct tp_salvage_format *given = &s->options->format;
    if (given->encoding == TP_ENCODING_NONE || given->bit_depth == 0 || given->channel_count == 0)
        return false;
    s->file.encoding = given->encoding;
    s->file.extensible = false;
    s->file.bit_depth = s->file.valid_bits = given->bit_depth;
    s->file.channel_count = given->channel_count;
    s->file.sample_rate_hz = given->sample_rate_hz != 0 ? given->sample_rate_hz : DEFAULT_RATE_HZ;
    return true;
}

/* Guesses from the sound at `offset`; *phase is where in it the first frame begins. */
static enum tp_status adopt_guess(struct tp_salvage *s, uint64_t offset, bool phase_known, size_t *phase,
                                  struct tp_error *error)
{
    uint8_t *bytes;
    size_t got;
    struct tp_guess guess;
    const struct tp_salvage_format *given = &s->options->format;
    enum tp_status status = read_window(s->options->path, offset, TP_GUESS_BYTES, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    bool found = tp_guess_format(bytes, got, given->bit_depth, given->channel_count, &guess);
    free(bytes);
    if (!found || (phase_known && guess.phase != 0))
        return tp_error_set(
            error, TP_ERR_FORMAT, 0,
            "'%s' does not tell its format and it cannot be guessed: give its bits, channels and sample rate",
            s->options->path);
    s->file.encoding = guess.is_float ? TP_ENCODING_FLOAT : TP_ENCODING_PCM;
    s->file.bit_depth = s->file.valid_bits = guess.bit_depth;
    s->file.channel_count = guess.channel_count;
    s->file.sample_rate_hz = given->sample_rate_hz != 0 ? given->sample_rate_hz : DEFAULT_RATE_HZ;
    s->result->format_guessed = true;
    *phase = guess.phase;
    return tp_salvage_assume(
        s, error,
        tp_format("The format was guessed from the sound itself: %" PRIu32 "-bit %s, %" PRIu32 " channels, %" PRIu32
                  " Hz%s. Listen before you trust it; speed and the order of channels may be wrong.",
                  guess.bit_depth, guess.is_float ? "float" : "PCM", guess.channel_count, s->file.sample_rate_hz,
                  given->sample_rate_hz != 0 ? " (as given)" : " (assumed)"));
}

/* The format is known, but not where in the bytes at `offset` the first frame begins: the sound tells. */
static enum tp_status find_phase(struct tp_salvage *s, uint64_t offset, size_t *phase, struct tp_error *error)
{
    uint8_t *bytes;
    size_t got;
    struct tp_guess guess;
    enum tp_status status = read_window(s->options->path, offset, TP_GUESS_BYTES, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    bool found = tp_guess_format(bytes, got, s->file.bit_depth, s->file.channel_count, &guess);
    free(bytes);
    *phase = found ? guess.phase : 0;
    return found ? TP_OK
                 : tp_salvage_assume(s, error,
                                     tp_strdup("Where the first sample begins could not be told: if the copy is "
                                               "nothing but noise, it was wrong."));
}

/* A header whose first bytes are gone may still hold its fmt and data chunks. */
static enum tp_status find_lost_chunks(struct tp_salvage *s, bool *found, struct tp_error *error)
{
    uint8_t *bytes;
    size_t got;
    *found = false;
    enum tp_status status = read_window(s->options->path, 0, TP_STREAM_PEEK_MAX, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    bool has_format = false;
    for (size_t at = 0; at + 8 <= got && !*found; at++) {
        size_t size = tp_le32(bytes + at + 4);
        if (!has_format && memcmp(bytes + at, "fmt ", 4) == 0 && size >= 16 && size <= 64 && at + 8 + size <= got)
            has_format = adopt_fmt(s, bytes + at + 8, size);
        if (memcmp(bytes + at, "data", 4) != 0 || !has_format)
            continue;
        *found = true;
        s->sound_offset = at + 8;
        s->sound_bytes = s->file.bytes - s->sound_offset;
        if (size != 0 && size < s->sound_bytes)
            s->sound_bytes = size;
    }
    free(bytes);
    if (*found)
        status = tp_salvage_assume(
            s, error,
            tp_strdup("The beginning of the header was rebuilt; its description of the sound was still there."));
    return status;
}

/* The first byte that is not zero. */
static enum tp_status find_first_byte(const struct tp_salvage *s, uint64_t *offset, struct tp_error *error)
{
    for (*offset = 0; *offset < s->file.bytes;) {
        uint8_t *bytes;
        size_t got;
        enum tp_status status = read_window(s->options->path, *offset, TP_STREAM_BLOCK, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        size_t zeros = 0;
        while (zeros < got && bytes[zeros] == 0)
            zeros++;
        free(bytes);
        *offset += zeros;
        if (got == 0 || zeros < got)
            break;
    }
    return TP_OK;
}

static enum tp_status find_without_header(struct tp_salvage *s, struct tp_error *error)
{
    uint8_t *first;
    size_t got, phase = 0;
    bool found = false;
    enum tp_status status = read_window(s->options->path, 0, TP_KIND_BYTES, &first, &got, error);
    if (status != TP_OK)
        return status;
    const char *kind = tp_kind_of(first, got);
    free(first);
    if (kind != NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is no damaged WAV file but %s", s->options->path, kind);
    status = find_lost_chunks(s, &found, error);
    uint64_t offset = 0;
    if (status == TP_OK && !found)
        status = find_first_byte(s, &offset, error);
    if (status != TP_OK || found)
        return status;
    if (offset >= s->file.bytes)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' holds nothing but zeros: there is no sound to salvage",
                            s->options->path);
    status = adopt_given(s) ? find_phase(s, offset, &phase, error) : adopt_guess(s, offset, false, &phase, error);
    s->sound_offset = offset + phase;
    s->sound_bytes = s->file.bytes - s->sound_offset;
    if (status == TP_OK)
        status = tp_salvage_assume(
            s, error, tp_format("The header is gone; sound was taken from byte %" PRIu64 " on.", s->sound_offset));
    return status;
}

static enum tp_status find_fmt_behind(struct tp_salvage *s, bool *found, struct tp_error *error)
{
    *found = false;
    for (size_t i = 0; i < s->file.chunk_count && !*found; i++) {
        const struct tp_chunk *chunk = &s->file.chunks[i];
        if (strcmp(chunk->id, "fmt ") != 0 || chunk->size < 16)
            continue;
        uint8_t *bytes;
        size_t got;
        enum tp_status status = read_window(s->options->path, chunk->offset + 8, 40, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        *found = adopt_fmt(s, bytes, chunk->size < got ? (size_t)chunk->size : got);
        free(bytes);
    }
    return TP_OK;
}

/* There is a data chunk, but what its samples are was not told, or not believed. */
static enum tp_status find_format(struct tp_salvage *s, struct tp_error *error)
{
    bool found;
    size_t phase = 0;
    s->sound_offset = s->file.audio_offset;
    s->sound_bytes = s->file.bytes - s->file.audio_offset;
    for (size_t i = 0; i < s->file.chunk_count; i++)
        if (s->file.chunks[i].offset + 8 == s->sound_offset && s->file.chunks[i].size > 0 &&
            s->file.chunks[i].size < s->sound_bytes)
            s->sound_bytes = s->file.chunks[i].size;
    enum tp_status status = find_fmt_behind(s, &found, error);
    if (status == TP_OK && found)
        status = tp_salvage_note(s, error, tp_strdup("The description of the sound stood behind it and was moved."));
    if (status != TP_OK || found)
        return status;
    if (adopt_given(s))
        return tp_salvage_assume(s, error, tp_strdup("The file does not tell its format; the one given was used."));
    return adopt_guess(s, s->sound_offset, true, &phase, error);
}

static bool is_other_codec(const struct tp_salvage *s)
{
    return tp_observations_count(&s->file.observations, TP_CODE_WRONG_ENCODING) > 0;
}

/* A header that says less than there is, or nothing, leaves it to us where the sound ends: what the medium held before
 * may stand behind it. The findings tell the numbers. */
static enum tp_status tell_length(struct tp_salvage *s, struct tp_error *error)
{
    uint32_t frame = tp_format_frame_bytes(&s->file);
    uint64_t behind = s->file.bytes - s->sound_offset - s->sound_bytes;
    if (s->file.declared_frames >= s->sound_bytes / frame)
        return TP_OK;
    return tp_salvage_assume(s, error,
                             tp_format("All up to %s was taken for sound, which the header does not confirm. Listen to "
                                       "its end: what the card held before may follow the recording.",
                                       behind < frame ? "the end of the file" : "the chunks at the end"));
}

enum tp_status tp_salvage_find_sound(struct tp_salvage *s, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    if (s->file.bytes == 0)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is empty: there is nothing to salvage", s->options->path);
    if (is_other_codec(s))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' holds neither PCM nor float sound and cannot be salvaged",
                            s->options->path);
    if (s->file.encoding != TP_ENCODING_NONE && s->file.audio_bytes > 0) {
        s->sound_offset = s->file.audio_offset;
        s->sound_bytes = s->file.audio_bytes;
        status = tell_length(s, error);
    } else if (s->file.container == TP_CONTAINER_NONE) {
        status = find_without_header(s, error);
    } else if (s->file.audio_offset != 0 && s->file.encoding == TP_ENCODING_NONE) {
        status = find_format(s, error);
    }
    uint32_t frame = tp_format_frame_bytes(&s->file);
    if (status == TP_OK && (frame == 0 || s->sound_bytes < frame))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' holds no sound: there is nothing to salvage",
                            s->options->path);
    return status;
}

/* Random bytes were seen in samples of whole blocks; they begin at a sector somewhere before. */
static enum tp_status find_noise_edge(const struct tp_salvage *s, uint64_t *start, struct tp_error *error)
{
    uint64_t from = *start > s->sound_offset + TP_NOISE_BLOCK ? *start - TP_NOISE_BLOCK : s->sound_offset;
    from = (from + SECTOR - 1) / SECTOR * SECTOR;
    uint8_t *bytes;
    size_t got;
    enum tp_status status =
        read_window(s->options->path, from, (size_t)TP_NOISE_BLOCK + 2 * SECTOR, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    size_t at = *start > from ? (size_t)(*start - from) / SECTOR * SECTOR : 0;
    while (at >= SECTOR && at + SECTOR <= got && tp_noise_is_random(bytes + at - SECTOR, 2 * (size_t)SECTOR))
        at -= SECTOR;
    free(bytes);
    if (from + at < *start)
        *start = from + at;
    return TP_OK;
}

static enum tp_status leave_out_noise(struct tp_salvage *s, uint64_t *end, struct tp_error *error)
{
    uint64_t start = s->noise_start;
    enum tp_status status = find_noise_edge(s, &start, error);
    if (status != TP_OK)
        return status;
    if (start < s->sound_offset + tp_format_frame_bytes(&s->file))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' holds random bytes and no sound", s->options->path);
    uint64_t bytes = *end - start;
    *end = start;
    return tp_salvage_assume(
        s, error, tp_format("%" PRIu64 " bytes at the end are random and no sound; they were left out.", bytes));
}

static enum tp_status leave_out_zeros(struct tp_salvage *s, uint64_t *end, struct tp_error *error)
{
    uint64_t bytes = *end - s->tail_start;
    *end = s->tail_start;
    return tp_salvage_assume(s, error,
                             tp_format("%" PRIu64 " bytes of zeros at the end, never recorded, were left out.", bytes));
}

enum tp_status tp_salvage_trim(struct tp_salvage *s, struct tp_error *error)
{
    uint32_t frame = tp_format_frame_bytes(&s->file);
    enum tp_status status = TP_OK;
    uint64_t end = s->sound_offset + s->sound_bytes;
    bool may_trim = !s->options->keep_tail && s->file.audio_bytes > 0;
    if (may_trim && s->noise_start < end)
        status = leave_out_noise(s, &end, error);
    else if (may_trim && s->tail_start > s->sound_offset && s->tail_start < end)
        status = leave_out_zeros(s, &end, error);
    if (status != TP_OK)
        return status;
    uint64_t part = (end - s->sound_offset) % frame;
    s->sound_bytes = end - s->sound_offset - part;
    if (part != 0)
        status = tp_salvage_note(
            s, error, tp_format("The last frame was incomplete; its %" PRIu64 " bytes were left out.", part));
    return status;
}
