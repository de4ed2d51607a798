/* SPDX-License-Identifier: MIT */
#include "pipeline/lockstep.h"

#include "base/observe.h"
#include "base/text.h"
#include "handoff/hash.h"
#include "measure/programme.h"
#include "pipeline/opinion.h"
#include "read/cross.h"
#include "read/decode.h"
#include "read/format.h"
#include "read/noise_tail.h"
#include "read/riff.h"
#include "read/sectors.h"
#include "read/tail.h"
#include "result.h"
#include "take/evidence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One file on its way through the pass. */
struct reader {
    const struct tp_scan_entry *entry;
    struct tp_file *file;
    size_t number;
    struct tp_hasher *hasher;
    bool is_hashed_beside;
    struct tp_tail tail;
    struct tp_sectors sectors;
    struct tp_noise_tail noise_tail;
    struct tp_copy *copy;
    struct tp_stream *stream;
    struct tp_riff *riff;
    struct tp_decoder *decoder;
    struct tp_programme_meter *meter;
    struct tp_opinion *opinion; /* NULL unless asked for */
    bool sounding;              /* there may be more sound to come */
    bool ended;
    float **planes; /* the block in hand: a pointer for each channel, into the meter's room */
    size_t frames;
    struct tp_error failure; /* why reading stopped */
};

static enum tp_status out_of_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

/* Errors of one file stay with the file; only lack of memory ends the pass. */
static enum tp_status keep_with_file(struct reader *reader, enum tp_status status)
{
    if (status == TP_OK || status == TP_ERR_MEMORY)
        return status;
    reader->sounding = false;
    return TP_OK;
}

static enum tp_status open_reader(struct reader *reader, const struct tp_lockstep_job *job)
{
    struct tp_tap taps[6];
    size_t tap_count = 0;
    enum tp_status status = tp_hasher_new(
        &reader->hasher, tp_hashes_wanted(job->copier != NULL ? TP_HASHES_BOTH : job->hashes), &reader->failure);
    if (status != TP_OK)
        return status;
    if (reader->is_hashed_beside)
        tp_hasher_go_beside(reader->hasher);
    taps[tap_count++] = tp_hasher_tap(reader->hasher);
    taps[tap_count++] = tp_tail_tap(&reader->tail);
    taps[tap_count++] = tp_sectors_tap(&reader->sectors);
    taps[tap_count++] = tp_noise_tail_tap(&reader->noise_tail);
    if (job->copier != NULL) {
        reader->copy = tp_copier_begin(job->copier, reader->entry->path, reader->entry->opened, &taps[tap_count]);
        tap_count += reader->copy != NULL;
    }
    if (job->progress.bytes != NULL)
        taps[tap_count++] = job->progress;
    status = tp_stream_open(&reader->stream, reader->entry->opened, taps, tap_count, &reader->failure);
    if (status != TP_OK)
        return keep_with_file(reader, status);
    tp_stream_forgive(reader->stream);
    reader->file->bytes = tp_stream_bytes(reader->stream);
    reader->file->modified_s = tp_stream_modified_s(reader->stream);
    if (job->copy_only)
        return keep_with_file(reader, tp_stream_skip(reader->stream, reader->file->bytes, &reader->failure));
    return tp_riff_new(&reader->riff, reader->stream, reader->file, &reader->failure);
}

static double largest_positive_lin(const struct tp_file *file, uint32_t bits)
{
    return file->encoding == TP_ENCODING_FLOAT || bits == 0 || bits >= 32 ? 1.0 : 1.0 - ldexp(1.0, 1 - (int)bits);
}

static enum tp_status prepare_sound(struct reader *reader, const struct tp_lockstep_job *job)
{
    struct tp_file *file = reader->file;
    file->channels = calloc(file->channel_count, sizeof *file->channels);
    reader->meter = tp_programme_meter_new(file->sample_rate_hz, file->channel_count, file->channel_mask,
                                           largest_positive_lin(file, file->valid_bits));
    reader->planes = calloc(file->channel_count, sizeof *reader->planes);
    if (file->channels == NULL || reader->meter == NULL || reader->planes == NULL)
        return TP_ERR_MEMORY;
    tp_programme_meter_place(reader->meter, file->audio_offset, tp_format_frame_bytes(file));
    if (job->second_opinion && (reader->opinion = tp_opinion_new(file, &reader->failure)) == NULL)
        return reader->failure.status;
    return tp_decoder_new(&reader->decoder, file, TP_DECODE_OWN, &reader->failure);
}

