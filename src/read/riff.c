/* SPDX-License-Identifier: MIT */
#include "read/riff.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "read/bext.h"
#include "read/chunks.h"
#include "read/format.h"
#include "read/ixml.h"
#include "read/kind.h"
#include "read/notes.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define SIZE_IN_DS64 UINT32_MAX
#define NO_SIZE UINT64_MAX
enum { DS64_TABLE_MAX = 64, CHUNK_WALK_MAX = 100000, FORMS = 12 };

struct ds64_entry {
    uint8_t id[4];
    uint64_t size;
};

/* Body of a chunk that may occur once: what a second one is compared with. */
struct once {
    unsigned count;
    uint64_t hash;
};

struct tp_riff {
    struct tp_stream *stream;
    struct tp_file *file;
    struct tp_notes notes;
    size_t chunk_capacity;
    size_t walked; /* chunks, listed or not */

    bool is_wave;       /* the first twelve bytes were read as such */
    uint64_t riff_size; /* as declared; NO_SIZE when it is never told */
    bool has_ds64;
    uint64_t ds64_riff, ds64_data, ds64_frames;
    struct ds64_entry ds64_table[DS64_TABLE_MAX];
    size_t ds64_entries;
    struct once fmt, bext, ixml, data;
    bool fmt_is_late;
    uint64_t fact_frames;

    /* The sound: bytes [start, end) of the file. */
    uint32_t frame_bytes; /* 0 = not decoded */
    uint64_t start, declared, end;
    uint32_t declared_32;
    bool unfinished;   /* the header never told the size */
    bool wrapped;      /* the 32-bit size overflowed */
    bool went_on;      /* sound found behind the declared end */
    bool cut;          /* the file ends before the declared end */
    bool tail_found;   /* a row of chunks was found where the header had none */
    bool open_ended;   /* end is the file's end until a row of chunks shows up */
    bool end_checked;
    uint64_t scanned_to; /* while open-ended: no row of chunks begins before this */
    bool zeros_follow;
    bool through_zeros; /* asked to take zeros behind the declared end for sound */

    uint64_t trailing_bytes;
    bool trailing_zeros, trailing_sound;
    uint64_t cut_chunk_bytes; /* missing from the last chunk */
    char cut_chunk_id[5];
    bool rest_walked;
};

/* ---- small helpers ---- */

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to read the chunks of a file");
}

static double seconds_at(const struct tp_riff *riff, uint64_t bytes)
{
    if (riff->frame_bytes == 0 || riff->file->sample_rate_hz == 0)
        return (double)NAN;
    return (double)(bytes / riff->frame_bytes) / riff->file->sample_rate_hz;
}

/* "12.3 s", or "" when the format is not known. */
static const char *seconds_text(char text[TP_NUMBER_SIZE + 4], const struct tp_riff *riff, uint64_t bytes)
{
    char number[TP_NUMBER_SIZE];
    tp_number_text(number, seconds_at(riff, bytes), 3);
    snprintf(text, TP_NUMBER_SIZE + 4, "%s%s", number, number[0] != '\0' ? " s" : "? s");
    return text;
}

#define OBSERVE(riff, code, start_s, end_s, value, limit, ...)                                                          \
    tp_observe(&(riff)->file->observations, code, TP_NO_CHANNEL, start_s, end_s, value, limit, __VA_ARGS__)
#define OBSERVE_FILE(riff, code, ...) OBSERVE(riff, code, (double)NAN, (double)NAN, (double)NAN, (double)NAN, __VA_ARGS__)

/* FNV-1a: tells a repeated chunk from a differing one. */
static uint64_t hash_bytes(const uint8_t *bytes, size_t size)
{
    uint64_t hash = 0xCBF29CE484222325u;
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ bytes[i]) * 0x100000001B3u;
    return hash;
}

static void readable_id(char text[5], const uint8_t *id)
{
    for (size_t i = 0; i < 4; i++)
        text[i] = id[i] >= 0x20 && id[i] < 0x7F ? (char)id[i] : '?';
    text[4] = '\0';
}

static uint64_t file_bytes(const struct tp_riff *riff) { return tp_stream_bytes(riff->stream); }
static uint64_t position(const struct tp_riff *riff) { return tp_stream_position(riff->stream); }
static uint64_t left(const struct tp_riff *riff) { return tp_stream_remaining(riff->stream); }

/* ---- the list of chunks ---- */

struct header {
    uint8_t id[4];
    uint32_t size_32;
    uint64_t offset, size;
    size_t listed; /* index in file->chunks, or TP_NO_INDEX */
};

