/* SPDX-License-Identifier: MIT */
#include "support/sample_report.h"

#include "base/text.h"
#include "listen/flac.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000u

static void *must(void *pointer)
{
    if (pointer == NULL) {
        fputs("sample_report: not enough memory\n", stderr);
        exit(99);
    }
    return pointer;
}

static char *text(const char *string)
{
    return must(tp_strdup(string));
}

static void *more(void *items, size_t count, size_t size)
{
    return must(realloc(items, (count + 1) * size));
}

static uint32_t next_random(uint32_t *state)
{
    return *state = *state * 1664525u + 1013904223u;
}

/* Words of a second or so with pauses between, as an envelope in 1/127 of full scale. */
static void overview(struct tp_channel *channel, double seconds, double peak, uint32_t seed)
{
    uint32_t state = seed, bins = 1000;
    struct tp_overview *o = &channel->overview;
    o->bin_count = bins;
    o->frames_per_bin = (uint64_t)(seconds * RATE / bins) + 1;
    o->min = must(malloc(bins));
    o->max = must(malloc(bins));
    double level = 0.0;
    for (uint32_t i = 0; i < bins; i++) {
        bool speaks = (i / 90) % 3 != 2;
        double target = speaks ? 0.25 + 0.75 * (next_random(&state) >> 24) / 255.0 : 0.02;
        level += (target - level) * 0.35;
        double extent = peak * level * 127.0;
        o->max[i] = (int8_t)(extent > 127.0 ? 127.0 : extent);
        o->min[i] = (int8_t) - (extent * 0.9 > 127.0 ? 127.0 : extent * 0.9);
    }
}

static void channel(struct tp_channel *c, const char *name, double seconds, double peak_dbfs, uint32_t seed)
{
    *c = (struct tp_channel){.name = text(name),
                             .sample_peak_dbfs = peak_dbfs,
                             .true_peak_dbtp = peak_dbfs + 0.0449,
                             .integrated_lufs = peak_dbfs - 17.3,
                             .momentary_max_lufs = peak_dbfs - 11.249,
                             .short_term_max_lufs = peak_dbfs - 13.9,
                             .loudness_range_lu = 8.25,
                             .rms_dbfs = peak_dbfs - 16.05,
                             .dc_offset = 0.0001234,
                             .noise_floor_dbfs = -71.5,
                             .working_level_dbfs = peak_dbfs - 9.75,
                             .active_s = seconds * 0.6};
    overview(c, seconds, pow(10.0, peak_dbfs / 20.0), seed);
}

static void silent_channel(struct tp_channel *c, const char *name, double seconds)
{
    double none = (double)NAN;
    *c = (struct tp_channel){.name = text(name),
                             .sample_peak_dbfs = none,
                             .true_peak_dbtp = none,
                             .integrated_lufs = none,
                             .momentary_max_lufs = none,
                             .short_term_max_lufs = none,
                             .loudness_range_lu = none,
                             .rms_dbfs = none,
                             .noise_floor_dbfs = none,
                             .working_level_dbfs = none,
                             .digital_silence = true};
    overview(c, seconds, 0.0, 1);
}

static void clip(struct tp_channel *c, double at_s, uint64_t frames)
{
    c->clips = more(c->clips, c->clip_count, sizeof *c->clips);
    c->clips[c->clip_count++] = (struct tp_clip_run){(uint64_t)(at_s * RATE), frames, 0.0};
    c->clip_runs++;
    c->clipped_samples += frames;
    if (frames > c->longest_clip_run)
        c->longest_clip_run = frames;
}

static struct tp_bext *bext(void)
{
    struct tp_bext *b = must(calloc(1, sizeof *b));
    double none = (double)NAN;
    *b = (struct tp_bext){.description = text("Harbour Lights, scene 12A"),
                          .originator = text("A. Example"),
                          .originator_reference = text("XXEX0001"),
                          .origination_date = text("2026-05-04"),
                          .origination_time = text("10:20:30"),
                          .time_reference_samples = 1728000000,
                          .version = 1,
                          .umid = text(""),
                          .loudness_value_lufs = none,
                          .loudness_range_lu = none,
                          .max_true_peak_dbtp = none,
                          .max_momentary_lufs = none,
                          .max_short_term_lufs = none,
                          .coding_history = text("A=PCM,F=48000,W=24,M=stereo\r\n")};
    return b;
}