static enum tp_status start_reader(struct reader *reader, const struct tp_lockstep_job *job)
{
    enum tp_status status = open_reader(reader, job);
    if (status != TP_OK || reader->riff == NULL)
        return status;
    status = tp_riff_walk_to_audio(reader->riff, &reader->sounding, &reader->failure);
    if (status == TP_OK && reader->sounding)
        status = prepare_sound(reader, job);
    return keep_with_file(reader, status);
}

/* Decodes the next block of at most `limit` frames; 0 frames at the end of the sound. */
static enum tp_status next_block(struct reader *reader, size_t limit)
{
    reader->frames = 0;
    if (!reader->sounding)
        return TP_OK;
    const struct tp_file *file = reader->file;
    size_t frame_bytes = (size_t)file->channel_count * (file->bit_depth / 8);
    uint64_t left;
    enum tp_status status = tp_riff_audio_remaining(reader->riff, &left, &reader->failure);
    if (status != TP_OK)
        return keep_with_file(reader, status);
    uint64_t left_frames = left / frame_bytes;
    size_t room_frames = tp_programme_meter_room(reader->meter, reader->planes);
    size_t frames = room_frames < limit ? room_frames : limit;
    frames = left_frames < frames ? (size_t)left_frames : frames;
    if (frames == 0) {
        reader->sounding = false;
        return TP_OK;
    }
    const uint8_t *bytes;
    size_t got;
    status = tp_stream_peek(reader->stream, frames * frame_bytes, &bytes, &got, &reader->failure);
    if (status == TP_OK && got < frames * frame_bytes)
        frames = got / frame_bytes;
    if (status == TP_OK && frames > 0)
        status = tp_decoder_push_to(reader->decoder, bytes, frames, reader->planes, &reader->failure);
    if (status != TP_OK || frames == 0) {
        reader->sounding = false;
        return keep_with_file(reader, status);
    }
    if (reader->opinion != NULL &&
        !tp_opinion_push(reader->opinion, bytes, frames, (const float *const *)reader->planes, &reader->failure))
        return keep_with_file(reader, reader->failure.status);
    tp_stream_consume(reader->stream, frames * frame_bytes);
    tp_riff_audio_consumed(reader->riff, frames * frame_bytes);
    reader->frames = frames;
    reader->file->frames += frames;
    tp_programme_meter_push(reader->meter, (const float *const *)reader->planes, frames);
    return TP_OK;
}

/* What the evidence is given of a round: for each channel of all readers. */
struct round {
    const float **planes;
    struct tp_sums *sums;
};

/* Gives the readers' blocks to the evidence, all channels in step; a file that has ended gives NULL. */
static bool push_evidence(struct tp_evidence *evidence, struct reader *const *readers, size_t count,
                          const struct round *round)
{
    for (size_t at = 0;;) {
        size_t step = 0;
        for (size_t r = 0; r < count; r++)
            if (readers[r]->frames > at && (step == 0 || readers[r]->frames - at < step))
                step = readers[r]->frames - at;
        if (step == 0)
            return true;
        size_t channel = 0;
        for (size_t r = 0; r < count; r++)
            for (uint32_t c = 0; c < readers[r]->file->channel_count; c++, channel++) {
                bool sounds = readers[r]->frames > at, is_whole = at == 0 && readers[r]->frames == step;
                round->planes[channel] = sounds ? readers[r]->planes[c] + at : NULL;
                round->sums[channel] = is_whole ? tp_programme_meter_sums(readers[r]->meter, c) : (struct tp_sums){0};
            }
        if (!tp_evidence_push(evidence, round->planes, step, round->sums))
            return false;
        at += step;
    }
}

static bool is_cancelled(const struct tp_lockstep_job *job)
{
    return job->cancel != NULL && __atomic_load_n(job->cancel, __ATOMIC_RELAXED) != 0;
}

/* Frames a round: what the widest frame lets a peek show, at most a decoder's block. */
static size_t round_frames(struct reader *const *readers, size_t count)
{
    size_t frames = TP_DECODE_FRAMES;
    for (size_t r = 0; r < count; r++) {
        size_t frame_bytes = (size_t)readers[r]->file->channel_count * (readers[r]->file->bit_depth / 8);
        if (frame_bytes > 0 && TP_STREAM_PEEK_MAX / frame_bytes < frames)
            frames = TP_STREAM_PEEK_MAX / frame_bytes;
    }
    return frames;
}

