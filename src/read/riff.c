/* SPDX-License-Identifier: MIT */
#include "read/riff_parts.h"

#include "base/num.h"
#include "base/text.h"
#include "read/chunks.h"
#include "read/format.h"
#include "read/kind.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { CHUNK_WALK_MAX = 100000, FORM_BYTES = 12 };

enum tp_status tp_riff_no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read the chunks of a file");
}

void tp_riff_readable_id(char text[5], const uint8_t *id)
{
    for (size_t i = 0; i < 4; i++)
        text[i] = id[i] >= 0x20 && id[i] < 0x7F ? (char)id[i] : '?';
    text[4] = '\0';
}

bool tp_riff_all_zero(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (bytes[i] != 0)
            return false;
    return true;
}

/* ---- the list of chunks ---- */

static bool list_chunk(struct tp_riff *riff, struct tp_riff_header *header)
{
    struct tp_file *file = riff->file;
    header->listed = TP_NO_INDEX;
    if (file->chunk_count >= TP_CHUNKS_MAX)
        return true;
    if (!tp_grow(&file->chunks, &riff->chunk_capacity, file->chunk_count, sizeof *file->chunks))
        return false;
    struct tp_chunk *chunk = &file->chunks[file->chunk_count];
    *chunk = (struct tp_chunk){.offset = header->offset, .size = header->size};
    tp_riff_readable_id(chunk->id, header->id);
    header->listed = file->chunk_count++;
    return true;
}

bool tp_riff_chunk_problem(struct tp_riff *riff, const struct tp_riff_header *header, char *words)
{
    if (words == NULL)
        return false;
    struct tp_chunk *chunk = header->listed != TP_NO_INDEX ? &riff->file->chunks[header->listed] : NULL;
    if (chunk == NULL || chunk->problem != NULL)
        free(words);
    else
        chunk->problem = words;
    return true;
}

/* ---- the first twelve bytes ---- */

static bool observe_not_wav(struct tp_riff *riff, const uint8_t *bytes, size_t got)
{
    bool zeros = got > 0;
    for (size_t i = 0; i < got && zeros; i++)
        zeros = bytes[i] == 0;
    const char *kind = tp_kind_of(bytes, got);
    if (kind != NULL)
        return OBSERVE_FILE(riff, TP_CODE_NOT_WAV, "The file is no WAV file: its first bytes are those of %s.", kind);
    if (zeros)
        return OBSERVE_FILE(
            riff, TP_CODE_NOT_WAV,
            "The file is no WAV file: it begins with zeros where the header should be. The beginning was "
            "never written, or was lost.");
    if (got >= FORM_BYTES && memcmp(bytes, "RIFF", 4) == 0) {
        char form[5];
        tp_riff_readable_id(form, bytes + 8);
        return OBSERVE_FILE(riff, TP_CODE_NOT_WAV, "The file is a RIFF file of the kind '%s', not WAVE.", form);
    }
    char hex[2 * 12 + 1];
    tp_hex(bytes, got < 12 ? got : 12, hex);
    return OBSERVE_FILE(riff, TP_CODE_NOT_WAV, "The file does not begin like a WAV file (first bytes %s).", hex);
}

static enum tp_container container_of(const uint8_t *bytes)
{
    if (memcmp(bytes, "RIFF", 4) == 0)
        return TP_CONTAINER_WAV;
    if (memcmp(bytes, "RF64", 4) == 0)
        return TP_CONTAINER_RF64;
    return memcmp(bytes, "BW64", 4) == 0 ? TP_CONTAINER_BW64 : TP_CONTAINER_NONE;
}

static enum tp_status read_form(struct tp_riff *riff, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, TP_KIND_BYTES, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    if (tp_riff_file_bytes(riff) == 0)
        return OBSERVE_FILE(riff, TP_CODE_EMPTY_FILE, "The file has a name but not one byte.")
                   ? TP_OK
                   : tp_riff_no_memory(error);
    enum tp_container container = got >= 4 ? container_of(bytes) : TP_CONTAINER_NONE;
    if (container != TP_CONTAINER_NONE && got < FORM_BYTES)
        return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY, "The file ends after %zu bytes, within its header.", got)
                   ? TP_OK
                   : tp_riff_no_memory(error);
    if (container == TP_CONTAINER_NONE || memcmp(bytes + 8, "WAVE", 4) != 0)
        return observe_not_wav(riff, bytes, got) ? TP_OK : tp_riff_no_memory(error);
    riff->is_wave = true;
    riff->file->container = container;
    riff->riff_size = tp_le32(bytes + 4);
    tp_stream_consume(riff->stream, FORM_BYTES);
    return TP_OK;
}