static struct tp_ixml *ixml(const char *scene, const char *take)
{
    struct tp_ixml *x = must(calloc(1, sizeof *x));
    *x = (struct tp_ixml){.version = text("2.10"),
                          .project = text("Harbour Lights"),
                          .scene = text(scene),
                          .take = text(take),
                          .tape = text("S01"),
                          .note = text(""),
                          .file_uid = text("HL0001"),
                          .family_uid = text(""),
                          .family_name = text(""),
                          .timecode_rate_text = text("25/1"),
                          .timecode_flag = text("NDF"),
                          .circled = -1,
                          .no_good = -1,
                          .false_start = 0,
                          .wild_track = -1,
                          .timecode_rate = {25, 1, false},
                          .file_sample_rate_hz = RATE,
                          .audio_bit_depth = 24,
                          .timestamp_sample_rate_hz = RATE,
                          .timestamp_samples = 1728000000,
                          .track_count = 2,
                          .take_type = text("PICKUP"),
                          .ubits = text("00000000"),
                          .original_filename = text("T001.wav"),
                          .parent_filename = text(""),
                          .parent_uid = text(""),
                          .master_speed = text("25/1"),
                          .current_speed = text("25/1"),
                          .speed_note = text(""),
                          .digitizer_sample_rate_hz = RATE,
                          .bwf_time_reference_samples = TP_NO_TIMECODE};
    x->sync_points = must(calloc(2, sizeof *x->sync_points));
    x->sync_point_count = 2;
    x->sync_points[0] = (struct tp_sync_point){text("RELATIVE"), text("SLATE_GENERIC"), text("second sticks"), RATE, 0};
    x->sync_points[1] = (struct tp_sync_point){text("ABSOLUTE"), text("MARKER"), text(""), 1728048000, RATE / 2};
    x->extras = must(calloc(1, sizeof *x->extras));
    x->extra_count = 1;
    x->extras[0] = (struct tp_ixml_extra){text("LOCATION/LOCATION_NAME"), text("the pier")};
    x->tracks = must(calloc(2, sizeof *x->tracks));
    x->tracks_count = 2;
    x->tracks[0] = (struct tp_ixml_track){1, 1, text("Boom"), text("M-MID_SIDE")};
    x->tracks[1] = (struct tp_ixml_track){2, 2, text("Boom safety"), text("")};
    return x;
}

/* Chunks, one of them odd, a marker and a text. */
static void inside(struct tp_file *f)
{
    f->chunks = must(calloc(3, sizeof *f->chunks));
    f->chunk_count = 3;
    f->chunks[0] = (struct tp_chunk){"fmt ", 12, 16, NULL};
    f->chunks[1] = (struct tp_chunk){"data", 36, f->frames * f->channel_count * 3, NULL};
    f->chunks[2] = (struct tp_chunk){"LI?T", f->bytes - 20, 90, text("runs past the end of the file")};
    f->cues = must(calloc(1, sizeof *f->cues));
    f->cue_count = 1;
    f->cues[0] = (struct tp_cue){RATE * 2, text("door")};
    f->infos = must(calloc(1, sizeof *f->infos));
    f->info_count = 1;
    f->infos[0] = (struct tp_info_text){"INAM", text("Harbour Lights")};
}

