/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/text.h"
#include "result.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/linecheck.h>

/* All common practice, no source. */
#define LENGTH_MIN_S 4.0
#define OPEN_INPUT_MAX_DBFS (-60.0) /* loudest peak of an input with nothing on it, at any usual gain */

/* What the items are made from, and where they go. */
struct line {
    const struct tp_report *report;
    const struct tp_take *take;
    struct tp_linecheck *result;
    size_t capacity;
    bool no_memory;
};

static struct tp_line_item *add(struct line *line, enum tp_line_topic topic, enum tp_line_state state, uint32_t channel,
                                const char *action, const char *format, ...) TP_PRINTF(6, 7);

/* NULL when memory is short; line->no_memory remembers it. */
static struct tp_line_item *add(struct line *line, enum tp_line_topic topic, enum tp_line_state state, uint32_t channel,
                                const char *action, const char *format, ...)
{
    struct tp_linecheck *result = line->result;
    char *message = NULL;
    va_list values;
    va_start(values, format);
    if (vasprintf(&message, format, values) < 0)
        message = NULL;
    va_end(values);
    char *copy = tp_strdup(action);
    if (message == NULL || copy == NULL ||
        !tp_grow(&result->items, &line->capacity, result->count, sizeof *result->items)) {
        free(message);
        free(copy);
        line->no_memory = true;
        return NULL;
    }
    struct tp_line_item *item = &result->items[result->count++];
    *item = (struct tp_line_item){.topic = topic,
                                  .state = state,
                                  .channel = channel,
                                  .value = (double)NAN,
                                  .limit = (double)NAN,
                                  .message = message,
                                  .action = copy};
    if (state > result->verdict)
        result->verdict = state;
    return item;
}

static void set_numbers(struct tp_line_item *item, double value, double limit)
{
    if (item == NULL)
        return;
    item->value = value;
    item->limit = limit;
}

static const struct tp_channel *channel_of(const struct line *line, struct tp_channel_ref ref)
{
    return &line->report->files[ref.file].channels[ref.channel];
}

/* The first sentence of a longer advice. Owned by the caller. */
static char *first_sentence(const char *text)
{
    const char *stop = strstr(text, ". ");
    return tp_strndup(text, stop != NULL ? (size_t)(stop - text) + 1 : strlen(text));
}

/* --- what makes the rest idle --- */

static const char *container_advice(enum tp_code code)
{
    switch (code) {
    case TP_CODE_NOT_WAV: return "Name a WAV file that the recorder has written.";
    case TP_CODE_UNREADABLE: return "Try another reader and another cable, then copy the test again.";
    case TP_CODE_UNFINISHED_HEADER:
        return "Stop the recording before it is checked; if it was stopped, check battery and card, then record again.";
    case TP_CODE_TRUNCATED: return "Copy the test again from the card; if it is short there too, record again.";
    default: return "Record the test again, and play it back on the recorder.";
    }
}

/* True when the file is no whole recording, or one of no format that can be measured: after that no level, format or
 * channel says anything about the line. */
static bool is_settled(struct line *line)
{
    for (size_t i = 0; i < line->take->finding_count; i++) {
        const struct tp_finding *finding = &line->take->findings[i];
        const struct tp_finding_info *info = tp_finding_info(finding->code);
        bool of_container = info->family == TP_FAMILY_CONTAINER && finding->severity == TP_FAIL;
        bool of_encoding = finding->code == TP_CODE_WRONG_ENCODING && line->take->signal_count == 0;
        if (!of_container && !of_encoding)
            continue;
        set_numbers(add(line, TP_LINE_FORMAT, TP_LINE_NOT_READY, TP_NO_CHANNEL,
                        of_container ? container_advice(finding->code)
                                     : "Choose PCM or float in the recorder's menu, then record again.",
                        "%s", finding->message),
                    finding->value, finding->limit);
        return true;
    }
    return false;
}

/* --- format --- */