static bool list_chunk(struct tp_riff *riff, struct header *header)
{
    struct tp_file *file = riff->file;
    header->listed = TP_NO_INDEX;
    if (file->chunk_count >= TP_CHUNKS_MAX)
        return true;
    if (!tp_grow(&file->chunks, &riff->chunk_capacity, file->chunk_count, sizeof *file->chunks))
        return false;
    struct tp_chunk *chunk = &file->chunks[file->chunk_count];
    *chunk = (struct tp_chunk){.offset = header->offset, .size = header->size};
    readable_id(chunk->id, header->id);
    header->listed = file->chunk_count++;
    return true;
}

/* Takes `words` over; keeps the first problem of a chunk. */
static bool chunk_problem(struct tp_riff *riff, const struct header *header, char *words)
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
        return OBSERVE_FILE(riff, TP_CODE_NOT_WAV,
                            "The file is no WAV file: it begins with zeros where the header should be. The beginning was "
                            "never written, or was lost.");
    if (got >= FORMS && memcmp(bytes, "RIFF", 4) == 0) {
        char form[5];
        readable_id(form, bytes + 8);
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
    if (file_bytes(riff) == 0)
        return OBSERVE_FILE(riff, TP_CODE_EMPTY_FILE, "The file has a name but not one byte.") ? TP_OK : no_memory(error);
    enum tp_container container = got >= 4 ? container_of(bytes) : TP_CONTAINER_NONE;
    if (container != TP_CONTAINER_NONE && got < FORMS)
        return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY, "The file ends after %zu bytes, within its header.", got)
                   ? TP_OK
                   : no_memory(error);
    if (container == TP_CONTAINER_NONE || memcmp(bytes + 8, "WAVE", 4) != 0)
        return observe_not_wav(riff, bytes, got) ? TP_OK : no_memory(error);
    riff->is_wave = true;
    riff->file->container = container;
    riff->riff_size = tp_le32(bytes + 4);
    tp_stream_consume(riff->stream, FORMS);
    return TP_OK;
}

/* ---- chunk bodies ---- */

static enum tp_status read_body(struct tp_riff *riff, uint64_t size, uint8_t **body, size_t *got, struct tp_error *error)
{
    uint64_t there = size < left(riff) ? size : left(riff);
    *got = there < TP_CHUNK_BODY_MAX ? (size_t)there : TP_CHUNK_BODY_MAX;
    *body = malloc(*got + 1);
    if (*body == NULL)
        return no_memory(error);
    enum tp_status status = tp_stream_read(riff->stream, *body, *got, error);
    if (status != TP_OK) {
        free(*body);
        *body = NULL;
    }
    return status;
}

static void read_ds64(struct tp_riff *riff, const uint8_t *body, size_t size)
{
    if (size < 24 || riff->has_ds64)
        return;
    riff->has_ds64 = true;
    riff->ds64_riff = tp_le64(body);
    riff->ds64_data = tp_le64(body + 8);
    riff->ds64_frames = tp_le64(body + 16);
    size_t entries = size >= 28 ? tp_le32(body + 24) : 0;
    for (size_t i = 0; i < entries && i < DS64_TABLE_MAX && 28 + 12 * (i + 1) <= size; i++) {
        memcpy(riff->ds64_table[i].id, body + 28 + 12 * i, 4);
        riff->ds64_table[i].size = tp_le64(body + 28 + 12 * i + 4);
        riff->ds64_entries = i + 1;
    }
}

/* True when this is the first of its kind or equals the first; an unequal one is an observation. */
static bool note_once(struct tp_riff *riff, struct once *once, const struct header *header, const uint8_t *body, size_t size,
                      bool *ok)
{
    uint64_t hash = hash_bytes(body, size);
    char id[5];
    readable_id(id, header->id);
    if (once->count++ == 0) {
        once->hash = hash;
        return true;
    }
    *ok = chunk_problem(riff, header, tp_strdup(hash == once->hash ? "repeats an earlier one" : "differs from an earlier one"));
    if (hash == once->hash)
        return false;
    *ok = *ok && OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT,
                              "The file has more than one '%s' chunk and they differ; %s.", id,
                              once == &riff->fmt ? "the first is used" : "the last is used");
    return true;
}