/* A healthy file of `channels` channels, not yet measured. Returns its index. */
static size_t add_file(struct tp_report *report, const char *path, double seconds, uint32_t channels)
{
    report->files = more(report->files, report->file_count, sizeof *report->files);
    size_t index = report->file_count++;
    struct tp_file *f = &report->files[index];
    uint64_t frames = (uint64_t)(seconds * RATE);
    *f = (struct tp_file){.path = text(path),
                          .path_raw = text(path),
                          .path_is_utf8 = true,
                          .bytes = 1024 + frames * channels * 3,
                          .modified_s = 1777890000 + (int64_t)index * 60,
                          .container = TP_CONTAINER_WAV,
                          .encoding = TP_ENCODING_PCM,
                          .bit_depth = 24,
                          .valid_bits = 24,
                          .effective_bits = 24,
                          .sample_rate_hz = RATE,
                          .channel_count = channels,
                          .frames = frames,
                          .declared_frames = frames,
                          .duration_s = seconds,
                          .programme = {-27.31, -18.123, -21.456, 8.2, -6.05, -6.1},
                          .take = report->take_count};
    snprintf(f->sha256, sizeof f->sha256, "%064llx", 0xABCDEF0123ull + index * 7919ull);
    snprintf(f->xxh64, sizeof f->xxh64, "%016llx", 0x1234567890ull + index * 104729ull);
    f->channels = must(calloc(channels, sizeof *f->channels));
    inside(f);
    return index;
}

/* A take that begins on the minute; its verdict is the worst of its findings. Pointers into the report stay valid until
 * the next take is added. */
static struct tp_take *add_take(struct tp_report *report, const char *id, const char *scene, const char *take,
                                size_t file)
{
    report->takes = more(report->takes, report->take_count, sizeof *report->takes);
    struct tp_take *t = &report->takes[report->take_count];
    char start[16], end[16];
    snprintf(start, sizeof start, "10:%02zu:00:00", report->take_count % 60);
    snprintf(end, sizeof end, "10:%02zu:48:12", report->take_count % 60);
    *t = (struct tp_take){.part_count = 1,
                          .id = text(id),
                          .scene = text(scene),
                          .take = text(take),
                          .notes = text(""),
                          .circled = -1,
                          .start_samples = 1728000000 + report->take_count * 60 * RATE,
                          .timecode_rate = {25, 1, false},
                          .start_timecode = text(start),
                          .end_timecode = text(end),
                          .duration_s = report->files[file].duration_s};
    t->files = more(NULL, 0, sizeof *t->files);
    t->files[t->file_count++] = file;
    report->files[file].take = report->take_count++;
    return t;
}

static struct tp_signal *add_signal(struct tp_take *take, const char *name, enum tp_choice choice, size_t file,
                                    uint32_t channel_index, const char *reason)
{
    take->signals = more(take->signals, take->signal_count, sizeof *take->signals);
    struct tp_signal *s = &take->signals[take->signal_count++];
    *s = (struct tp_signal){.name = text(name),
                            .use = {choice, file, channel_index, text(reason)},
                            .copy = {TP_NO_INDEX, TP_NO_CHANNEL},
                            .dead_partner = {TP_NO_INDEX, TP_NO_CHANNEL},
                            .same_as = {TP_NO_INDEX, TP_NO_CHANNEL}};
    return s;
}

static struct tp_pair *add_pair(struct tp_signal *signal, size_t main_file, uint32_t main, size_t safety_file,
                                uint32_t safety)
{
    struct tp_pair *p = must(calloc(1, sizeof *p));
    *p = (struct tp_pair){.main = {main_file, main},
                          .safety = {safety_file, safety},
                          .offset_db = -12.0049,
                          .offset_spread_db = 0.02,
                          .lag_samples = 0,
                          .lag_fraction = 0.1,
                          .drift_ppm = (double)NAN,
                          .correlation = 0.99987,
                          .safety_noise_dbfs = -59.5};
    return signal->pair = p;
}

static void add_splice(struct tp_pair *pair, double start_s, double end_s, bool covered)
{
    pair->splices = more(pair->splices, pair->splice_count, sizeof *pair->splices);
    pair->splices[pair->splice_count++] = (struct tp_splice){start_s, end_s, covered, TP_CODE_CLIPPED};
}