/* ---- walking ---- */

static uint64_t ds64_size_of(const struct tp_riff *riff, const uint8_t *id, uint64_t otherwise)
{
    for (size_t i = 0; i < riff->ds64_entries; i++)
        if (memcmp(riff->ds64_table[i].id, id, 4) == 0)
            return riff->ds64_table[i].size;
    return otherwise;
}

enum step { STEP_CHUNK, STEP_END, STEP_JUNK };

static enum tp_status next_header(struct tp_riff *riff, struct tp_riff_header *header, enum step *step,
                                  struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, TP_CHUNK_HEADER, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    *step = got == 0 ? STEP_END : STEP_JUNK;
    if (got < TP_CHUNK_HEADER || !tp_chunk_id_is_printable(bytes) || riff->walked >= CHUNK_WALK_MAX)
        return TP_OK;
    /* Behind the sound, words that happen to be printable are no chunk cut short. */
    bool fits = tp_le32(bytes + 4) <= tp_riff_left(riff) - TP_CHUNK_HEADER;
    if (riff->data.count > 0 && !fits && !tp_chunk_id_is_known(bytes))
        return TP_OK;
    *step = STEP_CHUNK;
    riff->walked++;
    memcpy(header->id, bytes, 4);
    header->size_32 = tp_le32(bytes + 4);
    header->offset = tp_riff_position(riff);
    header->size = header->size_32;
    if (header->size_32 == SIZE_IN_DS64 && memcmp(header->id, "data", 4) != 0)
        header->size = ds64_size_of(riff, header->id, header->size);
    tp_stream_consume(riff->stream, TP_CHUNK_HEADER);
    return list_chunk(riff, header) ? TP_OK : tp_riff_no_memory(error);
}

/* Passes the pad byte of an odd chunk, unless the writer left it out. */
static enum tp_status skip_pad(struct tp_riff *riff, const struct tp_riff_header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, 4096, &bytes, &got, error);
    if (status != TP_OK || got == 0)
        return status;
    bool padded = got < 2 || tp_chunks_follow(bytes + 1, got - 1, tp_riff_left(riff) - 1);
    bool unpadded = !padded && bytes[0] != 0 && tp_chunks_follow(bytes, got, tp_riff_left(riff));
    if (!unpadded)
        return tp_stream_skip(riff->stream, 1, error);
    char id[5];
    tp_riff_readable_id(id, header->id);
    bool ok = tp_riff_chunk_problem(riff, header, tp_strdup("odd size without a pad byte")) &&
              OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)header->size, NOTHING,
                             "The '%s' chunk at byte %" PRIu64 " has an odd size (%" PRIu64
                             ") and no pad byte behind it; some programs lose everything that follows.",
                             id, header->offset, header->size);
    return ok ? TP_OK : tp_riff_no_memory(error);
}

/* A size of fmt that is a lie: the chunk behind its real 16, 18 or 40 bytes is in sight. */
static uint64_t true_fmt_size(const uint8_t *bytes, size_t got, uint64_t bytes_left, uint64_t declared)
{
    static const size_t sizes[] = {16, 18, 40};
    if (declared <= bytes_left &&
        (declared >= got || tp_chunks_follow(bytes + declared, got - (size_t)declared, bytes_left - declared)))
        return declared;
    for (size_t i = 0; i < 3; i++)
        if (sizes[i] + TP_CHUNK_HEADER <= got && tp_chunk_id_is_known(bytes + sizes[i]))
            return sizes[i];
    return declared;
}

static enum tp_status mend_fmt_size(struct tp_riff *riff, struct tp_riff_header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, 64, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    uint64_t size = true_fmt_size(bytes, got, tp_riff_left(riff), header->size);
    if (size == header->size)
        return TP_OK;
    bool ok =
        tp_riff_chunk_problem(riff, header, tp_strdup("its size is wrong")) &&
        OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)header->size, (double)size,
                       "The fmt chunk says that it has %" PRIu64 " bytes, but the next chunk begins after %" PRIu64 ".",
                       header->size, size);
    header->size = size;
    return ok ? TP_OK : tp_riff_no_memory(error);
}