static enum tp_status run_rounds(const struct tp_lockstep_job *job, struct reader *const *readers, size_t count,
                                 struct tp_evidence *evidence, const struct round *round, struct tp_error *error)
{
    size_t limit = round_frames(readers, count);
    for (bool any = true; any;) {
        if (is_cancelled(job))
            return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped on request");
        any = false;
        for (size_t r = 0; r < count; r++) {
            if (next_block(readers[r], limit) != TP_OK)
                return out_of_memory(error);
            any = any || readers[r]->frames > 0;
        }
        if (any && evidence != NULL && !push_evidence(evidence, readers, count, round))
            return out_of_memory(error);
    }
    return TP_OK;
}

/* Finishes the meters of one file. */
static enum tp_status finish_sound(struct reader *reader)
{
    struct tp_file *file = reader->file;
    if (reader->decoder == NULL)
        return TP_OK;
    file->effective_bits = tp_decoder_effective_bits(reader->decoder);
    file->duration_s = (double)file->frames / (double)file->sample_rate_hz;
    uint32_t bits = file->valid_bits;
    /* Sound padded from fewer bits clips at the full scale of those. Under 12 bits it is no padding but a test signal.
     */
    if (file->effective_bits >= 12 && file->effective_bits < bits)
        bits = file->effective_bits;
    if (!tp_programme_meter_finish(reader->meter, largest_positive_lin(file, bits), file->channels, &file->programme,
                                   &file->observations))
        return TP_ERR_MEMORY;
    for (uint32_t c = 0; c < file->channel_count; c++)
        file->channels[c].non_finite_samples = tp_decoder_non_finite(reader->decoder, c);
    return reader->opinion == NULL || tp_opinion_finish(reader->opinion, reader->entry->opened, file) ? TP_OK
                                                                                                      : TP_ERR_MEMORY;
}

/* Of a file without measured sound no level exists. */
static void clear_levels(struct tp_file *file)
{
    free(file->channels);
    file->channels = NULL;
    file->programme =
        (struct tp_programme){(double)NAN, (double)NAN, (double)NAN, (double)NAN, (double)NAN, (double)NAN};
}

static enum tp_status name_channels(struct tp_file *file)
{
    for (uint32_t c = 0; file->channels != NULL && c < file->channel_count; c++) {
        const char *name = "";
        for (size_t t = 0; file->ixml != NULL && t < file->ixml->tracks_count; t++)
            if (file->ixml->tracks[t].interleave_index == c + 1)
                name = file->ixml->tracks[t].name;
        file->channels[c].name = tp_strdup(name);
        if (file->channels[c].name == NULL)
            return TP_ERR_MEMORY;
    }
    return TP_OK;
}

/* Channels of `readers` in the order of the evidence; owned by the caller. */
static struct tp_pair_channel *list_channels(struct reader *const *readers, size_t count, uint32_t channel_count)
{
    struct tp_pair_channel *channels = calloc(channel_count + 1, sizeof *channels);
    size_t at = 0;
    for (size_t r = 0; channels != NULL && r < count; r++)
        for (uint32_t c = 0; c < readers[r]->file->channel_count; c++, at++) {
            channels[at] = (struct tp_pair_channel){.file = readers[r]->number,
                                                    .channel = c,
                                                    .levels = &readers[r]->file->channels[c],
                                                    .frames = readers[r]->file->frames};
            tp_file_track(readers[r]->file, c, &channels[at].track);
        }
    return channels;
}

static enum tp_status find_pairs(const struct tp_lockstep_job *job, struct reader *const *readers, size_t count,
                                 const struct tp_evidence *evidence, uint32_t channel_count,
                                 struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    struct tp_pair_channel *channels = list_channels(readers, count, channel_count);
    if (channels == NULL)
        return out_of_memory(error);
    struct tp_pair_match *matches = NULL;
    size_t match_count = 0;
    enum tp_status status =
        tp_pair_find(evidence, channels, channel_count, job->spec, job->plans, &matches, &match_count, error);
    if (status == TP_OK && match_count > 0) {
        struct tp_lockstep_pair *items = realloc(pairs->items, (pairs->count + match_count) * sizeof *items);
        if (items == NULL)
            status = out_of_memory(error);
        else
            pairs->items = items;
        for (size_t m = 0; items != NULL && m < match_count; m++)
            items[pairs->count++] = (struct tp_lockstep_pair){
                .match = matches[m], .main = channels[matches[m].main], .safety = channels[matches[m].safety]};
    }
    free(matches);
    free(channels);
    return status;
}