static void add_finding(struct tp_take *take, enum tp_code code, enum tp_severity severity, size_t file,
                        uint32_t channel_index, double start_s, double value, double limit, const char *message)
{
    take->findings = more(take->findings, take->finding_count, sizeof *take->findings);
    take->findings[take->finding_count++] = (struct tp_finding){code,           severity, file,  channel_index, start_s,
                                                                start_s + 0.25, value,    limit, text(message), 0};
    enum tp_verdict verdict = severity == TP_FAIL     ? TP_VERDICT_FAIL
                              : severity == TP_LISTEN ? TP_VERDICT_LISTEN
                                                      : TP_VERDICT_PASS;
    if (verdict > take->verdict)
        take->verdict = verdict;
}

/* Half a second of a soft tone as an excerpt of the finding. */
static void add_excerpt(struct tp_report *report, size_t take, size_t finding, size_t file, uint32_t channel_index,
                        double start_s, double gain_db)
{
    size_t frames = RATE / 2;
    int16_t *samples = must(malloc(frames * sizeof *samples));
    for (size_t i = 0; i < frames; i++)
        samples[i] = (int16_t)(3000.0 * sin(2.0 * 3.14159265358979 * 440.0 * (double)i / RATE));
    report->excerpts = more(report->excerpts, report->excerpt_count, sizeof *report->excerpts);
    struct tp_sound_excerpt *e = &report->excerpts[report->excerpt_count++];
    *e = (struct tp_sound_excerpt){.take = take,
                                   .finding = finding,
                                   .file = file,
                                   .channel = channel_index,
                                   .start_s = start_s,
                                   .end_s = start_s + 0.5,
                                   .gain_db = gain_db,
                                   .mime = text("audio/flac")};
    if (tp_flac_encode(samples, frames, RATE, &e->bytes, &e->size, NULL) != TP_OK)
        must(NULL);
    free(samples);
}

static void add_other(struct tp_report *report, const char *path, uint64_t bytes, const char *why)
{
    report->others = more(report->others, report->other_count, sizeof *report->others);
    report->others[report->other_count++] = (struct tp_other){
        .path = text(path), .path_raw = text(path), .path_is_utf8 = true, .bytes = bytes, .why = text(why)};
}

static struct tp_report *new_report(void)
{
    struct tp_report *report = must(calloc(1, sizeof *report));
    report->version = text("0.1.0");
    report->made = text("2026-05-04T19:05:00Z");
    report->sources = must(calloc(1, sizeof *report->sources));
    report->sources[0] = text("/media/S01");
    report->source_count = 1;
    if (tp_spec_init(&report->spec, NULL) != TP_OK)
        must(NULL);
    struct tp_spec *spec = &report->spec;
    free(spec->title);
    free(spec->recordist);
    free(spec->roll);
    free(spec->date);
    spec->title = text("Harbour Lights");
    spec->recordist = text("A. Example");
    spec->roll = text("S01");
    spec->date = text("2026-05-04");
    return report;
}

static void settle(struct tp_report *report)
{
    struct tp_summary *s = &report->summary;
    s->files = report->file_count;
    s->takes = report->take_count;
    for (size_t i = 0; i < report->take_count; i++) {
        struct tp_take *t = &report->takes[i];
        s->pass += t->verdict == TP_VERDICT_PASS;
        s->listen += t->verdict == TP_VERDICT_LISTEN;
        s->fail += t->verdict == TP_VERDICT_FAIL;
        for (size_t k = 0; k < t->file_count; k++)
            report->files[t->files[k]].verdict = t->verdict;
        if (t->verdict > report->verdict)
            report->verdict = t->verdict;
    }
    for (size_t i = 0; i < report->file_count; i++) {
        s->bytes += report->files[i].bytes;
        s->duration_s += report->files[i].duration_s;
    }
    if (report->take_count == 0)
        report->verdict = TP_VERDICT_FAIL;
}

/* A pair in one file; the main at peak_dbfs, the safety 12 dB lower. */
static size_t pair_file(struct tp_report *report, const char *path, double seconds, double peak_dbfs)
{
    size_t file = add_file(report, path, seconds, 2);
    channel(&report->files[file].channels[0], "Boom", seconds, peak_dbfs, 77);
    channel(&report->files[file].channels[1], "Boom safety", seconds, peak_dbfs > -0.5 ? -9.0 : peak_dbfs - 12.0, 77);
    report->files[file].bext = bext();
    return file;
}