static enum tp_status parse_fmt(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->fmt, header, body, size, &ok) || riff->fmt.count > 1)
        return ok ? TP_OK : no_memory(error);
    if (riff->data.count > 0) {
        riff->fmt_is_late = true;
        return TP_OK;
    }
    char *problem;
    enum tp_status status = tp_format_read(body, size, riff->file, &problem, error);
    if (status == TP_OK && problem != NULL)
        chunk_problem(riff, header, problem);
    riff->frame_bytes = tp_format_frame_bytes(riff->file);
    return status;
}

static enum tp_status parse_bext(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                 struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->bext, header, body, size, &ok))
        return ok ? TP_OK : no_memory(error);
    struct tp_bext *bext;
    struct tp_error cause = {0};
    enum tp_status status = tp_bext_parse(body, size, &bext, &cause);
    if (status == TP_OK) {
        tp_bext_free(riff->file->bext);
        riff->file->bext = bext;
    } else if (status == TP_ERR_FORMAT) {
        ok = chunk_problem(riff, header, tp_strdup("too short to be read")) &&
             OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT, "The bext chunk cannot be read: it has %zu bytes of at least %d.",
                          size, TP_BEXT_FIXED_BYTES);
    } else {
        ok = false;
    }
    tp_error_clear(&cause);
    return ok ? TP_OK : no_memory(error);
}

static enum tp_status parse_ixml(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                 struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->ixml, header, body, size, &ok))
        return ok ? TP_OK : no_memory(error);
    struct tp_ixml *ixml;
    struct tp_error cause = {0};
    enum tp_status status = tp_ixml_parse(body, size, &ixml, &cause);
    if (status == TP_OK) {
        tp_ixml_free(riff->file->ixml);
        riff->file->ixml = ixml;
        if (ixml->damaged)
            ok = chunk_problem(riff, header, tp_strdup("the XML is damaged")) &&
                 OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT,
                              "The iXML chunk is not well-formed XML; what could be read of it is used.");
    } else if (status == TP_ERR_FORMAT) {
        ok = chunk_problem(riff, header, tp_strdup("not iXML inside")) &&
             OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT, "The iXML chunk cannot be read: %s.", tp_error_text(&cause));
    } else {
        ok = false;
    }
    tp_error_clear(&cause);
    return ok ? TP_OK : no_memory(error);
}

static enum tp_status parse_notes(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                  struct tp_error *error)
{
    const char *problem;
    enum tp_status status = memcmp(header->id, "cue ", 4) == 0
                                ? tp_notes_cue(&riff->notes, body, size, riff->file, &problem, error)
                                : tp_notes_list(&riff->notes, body, size, riff->file, &problem, error);
    if (status == TP_OK && problem != NULL && !chunk_problem(riff, header, tp_strdup(problem)))
        status = no_memory(error);
    return status;
}

static enum tp_status parse_small(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                  struct tp_error *error)
{
    (void)error;
    if (memcmp(header->id, "ds64", 4) == 0)
        read_ds64(riff, body, size);
    else if (size >= 4)
        riff->fact_frames = tp_le32(body);
    return TP_OK;
}

typedef enum tp_status parse_fn(struct tp_riff *riff, const struct header *header, const uint8_t *body, size_t size,
                                struct tp_error *error);
static const struct {
    char id[5];
    parse_fn *parse;
} parsers[] = {{"fmt ", parse_fmt},  {"bext", parse_bext},  {"iXML", parse_ixml}, {"cue ", parse_notes},
               {"LIST", parse_notes}, {"ds64", parse_small}, {"fact", parse_small}};

static parse_fn *parser_of(const uint8_t *id)
{
    for (size_t i = 0; i < sizeof parsers / sizeof parsers[0]; i++)
        if (memcmp(id, parsers[i].id, 4) == 0)
            return parsers[i].parse;
    return NULL;
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

static enum tp_status next_header(struct tp_riff *riff, struct header *header, enum step *step, struct tp_error *error)
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
    bool fits = tp_le32(bytes + 4) <= left(riff) - TP_CHUNK_HEADER;
    if (riff->data.count > 0 && !fits && !tp_chunk_id_is_known(bytes))
        return TP_OK;
    *step = STEP_CHUNK;
    riff->walked++;
    memcpy(header->id, bytes, 4);
    header->size_32 = tp_le32(bytes + 4);
    header->offset = position(riff);
    header->size = header->size_32;
    if (header->size_32 == SIZE_IN_DS64 && memcmp(header->id, "data", 4) != 0)
        header->size = ds64_size_of(riff, header->id, header->size);
    tp_stream_consume(riff->stream, TP_CHUNK_HEADER);
    return list_chunk(riff, header) ? TP_OK : no_memory(error);
}