/* Findings about the format as things to do; how many. */
static size_t check_findings(struct line *line, const struct tp_finding *findings, size_t count)
{
    size_t wrong = 0;
    for (size_t i = 0; i < count; i++) {
        const struct tp_finding *finding = &findings[i];
        const struct tp_finding_info *info = tp_finding_info(finding->code);
        bool about_the_file = info->family == TP_FAMILY_SPEC || info->family == TP_FAMILY_CONTAINER;
        if (!about_the_file || finding->code == TP_CODE_TOO_SHORT || finding->severity == TP_NOTE)
            continue;
        bool is_open = finding->file == TP_NO_INDEX; /* nothing was agreed about it */
        char *action =
            is_open ? tp_strdup("Ask what was agreed, and check with --spec.") : first_sentence(info->on_set);
        enum tp_line_state state = finding->severity == TP_FAIL ? TP_LINE_NOT_READY : TP_LINE_ADJUST;
        set_numbers(
            add(line, TP_LINE_FORMAT, state, TP_NO_CHANNEL, action != NULL ? action : "", "%s", finding->message),
            finding->value, finding->limit);
        free(action);
        wrong++;
    }
    return wrong;
}

static void check_format(struct line *line)
{
    const struct tp_report *report = line->report;
    size_t wrong = check_findings(line, line->take->findings, line->take->finding_count);
    /* Where nothing was agreed, a format of its own is told of the set. */
    wrong += check_findings(line, report->findings, report->finding_count);
    const struct tp_file *file = &report->files[line->take->files[0]];
    if (wrong == 0)
        add(line, TP_LINE_FORMAT, TP_LINE_READY, TP_NO_CHANNEL, "", "%u Hz, %u-bit %s, %u %s: %s.",
            file->sample_rate_hz, file->valid_bits, tp_encoding_name(file->encoding), file->channel_count,
            file->channel_count == 1 ? "channel" : "channels",
            report->spec.is_default ? "as is usual, for no spec was given" : "as agreed");
    char seconds[TP_NUMBER_SIZE];
    if (line->take->duration_s < LENGTH_MIN_S)
        add(line, TP_LINE_FORMAT, TP_LINE_ADJUST, TP_NO_CHANNEL,
            "Record about ten seconds: first nobody speaks, then normal speech.",
            "Only %s s long: too short to tell much.", tp_number_text(seconds, line->take->duration_s, 1));
}

/* --- what was observed in a channel --- */

static const struct tp_observation *observed(const struct line *line, struct tp_channel_ref ref, enum tp_code code)
{
    const struct tp_observations *all = &line->report->files[ref.file].observations;
    for (size_t i = 0; i < all->count; i++) {
        if (all->items[i].code == code && all->items[i].channel == ref.channel)
            return &all->items[i];
    }
    return NULL;
}

/* --- signal --- */

static bool sounds_like_open_input(const struct line *line, struct tp_channel_ref ref)
{
    const struct tp_channel *channel = channel_of(line, ref);
    if (tp_exists(channel->working_level_dbfs))
        return false;
    return observed(line, ref, TP_CODE_NOISE_ONLY) != NULL || channel->sample_peak_dbfs < OPEN_INPUT_MAX_DBFS;
}

/* True when there is speech to judge further. */
static bool check_signal(struct line *line, struct tp_channel_ref ref)
{
    const struct tp_channel *channel = channel_of(line, ref);
    char peak[TP_NUMBER_SIZE];
    tp_number_text(peak, channel->sample_peak_dbfs, 1);
    if (channel->digital_silence) {
        add(line, TP_LINE_SIGNAL, TP_LINE_NOT_READY, ref.channel,
            "Check routing, mute and cable of this channel, then record again.",
            "Dead: every sample is zero. Nothing reaches the recorder on this channel.");
        return false;
    }
    if (sounds_like_open_input(line, ref)) {
        add(line, TP_LINE_SIGNAL, TP_LINE_NOT_READY, ref.channel,
            "With the gain down, check the cable and whether this microphone wants phantom power, then record again.",
            "Only noise, peaks at %s dBFS. An open input or a condenser without phantom power looks like this; sound "
            "alone "
            "cannot tell which.",
            peak);
        return false;
    }
    if (!tp_exists(channel->working_level_dbfs)) {
        add(line, TP_LINE_SIGNAL, TP_LINE_NOT_READY, ref.channel,
            "Record again: some seconds of quiet, then some sentences at normal level.",
            "There is sound, peaks at %s dBFS, but no speech was found in it.", peak);
        return false;
    }
    add(line, TP_LINE_SIGNAL, TP_LINE_READY, ref.channel, "", "Connected: speech with peaks at %s dBFS.", peak);
    return true;
}