static void clean_take(struct tp_report *report, const char *id, const char *scene, const char *take, double seconds)
{
    char path[64];
    snprintf(path, sizeof path, "%s.WAV", id);
    size_t file = pair_file(report, path, seconds, -4.6);
    report->files[file].ixml = ixml(scene, take);
    struct tp_take *t = add_take(report, id, scene, take, file);
    add_pair(add_signal(t, "Boom", TP_CHOICE_MAIN, file, 0, "The main is clean: peak -4.6 dBFS, no clipping."), file, 0,
             file, 1);
}

static void spliced_take(struct tp_report *report)
{
    size_t file = pair_file(report, "HL_S01_012A_02.WAV", 61.5, 0.0);
    clip(&report->files[file].channels[0], 12.30, 41);
    clip(&report->files[file].channels[0], 12.42, 17);
    clip(&report->files[file].channels[0], 40.05, 9);
    struct tp_take *t = add_take(report, "HL_S01_012A_02", "12A", "2", file);
    struct tp_signal *s = add_signal(t, "Boom", TP_CHOICE_SPLICE, file, 0,
                                     "The main clips in 3 places; the safety is clean there, 12.0 dB lower.");
    struct tp_pair *p = add_pair(s, file, 0, file, 1);
    add_splice(p, 12.28, 12.46, true);
    add_splice(p, 40.03, 40.08, true);
    add_finding(t, TP_CODE_SAFETY_NEEDED, TP_LISTEN, file, 0, 12.28, 3, (double)NAN,
                "The main clips in 3 places, the longest for 41 samples at 0:12.3; the safety is clean there.");
    add_finding(t, TP_CODE_SAFETY_NEEDED, TP_LISTEN, file, 0, 40.03, 3, (double)NAN,
                "The main clips again for 9 samples at 0:40.1; the safety is clean there.");
    t->circled = 1;
    free(t->notes);
    t->notes = text("the shout at the harbour wall; \"best one\"");
}

static void ruined_take(struct tp_report *report)
{
    size_t file = pair_file(report, "HL_S01_012A_03.WAV", 33.0, 0.0);
    for (int i = 0; i < 12; i++)
        clip(&report->files[file].channels[0], 9.0 + i * 0.21, (uint64_t)(20 + i));
    clip(&report->files[file].channels[1], 9.63, 8);
    struct tp_take *t = add_take(report, "HL_S01_012A_03", "12A", "3", file);
    struct tp_signal *s =
        add_signal(t, "Boom", TP_CHOICE_NONE, TP_NO_INDEX, TP_NO_CHANNEL, "Main and safety both clip at 0:09.6.");
    struct tp_pair *p = add_pair(s, file, 0, file, 1);
    add_splice(p, 8.98, 9.5, true);
    add_splice(p, 9.6, 9.7, false);
    add_splice(p, 10.2, 11.4, true);
    add_finding(t, TP_CODE_BOTH_CLIPPED, TP_FAIL, file, 1, 9.63, 8, 0,
                "Main and safety both clip for 8 samples at 0:09.6: no clean channel there.");
    add_finding(t, TP_CODE_CLIPPED, TP_FAIL, file, 0, 9.0, 12, 0,
                "Channel 1 clips in 12 places, the longest for 31 samples.");
    add_finding(t, TP_CODE_LEVEL_HIGH, TP_LISTEN, file, 0, (double)NAN, -9.75, -12,
                "The working level of the main is -9.8 dBFS, above -12.0.");
}

static void dead_safety_take(struct tp_report *report)
{
    size_t file = add_file(report, "HL_S01_014_01.WAV", 27.25, 2);
    channel(&report->files[file].channels[0], "Boom", 27.25, -5.1, 5);
    silent_channel(&report->files[file].channels[1], "", 27.25);
    struct tp_take *t = add_take(report, "HL_S01_014_01", "14", "1", file);
    struct tp_signal *s = add_signal(t, "Boom", TP_CHOICE_SINGLE, file, 0, "The only channel with sound; it is clean.");
    s->dead_partner = (struct tp_channel_ref){file, 1};
    add_finding(t, TP_CODE_SAFETY_SILENT, TP_LISTEN, file, 1, (double)NAN, (double)NAN, (double)NAN,
                "The safety, channel 2, is silent from beginning to end.");
}

