/* SPDX-License-Identifier: MIT */
#include "read/salvage.h"

#include "base/io.h"
#include "base/observe.h"
#include "base/text.h"
#include "read/format.h"
#include "read/noise_tail.h"
#include "read/place.h"
#include "read/riff.h"
#include "read/salvage_parts.h"
#include "read/tail.h"
#include "result.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { FRAME_BYTES_MAX = 65535, RATE_MAX_HZ = 768000 };

enum tp_status tp_salvage_no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to salvage a recording");
}

enum tp_status tp_salvage_note(struct tp_salvage *s, struct tp_error *error, char *words)
{
    struct tp_salvage_result *result = s->result;
    char **notes = words != NULL ? realloc(result->notes, (result->note_count + 1) * sizeof *notes) : NULL;
    if (notes == NULL) {
        free(words);
        return tp_salvage_no_memory(error);
    }
    result->notes = notes;
    notes[result->note_count++] = words;
    return TP_OK;
}

enum tp_status tp_salvage_assume(struct tp_salvage *s, struct tp_error *error, char *words)
{
    s->result->listen = true;
    return tp_salvage_note(s, error, words);
}

static enum tp_status walk(struct tp_salvage *s, bool through_zeros, struct tp_error *error)
{
    struct tp_tail tail = {0};
    struct tp_noise_tail noise_tail = {0};
    const struct tp_tap taps[] = {tp_tail_tap(&tail), tp_noise_tail_tap(&noise_tail)};
    struct tp_stream *stream = NULL;
    struct tp_riff *riff = NULL;
    bool has_audio;
    tp_file_clear(&s->file);
    enum tp_status status = tp_stream_open(&stream, s->options->path, taps, 2, error);
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
        s->noise_start = tp_noise_tail_start(&noise_tail, &s->file);
        if (!tp_tail_observe(&tail, &s->file) || !tp_noise_tail_observe(&noise_tail, &s->file))
            status = tp_salvage_no_memory(error);
    }
    tp_riff_free(riff);
    tp_stream_close(stream);
    return status;
}

static enum tp_status keep_findings(struct tp_salvage *s, struct tp_error *error)
{
    const struct tp_observations *seen = &s->file.observations;
    struct tp_salvage_result *result = s->result;
    tp_findings_free(result->findings, result->finding_count);
    result->finding_count = 0;
    result->findings = calloc(seen->count + 1, sizeof *result->findings);
    if (result->findings == NULL)
        return tp_salvage_no_memory(error);
    for (size_t i = 0; i < seen->count; i++) {
        const struct tp_observation *o = &seen->items[i];
        char *message = tp_strdup(o->detail != NULL ? o->detail : tp_finding_info(o->code)->title);
        if (message == NULL)
            return tp_salvage_no_memory(error);
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

static bool is_healthy(const struct tp_salvage *s)
{
    for (size_t i = 0; i < s->file.observations.count; i++)
        if (s->file.observations.items[i].code != TP_CODE_METADATA_CONFLICT)
            return false;
    return s->file.encoding != TP_ENCODING_NONE && s->file.audio_bytes > 0;
}

/* DIR/NAME-salvaged.wav. */
static enum tp_status choose_name(struct tp_salvage *s, struct tp_error *error)
{
    const char *path = s->options->path;
    const char *slash = strrchr(path, '/');
    const char *name = slash != NULL ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    size_t stem = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    char *file_name = tp_format("%.*s-salvaged.wav", (int)(stem < 4096 ? stem : 4096), name);
    enum tp_status status =
        file_name == NULL ? tp_salvage_no_memory(error) : tp_folder_make(s->options->directory, error);
    if (status == TP_OK && (s->result->written = tp_path_join(s->options->directory, file_name)) == NULL)
        status = tp_salvage_no_memory(error);
    free(file_name);
    return status;
}

static void describe(struct tp_salvage *s)
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

/* Which of its files need it is told by a check: finding out means to read them to their ends. */
static enum tp_status refuse_folder(const char *path, struct tp_error *error)
{
    struct stat found;
    if (stat(path, &found) != 0 || !S_ISDIR(found.st_mode))
        return TP_OK;
    return tp_error_set(
        error, TP_ERR_USAGE, 0,
        "'%s' is a folder: name the files to salvage. 'takeproof check' tells which need it: those with "
        "%s, %s, %s or %s",
        path, tp_finding_info(TP_CODE_UNFINISHED_HEADER)->name, tp_finding_info(TP_CODE_TRUNCATED)->name,
        tp_finding_info(TP_CODE_SIZE_MISMATCH)->name, tp_finding_info(TP_CODE_NOT_WAV)->name);
}

static enum tp_status run(struct tp_salvage *s, struct tp_error *error)
{
    enum tp_status status = refuse_folder(s->options->path, error);
    if (status == TP_OK)
        status = tp_place_check(s->options->path, s->options->directory, s->options->not_on_card, error);
    if (status == TP_OK)
        status = walk(s, false, error);
    if (status == TP_OK && s->sound_may_follow)
        status = walk(s, true, error);
    if (status == TP_OK)
        status = keep_findings(s, error);
    if (status == TP_OK)
        status = tp_salvage_find_sound(s, error);
    if (status == TP_OK)
        describe(s);
    if (status != TP_OK || (is_healthy(s) && !s->options->even_if_healthy))
        return status;
    status = tp_salvage_trim(s, error);
    if (status == TP_OK)
        status = tp_salvage_choose_chunks(s, error);
    if (status == TP_OK)
        status = choose_name(s, error);
    describe(s);
    return status == TP_OK ? tp_salvage_write(s, error) : status;
}

/* Of what was given; 0 leaves it open. */
static bool format_can_be(const struct tp_salvage_format *format)
{
    bool is_float = format->encoding == TP_ENCODING_FLOAT;
    uint32_t bits = format->bit_depth;
    bool pcm_width = bits == 8 || bits == 16 || bits == 24 || bits == 32;
    bool width = bits == 0 || (is_float ? bits == 32 || bits == 64 : pcm_width);
    return width && format->channel_count <= FRAME_BYTES_MAX / (bits != 0 ? bits / 8 : 1) &&
           format->sample_rate_hz <= RATE_MAX_HZ;
}

enum tp_status tp_salvage(const struct tp_salvage_options *options, struct tp_salvage_result **result,
                          struct tp_error *error)
{
    if (options->path == NULL || options->directory == NULL)
        return tp_error_set(error, TP_ERR_USAGE, 0, "salvage needs a file and a folder for the copy");
    if (!format_can_be(&options->format))
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "no sound has such a format: PCM has 8, 16, 24 or 32 bits, float 32 or 64, and a frame "
                            "at most %u bytes",
                            (unsigned)FRAME_BYTES_MAX);
    struct tp_salvage s = {.options = options, .result = calloc(1, sizeof *s.result)};
    if (s.result == NULL)
        return tp_salvage_no_memory(error);
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
