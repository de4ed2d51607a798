/* SPDX-License-Identifier: MIT */
#include "read/riff_parts.h"

#include "base/num.h"

#include <inttypes.h>
#include <stdio.h>

static double seconds_at(const struct tp_riff *riff, uint64_t bytes)
{
    if (riff->frame_bytes == 0 || riff->file->sample_rate_hz == 0)
        return NOTHING;
    return (double)(bytes / riff->frame_bytes) / riff->file->sample_rate_hz;
}

/* "12.3 s", or "? s" when the format is not known. */
static const char *seconds_text(char text[TP_NUMBER_SIZE + 4], const struct tp_riff *riff, uint64_t bytes)
{
    char number[TP_NUMBER_SIZE];
    tp_number_text(number, seconds_at(riff, bytes), 3);
    snprintf(text, TP_NUMBER_SIZE + 4, "%s%s", number, number[0] != '\0' ? " s" : "? s");
    return text;
}

static bool settle_no_sound(struct tp_riff *riff)
{
    if (!riff->is_wave)
        return true;
    uint64_t present = riff->data.count > 0 ? riff->end - riff->start : 0;
    if (riff->data.count == 0)
        return OBSERVE_FILE(riff, TP_CODE_HEADER_ONLY, "The file has a WAV header but no data chunk, so no sound%s.",
                            riff->cut_chunk_bytes > 0 ? "; it ends within the header's chunks" : "");
    if (riff->fmt.count == 0 || riff->fmt_is_late) {
        riff->unfinished = true;
        return OBSERVE_FILE(riff, TP_CODE_UNFINISHED_HEADER,
                            riff->fmt_is_late
                                ? "The fmt chunk, which says what the sound is, stands behind the sound, where "
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
    return OBSERVE(riff, TP_CODE_UNFINISHED_HEADER, 0.0, seconds_at(riff, sound), (double)sound, NOTHING,
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
        return OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)riff->declared, (double)present,
                              "The header says %" PRIu64
                              " bytes of sound, but the chunks at the end of the file begin after %" PRIu64
                              " bytes (%s); the sound was read up to them.",
                              riff->declared, present, there);
    return OBSERVE(
        riff, TP_CODE_TRUNCATED, seconds_at(riff, present), seconds_at(riff, riff->declared), (double)missing, 0.0,
        "The file ends %s (%" PRIu64 " bytes) before its sound does: %s of sound are there.", seconds, missing, there);
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
        ok = OBSERVE(riff, TP_CODE_TRUNCATED, seconds_at(riff, riff->end - riff->start), NOTHING,
                     (double)(riff->frame_bytes - part), 0.0,
                     "The sound ends in the middle of a frame: the last one has %" PRIu64 " of its %" PRIu32
                     " bytes and was left out.",
                     part, riff->frame_bytes);
    if (ok && riff->wrapped)
        ok = OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)riff->declared, (double)(riff->end - riff->start),
                            "The file is larger than 4 GiB and its sizes ran over: the header says %" PRIu64
                            " bytes of sound, %" PRIu64 " are there and were read.",
                            riff->declared, riff->end - riff->start);
    return ok;
}

static bool settle_trailing(struct tp_riff *riff)
{
    if (riff->trailing_bytes == 0)
        return true;
    uint64_t at = tp_riff_file_bytes(riff) - riff->trailing_bytes;
    if (riff->zeros_follow && !riff->trailing_zeros && at <= riff->end + 1)
        return OBSERVE_FILE(riff, TP_CODE_UNFINISHED_HEADER,
                            "Behind the end that the header declares, zeros follow and then other bytes that may be "
                            "sound: of %" PRIu64 " bytes from byte %" PRIu64
                            " on nothing was measured. Salvage the file and check the copy.",
                            riff->trailing_bytes, at);
    return OBSERVE_VALUES(riff, TP_CODE_TRAILING_BYTES, (double)riff->trailing_bytes, 0.0,
                          "%" PRIu64 " bytes%s follow from byte %" PRIu64 " on that belong to no chunk.",
                          riff->trailing_bytes, riff->trailing_zeros ? ", all zero," : "", at);
}

static bool settle_outer_size(struct tp_riff *riff)
{
    bool told = riff->unfinished || riff->went_on || riff->wrapped || (riff->cut && !riff->tail_found);
    if (!riff->is_wave || riff->data.count == 0 || told)
        return true;
    if (riff->cut_chunk_bytes > 0)
        return OBSERVE_VALUES(riff, TP_CODE_TRUNCATED, (double)riff->cut_chunk_bytes, 0.0,
                              "The file ends within its last chunk '%s': %" PRIu64
                              " bytes are missing. The sound is whole.",
                              riff->cut_chunk_id, riff->cut_chunk_bytes);
    bool in_ds64 = riff->riff_size == SIZE_IN_DS64 && riff->has_ds64;
    uint64_t declared = in_ds64 ? riff->ds64_riff : riff->riff_size;
    uint64_t real = tp_riff_file_bytes(riff) - 8;
    uint64_t without_rest = real - riff->trailing_bytes;
    bool fits = declared + 1 >= real && declared <= real + 1;
    fits = fits || (declared + 1 >= without_rest && declared <= without_rest + 1);
    if (fits || declared == 0 || (riff->riff_size == SIZE_IN_DS64 && !riff->has_ds64))
        return fits || OBSERVE_VALUES(riff, TP_CODE_UNFINISHED_HEADER, (double)declared, NOTHING,
                                      "The outer size of the file was never filled in (it says %" PRIu64
                                      "); the size of the sound was, and fits.",
                                      declared);
    return OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)declared, (double)real,
                          "The outer size in the header says %" PRIu64 " bytes, the file has %" PRIu64 " behind it.",
                          declared, real);
}

/* What other chunks repeat about the size of the sound. */
static bool settle_counts(struct tp_riff *riff)
{
    if (riff->frame_bytes == 0 || riff->data.count == 0 || riff->unfinished || riff->cut || riff->went_on ||
        riff->wrapped)
        return true;
    uint64_t frames = riff->file->audio_bytes / riff->frame_bytes;
    bool fact_lies = riff->fact_frames != 0 && riff->fact_frames != SIZE_IN_DS64 && riff->fact_frames != frames &&
                     riff->fact_frames != frames * riff->file->channel_count;
    if (fact_lies && !OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)riff->fact_frames, (double)frames,
                                     "The fact chunk says %" PRIu64 " frames, the data chunk holds %" PRIu64 ".",
                                     riff->fact_frames, frames))
        return false;
    uint64_t data = riff->has_ds64 ? riff->ds64_data : 0;
    if (data != 0 && riff->declared_32 != SIZE_IN_DS64 && data != riff->declared)
        return OBSERVE_VALUES(riff, TP_CODE_SIZE_MISMATCH, (double)data, (double)riff->declared,
                              "The ds64 chunk says %" PRIu64 " bytes of sound, the data chunk %" PRIu64
                              "; the latter was used.",
                              data, riff->declared);
    return true;
}

bool tp_riff_settle(struct tp_riff *riff)
{
    return settle_no_sound(riff) && settle_extent(riff) && settle_trailing(riff) && settle_outer_size(riff) &&
           settle_counts(riff);
}