static void wrong_rate_take(struct tp_report *report)
{
    size_t file = pair_file(report, "HL_S01_014_02.WAV", 18.0, -12.9);
    report->files[file].sample_rate_hz = 44100;
    report->files[file].effective_bits = 16;
    struct tp_take *t = add_take(report, "HL_S01_014_02", "14", "2", file);
    add_pair(add_signal(t, "Boom", TP_CHOICE_MAIN, file, 0, "The main is clean."), file, 0, file, 1);
    add_finding(t, TP_CODE_WRONG_SAMPLE_RATE, TP_FAIL, file, TP_NO_CHANNEL, (double)NAN, 44100, 48000,
                "The sample rate is 44,100 Hz; agreed are 48,000 Hz.");
    add_finding(t, TP_CODE_PADDED_BITS, TP_FAIL, file, TP_NO_CHANNEL, (double)NAN, 16, 24,
                "Only 16 of 24 bits carry sound: the recording was made with 16 bits.");
    add_finding(t, TP_CODE_LEVEL_LOW, TP_LISTEN, file, 0, (double)NAN, -22.65, -16,
                "The working level of the main is -22.7 dBFS, below -16.0.");
}

static void polyfile_take(struct tp_report *report)
{
    size_t boom = add_file(report, "day 1/HL_S01_015_01_1.WAV", 44.0, 1);
    channel(&report->files[boom].channels[0], "Boom", 44.0, -5.5, 9);
    size_t safety = add_file(report, "day 1/HL_S01_015_01_2.WAV", 44.0, 1);
    channel(&report->files[safety].channels[0], "Boom safety", 44.0, -17.5, 9);
    size_t lav = add_file(report, "day 1/HL_S01_015_01_3.WAV", 44.0, 1);
    channel(&report->files[lav].channels[0], "Lav", 44.0, -7.9, 31);
    struct tp_take *t = add_take(report, "HL_S01_015_01", "15", "1", boom);
    t->files = more(t->files, 2, sizeof *t->files);
    t->files[t->file_count++] = safety;
    t->files[t->file_count++] = lav;
    report->files[safety].take = report->files[lav].take = report->take_count - 1;
    struct tp_pair *p =
        add_pair(add_signal(t, "Boom", TP_CHOICE_MAIN, boom, 0, "The main is clean."), boom, 0, safety, 0);
    p->lag_samples = 1;
    p->inverted = true;
    add_signal(t, "Lav", TP_CHOICE_SINGLE, lav, 0, "A channel alone; it is clean.");
    add_finding(t, TP_CODE_PAIR_POLARITY, TP_NOTE, safety, 0, (double)NAN, (double)NAN, (double)NAN,
                "The safety has the opposite polarity.");
}

static void broken_take(struct tp_report *report)
{
    size_t file = add_file(report, "HL_S01_016_01.WAV", 0.0, 2);
    struct tp_file *f = &report->files[file];
    free(f->channels);
    f->channels = NULL;
    f->encoding = TP_ENCODING_NONE;
    f->container = TP_CONTAINER_NONE;
    f->sha256[0] = f->xxh64[0] = '\0';
    f->frames = 0;
    f->declared_frames = UINT64_MAX - 1;
    double none = (double)NAN;
    f->programme = (struct tp_programme){none, none, none, none, none, none};
    struct tp_take *t = add_take(report, "HL_S01_016_01", "", "", file);
    t->start_samples = TP_NO_TIMECODE;
    t->start_timecode[0] = t->end_timecode[0] = '\0';
    add_finding(t, TP_CODE_HEADER_ONLY, TP_FAIL, file, TP_NO_CHANNEL, none, none, none,
                "The file has a header and no sound: the recording was interrupted before the first block.");
}