/* Passes the pad byte of an odd chunk, unless the writer left it out. */
static enum tp_status skip_pad(struct tp_riff *riff, const struct header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, 4096, &bytes, &got, error);
    if (status != TP_OK || got == 0)
        return status;
    bool padded = got < 2 || tp_chunks_follow(bytes + 1, got - 1, left(riff) - 1);
    bool unpadded = !padded && bytes[0] != 0 && tp_chunks_follow(bytes, got, left(riff));
    if (!unpadded)
        return tp_stream_skip(riff->stream, 1, error);
    char id[5];
    readable_id(id, header->id);
    bool ok = chunk_problem(riff, header, tp_strdup("odd size without a pad byte")) &&
              OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)header->size, (double)NAN,
                      "The '%s' chunk at byte %" PRIu64 " has an odd size (%" PRIu64
                      ") and no pad byte behind it; some programs lose everything that follows.",
                      id, header->offset, header->size);
    return ok ? TP_OK : no_memory(error);
}

/* A size of fmt that is a lie: the chunk behind its real 16, 18 or 40 bytes is in sight. */
static uint64_t true_fmt_size(const uint8_t *bytes, size_t got, uint64_t bytes_left, uint64_t declared)
{
    static const size_t sizes[] = {16, 18, 40};
    if (declared <= bytes_left && (declared >= got || tp_chunks_follow(bytes + declared, got - declared, bytes_left - declared)))
        return declared;
    for (size_t i = 0; i < 3; i++)
        if (sizes[i] + TP_CHUNK_HEADER <= got && tp_chunk_id_is_known(bytes + sizes[i]))
            return sizes[i];
    return declared;
}

static enum tp_status mend_fmt_size(struct tp_riff *riff, struct header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, 64, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    uint64_t size = true_fmt_size(bytes, got, left(riff), header->size);
    if (size == header->size)
        return TP_OK;
    bool ok = chunk_problem(riff, header, tp_strdup("its size is wrong")) &&
              OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)header->size, (double)size,
                      "The fmt chunk says that it has %" PRIu64 " bytes, but the next chunk begins after %" PRIu64 ".",
                      header->size, size);
    header->size = size;
    return ok ? TP_OK : no_memory(error);
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
        uint64_t from = position(riff);
        uint32_t size = tp_le32(bytes + at + 4);
        if (size > left(riff) - at && !(data && size == SIZE_IN_DS64))
            continue;
        *found = true;
        status = tp_stream_skip(riff->stream, at, error);
        if (status == TP_OK &&
            !OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)at, (double)NAN,
                     "From byte %" PRIu64 " on, %zu bytes belong to no chunk; reading went on at the next one that makes sense.",
                     from, at))
            status = no_memory(error);
        break;
    }
    return status;
}

/* Body and pad byte of any chunk but data. */
static enum tp_status walk_body(struct tp_riff *riff, struct header *header, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    if (memcmp(header->id, "fmt ", 4) == 0)
        status = mend_fmt_size(riff, header, error);
    if (status == TP_OK && header->size > left(riff)) {
        bool found = false;
        if (riff->data.count == 0)
            status = find_again(riff, &found, error);
        if (status != TP_OK || found)
            return status;
        riff->cut_chunk_bytes = header->size - left(riff);
        readable_id(riff->cut_chunk_id, header->id);
        if (!chunk_problem(riff, header, tp_format("cut off: %" PRIu64 " bytes are missing", riff->cut_chunk_bytes)))
            return no_memory(error);
    }
    uint64_t end = header->size < left(riff) ? position(riff) + header->size : file_bytes(riff);
    bool cut = header->size > left(riff);
    /* Of a cut fmt or ds64 nothing can be believed; the others lose only their end. */
    bool worthless = cut && (memcmp(header->id, "fmt ", 4) == 0 || memcmp(header->id, "ds64", 4) == 0);
    parse_fn *parse = worthless ? NULL : parser_of(header->id);
    if (status == TP_OK && parse != NULL) {
        uint8_t *body;
        size_t got;
        status = read_body(riff, header->size, &body, &got, error);
        if (status == TP_OK)
            status = parse(riff, header, body, got, error);
        free(body);
        if (status == TP_OK && header->size > TP_CHUNK_BODY_MAX &&
            !chunk_problem(riff, header, tp_strdup("larger than is read; its beginning was")))
            status = no_memory(error);
    }
    if (status == TP_OK)
        status = tp_stream_skip(riff->stream, end - position(riff), error);
    if (status == TP_OK && (header->size & 1) != 0)
        status = skip_pad(riff, header, error);
    return status;
}