static bool observe_gaps(struct reader *reader)
{
    const struct tp_gap *gaps;
    size_t count = tp_stream_gaps(reader->stream, &gaps);
    struct tp_file *file = reader->file;
    double byte_rate = (double)file->sample_rate_hz * file->channel_count * (file->bit_depth / 8);
    bool ok = true;
    for (size_t g = 0; g < count; g++) {
        double start_s = (double)NAN;
        double end_s = (double)NAN;
        if (byte_rate > 0 && gaps[g].offset >= file->audio_offset &&
            gaps[g].offset < file->audio_offset + file->audio_bytes) {
            start_s = (double)(gaps[g].offset - file->audio_offset) / byte_rate;
            end_s = start_s + (double)gaps[g].bytes / byte_rate;
        }
        ok = tp_observe(&file->observations, TP_CODE_UNREADABLE, TP_NO_CHANNEL, start_s, end_s, (double)gaps[g].bytes,
                        (double)NAN,
                        "%llu bytes from byte %llu cannot be read from the medium (%s): what was there is not known",
                        (unsigned long long)gaps[g].bytes, (unsigned long long)gaps[g].offset,
                        strerror(gaps[g].os_errno)) &&
             ok;
    }
    return ok;
}

/* What the whole file shows: contradictions in it, what never reached the medium, and what is no sound. */
static enum tp_status look_at_metadata(struct reader *reader)
{
    struct tp_file *file = reader->file;
    if (!tp_tail_observe(&reader->tail, file) || !tp_noise_tail_observe(&reader->noise_tail, file) ||
        !tp_sectors_observe(&reader->sectors, file))
        return TP_ERR_MEMORY;
    enum tp_status status = tp_cross_check(file, NULL);
    return status == TP_OK && file->channels != NULL ? tp_cross_check_loudness(file, NULL) : status;
}

/* After the sound: the rest of the file, its hashes, and what went wrong. */
static enum tp_status end_reader(struct reader *reader, const struct tp_lockstep_job *job)
{
    struct tp_file *file = reader->file;
    enum tp_status status = TP_OK;
    reader->ended = true;
    if (reader->failure.status == TP_OK && reader->riff != NULL)
        status = keep_with_file(reader, tp_riff_walk_rest(reader->riff, &reader->failure));
    if (status == TP_OK && !job->copy_only)
        status = look_at_metadata(reader);
    const struct tp_gap *gaps;
    size_t gap_count = reader->stream != NULL ? tp_stream_gaps(reader->stream, &gaps) : 0;
    if (status == TP_OK && reader->failure.status != TP_OK &&
        !tp_observe(&file->observations, TP_CODE_UNREADABLE, TP_NO_CHANNEL, (double)NAN, (double)NAN,
                    reader->failure.offset > 0 ? (double)reader->failure.offset : (double)NAN, (double)NAN, "%s",
                    tp_error_text(&reader->failure)))
        status = TP_ERR_MEMORY;
    if (status == TP_OK && gap_count > 0 && !observe_gaps(reader))
        status = TP_ERR_MEMORY;
    struct tp_hash_values hashes = {0};
    if (status == TP_OK && reader->failure.status == TP_OK && reader->stream != NULL)
        status = tp_hasher_finish(reader->hasher, &hashes, &reader->failure);
    if (status == TP_OK && gap_count == 0) {
        memcpy(file->sha256, hashes.hex[TP_HASH_SHA256], sizeof file->sha256);
        memcpy(file->xxh64, hashes.hex[TP_HASH_XXH64], sizeof file->xxh64);
        memcpy(file->xxh3, hashes.hex[TP_HASH_XXH3], sizeof file->xxh3);
    }
    if (job->copier != NULL) {
        struct tp_copy_outcome outcome = {
            .status = reader->failure.status, .sha256 = hashes.hex[TP_HASH_SHA256], .xxh64 = hashes.hex[TP_HASH_XXH64]};
        outcome.message = reader->failure.status != TP_OK ? tp_error_text(&reader->failure) : NULL;
        outcome.gaps = gap_count > 0 ? gaps : NULL;
        outcome.gap_count = gap_count;
        if (status != TP_OK)
            outcome.status = status;
        tp_copier_end(job->copier, reader->copy, &outcome);
        reader->copy = NULL;
    }
    if (reader->decoder == NULL)
        clear_levels(file);
    return status == TP_OK ? name_channels(file) : status;
}