/* --- level and headroom --- */

static void check_level(struct line *line, struct tp_channel_ref ref)
{
    const struct tp_spec *spec = &line->report->spec;
    double level = tp_number_round(channel_of(line, ref)->working_level_dbfs, 1);
    double middle = (spec->working_level_min_dbfs + spec->working_level_max_dbfs) / 2.0;
    bool low = level < spec->working_level_min_dbfs;
    bool high = level > spec->working_level_max_dbfs;
    char is[TP_NUMBER_SIZE], least[TP_NUMBER_SIZE], most[TP_NUMBER_SIZE], by[TP_NUMBER_SIZE];
    char action[100] = "";
    if (low || high)
        snprintf(action, sizeof action, "%s the gain by %s dB.", low ? "Raise" : "Lower",
                 tp_number_text(by, fabs(middle - level), 0));
    double limit = high ? spec->working_level_max_dbfs : spec->working_level_min_dbfs;
    set_numbers(add(line, TP_LINE_LEVEL, low || high ? TP_LINE_ADJUST : TP_LINE_READY, ref.channel, action,
                    "Speech sits at %s dBFS; agreed is %s to %s dBFS.", tp_number_text(is, level, 1),
                    tp_number_text(least, spec->working_level_min_dbfs, 1),
                    tp_number_text(most, spec->working_level_max_dbfs, 1)),
                level, limit);
}

/* The safety's own item says so already. */
static bool is_too_near(const struct line *line, const struct tp_pair *pair)
{
    return tp_number_round(-pair->offset_db, 1) < line->report->spec.safety_below_min_db;
}

/* No damage yet. `room_db`: from the highest peak to full scale. What can be done about too little of it is to record
 * the safety lower; a channel alone at the agreed level has no more, and float keeps what passes full scale. */
static void check_room(struct line *line, struct tp_channel_ref ref, const struct tp_pair *pair, double room_db)
{
    bool is_float = line->report->files[ref.file].encoding == TP_ENCODING_FLOAT;
    double all_db = room_db + (pair != NULL ? -pair->offset_db : 0.0);
    bool enough = all_db >= TP_LINE_SHOUT_DB;
    bool to_do = pair != NULL && !enough && !is_float && !is_too_near(line, pair);
    const char *then = enough     ? "enough for a shout"
                       : is_float ? "float keeps what passes full scale, as far as all before the recorder does"
                                  : "a shout may need 12 dB, and what is louder will overload";
    char room[TP_NUMBER_SIZE], whole[TP_NUMBER_SIZE], with_safety[TP_NUMBER_SIZE + 40] = "";
    if (pair != NULL)
        snprintf(with_safety, sizeof with_safety, " on the main, %s dB with the safety",
                 tp_number_text(whole, all_db, 1));
    set_numbers(add(line, TP_LINE_HEADROOM, to_do ? TP_LINE_ADJUST : TP_LINE_READY, ref.channel,
                    to_do ? "Record the safety lower." : "", "Room of %s dB above the highest peak%s%s: %s.",
                    tp_number_text(room, room_db, 1), with_safety, pair == NULL && !enough ? " and no safety" : "",
                    then),
                all_db, TP_LINE_SHOUT_DB);
}

static void check_headroom(struct line *line, struct tp_channel_ref ref, const struct tp_pair *pair)
{
    const struct tp_channel *channel = channel_of(line, ref);
    char over[TP_NUMBER_SIZE];
    bool is_clipped = channel->clip_runs > channel->whole_clip_runs;
    if (is_clipped || channel->flat_top_runs > 0)
        add(line, TP_LINE_HEADROOM, TP_LINE_NOT_READY, ref.channel,
            is_clipped ? "Lower the gain, then record again."
                       : "Find the stage that overloads before the recorder: transmitter, pad, preamp.",
            "Overloaded already in this test: %llu places.",
            (unsigned long long)(is_clipped ? channel->clip_runs : channel->flat_top_runs));
    else if (channel->clip_runs > 0)
        set_numbers(add(line, TP_LINE_HEADROOM, TP_LINE_ADJUST, ref.channel,
                        "Lower the gain, or tell post that the recording must be lowered before PCM is made of it.",
                        "Peaks pass full scale by %s dB; float keeps them whole.",
                        tp_number_text(over, channel->sample_peak_dbfs, 1)),
                    -channel->sample_peak_dbfs, TP_LINE_SHOUT_DB);
    else
        check_room(line, ref, pair, -channel->sample_peak_dbfs);
}