/* ---- where the sound ends ---- */

/* The last whole frame at or before `end`. */
static uint64_t whole_end(const struct tp_riff *riff, uint64_t end)
{
    uint64_t frame = riff->frame_bytes != 0 ? riff->frame_bytes : 1;
    return riff->start + (end - riff->start) / frame * frame;
}

static void open_end(struct tp_riff *riff)
{
    riff->end = file_bytes(riff);
    riff->open_ended = true;
    riff->scanned_to = position(riff);
}

/* 32-bit sizes of a file past 4 GiB count modulo 2^32. */
static bool size_wrapped(const struct tp_riff *riff, uint64_t present)
{
    const uint64_t turn = (uint64_t)1 << 32;
    if (riff->has_ds64 || riff->file->container != TP_CONTAINER_WAV || riff->declared_32 == SIZE_IN_DS64 ||
        present - riff->declared < turn)
        return false;
    uint64_t outer = (file_bytes(riff) - 8 - riff->riff_size) % turn;
    return outer <= 1 || (present - riff->declared) % turn <= 1;
}

static enum tp_status begin_sound(struct tp_riff *riff, const struct header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    uint64_t present = left(riff);
    bool in_ds64 = header->size_32 == SIZE_IN_DS64 && riff->has_ds64;
    riff->data.count = 1;
    riff->start = position(riff);
    riff->declared_32 = header->size_32;
    riff->declared = in_ds64 ? riff->ds64_data : header->size_32;
    if (header->listed != TP_NO_INDEX)
        riff->file->chunks[header->listed].size = riff->declared;
    riff->file->audio_offset = riff->start;
    bool never_told = header->size_32 == SIZE_IN_DS64 && !riff->has_ds64;
    if (riff->declared == 0)
        never_told = present > 0 && !tp_chunks_follow(bytes, got, present);
    riff->end = riff->start + (riff->declared < present ? riff->declared : present);
    if (never_told) {
        riff->unfinished = true;
        riff->declared = 0;
        open_end(riff);
    } else if (riff->declared > present) {
        riff->cut = true;
        open_end(riff);
    } else if (size_wrapped(riff, present)) {
        riff->wrapped = true;
        riff->end += (present - riff->declared) >> 32 << 32;
    }
    if (riff->frame_bytes != 0)
        riff->file->declared_frames = riff->declared / riff->frame_bytes;
    return TP_OK;
}

static bool all_zero(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (bytes[i] != 0)
            return false;
    return true;
}

/* At the declared end: does something else follow there, or does the sound simply go on behind a size that was not kept up? */
static enum tp_status check_end(struct tp_riff *riff, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    riff->end_checked = true;
    size_t want = TP_STREAM_PEEK_MAX;
    enum tp_status status = tp_stream_peek(riff->stream, want, &bytes, &got, error);
    if (status != TP_OK || riff->frame_bytes == 0)
        return status;
    size_t rest_of_frame = (size_t)(riff->end - position(riff)); /* below one frame */
    if (got <= rest_of_frame)
        return TP_OK;
    bytes += rest_of_frame;
    got -= rest_of_frame;
    uint64_t after = left(riff) - rest_of_frame;
    bool odd = ((riff->end - riff->start) & 1) != 0;
    if (tp_chunks_follow(bytes, got, after) || (odd && got > 1 && tp_chunks_follow(bytes + 1, got - 1, after - 1)))
        return TP_OK;
    if (all_zero(bytes, got) && !riff->through_zeros) {
        riff->zeros_follow = true;
        return TP_OK;
    }
    /* A header that is brought up to date now and then lags by far more than this; less is some other rest. */
    uint64_t ten_ms = (uint64_t)riff->file->sample_rate_hz / 100 * riff->frame_bytes;
    if (after < ten_ms || after < riff->frame_bytes)
        return TP_OK;
    riff->went_on = true;
    open_end(riff);
    return TP_OK;
}

