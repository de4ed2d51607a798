/* SPDX-License-Identifier: MIT */
#include "read/salvage.h"

#include "base/io.h"
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "read/format.h"
#include "read/guess.h"
#include "read/kind.h"
#include "read/riff.h"
#include "read/tail.h"
#include "result.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define METADATA_MAX ((uint64_t)16 << 20)
enum { COPIED_MAX = 64, DEFAULT_RATE_HZ = 48000 };

struct span {
    uint64_t offset, size; /* of a chunk, header included, pad byte not */
};

struct salvage {
    const struct tp_salvage_options *options;
    struct tp_salvage_result *result;
    struct tp_file file; /* what the walk found; its format is what the copy gets */
    bool sound_may_follow;
    uint64_t tail_start; /* of zeros never recorded, in the file */
    uint64_t sound_offset, sound_bytes;
    struct span copied[COPIED_MAX];
    size_t copied_count;
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to salvage a recording");
}

static enum tp_status note(struct salvage *s, struct tp_error *error, char *words)
{
    struct tp_salvage_result *result = s->result;
    char **notes = words != NULL ? realloc(result->notes, (result->note_count + 1) * sizeof *notes) : NULL;
    if (notes == NULL) {
        free(words);
        return no_memory(error);
    }
    result->notes = notes;
    notes[result->note_count++] = words;
    return TP_OK;
}

/* ---- what is there ---- */

static enum tp_status walk(struct salvage *s, bool through_zeros, struct tp_error *error)
{
    struct tp_tail tail = {0};
    struct tp_tap tap = tp_tail_tap(&tail);
    struct tp_stream *stream = NULL;
    struct tp_riff *riff = NULL;
    bool has_audio;
    tp_file_clear(&s->file);
    enum tp_status status = tp_stream_open(&stream, s->options->path, &tap, 1, error);
    if (status == TP_OK) {
        tp_stream_forgive(stream);
        s->file.bytes = tp_stream_bytes(stream);
        status = tp_riff_new(&riff, stream, &s->file, error);
    }
    if (status == TP_OK && through_zeros)
        tp_riff_read_through_zeros(riff);
    if (status == TP_OK)
        status = tp_riff_walk_to_audio(riff, &has_audio, error);
    if (status == TP_OK)
        status = tp_riff_walk_rest(riff, error);
    if (status == TP_OK) {
        s->sound_may_follow = tp_riff_sound_may_follow_zeros(riff);
        s->tail_start = tp_tail_start(&tail, &s->file);
        if (!tp_tail_observe(&tail, &s->file))
            status = no_memory(error);
    }
    tp_riff_free(riff);
    tp_stream_close(stream);
    return status;
}

static enum tp_status keep_findings(struct salvage *s, struct tp_error *error)
{
    const struct tp_observations *seen = &s->file.observations;
    struct tp_salvage_result *result = s->result;
    tp_findings_free(result->findings, result->finding_count);
    result->finding_count = 0;
    result->findings = calloc(seen->count + 1, sizeof *result->findings);
    if (result->findings == NULL)
        return no_memory(error);
    for (size_t i = 0; i < seen->count; i++) {
        const struct tp_observation *o = &seen->items[i];
        char *message = tp_strdup(o->detail != NULL ? o->detail : tp_finding_info(o->code)->title);
        if (message == NULL)
            return no_memory(error);
        result->findings[result->finding_count++] = (struct tp_finding){.code = o->code,
                                                                        .severity = tp_finding_info(o->code)->severity,
                                                                        .file = TP_NO_INDEX,
                                                                        .channel = o->channel,
                                                                        .start_s = o->start_s,
                                                                        .end_s = o->end_s,
                                                                        .value = o->value,
                                                                        .limit = o->limit,
                                                                        .message = message};
    }
    return TP_OK;
}

static bool is_healthy(const struct salvage *s)
{
    for (size_t i = 0; i < s->file.observations.count; i++)
        if (s->file.observations.items[i].code != TP_CODE_METADATA_CONFLICT)
            return false;
    return s->file.encoding != TP_ENCODING_NONE && s->file.audio_bytes > 0;
}

/* ---- sound whose format the walk could not tell ---- */

