/* SPDX-License-Identifier: MIT */
/* What the parts of the chunk walk share: riff.c walks, riff_bodies.c reads small chunks, riff_extent.c finds where the
 * sound ends, riff_settle.c says what was wrong. Nobody else includes this. */
#ifndef TP_READ_RIFF_PARTS_H
#define TP_READ_RIFF_PARTS_H

#include "base/observe.h"
#include "read/notes.h"
#include "read/riff.h"

#define SIZE_IN_DS64 UINT32_MAX
#define NO_SIZE UINT64_MAX
#define NOTHING ((double)NAN)
enum { DS64_TABLE_MAX = 64 };

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
    bool unfinished; /* the header never told the size */
    bool wrapped;    /* the 32-bit size overflowed */
    bool went_on;    /* sound found behind the declared end */
    bool cut;        /* the file ends before the declared end */
    bool tail_found; /* a row of chunks was found where the header had none */
    bool open_ended; /* end is the file's end until a row of chunks shows up */
    bool end_checked;
    uint64_t scanned_to; /* while open-ended: no row of chunks begins before this */
    bool zeros_follow;
    bool through_zeros; /* asked to take zeros behind the declared end for sound */

    uint64_t trailing_bytes;
    bool trailing_zeros;
    uint64_t cut_chunk_bytes; /* missing from the last chunk */
    char cut_chunk_id[5];
    bool rest_walked;
};

/* One chunk on the way. */
struct tp_riff_header {
    uint8_t id[4];
    uint32_t size_32;
    uint64_t offset, size;
    size_t listed; /* index in file->chunks, or TP_NO_INDEX */
};

#define OBSERVE(riff, code, start_s, end_s, value, limit, ...)                                                         \
    tp_observe(&(riff)->file->observations, code, TP_NO_CHANNEL, start_s, end_s, value, limit, __VA_ARGS__)
#define OBSERVE_VALUES(riff, code, value, limit, ...) OBSERVE(riff, code, NOTHING, NOTHING, value, limit, __VA_ARGS__)
#define OBSERVE_FILE(riff, code, ...) OBSERVE(riff, code, NOTHING, NOTHING, NOTHING, NOTHING, __VA_ARGS__)

static inline uint64_t tp_riff_file_bytes(const struct tp_riff *riff)
{
    return tp_stream_bytes(riff->stream);
}
static inline uint64_t tp_riff_position(const struct tp_riff *riff)
{
    return tp_stream_position(riff->stream);
}
static inline uint64_t tp_riff_left(const struct tp_riff *riff)
{
    return tp_stream_remaining(riff->stream);
}

enum tp_status tp_riff_no_memory(struct tp_error *error);
/* The id with '?' for what cannot be read. */
void tp_riff_readable_id(char text[5], const uint8_t *id);
bool tp_riff_all_zero(const uint8_t *bytes, size_t size);
/* Takes `words` over; keeps the first problem of a chunk. False when words is NULL (memory). */
bool tp_riff_chunk_problem(struct tp_riff *riff, const struct tp_riff_header *header, char *words);

/* riff_bodies.c: the body of a chunk that we understand, up to TP_CHUNK_BODY_MAX of it. */
bool tp_riff_has_parser(const uint8_t *id);
enum tp_status tp_riff_parse_body(struct tp_riff *riff, const struct tp_riff_header *header, struct tp_error *error);

/* riff_extent.c: at the first byte behind a data header. */
enum tp_status tp_riff_begin_sound(struct tp_riff *riff, const struct tp_riff_header *header, struct tp_error *error);

/* riff_settle.c: when every byte was seen. False when memory is short. */
bool tp_riff_settle(struct tp_riff *riff);

#endif