/* While the end is open: looks for the row of chunks that may close the file, a window ahead of the reader. */
static enum tp_status scan_ahead(struct tp_riff *riff, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    uint64_t rest = left(riff);
    size_t from = riff->scanned_to > position(riff) ? (size_t)(riff->scanned_to - position(riff)) : 0;
    /* Near the window's edge a header, or the text that makes an iXML chunk sure, is not whole. */
    size_t limit = got < rest ? got - 64 : got;
    if (from >= limit)
        return TP_OK;
    size_t at = from + tp_chunks_find_finish(bytes + from, got - from, rest - from, position(riff) + from, limit - from);
    riff->scanned_to = position(riff) + limit;
    if (at < limit) {
        riff->tail_found = true;
        riff->open_ended = false;
        riff->end_checked = true;
        riff->end = position(riff) + at;
    }
    return TP_OK;
}

/* Whole frames known to be sound from here on. */
static uint64_t sure_bytes(const struct tp_riff *riff)
{
    uint64_t here = position(riff);
    uint64_t end = riff->open_ended && riff->scanned_to < riff->end ? riff->scanned_to : riff->end;
    end = end > riff->start ? whole_end(riff, end) : riff->start;
    return end > here ? end - here : 0;
}

enum tp_status tp_riff_audio_remaining(struct tp_riff *riff, uint64_t *bytes, struct tp_error *error)
{
    *bytes = 0;
    if (riff->data.count == 0)
        return TP_OK;
    enum tp_status status = TP_OK;
    if (sure_bytes(riff) == 0 && !riff->open_ended && !riff->end_checked)
        status = check_end(riff, error);
    if (status == TP_OK && sure_bytes(riff) == 0 && riff->open_ended)
        status = scan_ahead(riff, error);
    if (status == TP_OK)
        *bytes = sure_bytes(riff);
    return status;
}

void tp_riff_audio_consumed(struct tp_riff *riff, size_t bytes) { riff->file->audio_bytes += bytes; }

/* ---- to the sound ---- */

enum tp_status tp_riff_new(struct tp_riff **riff, struct tp_stream *stream, struct tp_file *file, struct tp_error *error)
{
    *riff = calloc(1, sizeof **riff);
    if (*riff == NULL)
        return no_memory(error);
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

void tp_riff_read_through_zeros(struct tp_riff *riff) { riff->through_zeros = true; }

bool tp_riff_sound_may_follow_zeros(const struct tp_riff *riff) { return riff->zeros_follow && !riff->trailing_zeros; }

static enum tp_status walk_to_data(struct tp_riff *riff, struct tp_error *error)
{
    struct header header;
    enum step step = STEP_CHUNK;
    enum tp_status status = TP_OK;
    while (status == TP_OK && step == STEP_CHUNK) {
        status = next_header(riff, &header, &step, error);
        if (status == TP_OK && step == STEP_CHUNK && memcmp(header.id, "data", 4) == 0)
            return begin_sound(riff, &header, error);
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
    if (status == TP_OK && riff->end > position(riff))
        status = tp_stream_skip(riff->stream, riff->end - position(riff), error);
    return status;
}

static enum tp_status skip_trailing(struct tp_riff *riff, struct tp_error *error)
{
    riff->trailing_bytes = left(riff);
    riff->trailing_zeros = true;
    while (left(riff) > 0) {
        const uint8_t *bytes;
        size_t got;
        enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
        if (status != TP_OK)
            return status;
        riff->trailing_zeros = riff->trailing_zeros && all_zero(bytes, got);
        tp_stream_consume(riff->stream, got);
    }
    return TP_OK;
}

/* A second data chunk: its sound is not measured, and that must be said. */
static enum tp_status walk_second_data(struct tp_riff *riff, struct header *header, struct tp_error *error)
{
    if (header->size_32 == SIZE_IN_DS64 && riff->has_ds64)
        header->size = riff->ds64_data;
    bool ok = chunk_problem(riff, header, tp_strdup("a second data chunk: not read"));
    if (riff->data.count++ == 1)
        ok = ok && OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)header->size, (double)NAN,
                           "A second data chunk of %" PRIu64 " bytes stands at byte %" PRIu64
                           "; only the first was read and measured.",
                           header->size, header->offset);
    return ok ? walk_body(riff, header, error) : no_memory(error);
}

