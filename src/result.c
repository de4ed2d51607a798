/* SPDX-License-Identifier: MIT */
#include "result.h"

#include "read/bext.h"
#include "read/ixml.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

const char *tp_verdict_name(enum tp_verdict verdict)
{
    switch (verdict) {
    case TP_VERDICT_PASS: return "pass";
    case TP_VERDICT_LISTEN: return "listen";
    case TP_VERDICT_FAIL: return "fail";
    }
    return "";
}

const char *tp_choice_name(enum tp_choice choice)
{
    switch (choice) {
    case TP_CHOICE_MAIN: return "main";
    case TP_CHOICE_SAFETY: return "safety";
    case TP_CHOICE_SPLICE: return "splice";
    case TP_CHOICE_NONE: return "none";
    case TP_CHOICE_SINGLE: return "single";
    }
    return "";
}

const char *tp_container_name(enum tp_container container)
{
    switch (container) {
    case TP_CONTAINER_NONE: return "";
    case TP_CONTAINER_WAV: return "wav";
    case TP_CONTAINER_RF64: return "rf64";
    case TP_CONTAINER_BW64: return "bw64";
    }
    return "";
}

const char *tp_encoding_name(enum tp_encoding encoding)
{
    switch (encoding) {
    case TP_ENCODING_NONE: return "";
    case TP_ENCODING_PCM: return "pcm";
    case TP_ENCODING_FLOAT: return "float";
    }
    return "";
}

const char *tp_readback_name(enum tp_readback readback)
{
    switch (readback) {
    case TP_READBACK_NONE: return "none";
    case TP_READBACK_DIRECT: return "direct";
    case TP_READBACK_DROPPED: return "dropped";
    case TP_READBACK_CACHED: return "cached";
    }
    return "";
}

void tp_file_track(const struct tp_file *file, uint32_t channel, struct tp_track *track)
{
    const char *function = NULL;
    for (size_t t = 0; file->ixml != NULL && t < file->ixml->tracks_count; t++)
        if (file->ixml->tracks[t].interleave_index == channel + 1)
            function = file->ixml->tracks[t].function;
    tp_track_read(file->channels != NULL ? file->channels[channel].name : NULL, function, track);
}

bool tp_take_has_many_microphones(const struct tp_take *take)
{
    size_t tracks = 0;
    for (size_t i = 0; i < take->signal_count; i++)
        tracks += take->signals[i].part == 0;
    return tracks > 1;
}

const char *tp_readback_words(enum tp_readback readback)
{
    switch (readback) {
    case TP_READBACK_NONE: return "nothing read back";
    case TP_READBACK_DIRECT: return "read back from the disk itself";
    case TP_READBACK_DROPPED: return "read back after the system was asked to forget it";
    case TP_READBACK_CACHED: return "read back, perhaps from memory: this system cannot avoid it";
    }
    return "";
}

void tp_bext_free(struct tp_bext *bext)
{
    if (bext == NULL)
        return;
    free(bext->description);
    free(bext->originator);
    free(bext->originator_reference);
    free(bext->origination_date);
    free(bext->origination_time);
    free(bext->umid);
    free(bext->coding_history);
    free(bext);
}

void tp_ixml_free(struct tp_ixml *ixml)
{
    if (ixml == NULL)
        return;
    char *texts[] = {ixml->version,
                     ixml->project,
                     ixml->scene,
                     ixml->take,
                     ixml->tape,
                     ixml->note,
                     ixml->file_uid,
                     ixml->family_uid,
                     ixml->family_name,
                     ixml->timecode_rate_text,
                     ixml->timecode_flag,
                     ixml->take_type,
                     ixml->ubits,
                     ixml->original_filename,
                     ixml->parent_filename,
                     ixml->parent_uid,
                     ixml->master_speed,
                     ixml->current_speed,
                     ixml->speed_note};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        free(texts[i]);
    for (size_t i = 0; i < ixml->tracks_count; i++) {
        free(ixml->tracks[i].name);
        free(ixml->tracks[i].function);
    }
    for (size_t i = 0; i < ixml->sync_point_count; i++) {
        free(ixml->sync_points[i].type);
        free(ixml->sync_points[i].function);
        free(ixml->sync_points[i].comment);
    }
    for (size_t i = 0; i < ixml->extra_count; i++) {
        free(ixml->extras[i].name);
        free(ixml->extras[i].value);
    }
    free(ixml->sync_points);
    free(ixml->extras);
    free(ixml->tracks);
    free(ixml);
}