/* --- pair --- */

static void check_offset(struct line *line, const struct tp_pair *pair)
{
    const struct tp_spec *spec = &line->report->spec;
    double below_db = tp_number_round(-pair->offset_db, 1);
    bool near = below_db < spec->safety_below_min_db;
    bool far = below_db > spec->safety_below_max_db;
    char is[TP_NUMBER_SIZE], least[TP_NUMBER_SIZE], most[TP_NUMBER_SIZE];
    double limit = far ? spec->safety_below_max_db : spec->safety_below_min_db;
    set_numbers(add(line, TP_LINE_SAFETY, near || far ? TP_LINE_ADJUST : TP_LINE_READY, pair->safety.channel,
                    near  ? "Set the safety lower."
                    : far ? "Set the safety higher."
                          : "",
                    "Follows channel %u, %s dB lower; agreed are %s to %s dB.", pair->main.channel + 1,
                    tp_number_text(is, below_db, 1), tp_number_text(least, spec->safety_below_min_db, 1),
                    tp_number_text(most, spec->safety_below_max_db, 1)),
                below_db, limit);
    int64_t lag = pair->lag_samples < 0 ? -pair->lag_samples : pair->lag_samples;
    if ((uint64_t)lag > spec->lag_max_samples)
        add(line, TP_LINE_SAFETY, TP_LINE_ADJUST, pair->safety.channel, "Give both channels the same path.",
            "The safety is %lld samples %s than the main.", (long long)lag,
            pair->lag_samples > 0 ? "later" : "earlier");
}

static void check_pair(struct line *line, const struct tp_pair *pair)
{
    check_offset(line, pair);
    add(line, TP_LINE_POLARITY, pair->inverted ? TP_LINE_ADJUST : TP_LINE_READY, pair->safety.channel,
        pair->inverted ? "Look for a polarity switch or a cable wired the other way round." : "",
        pair->inverted ? "The safety has the opposite polarity of the main."
                       : "Main and safety have the same polarity.");
}

/* The check says it with a note where nobody took the copy for a safety: both sides of a mono mix and the like. */
static bool is_meant_as_safety(const struct line *line, const struct tp_signal *signal)
{
    for (size_t i = 0; i < line->take->finding_count; i++) {
        const struct tp_finding *finding = &line->take->findings[i];
        if (finding->code == TP_CODE_CHANNEL_COPY && finding->severity == TP_NOTE &&
            finding->file == signal->copy.file && finding->channel == signal->copy.channel)
            return false;
    }
    return true;
}

static bool is_mix(const struct line *line, struct tp_channel_ref ref)
{
    struct tp_track track;
    tp_file_track(&line->report->files[ref.file], ref.channel, &track);
    return track.is_mix;
}

static void check_partner(struct line *line, const struct tp_signal *signal, bool has_speech)
{
    if (signal->dead_partner.file != TP_NO_INDEX)
        add(line, TP_LINE_SAFETY, TP_LINE_NOT_READY, signal->dead_partner.channel,
            "Check routing and mute of that channel.", "The other channel of the pair is dead.");
    else if (signal->copy.file != TP_NO_INDEX && is_meant_as_safety(line, signal))
        add(line, TP_LINE_SAFETY, TP_LINE_ADJUST, signal->copy.channel,
            "Give the safety its own lower gain before the converter.",
            "Holds the very same samples as channel %u: it protects nothing.", signal->channel.channel + 1);
    else if (line->report->spec.pair == TP_PAIR_REQUIRED && has_speech && signal->same_as.file == TP_NO_INDEX &&
             !is_mix(line, signal->channel))
        add(line, TP_LINE_SAFETY, TP_LINE_NOT_READY, signal->channel.channel,
            "Route the same microphone to a second channel with lower gain.",
            "A safety was agreed, but no other channel follows this one.");
}

/* --- noise and faults --- */