static enum tp_status walk_chunks_behind(struct tp_riff *riff, struct tp_error *error)
{
    struct header header = {.id = "data", .size = riff->end - riff->start, .offset = riff->start - 8, .listed = TP_NO_INDEX};
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

/* ---- what it all means ---- */

static bool settle_no_sound(struct tp_riff *riff)
{
    if (!riff->is_wave)
        return true;
    uint64_t present = riff->data.count > 0 ? riff->end - riff->start : 0;
    if (riff->data.count == 0)
        return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY,
                            "The file has a WAV header but no data chunk, so no sound%s.",
                            riff->cut_chunk_bytes > 0 ? "; it ends within the header's chunks" : "");
    if (riff->fmt.count == 0 || riff->fmt_is_late) {
        riff->unfinished = true;
        return OBSERVE_FILE(riff, TP_CODE_UNFINISHED_HEADER,
                            riff->fmt_is_late ? "The fmt chunk, which says what the sound is, stands behind the sound, where "
                                                "most programs will not look; %" PRIu64 " bytes of sound were not read."
                                              : "The fmt chunk, which says what the sound is, is missing; %" PRIu64
                                                " bytes that may be sound were not read.",
                            present);
    }
    if (riff->frame_bytes == 0 && present > 0)
        return true;
    if (riff->frame_bytes != 0 && present >= riff->frame_bytes)
        return true;
    if (riff->declared == 0)
        return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY, "The file has a header and no sound behind it.");
    return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY,
                        "The header promises %" PRIu64 " bytes of sound, but the file holds less than one frame of it.",
                        riff->declared);
}

static bool settle_unfinished(struct tp_riff *riff)
{
    char seconds[TP_NUMBER_SIZE + 4], declared[TP_NUMBER_SIZE + 4];
    uint64_t sound = riff->file->audio_bytes;
    seconds_text(seconds, riff, sound);
    seconds_text(declared, riff, riff->declared);
    if (riff->went_on)
        return OBSERVE(riff, TP_CODE_UNFINISHED_HEADER, seconds_at(riff, riff->declared), seconds_at(riff, sound),
                       (double)sound, (double)riff->declared,
                       "The header says %s of sound (%" PRIu64 " bytes), but the sound goes on to %s (%" PRIu64
                       " bytes): the recording ended without its header being brought up to date.%s",
                       declared, riff->declared, seconds, sound,
                       riff->tail_found ? "" : " It was read to the end of the file.");
    return OBSERVE(riff, TP_CODE_UNFINISHED_HEADER, 0.0, seconds_at(riff, sound), (double)sound, (double)NAN,
                   "The header does not say how much sound there is (size %" PRIu32
                   "): the recording was interrupted. %s of sound (%" PRIu64 " bytes) were found, %s.",
                   riff->declared_32, seconds, sound,
                   riff->tail_found ? "up to the chunks at the end of the file" : "read to the end of the file");
}

static bool settle_cut(struct tp_riff *riff)
{
    uint64_t present = riff->end - riff->start;
    uint64_t missing = riff->declared - present;
    char seconds[TP_NUMBER_SIZE + 4], there[TP_NUMBER_SIZE + 4];
    seconds_text(there, riff, present);
    seconds_text(seconds, riff, missing);
    if (riff->tail_found)
        return OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)riff->declared, (double)present,
                       "The header says %" PRIu64 " bytes of sound, but the chunks at the end of the file begin after %" PRIu64
                       " bytes (%s); the sound was read up to them.",
                       riff->declared, present, there);
    return OBSERVE(riff, TP_CODE_TRUNCATED, seconds_at(riff, present), seconds_at(riff, riff->declared), (double)missing, 0.0,
                   "The file ends %s (%" PRIu64 " bytes) before its sound does: %s of sound are there.", seconds, missing,
                   there);
}

static bool settle_extent(struct tp_riff *riff)
{
    if (riff->data.count == 0 || riff->frame_bytes == 0 || riff->end - riff->start < riff->frame_bytes)
        return true;
    bool ok = true;
    uint64_t part = riff->frame_bytes != 0 ? (riff->end - riff->start) % riff->frame_bytes : 0;
    bool pad_only = riff->tail_found && part == 1;
    if (riff->unfinished || riff->went_on)
        ok = settle_unfinished(riff);
    else if (riff->cut)
        ok = settle_cut(riff);
    else if (part != 0 && !pad_only)
        ok = OBSERVE(riff, TP_CODE_TRUNCATED, seconds_at(riff, riff->end - riff->start), (double)NAN,
                     (double)(riff->frame_bytes - part), 0.0,
                     "The sound ends in the middle of a frame: the last one has %" PRIu64 " of its %" PRIu32
                     " bytes and was left out.",
                     part, riff->frame_bytes);
    if (ok && riff->wrapped)
        ok = OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)riff->declared,
                     (double)(riff->end - riff->start),
                     "The file is larger than 4 GiB and its sizes ran over: the header says %" PRIu64
                     " bytes of sound, %" PRIu64 " are there and were read.",
                     riff->declared, riff->end - riff->start);
    return ok;
}