void tp_channel_clear(struct tp_channel *channel)
{
    free(channel->name);
    free(channel->clips);
    free(channel->flat_tops);
    free(channel->damage.items);
    free(channel->dead.items);
    free(channel->trace.steps);
    free(channel->overview.min);
    free(channel->overview.max);
    *channel = (struct tp_channel){0};
}

static void clear_file_lists(struct tp_file *file)
{
    for (size_t i = 0; i < file->chunk_count; i++)
        free(file->chunks[i].problem);
    free(file->chunks);
    for (size_t i = 0; i < file->cue_count; i++)
        free(file->cues[i].label);
    free(file->cues);
    for (size_t i = 0; i < file->info_count; i++)
        free(file->infos[i].text);
    free(file->infos);
}

void tp_file_clear(struct tp_file *file)
{
    /* The two names may be one string: path_raw equals path when that is valid UTF-8. */
    if (file->path_raw != file->path)
        free(file->path_raw);
    free(file->path);
    tp_bext_free(file->bext);
    tp_ixml_free(file->ixml);
    clear_file_lists(file);
    tp_observations_clear(&file->observations);
    /* A file whose header promised channels that were never measured has the count but no list. */
    for (uint32_t i = 0; file->channels != NULL && i < file->channel_count; i++)
        tp_channel_clear(&file->channels[i]);
    free(file->channels);
    *file = (struct tp_file){0};
}

void tp_pair_free(struct tp_pair *pair)
{
    if (pair == NULL)
        return;
    free(pair->splices);
    free(pair);
}

void tp_signal_clear(struct tp_signal *signal)
{
    free(signal->name);
    free(signal->use.reason);
    tp_pair_free(signal->pair);
    *signal = (struct tp_signal){0};
}

void tp_finding_clear(struct tp_finding *finding)
{
    free(finding->message);
    *finding = (struct tp_finding){0};
}

void tp_findings_free(struct tp_finding *findings, size_t count)
{
    for (size_t i = 0; i < count; i++)
        tp_finding_clear(&findings[i]);
    free(findings);
}

void tp_take_clear(struct tp_take *take)
{
    free(take->id);
    free(take->scene);
    free(take->take);
    free(take->notes);
    free(take->files);
    free(take->start_timecode);
    free(take->end_timecode);
    for (size_t i = 0; i < take->signal_count; i++)
        tp_signal_clear(&take->signals[i]);
    free(take->signals);
    tp_findings_free(take->findings, take->finding_count);
    *take = (struct tp_take){0};
}

bool tp_take_is_too_quiet(const struct tp_report *report, const struct tp_take *take)
{
    size_t tracks = 0;
    bool active = false;
    for (size_t i = 0; i < take->signal_count; i++) {
        struct tp_channel_ref ref = take->signals[i].channel;
        const struct tp_file *file = ref.file < report->file_count ? &report->files[ref.file] : NULL;
        if (file == NULL || file->channels == NULL || ref.channel >= file->channel_count)
            return false;
        tracks += take->signals[i].part == 0;
        active = active || tp_exists(file->channels[ref.channel].working_level_dbfs);
    }
    return tracks > 1 && !active;
}

void tp_other_clear(struct tp_other *other)
{
    if (other->path_raw != other->path)
        free(other->path_raw);
    free(other->path);
    free(other->why);
    *other = (struct tp_other){0};
}