struct tp_report *sample_report(void)
{
    struct tp_report *report = new_report();
    clean_take(report, "HL_S01_012A_01", "12A", "1", 63.2);
    spliced_take(report);
    ruined_take(report);
    clean_take(report, "HL_S01_012A_04", "12A", "4", 58.75);
    dead_safety_take(report);
    wrong_rate_take(report);
    clean_take(report, "HL_S01_014_03", "14", "3", 29.0);
    polyfile_take(report);
    broken_take(report);
    clean_take(report, "HL_S01_016_02", "16", "2", 12.5);
    add_other(report, "._HL_S01_012A_01.WAV", 4096, "hidden file");
    add_other(report, "notes.txt", 231, "not a WAV file");
    add_other(report, "pipe", 0, "named pipe, never opened");
    report->findings = more(NULL, 0, sizeof *report->findings);
    report->finding_count = 1;
    report->findings[0] =
        (struct tp_finding){TP_CODE_MISSING_TAKE,
                            TP_NOTE,
                            TP_NO_INDEX,
                            TP_NO_CHANNEL,
                            (double)NAN,
                            (double)NAN,
                            (double)NAN,
                            (double)NAN,
                            text("Scene 15 begins with take 1 and scene 16 with take 2: is a take missing?"),
                            0};
    add_excerpt(report, 2, 0, 2, 0, 8.63, -12.0);
    add_excerpt(report, 2, 0, 2, 1, 8.63, -3.21);
    add_excerpt(report, 1, 0, 1, 0, 11.28, -12.0);
    add_excerpt(report, 1, 0, 1, 1, 11.28, 0.0);
    settle(report);
    return report;
}

static void hash_other(struct tp_other *other, char digit)
{
    memset(other->sha256, digit, 64);
    memset(other->xxh64, digit, 16);
    memset(other->xxh3, digit, 16);
}

static void add_destination(struct tp_handoff *handoff, const char *path, uint64_t copied, uint64_t kept,
                            enum tp_readback readback, const char *message)
{
    handoff->destinations[handoff->destination_count++] =
        (struct tp_handoff_destination){.path = text(path),
                                        .copied = copied,
                                        .kept = kept,
                                        .failed = handoff->file_count - copied - kept,
                                        .readback = readback,
                                        .message = message != NULL ? text(message) : NULL};
}

struct tp_report *sample_report_offloaded(bool may_be_wiped)
{
    struct tp_report *report = sample_report();
    struct tp_handoff *handoff = report->handoff = must(calloc(1, sizeof *handoff));
    handoff->may_be_wiped = may_be_wiped;
    handoff->copies_wanted = 2;
    handoff->file_count = 14;
    handoff->destinations = must(calloc(2, sizeof *handoff->destinations));
    hash_other(&report->others[0], '7');
    hash_other(&report->others[1], 'c');
    if (may_be_wiped) {
        handoff->words = text("The card may be wiped: each of its 14 files has at least 2 verified copies.");
        handoff->caution =
            text("'raid' and 'shuttle' are on one file system: if that disk fails, both copies are gone");
        add_destination(handoff, "raid", 14, 0, TP_READBACK_DIRECT, NULL);
        add_destination(handoff, "shuttle", 4, 10, TP_READBACK_CACHED, NULL);
    } else {
        handoff->words = text("Do NOT wipe the card: 2 of 14 files have fewer than 2 verified copies; the first is "
                              "'notes: day 1.txt': it differs from the card at byte 0: it was left alone.");
        add_destination(handoff, "raid", 14, 0, TP_READBACK_DIRECT, NULL);
        add_destination(handoff, "shuttle", 0, 12, TP_READBACK_DROPPED, "the folder 'S01' has another time");
    }
    return report;
}

struct tp_report *sample_report_pass(void)
{
    struct tp_report *report = new_report();
    clean_take(report, "HL_S01_012A_01", "12A", "1", 63.2);
    clean_take(report, "HL_S01_012A_04", "12A", "4", 58.75);
    settle(report);
    return report;
}

