/* SPDX-License-Identifier: MIT */
#include "read/riff_parts.h"

#include "base/num.h"
#include "base/text.h"
#include "read/bext.h"
#include "read/format.h"
#include "read/ixml.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

/* FNV-1a: tells a repeated chunk from a differing one. */
static uint64_t hash_bytes(const uint8_t *bytes, size_t size)
{
    uint64_t hash = 0xCBF29CE484222325u;
    for (size_t i = 0; i < size; i++)
        hash = (hash ^ bytes[i]) * 0x100000001B3u;
    return hash;
}

static enum tp_status read_body(struct tp_riff *riff, uint64_t size, uint8_t **body, size_t *got,
                                struct tp_error *error)
{
    uint64_t there = size < tp_riff_left(riff) ? size : tp_riff_left(riff);
    *got = there < TP_CHUNK_BODY_MAX ? (size_t)there : TP_CHUNK_BODY_MAX;
    *body = malloc(*got + 1);
    if (*body == NULL)
        return tp_riff_no_memory(error);
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
static bool note_once(struct tp_riff *riff, struct once *once, const struct tp_riff_header *header, const uint8_t *body,
                      size_t size, bool *ok)
{
    uint64_t hash = hash_bytes(body, size);
    char id[5];
    tp_riff_readable_id(id, header->id);
    if (once->count++ == 0) {
        once->hash = hash;
        return true;
    }
    *ok = tp_riff_chunk_problem(
        riff, header, tp_strdup(hash == once->hash ? "repeats an earlier one" : "differs from an earlier one"));
    if (hash == once->hash)
        return false;
    *ok = *ok &&
          OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT, "The file has more than one '%s' chunk and they differ; %s.",
                       id, once == &riff->fmt ? "the first is used" : "the last is used");
    return true;
}

static enum tp_status parse_fmt(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                size_t size, struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->fmt, header, body, size, &ok) || riff->fmt.count > 1)
        return ok ? TP_OK : tp_riff_no_memory(error);
    if (riff->data.count > 0) {
        riff->fmt_is_late = true;
        return TP_OK;
    }
    char *problem;
    enum tp_status status = tp_format_read(body, size, riff->file, &problem, error);
    if (status == TP_OK && problem != NULL)
        tp_riff_chunk_problem(riff, header, problem);
    riff->frame_bytes = tp_format_frame_bytes(riff->file);
    return status;
}

static enum tp_status parse_bext(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                 size_t size, struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->bext, header, body, size, &ok))
        return ok ? TP_OK : tp_riff_no_memory(error);
    struct tp_bext *bext;
    struct tp_error cause = {0};
    enum tp_status status = tp_bext_parse(body, size, &bext, &cause);
    if (status == TP_OK) {
        tp_bext_free(riff->file->bext);
        riff->file->bext = bext;
    } else if (status == TP_ERR_FORMAT) {
        ok = tp_riff_chunk_problem(riff, header, tp_strdup("too short to be read")) &&
             OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT,
                          "The bext chunk cannot be read: it has %zu bytes of at least %d.", size, TP_BEXT_FIXED_BYTES);
    } else {
        ok = false;
    }
    tp_error_clear(&cause);
    return ok ? TP_OK : tp_riff_no_memory(error);
}

static enum tp_status parse_ixml(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                 size_t size, struct tp_error *error)
{
    bool ok = true;
    if (!note_once(riff, &riff->ixml, header, body, size, &ok))
        return ok ? TP_OK : tp_riff_no_memory(error);
    struct tp_ixml *ixml;
    struct tp_error cause = {0};
    enum tp_status status = tp_ixml_parse(body, size, &ixml, &cause);
    if (status == TP_OK) {
        tp_ixml_free(riff->file->ixml);
        riff->file->ixml = ixml;
        if (ixml->damaged)
            ok = tp_riff_chunk_problem(riff, header, tp_strdup("the XML is damaged")) &&
                 OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT,
                              "The iXML chunk is not well-formed XML; what could be read of it is used.");
    } else if (status == TP_ERR_FORMAT) {
        ok = tp_riff_chunk_problem(riff, header, tp_strdup("not iXML inside")) &&
             OBSERVE_FILE(riff, TP_CODE_METADATA_CONFLICT, "The iXML chunk cannot be read: %s.", tp_error_text(&cause));
    } else {
        ok = false;
    }
    tp_error_clear(&cause);
    return ok ? TP_OK : tp_riff_no_memory(error);
}

static enum tp_status parse_notes(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                  size_t size, struct tp_error *error)
{
    const char *problem;
    enum tp_status status = memcmp(header->id, "cue ", 4) == 0
                                ? tp_notes_cue(&riff->notes, body, size, riff->file, &problem, error)
                                : tp_notes_list(&riff->notes, body, size, riff->file, &problem, error);
    if (status == TP_OK && problem != NULL && !tp_riff_chunk_problem(riff, header, tp_strdup(problem)))
        status = tp_riff_no_memory(error);
    return status;
}

static enum tp_status parse_small(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                  size_t size, struct tp_error *error)
{
    (void)error;
    if (memcmp(header->id, "ds64", 4) == 0)
        read_ds64(riff, body, size);
    else if (size >= 4)
        riff->fact_frames = tp_le32(body);
    return TP_OK;
}

typedef enum tp_status parse_fn(struct tp_riff *riff, const struct tp_riff_header *header, const uint8_t *body,
                                size_t size, struct tp_error *error);
static const struct {
    char id[5];
    parse_fn *parse;
} parsers[] = {{"fmt ", parse_fmt},   {"bext", parse_bext},  {"iXML", parse_ixml}, {"cue ", parse_notes},
               {"LIST", parse_notes}, {"ds64", parse_small}, {"fact", parse_small}};

static parse_fn *parser_of(const uint8_t *id)
{
    for (size_t i = 0; i < sizeof parsers / sizeof parsers[0]; i++)
        if (memcmp(id, parsers[i].id, 4) == 0)
            return parsers[i].parse;
    return NULL;
}

bool tp_riff_has_parser(const uint8_t *id)
{
    return parser_of(id) != NULL;
}

enum tp_status tp_riff_parse_body(struct tp_riff *riff, const struct tp_riff_header *header, struct tp_error *error)
{
    uint8_t *body;
    size_t got;
    parse_fn *parse = parser_of(header->id);
    enum tp_status status = read_body(riff, header->size, &body, &got, error);
    if (status != TP_OK)
        return status;
    status = parse(riff, header, body, got, error);
    free(body);
    if (status == TP_OK && header->size > TP_CHUNK_BODY_MAX &&
        !tp_riff_chunk_problem(riff, header, tp_strdup("larger than is read; its beginning was")))
        status = tp_riff_no_memory(error);
    return status;
}