static void check_noise(struct line *line, struct tp_channel_ref ref)
{
    double floor = tp_number_round(channel_of(line, ref)->noise_floor_dbfs, 1);
    double most = line->report->spec.noise_floor_max_dbfs;
    if (!tp_exists(floor))
        return;
    bool loud = floor > most;
    char is[TP_NUMBER_SIZE], limit[TP_NUMBER_SIZE];
    set_numbers(
        add(line, TP_LINE_NOISE, loud ? TP_LINE_ADJUST : TP_LINE_READY, ref.channel,
            loud ? "Find the noise while it runs: machines, wind, distance, or no quiet stretch in this test." : "",
            "Quietest stretches at %s dBFS; agreed is at most %s dBFS.", tp_number_text(is, floor, 1),
            tp_number_text(limit, most, 1)),
        floor, most);
}

static void check_dc(struct line *line, struct tp_channel_ref ref)
{
    double offset = channel_of(line, ref)->dc_offset;
    double most = line->report->spec.dc_offset_max;
    if (!tp_exists(offset) || fabs(offset) <= most)
        return;
    char is[TP_NUMBER_SIZE];
    set_numbers(add(line, TP_LINE_DC, TP_LINE_ADJUST, ref.channel, "Try another input or adapter.",
                    "The wave is shifted by %s %% of full scale.", tp_number_text(is, offset * 100.0, 2)),
                offset, most);
}

static void check_hum_and_rumble(struct line *line, struct tp_channel_ref ref)
{
    const struct tp_observation *hum = observed(line, ref, TP_CODE_HUM);
    const struct tp_observation *rumble = observed(line, ref, TP_CODE_RUMBLE);
    bool low_cut = line->report->spec.low_cut;
    if (hum != NULL)
        set_numbers(add(line, TP_LINE_HUM, TP_LINE_ADJUST, ref.channel,
                        "Move the sound cable away from mains cables, or run from batteries.", "%s",
                        hum->detail != NULL ? hum->detail : "Mains hum."),
                    hum->value, hum->limit);
    else
        add(line, TP_LINE_HUM, TP_LINE_READY, ref.channel, "", "No mains hum stands out at 50 or 60 Hz.");
    if (rumble != NULL)
        set_numbers(add(line, TP_LINE_RUMBLE, TP_LINE_ADJUST, ref.channel,
                        low_cut ? "Switch the low cut on, and mind wind and stand."
                                : "Mind wind, stand and cable; a low cut only if post agrees.",
                        "%s", rumble->detail != NULL ? rumble->detail : "Rumble."),
                    rumble->value, rumble->limit);
    else
        add(line, TP_LINE_RUMBLE, TP_LINE_READY, ref.channel, "",
            "No rumble; whether a low cut is on cannot be heard without it.");
}

/* Dead for a part of the test. What is dead throughout has its own words. */
static void check_dead_parts(struct line *line, struct tp_channel_ref ref)
{
    static const enum tp_code codes[] = {TP_CODE_NOISE_ONLY, TP_CODE_MAIN_SILENT, TP_CODE_SAFETY_SILENT};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const struct tp_observation *dead = observed(line, ref, codes[i]);
        if (dead == NULL || dead->detail == NULL)
            continue;
        char *action = first_sentence(tp_finding_info(codes[i])->on_set);
        set_numbers(
            add(line, TP_LINE_FAULT, TP_LINE_NOT_READY, ref.channel, action != NULL ? action : "", "%s", dead->detail),
            dead->value, dead->limit);
        free(action);
    }
}

static void check_faults(struct line *line, struct tp_channel_ref ref)
{
    static const enum tp_code codes[] = {TP_CODE_DROPOUT, TP_CODE_REPEATED_BLOCK, TP_CODE_CLICK, TP_CODE_INTERFERENCE};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++) {
        const struct tp_observation *fault = observed(line, ref, codes[i]);
        if (fault == NULL)
            continue;
        char *action = first_sentence(tp_finding_info(codes[i])->on_set);
        set_numbers(add(line, TP_LINE_FAULT, TP_LINE_ADJUST, ref.channel, action != NULL ? action : "", "%s",
                        fault->detail != NULL ? fault->detail : tp_finding_info(codes[i])->title),
                    fault->value, fault->limit);
        free(action);
    }
}

