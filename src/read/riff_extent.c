/* SPDX-License-Identifier: MIT */
#include "read/riff_parts.h"

#include "read/chunks.h"

#include <string.h>

/* The last whole frame at or before `end`. */
static uint64_t whole_end(const struct tp_riff *riff, uint64_t end)
{
    uint64_t frame = riff->frame_bytes != 0 ? riff->frame_bytes : 1;
    return riff->start + (end - riff->start) / frame * frame;
}

static void open_end(struct tp_riff *riff)
{
    riff->end = tp_riff_file_bytes(riff);
    riff->open_ended = true;
    riff->scanned_to = tp_riff_position(riff);
}

/* 32-bit sizes of a file past 4 GiB count modulo 2^32. */
static bool size_wrapped(const struct tp_riff *riff, uint64_t present)
{
    const uint64_t turn = (uint64_t)1 << 32;
    if (riff->has_ds64 || riff->file->container != TP_CONTAINER_WAV || riff->declared_32 == SIZE_IN_DS64 ||
        present - riff->declared < turn)
        return false;
    uint64_t outer = (tp_riff_file_bytes(riff) - 8 - riff->riff_size) % turn;
    return outer <= 1 || (present - riff->declared) % turn <= 1;
}

enum tp_status tp_riff_begin_sound(struct tp_riff *riff, const struct tp_riff_header *header, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    enum tp_status status = tp_stream_peek(riff->stream, TP_STREAM_PEEK_MAX, &bytes, &got, error);
    if (status != TP_OK)
        return status;
    uint64_t present = tp_riff_left(riff);
    bool in_ds64 = header->size_32 == SIZE_IN_DS64 && riff->has_ds64;
    riff->data.count = 1;
    riff->start = tp_riff_position(riff);
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

/* At the declared end: does something else follow there, or does the sound simply go on behind a size that was not kept
 * up? */
static enum tp_status check_end(struct tp_riff *riff, struct tp_error *error)
{
    const uint8_t *bytes;
    size_t got;
    riff->end_checked = true;
    size_t want = TP_STREAM_PEEK_MAX;
    enum tp_status status = tp_stream_peek(riff->stream, want, &bytes, &got, error);
    if (status != TP_OK || riff->frame_bytes == 0)
        return status;
    size_t rest_of_frame = (size_t)(riff->end - tp_riff_position(riff)); /* below one frame */
    if (got <= rest_of_frame)
        return TP_OK;
    bytes += rest_of_frame;
    got -= rest_of_frame;
    uint64_t after = tp_riff_left(riff) - rest_of_frame;
    bool odd = ((riff->end - riff->start) & 1) != 0;
    if (tp_chunks_follow(bytes, got, after) || (odd && got > 1 && tp_chunks_follow(bytes + 1, got - 1, after - 1)))
        return TP_OK;
    if (tp_riff_all_zero(bytes, got) && !riff->through_zeros) {
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
    uint64_t rest = tp_riff_left(riff);
    size_t from = riff->scanned_to > tp_riff_position(riff) ? (size_t)(riff->scanned_to - tp_riff_position(riff)) : 0;
    /* Near the window's edge a header, or the text that makes an iXML chunk sure, is not whole. */
    size_t limit = got < rest ? got - 64 : got;
    if (from >= limit)
        return TP_OK;
    size_t at = from + tp_chunks_find_finish(bytes + from, got - from, rest - from, tp_riff_position(riff) + from,
                                             limit - from);
    riff->scanned_to = tp_riff_position(riff) + limit;
    if (at < limit) {
        riff->tail_found = true;
        riff->open_ended = false;
        riff->end_checked = true;
        riff->end = tp_riff_position(riff) + at;
    }
    return TP_OK;
}

/* Whole frames known to be sound from here on. */
static uint64_t sure_bytes(const struct tp_riff *riff)
{
    uint64_t here = tp_riff_position(riff);
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

void tp_riff_audio_consumed(struct tp_riff *riff, size_t bytes)
{
    riff->file->audio_bytes += bytes;
}