/* Before the sound: looks ahead for a chunk to go on with, when a size or an id makes no sense. */
static enum tp_status find_again(struct tp_riff *riff, bool *found, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    *found = false;
    enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
    for (size_t at = 0; status == TP_OK && at + TP_CHUNK_HEADER <= got; at++) {
        bool data = memcmp(bytes + at, "data", 4) == 0;
        if (!data && memcmp(bytes + at, "fmt ", 4) != 0)
            continue;
        uint64_t from = tp_riff_position(riff);
        uint32_t size = tp_le32(bytes + at + 4);
        if (size > tp_riff_left(riff) - at && !(data && size == SIZE_IN_DS64))
            continue;
        *found = true;
        status = tp_stream_skip(riff->stream, at, error);
        if (status == TP_OK &&
            !OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)at, NOTHING,
                            "From byte %" PRIu64
                            " on, %zu bytes belong to no chunk; reading went on at the next one that makes sense.",
                            from, at))
            status = tp_riff_no_memory(error);
        break;
    }
    return status;
}

/* Body and pad byte of any chunk but data. */
static enum tp_status walk_body(struct tp_riff *riff, struct tp_riff_header *header, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    if (memcmp(header->id, "fmt ", 4) == 0)
        status = mend_fmt_size(riff, header, error);
    if (status == TP_OK && header->size > tp_riff_left(riff)) {
        bool found = false;
        if (riff->data.count == 0)
            status = find_again(riff, &found, error);
        if (status != TP_OK || found)
            return status;
        riff->cut_chunk_bytes = header->size - tp_riff_left(riff);
        tp_riff_readable_id(riff->cut_chunk_id, header->id);
        if (!tp_riff_chunk_problem(riff, header,
                                   tp_format("cut off: %" PRIu64 " bytes are missing", riff->cut_chunk_bytes)))
            return tp_riff_no_memory(error);
    }
    uint64_t end = header->size < tp_riff_left(riff) ? tp_riff_position(riff) + header->size : tp_riff_file_bytes(riff);
    bool cut = header->size > tp_riff_left(riff);
    /* Of a cut fmt or ds64 nothing can be believed; the others lose only their end. */
    bool worthless = cut && (memcmp(header->id, "fmt ", 4) == 0 || memcmp(header->id, "ds64", 4) == 0);
    if (status == TP_OK && !worthless && tp_riff_has_parser(header->id))
        status = tp_riff_parse_body(riff, header, error);
    if (status == TP_OK)
        status = tp_stream_skip(riff->stream, end - tp_riff_position(riff), error);
    if (status == TP_OK && (header->size & 1) != 0)
        status = skip_pad(riff, header, error);
    return status;
}

/* ---- to the sound ---- */

enum tp_status tp_riff_new(struct tp_riff **riff, struct tp_stream *stream, struct tp_file *file,
                           struct tp_error *error)
{
    *riff = calloc(1, sizeof **riff);
    if (*riff == NULL)
        return tp_riff_no_memory(error);
    (*riff)->stream = stream;
    (*riff)->file = file;
    (*riff)->riff_size = NO_SIZE;
    return TP_OK;
}

void tp_riff_free(struct tp_riff *riff)
{
    if (riff == NULL)
        return;
    tp_notes_clear(&riff->notes);
    free(riff);
}

void tp_riff_read_through_zeros(struct tp_riff *riff)
{
    riff->through_zeros = true;
}

bool tp_riff_sound_may_follow_zeros(const struct tp_riff *riff)
{
    return riff->zeros_follow && !riff->trailing_zeros;
}

static enum tp_status walk_to_data(struct tp_riff *riff, struct tp_error *error)
{
    struct tp_riff_header header;
    enum step step = STEP_CHUNK;
    enum tp_status status = TP_OK;
    while (status == TP_OK && step == STEP_CHUNK) {
        status = next_header(riff, &header, &step, error);
        if (status == TP_OK && step == STEP_CHUNK && memcmp(header.id, "data", 4) == 0)
            return tp_riff_begin_sound(riff, &header, error);
        if (status == TP_OK && step == STEP_CHUNK)
            status = walk_body(riff, &header, error);
        bool found = false;
        if (status == TP_OK && step == STEP_JUNK && riff->walked < CHUNK_WALK_MAX)
            status = find_again(riff, &found, error);
        if (found)
            step = STEP_CHUNK;
    }
    return status;
}