/* Reads up to `size` bytes at `offset`; owned by the caller. */
static enum tp_status read_window(const char *path, uint64_t offset, size_t size, uint8_t **bytes, size_t *got,
                                  struct tp_error *error)
{
    int fd;
    uint64_t length;
    int64_t modified_s;
    *bytes = malloc(size + 1);
    if (*bytes == NULL)
        return no_memory(error);
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
static bool adopt_fmt(struct salvage *s, const uint8_t *body, size_t size)
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

static bool adopt_given(struct salvage *s)
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
static enum tp_status adopt_guess(struct salvage *s, uint64_t offset, bool phase_known, size_t *phase,
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
            "'%s' does not tell its format and it cannot be guessed; give encoding, bits, channels and rate",
            s->options->path);
    s->file.encoding = guess.is_float ? TP_ENCODING_FLOAT : TP_ENCODING_PCM;
    s->file.bit_depth = s->file.valid_bits = guess.bit_depth;
    s->file.channel_count = guess.channel_count;
    s->file.sample_rate_hz = given->sample_rate_hz != 0 ? given->sample_rate_hz : DEFAULT_RATE_HZ;
    s->result->format_guessed = true;
    *phase = guess.phase;
    return note(s, error,
                tp_format("The format was guessed from the sound itself: %" PRIu32 "-bit %s, %" PRIu32
                          " channels, %" PRIu32
                          " Hz%s. Listen before you trust it; speed and the order of channels may be wrong.",
                          guess.bit_depth, guess.is_float ? "float" : "PCM", guess.channel_count,
                          s->file.sample_rate_hz, given->sample_rate_hz != 0 ? " (as given)" : " (assumed)"));
}

/* A header whose first bytes are gone may still hold its fmt and data chunks. */
static enum tp_status find_lost_chunks(struct salvage *s, bool *found, struct tp_error *error)
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
        status =
            note(s, error,
                 tp_strdup("The beginning of the header was rebuilt; its description of the sound was still there."));
    return status;
}

/* The first byte that is not zero. */
static enum tp_status find_first_byte(const struct salvage *s, uint64_t *offset, struct tp_error *error)
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

static enum tp_status find_without_header(struct salvage *s, struct tp_error *error)
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
    status = adopt_given(s) ? TP_OK : adopt_guess(s, offset, false, &phase, error);
    s->sound_offset = offset + phase;
    s->sound_bytes = s->file.bytes - s->sound_offset;
    if (status == TP_OK)
        status =
            note(s, error, tp_format("The header is gone; sound was taken from byte %" PRIu64 " on.", s->sound_offset));
    return status;
}

static enum tp_status find_fmt_behind(struct salvage *s, bool *found, struct tp_error *error)
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
static enum tp_status find_format(struct salvage *s, struct tp_error *error)
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
    if (status != TP_OK || found)
        return status;
    return adopt_given(s) ? TP_OK : adopt_guess(s, s->sound_offset, true, &phase, error);
}

static bool is_other_codec(const struct salvage *s)
{
    return tp_observations_count(&s->file.observations, TP_CODE_WRONG_ENCODING) > 0;
}

static enum tp_status find_sound(struct salvage *s, struct tp_error *error)
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

/* Drops what is not sound: zeros never recorded, and the rest of a frame. */
static enum tp_status trim_sound(struct salvage *s, struct tp_error *error)
{
    uint32_t frame = tp_format_frame_bytes(&s->file);
    enum tp_status status = TP_OK;
    uint64_t end = s->sound_offset + s->sound_bytes;
    if (!s->options->keep_zero_tail && s->tail_start > s->sound_offset && s->tail_start < end &&
        s->file.audio_bytes > 0) {
        status = note(
            s, error,
            tp_format("%" PRIu64 " bytes of zeros at the end, never recorded, were left out.", end - s->tail_start));
        end = s->tail_start;
    }
    uint64_t part = (end - s->sound_offset) % frame;
    s->sound_bytes = end - s->sound_offset - part;
    if (status == TP_OK && part != 0)
        status = note(s, error, tp_format("The last frame was incomplete; its %" PRIu64 " bytes were left out.", part));
    return status;
}

/* ---- what is taken along ---- */

static bool is_taken_along(const char *id)
{
    return strcmp(id, "bext") == 0 || strcmp(id, "iXML") == 0 || strcmp(id, "cue ") == 0 || strcmp(id, "LIST") == 0;
}

/* A later bext or iXML of the same id is the one in force. */
static bool has_later(const struct tp_file *file, size_t index)
{
    if (strcmp(file->chunks[index].id, "bext") != 0 && strcmp(file->chunks[index].id, "iXML") != 0)
        return false;
    for (size_t i = index + 1; i < file->chunk_count; i++)
        if (strcmp(file->chunks[i].id, file->chunks[index].id) == 0)
            return true;
    return false;
}