static bool settle_trailing(struct tp_riff *riff)
{
    if (riff->trailing_bytes == 0)
        return true;
    uint64_t at = file_bytes(riff) - riff->trailing_bytes;
    if (riff->zeros_follow && !riff->trailing_zeros && at <= riff->end + 1)
        return OBSERVE_FILE(riff, TP_CODE_UNFINISHED_HEADER,
                            "Behind the end that the header declares, zeros follow and then %s: of %" PRIu64
                            " bytes from byte %" PRIu64 " on nothing was measured. Salvage the file and check the copy.",
                            "other bytes that may be sound", riff->trailing_bytes, at);
    return OBSERVE(riff, TP_CODE_TRAILING_BYTES, (double)NAN, (double)NAN, (double)riff->trailing_bytes, 0.0,
                   "%" PRIu64 " bytes%s follow from byte %" PRIu64 " on that belong to no chunk.", riff->trailing_bytes,
                   riff->trailing_zeros ? ", all zero," : "", at);
}

static bool settle_outer_size(struct tp_riff *riff)
{
    bool told = riff->unfinished || riff->went_on || riff->wrapped || (riff->cut && !riff->tail_found);
    if (!riff->is_wave || riff->data.count == 0 || told)
        return true;
    if (riff->cut_chunk_bytes > 0)
        return OBSERVE(riff, TP_CODE_TRUNCATED, (double)NAN, (double)NAN, (double)riff->cut_chunk_bytes, 0.0,
                       "The file ends within its last chunk '%s': %" PRIu64 " bytes are missing. The sound is whole.",
                       riff->cut_chunk_id, riff->cut_chunk_bytes);
    bool in_ds64 = riff->riff_size == SIZE_IN_DS64 && riff->has_ds64;
    uint64_t declared = in_ds64 ? riff->ds64_riff : riff->riff_size;
    uint64_t real = file_bytes(riff) - 8;
    uint64_t without_rest = real - riff->trailing_bytes;
    bool fits = declared + 1 >= real && declared <= real + 1;
    fits = fits || (declared + 1 >= without_rest && declared <= without_rest + 1);
    if (fits || declared == 0 || (riff->riff_size == SIZE_IN_DS64 && !riff->has_ds64))
        return fits || OBSERVE(riff, TP_CODE_UNFINISHED_HEADER, (double)NAN, (double)NAN, (double)declared, (double)NAN,
                               "The outer size of the file was never filled in (it says %" PRIu64
                               "); the size of the sound was, and fits.",
                               declared);
    return OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)declared, (double)real,
                   "The outer size in the header says %" PRIu64 " bytes, the file has %" PRIu64 " behind it.", declared, real);
}

/* Counts of frames that other chunks repeat; for the chunk list, and an observation where a float file needs its fact. */
static bool settle_counts(struct tp_riff *riff)
{
    if (riff->frame_bytes == 0 || riff->data.count == 0 || riff->unfinished || riff->cut || riff->went_on || riff->wrapped)
        return true;
    uint64_t frames = riff->file->audio_bytes / riff->frame_bytes;
    bool fact_lies = riff->fact_frames != 0 && riff->fact_frames != SIZE_IN_DS64 && riff->fact_frames != frames &&
                     riff->fact_frames != frames * riff->file->channel_count;
    if (fact_lies && !OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)riff->fact_frames, (double)frames,
                              "The fact chunk says %" PRIu64 " frames, the data chunk holds %" PRIu64 ".", riff->fact_frames,
                              frames))
        return false;
    uint64_t data = riff->has_ds64 ? riff->ds64_data : 0;
    if (data != 0 && riff->declared_32 != SIZE_IN_DS64 && data != riff->declared)
        return OBSERVE(riff, TP_CODE_SIZE_MISMATCH, (double)NAN, (double)NAN, (double)data, (double)riff->declared,
                       "The ds64 chunk says %" PRIu64 " bytes of sound, the data chunk %" PRIu64 "; the latter was used.", data,
                       riff->declared);
    return true;
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
        status = tp_stream_skip(riff->stream, left(riff), error);
    if (status == TP_OK)
        status = tp_notes_settle(&riff->notes, riff->file, error);
    if (status != TP_OK)
        return status;
    bool ok = settle_no_sound(riff) && settle_extent(riff) && settle_trailing(riff) && settle_outer_size(riff) &&
              settle_counts(riff);
    return ok ? TP_OK : no_memory(error);
}