enum tp_status tp_riff_walk_to_audio(struct tp_riff *riff, bool *has_audio, struct tp_error *error)
{
    *has_audio = false;
    enum tp_status status = read_form(riff, error);
    if (status == TP_OK && riff->is_wave)
        status = walk_to_data(riff, error);
    if (status == TP_OK && riff->data.count > 0 && riff->frame_bytes != 0) {
        uint64_t bytes;
        status = tp_riff_audio_remaining(riff, &bytes, error);
        *has_audio = bytes > 0;
    }
    return status;
}

/* ---- behind the sound ---- */

static enum tp_status skip_sound(struct tp_riff *riff, struct tp_error *error)
{
    uint64_t bytes;
    enum tp_status status;
    do {
        status = tp_riff_audio_remaining(riff, &bytes, error);
        if (status == TP_OK)
            status = tp_stream_skip(riff->stream, bytes, error);
        riff->file->audio_bytes += status == TP_OK && riff->frame_bytes != 0 ? bytes : 0;
    } while (status == TP_OK && bytes > 0);
    /* A partial frame, then the pad byte of an odd size. */
    if (status == TP_OK && riff->end > tp_riff_position(riff))
        status = tp_stream_skip(riff->stream, riff->end - tp_riff_position(riff), error);
    return status;
}

static enum tp_status skip_trailing(struct tp_riff *riff, struct tp_error *error)
{
    riff->trailing_bytes = tp_riff_left(riff);
    riff->trailing_zeros = true;
    while (tp_riff_left(riff) > 0) {
        const uint8_t *bytes;
        size_t got;
        enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        riff->trailing_zeros = riff->trailing_zeros && tp_riff_all_zero(bytes, got);
        tp_stream_consume(riff->stream, got);
    }
    return TP_OK;
}

/* A second data chunk: its sound is not measured, and that must be said. */
static enum tp_status walk_second_data(struct tp_riff *riff, struct tp_riff_header *header, struct tp_error *error)
{
    if (header->size_32 == SIZE_IN_DS64 && riff->has_ds64)
        header->size = riff->ds64_data;
    bool ok = tp_riff_chunk_problem(riff, header, tp_strdup("a second data chunk: not read"));
    if (riff->data.count++ == 1)
        ok = ok && OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)header->size, NOTHING,
                                  "A second data chunk of %" PRIu64 " bytes stands at byte %" PRIu64
                                  "; only the first was read and measured.",
                                  header->size, header->offset);
    return ok ? walk_body(riff, header, error) : tp_riff_no_memory(error);
}

static enum tp_status walk_chunks_behind(struct tp_riff *riff, struct tp_error *error)
{
    struct tp_riff_header header = {
        .id = "data", .size = riff->end - riff->start, .offset = riff->start - 8, .listed = TP_NO_INDEX};
    for (size_t i = 0; i < riff->file->chunk_count; i++)
        if (riff->file->chunks[i].offset == header.offset)
            header.listed = i;
    enum tp_status status = TP_OK;
    if (!riff->tail_found && (header.size & 1) != 0)
        status = skip_pad(riff, &header, error);
    enum step step = STEP_CHUNK;
    while (status == TP_OK && step == STEP_CHUNK) {
        status = next_header(riff, &header, &step, error);
        if (status == TP_OK && step == STEP_CHUNK)
            status = memcmp(header.id, "data", 4) == 0 ? walk_second_data(riff, &header, error)
                                                       : walk_body(riff, &header, error);
    }
    return status == TP_OK ? skip_trailing(riff, error) : status;
}

enum tp_status tp_riff_walk_rest(struct tp_riff *riff, struct tp_error *error)
{
    if (riff->rest_walked)
        return TP_OK;
    riff->rest_walked = true;
    enum tp_status status = riff->data.count > 0 ? skip_sound(riff, error) : TP_OK;
    if (status == TP_OK && riff->data.count > 0)
        status = walk_chunks_behind(riff, error);
    else if (status == TP_OK)
        status = tp_stream_skip(riff->stream, tp_riff_left(riff), error);
    if (status == TP_OK)
        status = tp_notes_settle(&riff->notes, riff->file, error);
    if (status != TP_OK)
        return status;
    return tp_riff_settle(riff) ? TP_OK : tp_riff_no_memory(error);
}