void tp_handoff_free(struct tp_handoff *handoff)
{
    if (handoff == NULL)
        return;
    for (size_t i = 0; i < handoff->destination_count; i++) {
        free(handoff->destinations[i].path);
        free(handoff->destinations[i].message);
    }
    free(handoff->destinations);
    free(handoff->words);
    free(handoff->caution);
    free(handoff);
}

void tp_excerpt_clear(struct tp_sound_excerpt *excerpt)
{
    free(excerpt->mime);
    free(excerpt->bytes);
    *excerpt = (struct tp_sound_excerpt){0};
}

void tp_excerpts_drop(struct tp_report *report)
{
    for (size_t i = 0; i < report->excerpt_count; i++)
        tp_excerpt_clear(&report->excerpts[i]);
    free(report->excerpts);
    report->excerpts = NULL;
    report->excerpt_count = 0;
}

const char *tp_file_hash(const struct tp_file *file, enum tp_hash hash)
{
    return ((const char *const[])TP_HASHES_OF(file))[hash];
}

const char *tp_file_strongest_hash(const struct tp_file *file)
{
    const char *hex = "";
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT && hex[0] == '\0'; hash++)
        hex = tp_file_hash(file, hash);
    return hex;
}

static bool have_both(const struct tp_file *a, const struct tp_file *b, enum tp_hash hash)
{
    return tp_file_hash(a, hash)[0] != '\0' && tp_file_hash(b, hash)[0] != '\0';
}

bool tp_file_differs(const struct tp_file *a, const struct tp_file *b)
{
    bool differs = a->bytes != b->bytes;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT && !differs; hash++)
        differs = have_both(a, b, hash) && strcmp(tp_file_hash(a, hash), tp_file_hash(b, hash)) != 0;
    return differs;
}

bool tp_file_equals(const struct tp_file *a, const struct tp_file *b)
{
    bool known = false;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        known = known || have_both(a, b, hash);
    return known && !tp_file_differs(a, b);
}

enum tp_hash tp_report_manifest_hash(const struct tp_report *report, size_t source)
{
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        for (size_t i = 0; i < report->file_count; i++)
            if (report->files[i].source == source && tp_file_hash(&report->files[i], hash)[0] != '\0')
                return hash;
    return TP_HASH_SHA256;
}

/* Bytes before digits that follow `before`, or `end` when there are none. */
static size_t before_number(const char *path, size_t end, const char *before)
{
    size_t at = end, length = strlen(before);
    while (at > 0 && path[at - 1] >= '0' && path[at - 1] <= '9')
        at--;
    return at < end && at > length && memcmp(path + at - length, before, length) == 0 ? at - length : end;
}

size_t tp_made_copy_stem(const char *path)
{
    static const char salvaged[] = "-salvaged.wav", clean[] = "_clean.wav";
    size_t length = strlen(path);
    if (length >= sizeof salvaged && strcasecmp(path + length - (sizeof salvaged - 1), salvaged) == 0)
        return length - (sizeof salvaged - 1);
    if (length < sizeof clean || strcasecmp(path + length - (sizeof clean - 1), clean) != 0)
        return 0;
    size_t stem = before_number(path, length - (sizeof clean - 1), "-");
    size_t channel = before_number(path, stem, "ch");
    size_t file = channel < stem ? before_number(path, channel, "_f") : channel;
    return file < channel ? file : stem;
}

const struct tp_spec *tp_report_file_spec(const struct tp_report *report, const struct tp_file *file)
{
    return file->source < report->source_spec_count ? &report->source_specs[file->source] : &report->spec;
}

const struct tp_spec *tp_report_take_spec(const struct tp_report *report, const struct tp_take *take)
{
    size_t file = take->file_count > 0 ? take->files[0] : TP_NO_INDEX;
    return file < report->file_count ? tp_report_file_spec(report, &report->files[file]) : &report->spec;
}