static enum tp_status choose_chunks(struct salvage *s, struct tp_error *error)
{
    for (size_t i = 0; i < s->file.chunk_count; i++) {
        const struct tp_chunk *chunk = &s->file.chunks[i];
        if (!is_taken_along(chunk->id) || has_later(&s->file, i))
            continue;
        bool whole = chunk->size <= METADATA_MAX && chunk->offset + 8 + chunk->size <= s->file.bytes;
        if (whole && s->copied_count < COPIED_MAX) {
            s->copied[s->copied_count++] = (struct span){chunk->offset, 8 + chunk->size};
            continue;
        }
        enum tp_status status = note(s, error, tp_format("The chunk '%s' is damaged and was left out.", chunk->id));
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}

/* ---- the copy ---- */

/* PCM and float subtypes differ in the first byte only. */
static const uint8_t subtype_tail[15] = {0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71};

static size_t make_fmt(const struct tp_file *file, uint8_t body[40])
{
    uint32_t frame = tp_format_frame_bytes(file);
    bool is_float = file->encoding == TP_ENCODING_FLOAT;
    bool extensible = file->extensible || (file->valid_bits + 7) / 8 * 8 != file->bit_depth;
    memset(body, 0, 40);
    tp_put_le16(body, extensible ? 0xFFFE : is_float ? 3 : 1);
    tp_put_le16(body + 2, (uint16_t)file->channel_count);
    tp_put_le32(body + 4, file->sample_rate_hz);
    tp_put_le32(body + 8, file->sample_rate_hz * frame);
    tp_put_le16(body + 12, (uint16_t)frame);
    tp_put_le16(body + 14, (uint16_t)(extensible ? file->bit_depth : file->valid_bits));
    if (!extensible)
        return is_float ? 18 : 16;
    tp_put_le16(body + 16, 22);
    tp_put_le16(body + 18, (uint16_t)file->valid_bits);
    tp_put_le32(body + 20, file->channel_mask);
    body[24] = is_float ? 3 : 1;
    memcpy(body + 25, subtype_tail, sizeof subtype_tail);
    return 40;
}

static void put_chunk(FILE *out, const char *id, const uint8_t *body, size_t size)
{
    uint8_t length[4];
    tp_put_le32(length, (uint32_t)size);
    fwrite(id, 1, 4, out);
    fwrite(length, 1, 4, out);
    fwrite(body, 1, size, out);
    if ((size & 1) != 0)
        fputc(0, out);
}

static void put_header(struct salvage *s, FILE *out)
{
    uint8_t fmt[40], ds64[28] = {0}, fact[4], form[12] = "RIFF\0\0\0\0WAVE";
    size_t fmt_size = make_fmt(&s->file, fmt);
    bool is_float = s->file.encoding == TP_ENCODING_FLOAT;
    uint64_t frames = s->result->frames;
    uint64_t outer = 4 + 8 + fmt_size + (is_float ? 12 : 0) + 8 + s->sound_bytes + (s->sound_bytes & 1);
    for (size_t i = 0; i < s->copied_count; i++)
        outer += s->copied[i].size + (s->copied[i].size & 1);
    bool large = outer + 36 >= UINT32_MAX;
    s->result->container = large ? TP_CONTAINER_RF64 : TP_CONTAINER_WAV;
    if (large) {
        memcpy(form, "RF64", 4);
        tp_put_le64(ds64, outer + 36);
        tp_put_le64(ds64 + 8, s->sound_bytes);
        tp_put_le64(ds64 + 16, frames);
    }
    tp_put_le32(form + 4, large ? UINT32_MAX : (uint32_t)outer);
    fwrite(form, 1, sizeof form, out);
    if (large)
        put_chunk(out, "ds64", ds64, sizeof ds64);
    put_chunk(out, "fmt ", fmt, fmt_size);
    tp_put_le32(fact, frames > UINT32_MAX ? UINT32_MAX : (uint32_t)frames);
    if (is_float)
        put_chunk(out, "fact", fact, sizeof fact);
}

static enum tp_status copy_span(struct salvage *s, uint64_t offset, uint64_t size, FILE *out, struct tp_error *error)
{
    struct tp_stream *stream;
    enum tp_status status = tp_stream_open(&stream, s->options->path, NULL, 0, error);
    if (status != TP_OK)
        return status;
    tp_stream_forgive(stream);
    status = tp_stream_skip(stream, offset, error);
    while (status == TP_OK && size > 0) {
        const uint8_t *bytes;
        size_t got;
        status =
            tp_stream_peek(stream, size < TP_STREAM_PEEK_MAX ? (size_t)size : TP_STREAM_PEEK_MAX, &bytes, &got, error);
        if (status == TP_OK && got == 0)
            status = tp_error_set(error, TP_ERR_READ, 0, "'%s' became shorter while it was read", s->options->path);
        if (status != TP_OK)
            break;
        got = got < size ? got : (size_t)size;
        if (fwrite(bytes, 1, got, out) != got)
            break; /* the commit reports it */
        tp_stream_consume(stream, got);
        size -= got;
    }
    const struct tp_gap *gaps;
    for (size_t i = 0, count = tp_stream_gaps(stream, &gaps); i < count && status == TP_OK; i++)
        status = note(s, error,
                      tp_format("%" PRIu64 " bytes at byte %" PRIu64 " could not be read and are zero in the copy.",
                                gaps[i].bytes, gaps[i].offset));
    tp_stream_close(stream);
    return status;
}

static enum tp_status write_copy(struct salvage *s, struct tp_error *error)
{
    struct tp_whole_file copy;
    enum tp_status status = tp_whole_file_open(&copy, s->result->written, false, error);
    if (status != TP_OK)
        return status;
    put_header(s, copy.stream);
    for (size_t i = 0; i < s->copied_count && status == TP_OK; i++) {
        status = copy_span(s, s->copied[i].offset, s->copied[i].size, copy.stream, error);
        if ((s->copied[i].size & 1) != 0)
            fputc(0, copy.stream);
    }
    uint8_t header[8] = "data";
    tp_put_le32(header + 4, s->result->container == TP_CONTAINER_RF64 ? UINT32_MAX : (uint32_t)s->sound_bytes);
    fwrite(header, 1, sizeof header, copy.stream);
    if (status == TP_OK)
        status = copy_span(s, s->sound_offset, s->sound_bytes, copy.stream, error);
    if ((s->sound_bytes & 1) != 0)
        fputc(0, copy.stream);
    if (status == TP_OK)
        return tp_whole_file_commit(&copy, error);
    tp_whole_file_abandon(&copy);
    return status;
}

/* DIR/NAME-salvaged.wav. Never beside the original, where it might be taken for a recording of the card. */
static enum tp_status choose_name(struct salvage *s, struct tp_error *error)
{
    const char *path = s->options->path;
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    size_t stem = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    char *folder = slash != NULL ? tp_strndup(path, slash == path ? 1 : (size_t)(slash - path)) : tp_strdup(".");
    char *file_name = tp_format("%.*s-salvaged.wav", (int)(stem < 4096 ? stem : 4096), name);
    enum tp_status status =
        folder == NULL || file_name == NULL ? no_memory(error) : tp_folder_make(s->options->directory, error);
    if (status == TP_OK && tp_path_is_inside(s->options->directory, folder) &&
        tp_path_is_inside(folder, s->options->directory))
        status = tp_error_set(error, TP_ERR_USAGE, 0,
                              "'%s' is the folder of the damaged recording itself; choose another for the copy",
                              s->options->directory);
    if (status == TP_OK && (s->result->written = tp_path_join(s->options->directory, file_name)) == NULL)
        status = no_memory(error);
    free(folder);
    free(file_name);
    return status;
}

static void describe(struct salvage *s)
{
    struct tp_salvage_result *result = s->result;
    uint32_t frame = tp_format_frame_bytes(&s->file);
    result->format = (struct tp_salvage_format){.encoding = s->file.encoding,
                                                .bit_depth = s->file.bit_depth,
                                                .channel_count = s->file.channel_count,
                                                .sample_rate_hz = s->file.sample_rate_hz};
    result->container = s->file.container;
    result->source_offset = s->sound_offset;
    result->frames = frame != 0 ? s->sound_bytes / frame : 0;
    result->duration_s = s->file.sample_rate_hz != 0 ? (double)result->frames / s->file.sample_rate_hz : 0.0;
}

static enum tp_status run(struct salvage *s, struct tp_error *error)
{
    enum tp_status status = walk(s, false, error);
    if (status == TP_OK && s->sound_may_follow)
        status = walk(s, true, error);
    if (status == TP_OK)
        status = keep_findings(s, error);
    if (status == TP_OK)
        status = find_sound(s, error);
    if (status == TP_OK)
        describe(s);
    if (status != TP_OK || (is_healthy(s) && !s->options->even_if_healthy))
        return status;
    status = trim_sound(s, error);
    if (status == TP_OK)
        status = choose_chunks(s, error);
    if (status == TP_OK)
        status = choose_name(s, error);
    describe(s);
    return status == TP_OK ? write_copy(s, error) : status;
}

enum tp_status tp_salvage(const struct tp_salvage_options *options, struct tp_salvage_result **result,
                          struct tp_error *error)
{
    if (options->path == NULL || options->directory == NULL)
        return tp_error_set(error, TP_ERR_USAGE, 0, "salvage needs a file and a folder for the copy");
    struct salvage s = {.options = options, .result = calloc(1, sizeof *s.result)};
    if (s.result == NULL)
        return no_memory(error);
    enum tp_status status = run(&s, error);
    tp_file_clear(&s.file);
    if (status == TP_OK)
        *result = s.result;
    else
        tp_salvage_result_free(s.result);
    return status;
}

void tp_salvage_result_free(struct tp_salvage_result *result)
{
    if (result == NULL)
        return;
    free(result->written);
    tp_findings_free(result->findings, result->finding_count);
    for (size_t i = 0; i < result->note_count; i++)
        free(result->notes[i]);
    free(result->notes);
    free(result);
}