struct tp_report *sample_report_empty(void)
{
    struct tp_report *report = new_report();
    settle(report);
    return report;
}

struct tp_report *sample_report_large(size_t takes)
{
    struct tp_report *report = new_report();
    for (size_t i = 0; i < takes; i++) {
        char id[40], take[24];
        snprintf(id, sizeof id, "HL_S01_%04zu", i + 1);
        snprintf(take, sizeof take, "%zu", i + 1);
        clean_take(report, id, "20", take, 40.0 + (double)(i % 50));
        if (i % 7 == 3)
            add_finding(&report->takes[i], TP_CODE_CLIPPED, TP_FAIL, i, 0, 9.0, 12, 0,
                        "Channel 1 clips in 12 places, the longest for 31 samples.");
    }
    settle(report);
    return report;
}

static void spoil(char **place, const char *repaired)
{
    free(*place);
    *place = text(repaired);
}

static void spoil_file(struct tp_file *f, const char *raw, const char *repaired)
{
    spoil(&f->path, repaired);
    spoil(&f->path_raw, raw);
    f->path_is_utf8 = strcmp(raw, repaired) == 0;
    for (uint32_t c = 0; f->channels != NULL && c < f->channel_count; c++)
        spoil(&f->channels[c].name, repaired);
    spoil(&f->chunks[2].problem, repaired);
    spoil(&f->cues[0].label, repaired);
    spoil(&f->infos[0].text, repaired);
    if (f->bext != NULL) {
        spoil(&f->bext->description, repaired);
        spoil(&f->bext->originator, repaired);
        spoil(&f->bext->coding_history, repaired);
    }
    if (f->ixml != NULL) {
        spoil(&f->ixml->scene, repaired);
        spoil(&f->ixml->note, repaired);
        spoil(&f->ixml->tracks[0].name, repaired);
        spoil(&f->ixml->take_type, repaired);
        spoil(&f->ixml->sync_points[0].comment, repaired);
        spoil(&f->ixml->extras[0].name, repaired);
        spoil(&f->ixml->extras[0].value, repaired);
    }
}

static void spoil_take(struct tp_take *t, const char *repaired)
{
    spoil(&t->id, repaired);
    spoil(&t->scene, repaired);
    spoil(&t->take, repaired);
    spoil(&t->notes, repaired);
    spoil(&t->start_timecode, repaired);
    spoil(&t->end_timecode, repaired);
    for (size_t i = 0; i < t->signal_count; i++) {
        spoil(&t->signals[i].name, repaired);
        spoil(&t->signals[i].use.reason, repaired);
    }
    for (size_t i = 0; i < t->finding_count; i++)
        spoil(&t->findings[i].message, repaired);
}

struct tp_report *sample_report_hostile(const char *raw)
{
    struct tp_report *report = sample_report_offloaded(false);
    char *repaired = must(tp_utf8_repair(raw, strlen(raw)));
    char **spec[] = {&report->spec.title, &report->spec.recordist, &report->spec.roll, &report->spec.date,
                     &report->spec.pattern};
    for (size_t i = 0; i < sizeof spec / sizeof spec[0]; i++)
        spoil(spec[i], repaired);
    spoil(&report->sources[0], repaired);
    for (size_t i = 0; i < report->file_count; i++)
        spoil_file(&report->files[i], raw, repaired);
    for (size_t i = 0; i < report->take_count; i++)
        spoil_take(&report->takes[i], repaired);
    for (size_t i = 0; i < report->other_count; i++) {
        spoil(&report->others[i].path, repaired);
        spoil(&report->others[i].path_raw, raw);
        report->others[i].path_is_utf8 = strcmp(raw, repaired) == 0;
        spoil(&report->others[i].why, repaired);
    }
    spoil(&report->findings[0].message, repaired);
    spoil(&report->handoff->words, repaired);
    spoil(&report->handoff->caution, repaired);
    spoil(&report->handoff->destinations[1].path, repaired);
    spoil(&report->handoff->destinations[1].message, repaired);
    free(repaired);
    return report;
}