static void check_one_signal(struct line *line, const struct tp_signal *signal)
{
    struct tp_channel_ref ref = signal->pair != NULL ? signal->pair->main : signal->channel;
    bool has_speech = check_signal(line, ref);
    /* The level of one more recording of a microphone is that of its owner and a gain. */
    if (has_speech && signal->same_as.file == TP_NO_INDEX) {
        check_level(line, ref);
        check_headroom(line, ref, signal->pair);
    }
    if (signal->pair != NULL)
        check_pair(line, signal->pair);
    else
        check_partner(line, signal, has_speech);
    if (channel_of(line, ref)->digital_silence)
        return;
    check_noise(line, ref);
    check_hum_and_rumble(line, ref);
    check_dc(line, ref);
    check_faults(line, ref);
    if (has_speech)
        check_dead_parts(line, ref);
    if (signal->pair != NULL)
        check_dead_parts(line, signal->pair->safety);
}

/* A silent channel that was named as the other half of a pair is told there, once. */
static bool told_as_partner(const struct line *line, const struct tp_signal *signal)
{
    for (size_t i = 0; i < line->take->signal_count; i++) {
        const struct tp_channel_ref *dead = &line->take->signals[i].dead_partner;
        if (signal->pair == NULL && dead->file == signal->channel.file && dead->channel == signal->channel.channel)
            return true;
    }
    return false;
}

static int compare_items(const void *a, const void *b)
{
    const struct tp_line_item *first = a, *second = b;
    if (first->topic != second->topic)
        return first->topic < second->topic ? -1 : 1;
    return first->channel < second->channel ? -1 : first->channel > second->channel;
}

static void check_line(struct line *line)
{
    if (is_settled(line))
        return;
    check_format(line);
    for (size_t i = 0; i < line->take->signal_count; i++) {
        if (!told_as_partner(line, &line->take->signals[i]))
            check_one_signal(line, &line->take->signals[i]);
    }
    if (line->take->signal_count == 0)
        add(line, TP_LINE_SIGNAL, TP_LINE_NOT_READY, TP_NO_CHANNEL, "Record again.", "There is no sound in this file.");
}

static enum tp_status judge(struct tp_linecheck *result, struct tp_error *error)
{
    struct line line = {.report = result->report, .take = &result->report->takes[0], .result = result};
    check_line(&line);
    if (line.no_memory)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the line check");
    if (result->count > 1)
        qsort(result->items, result->count, sizeof *result->items, compare_items);
    return TP_OK;
}

enum tp_status tp_linecheck(const struct tp_check_options *options, struct tp_linecheck **result,
                            struct tp_error *error)
{
    if (options->source_count != 1)
        return tp_error_set(error, TP_ERR_USAGE, 0, "a line check takes one recording");
    struct tp_linecheck *line = calloc(1, sizeof *line);
    if (line == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the line check");
    /* A test recording is named after nothing that is shot. */
    char any_name[] = "";
    struct tp_spec spec = *options->spec;
    spec.pattern = any_name;
    struct tp_check_options check = *options;
    check.spec = &spec;
    enum tp_status status = tp_check(&check, &line->report, error);
    if (status == TP_OK && line->report->take_count != 1)
        status = tp_error_set(error, TP_ERR_USAGE, 0, "'%s' holds %zu takes: a line check takes one recording",
                              options->sources[0], line->report->take_count);
    if (status == TP_OK)
        status = judge(line, error);
    if (status == TP_OK)
        *result = line;
    else
        tp_linecheck_free(line);
    return status;
}

void tp_linecheck_free(struct tp_linecheck *result)
{
    if (result == NULL)
        return;
    for (size_t i = 0; i < result->count; i++) {
        free(result->items[i].message);
        free(result->items[i].action);
    }
    free(result->items);
    tp_report_free(result->report);
    free(result);
}

const char *tp_line_topic_name(enum tp_line_topic topic)
{
    static const char *const names[] = {
#define NAME(suffix, text) text,
        TP_LINE_TOPICS(NAME)
#undef NAME
    };
    return names[topic];
}

const char *tp_line_state_name(enum tp_line_state state)
{
    switch (state) {
    case TP_LINE_READY: return "ready";
    case TP_LINE_ADJUST: return "adjust";
    case TP_LINE_NOT_READY: return "not ready";
    }
    return "";
}