static void close_reader(struct reader *reader, const struct tp_lockstep_job *job)
{
    if (reader->copy != NULL) {
        struct tp_copy_outcome outcome = {.status = TP_ERR_CANCELLED};
        tp_copier_end(job->copier, reader->copy, &outcome);
    }
    tp_programme_meter_free(reader->meter);
    free(reader->planes);
    tp_opinion_free(reader->opinion);
    tp_decoder_free(reader->decoder);
    tp_riff_free(reader->riff);
    tp_stream_close(reader->stream);
    tp_hasher_free(reader->hasher);
    tp_error_clear(&reader->failure);
}

/* The sounding files of one sample rate, side by side. */
static enum tp_status measure_sound(const struct tp_lockstep_job *job, struct reader *const *readers, size_t count,
                                    struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    uint32_t channel_count = 0;
    for (size_t r = 0; r < count; r++)
        channel_count += readers[r]->file->channel_count;
    struct tp_evidence *evidence = NULL;
    struct round round = {NULL, NULL};
    enum tp_status status = TP_OK;
    if (channel_count > 1 && job->spec->pair != TP_PAIR_OFF) {
        evidence = tp_evidence_new(channel_count, readers[0]->file->sample_rate_hz);
        round.planes = calloc(channel_count, sizeof *round.planes);
        round.sums = calloc(channel_count, sizeof *round.sums);
        if (evidence == NULL || round.planes == NULL || round.sums == NULL)
            status = out_of_memory(error);
    }
    if (status == TP_OK)
        status = run_rounds(job, readers, count, evidence, &round, error);
    /* To the end of the files first: track names may stand behind the sound. */
    for (size_t r = 0; status == TP_OK && r < count; r++)
        if (finish_sound(readers[r]) != TP_OK || end_reader(readers[r], job) != TP_OK)
            status = out_of_memory(error);
    if (status == TP_OK && evidence != NULL)
        status = find_pairs(job, readers, count, evidence, channel_count, pairs, error);
    tp_evidence_free(evidence);
    free(round.planes);
    free(round.sums);
    return status;
}

/* Only files of equal sample rate can be compared sample by sample. */
static enum tp_status measure_by_rate(const struct tp_lockstep_job *job, struct reader *readers,
                                      struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    bool done[TP_GROUP_FILES_MAX] = {false};
    for (size_t first = 0; first < job->count; first++) {
        struct reader *same[TP_GROUP_FILES_MAX];
        size_t count = 0;
        for (size_t r = first; r < job->count; r++) {
            if (done[r] || !readers[r].sounding ||
                (count > 0 && readers[r].file->sample_rate_hz != same[0]->file->sample_rate_hz))
                continue;
            done[r] = true;
            same[count++] = &readers[r];
        }
        enum tp_status status = count > 0 ? measure_sound(job, same, count, pairs, error) : TP_OK;
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}

static enum tp_status measure_readers(const struct tp_lockstep_job *job, struct reader *readers,
                                      struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    for (size_t r = 0; r < job->count; r++)
        if (start_reader(&readers[r], job) != TP_OK)
            return out_of_memory(error);
    enum tp_status status = measure_by_rate(job, readers, pairs, error);
    for (size_t r = 0; status == TP_OK && r < job->count; r++)
        if (!readers[r].ended && end_reader(&readers[r], job) != TP_OK)
            status = out_of_memory(error);
    return status;
}

enum tp_status tp_lockstep_measure(const struct tp_lockstep_job *job, struct tp_lockstep_pairs *pairs,
                                   struct tp_error *error)
{
    *pairs = (struct tp_lockstep_pairs){0};
    struct reader *readers = calloc(job->count + 1, sizeof *readers); /* too large for a stack */
    if (readers == NULL)
        return out_of_memory(error);
    for (size_t r = 0; r < job->count; r++) {
        readers[r].entry = job->entries[r];
        readers[r].file = job->files[r];
        readers[r].number = job->file_numbers[r];
        readers[r].is_hashed_beside = r < job->spare_processors;
    }
    enum tp_status status = measure_readers(job, readers, pairs, error);
    for (size_t r = 0; r < job->count; r++)
        close_reader(&readers[r], job);
    free(readers);
    if (status != TP_OK) {
        free(pairs->items);
        *pairs = (struct tp_lockstep_pairs){0};
    }
    return status;
}
