/* SPDX-License-Identifier: MIT */
#include "read/salvage_parts.h"

#include "base/io.h"
#include "base/num.h"
#include "base/text.h"
#include "read/format.h"
#include "read/stream.h"

#include <inttypes.h>
#include <string.h>

#define METADATA_MAX ((uint64_t)16 << 20)

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

enum tp_status tp_salvage_choose_chunks(struct tp_salvage *s, struct tp_error *error)
{
    for (size_t i = 0; i < s->file.chunk_count; i++) {
        const struct tp_chunk *chunk = &s->file.chunks[i];
        if (!is_taken_along(chunk->id) || has_later(&s->file, i))
            continue;
        bool whole = chunk->size <= METADATA_MAX && chunk->offset + 8 + chunk->size <= s->file.bytes;
        if (whole && s->copied_count < TP_SALVAGE_COPIED_MAX) {
            s->copied[s->copied_count++] = (struct tp_salvage_span){chunk->offset, 8 + chunk->size};
            continue;
        }
        enum tp_status status =
            tp_salvage_note(s, error, tp_format("The chunk '%s' is damaged and was left out.", chunk->id));
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}

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

static void put_header(struct tp_salvage *s, FILE *out)
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

static enum tp_status tell_progress(struct tp_salvage *s, size_t more, struct tp_error *error)
{
    const struct tp_salvage_options *options = s->options;
    s->progress.bytes_done += more;
    if (options->progress != NULL)
        options->progress(options->progress_user, &s->progress);
    if (options->cancel != NULL && *options->cancel != 0)
        return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped while salvaging '%s'; no copy was made",
                            options->path);
    return TP_OK;
}

static enum tp_status copy_span(struct tp_salvage *s, uint64_t offset, uint64_t size, FILE *out, struct tp_error *error)
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
        status = tell_progress(s, got, error);
    }
    const struct tp_gap *gaps;
    for (size_t i = 0, count = tp_stream_gaps(stream, &gaps); i < count && status == TP_OK; i++)
        status = tp_salvage_assume(s, error,
                                   tp_format("%" PRIu64 " bytes at byte %" PRIu64
                                             " could not be read and are zero in the copy.",
                                             gaps[i].bytes, gaps[i].offset));
    tp_stream_close(stream);
    return status;
}

enum tp_status tp_salvage_write(struct tp_salvage *s, struct tp_error *error)
{
    struct tp_whole_file copy;
    enum tp_status status = tp_whole_file_open(&copy, s->result->written, false, error);
    if (status != TP_OK)
        return status;
    s->progress = (struct tp_progress){.files_total = 1, .bytes_total = s->sound_bytes, .path = s->options->path};
    for (size_t i = 0; i < s->copied_count; i++)
        s->progress.bytes_total += s->copied[i].size;
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
