/* SPDX-License-Identifier: MIT */
/*
 * Makes a recorder's card of an invented production, with real problems on it, and says on stdout what is wrong with
 * what: one line a take,
 *     file(s) TAB verdict TAB channel to use TAB codes that must be found TAB codes that may be TAB words
 * Codes: those of severity listen and fail; "-" for none. The end-to-end test holds the program to these lines.
 * Everything on the card is invented; the speech is synthetic (support/voice.h).
 *
 *     demo_card OUTDIR        OUTDIR is made; files of the same name are replaced
 */
#include "support/scratch.h"
#include "support/voice.h"
#include "support/wavgen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SAFETY_BELOW_DB 12.0
#define TIMECODE_HZ 48000u

enum flaw { NONE, DEAD_SAFETY, RATE_44100, PADDED_16, INTERRUPTED, HUM, DROPOUT, WILD_TRACK, NO_METADATA };
enum layout { STEREO, TWO_FILES, ONE_CHANNEL };

struct take {
    const char *name; /* without extension; TWO_FILES adds a track name */
    const char *scene, *take, *circled;
    enum layout layout;
    const char *tracks[2]; /* the part of the name for TWO_FILES */
    enum flaw flaw;
    double length_s, level_dbfs; /* of the dialogue, see voice.h */
    double shout_db;             /* 0 = nobody shouts */
    unsigned speaker;
    const char *start; /* time of day */
    const char *verdict, *use, *must, *may, *words;
};

#define WORKING (-17.8) /* puts a peak meter at about -14 dBFS while this voice runs */

/* Start times leave room between takes, as a day does. */
static const struct take takes[] = {
    {.name = "12A-T01",
     .scene = "12A",
     .take = "1",
     .length_s = 22,
     .level_dbfs = WORKING,
     .speaker = 0,
     .start = "10:02:11",
     .verdict = "pass",
     .use = "main",
     .must = "-",
     .may = "-",
     .words = "clean"},
    {.name = "12A-T02",
     .scene = "12A",
     .take = "2",
     .circled = "TRUE",
     .length_s = 26,
     .level_dbfs = WORKING,
     .shout_db = 15,
     .speaker = 0,
     .start = "10:07:40",
     .verdict = "listen",
     .use = "splice",
     .must = "safety-needed",
     .may = "clipped true-peak-over",
     .words = "a shout clips the main, not the safety"},
    {.name = "12A-T03",
     .scene = "12A",
     .take = "3",
     .length_s = 20,
     .level_dbfs = WORKING,
     .shout_db = 28,
     .speaker = 0,
     .start = "10:13:05",
     .verdict = "fail",
     .use = "none",
     .must = "both-clipped",
     .may = "clipped true-peak-over safety-needed",
     .words = "a shout clips main and safety"},
    {.name = "12B-T01",
     .scene = "12B",
     .take = "1",
     .flaw = DEAD_SAFETY,
     .length_s = 18,
     .level_dbfs = WORKING,
     .speaker = 1,
     .start = "10:31:52",
     .verdict = "listen",
     .use = "main",
     .must = "safety-silent",
     .may = "silent-channel",
     .words = "the safety is dead"},
    {.name = "12B-T02",
     .scene = "12B",
     .take = "2",
     .flaw = RATE_44100,
     .length_s = 18,
     .level_dbfs = WORKING,
     .speaker = 1,
     .start = "10:36:20",
     .verdict = "fail",
     .use = "main",
     .must = "wrong-sample-rate",
     .may = "-",
     .words = "recorded at 44,100 Hz"},
    {.name = "14-T01",
     .scene = "14",
     .take = "1",
     .flaw = PADDED_16,
     .length_s = 20,
     .level_dbfs = WORKING,
     .speaker = 2,
     .start = "11:10:02",
     .verdict = "fail",
     .use = "main",
     .must = "padded-bits",
     .may = "-",
     .words = "16 bits padded to 24"},
    {.name = "14-T02",
     .scene = "14",
     .take = "2",
     .circled = "TRUE",
     .layout = TWO_FILES,
     .tracks = {"_1", "_2"},
     .length_s = 24,
     .level_dbfs = WORKING,
     .speaker = 2,
     .start = "11:15:48",
     .verdict = "pass",
     .use = "main",
     .must = "-",
     .may = "-",
     .words = "clean, one file per track"},
    {.name = "14-T03",
     .scene = "14",
     .take = "3",
     .layout = TWO_FILES,
     .tracks = {"_main", "_safety"},
     .length_s = 22,
     .level_dbfs = WORKING,
     .shout_db = 14,
     .speaker = 2,
     .start = "11:22:19",
     .verdict = "listen",
     .use = "splice",
     .must = "safety-needed",
     .may = "clipped true-peak-over",
     .words = "one file per track; a shout clips the main file"},
    {.name = "15-T01",
     .scene = "15",
     .take = "1",
     .flaw = INTERRUPTED,
     .length_s = 19,
     .level_dbfs = WORKING,
     .speaker = 1,
     .start = "11:48:30",
     .verdict = "fail",
     .use = "main",
     .must = "unfinished-header",
     .may = "-",
     .words = "the recorder lost power: sizes in the header are 0"},
    {.name = "15-T02",
     .scene = "15",
     .take = "2",
     .length_s = 20,
     .level_dbfs = WORKING - 14,
     .speaker = 1,
     .start = "11:53:12",
     .verdict = "listen",
     .use = "main",
     .must = "level-low",
     .may = "-",
     .words = "recorded 14 dB too low"},
    {.name = "15-T03",
     .scene = "15",
     .take = "3",
     .circled = "TRUE",
     .flaw = HUM,
     .length_s = 20,
     .level_dbfs = WORKING,
     .speaker = 1,
     .start = "11:58:47",
     .verdict = "listen",
     .use = "main",
     .must = "hum",
     .may = "noise-high",
     .words = "50 Hz hum"},
    {.name = "16-T01",
     .scene = "16",
     .take = "1",
     .flaw = DROPOUT,
     .length_s = 18,
     .level_dbfs = WORKING,
     .speaker = 0,
     .start = "14:05:09",
     .verdict = "listen",
     .use = "splice",
     .must = "dropout",
     .may = "safety-needed",
     .words = "25 ms of the main are missing"},
    {.name = "16-T02",
     .scene = "16",
     .take = "2",
     .layout = ONE_CHANNEL,
     .length_s = 20,
     .level_dbfs = WORKING,
     .speaker = 2,
     .start = "14:09:33",
     .verdict = "pass",
     .use = "single",
     .must = "-",
     .may = "-",
     .words = "clean, one channel, no safety"},
    {.name = "16-WT01",
     .scene = "16",
     .take = "WT1",
     .flaw = WILD_TRACK,
     .length_s = 30,
     .level_dbfs = WORKING,
     .start = "14:20:00",
     .verdict = "pass",
     .use = "single",
     .must = "-",
     .may = "-",
     .words = "room tone, wild track: too little to show a pair"},
    {.name = "17A-T01",
     .scene = "17A",
     .take = "1",
     .flaw = NO_METADATA,
     .length_s = 18,
     .level_dbfs = WORKING,
     .speaker = 2,
     .start = "15:01:00",
     .verdict = "pass",
     .use = "main",
     .must = "-",
     .may = "-",
     .words = "clean, no metadata at all"},
};
#define TAKE_COUNT (sizeof takes / sizeof takes[0])

static uint32_t rate_of(const struct take *take)
{
    return take->flaw == RATE_44100 ? 44100 : 48000;
}
static size_t frames_of(const struct take *take)
{
    return (size_t)(take->length_s * rate_of(take));
}

static void *must(void *memory)
{
    if (!memory) {
        fputs("demo_card: memory\n", stderr);
        exit(99);
    }
    return memory;
}

/* What reached the preamplifier: dialogue, somebody answering, perhaps a shout in the middle, the room. */
static double *perform(const struct take *take, uint64_t seed)
{
    double third_s = take->length_s / 3.0;
    struct voice_line lines[] = {
        {0.9, third_s - 1.2, 0.0, 0.0, take->speaker},
        {third_s + 0.3, third_s - 1.0, -1.5, 0.1, take->speaker + 1},
        {2.0 * third_s + 0.2, third_s - 1.2, -0.5, 0.0, take->speaker},
        {2.0 * third_s - 1.4, 1.2, take->shout_db, 0.9, take->speaker},
    };
    struct voice_script script = {.seed = seed,
                                  .rate_hz = rate_of(take),
                                  .level_dbfs = take->level_dbfs,
                                  .room_dbfs = take->flaw == WILD_TRACK ? -57.0 : -64.0,
                                  .lines = lines,
                                  .line_count = take->flaw == WILD_TRACK ? 0
                                                : take->shout_db > 0.0   ? 4
                                                                         : 3};
    size_t frames = frames_of(take);
    double *sound = must(malloc(sizeof *sound * frames));
    voice_render(&script, sound, frames);
    return sound;
}

static void add_hum(double *sound, size_t frames, double rate_hz)
{
    static const double levels_db[] = {-38.0, -52.0, -44.0, -60.0, -50.0};
    for (size_t n = 0; n < frames; n++)
        for (size_t h = 0; h < 5; h++)
            sound[n] += pow(10.0, levels_db[h] / 20.0) *
                        sin(2.0 * M_PI * fmod(50.0 * (double)(h + 1) * (double)n, rate_hz) / rate_hz);
}

/* Main and safety as the converters wrote them: two gains, each with a little noise of its own. */
static double *convert(const struct take *take, const double *sound, unsigned channels)
{
    size_t frames = frames_of(take);
    double *out = must(malloc(sizeof *out * frames * channels));
    for (size_t n = 0; n < frames; n++) {
        for (unsigned c = 0; c < channels; c++) {
            double gain = c == 0 ? 1.0 : take->flaw == DEAD_SAFETY ? 0.0 : pow(10.0, -SAFETY_BELOW_DB / 20.0);
            double noise = c == 1 && take->flaw == DEAD_SAFETY ? 0.0 : 2e-6 * wavgen_random(n * 4 + c + 77);
            out[n * channels + c] = gain * sound[n] + noise;
        }
    }
    if (take->flaw == DROPOUT) {
        size_t start = frames / 2 + 4000;
        for (size_t n = start; n < start + (size_t)(0.025 * rate_of(take)); n++)
            out[n * channels] = 0.0;
    }
    return out;
}

static uint64_t start_samples(const struct take *take)
{
    unsigned hours, minutes, seconds;
    if (sscanf(take->start, "%u:%u:%u", &hours, &minutes, &seconds) != 3)
        return 0;
    return (uint64_t)(hours * 3600 + minutes * 60 + seconds) * rate_of(take);
}

struct metadata {
    char description[128], reference[33], family[16];
    struct wavgen_bext bext;
    char *ixml;
};

static void describe(const struct take *take, unsigned first_channel, unsigned channels, struct metadata *m)
{
    static const char *const names[] = {"Main", "Safety"};
    bool two_files = take->layout == TWO_FILES;
    snprintf(m->description, sizeof m->description, "Harbour Lights, scene %s, take %s", take->scene, take->take);
    snprintf(m->reference, sizeof m->reference, "XXEXAMPLE0001%s", take->name);
    snprintf(m->family, sizeof m->family, "HL%s", take->name);
    m->bext = (struct wavgen_bext){.description = m->description,
                                   .originator = "Example recorder",
                                   .originator_reference = m->reference,
                                   .date = "2031-03-14",
                                   .time = take->start,
                                   .time_reference = start_samples(take),
                                   .version = 1,
                                   .history = take->flaw == RATE_44100 ? "A=PCM,F=44100,W=24,T=location\r\n"
                                                                       : "A=PCM,F=48000,W=24,T=location\r\n"};
    struct wavgen_ixml x = {.project = "Harbour Lights",
                            .scene = take->scene,
                            .take = take->take,
                            .tape = "S01",
                            .circled = take->circled ? take->circled : "FALSE",
                            .wild_track = take->flaw == WILD_TRACK ? "TRUE" : NULL,
                            .note = take->flaw == WILD_TRACK ? "room tone, boat shed" : NULL,
                            .timecode_rate = "25/1",
                            .timecode_flag = "NDF",
                            .file_sample_rate = rate_of(take),
                            .audio_bit_depth = 24,
                            .has_timestamp = true,
                            .timestamp_samples = start_samples(take),
                            .family_uid = two_files ? m->family : NULL,
                            .total_files = 2,
                            .file_index = first_channel + 1,
                            .track_count = channels};
    for (unsigned c = 0; c < channels; c++) {
        x.tracks[c].channel = first_channel + c + 1;
        x.tracks[c].interleave = c + 1;
        x.tracks[c].name = take->layout == ONE_CHANNEL ? "Lav" : names[first_channel + c];
    }
    m->ixml = wavgen_ixml_text(&x);
}

static void write_file(const struct take *take, const char *path, const double *samples, unsigned first_channel,
                       unsigned channels)
{
    struct wavgen w = {.rate_hz = rate_of(take),
                       .channels = channels,
                       .frames = frames_of(take),
                       .reals = samples,
                       .pad_bits = take->flaw == PADDED_16 ? 8 : 0,
                       .junk_reservation = true};
    struct metadata m = {.ixml = NULL};
    if (take->flaw != NO_METADATA) {
        describe(take, first_channel, channels, &m);
        w.bext = &m.bext;
        w.ixml = m.ixml;
    }
    if (take->flaw == INTERRUPTED) {
        w.riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
        w.data_size = (struct wavgen_lie)WAVGEN_LIE(0);
    }
    wavgen_write(&w, path);
    free(m.ixml);
}

static void write_apart(const struct take *take, const char *folder, const double *both)
{
    size_t frames = frames_of(take);
    double *one = must(malloc(sizeof *one * frames));
    for (unsigned c = 0; c < 2; c++) {
        for (size_t n = 0; n < frames; n++)
            one[n] = both[2 * n + c];
        char *path = scratch_format("%s/%s%s.wav", folder, take->name, take->tracks[c]);
        write_file(take, path, one, c, 1);
        free(path);
    }
    free(one);
}

static void make_take(const struct take *take, uint64_t seed, const char *folder)
{
    double *sound = perform(take, seed);
    if (take->flaw == HUM)
        add_hum(sound, frames_of(take), rate_of(take));
    unsigned channels = take->layout == ONE_CHANNEL ? 1 : 2;
    double *converted = convert(take, sound, channels);
    if (take->layout == TWO_FILES) {
        write_apart(take, folder, converted);
    } else {
        char *path = scratch_format("%s/%s.wav", folder, take->name);
        write_file(take, path, converted, 0, channels);
        free(path);
    }
    free(converted);
    free(sound);
}

static void list_take(const struct take *take)
{
    if (take->layout == TWO_FILES)
        printf("S01/%s%s.wav S01/%s%s.wav", take->name, take->tracks[0], take->name, take->tracks[1]);
    else
        printf("S01/%s.wav", take->name);
    printf("\t%s\t%s\t%s\t%s\t%s\n", take->verdict, take->use, take->must, take->may, take->words);
}

static void write_inside(const char *folder, const char *name, const void *bytes, size_t size)
{
    char *path = scratch_format("%s/%s", folder, name);
    scratch_write(path, bytes, size);
    free(path);
}

/* What else a card picks up on its way: a computer's leftovers, somebody's notes, the production's spec. */
static void litter(const char *card, const char *roll)
{
    static const char apple_double[82] = "\0\5\26\7\0\2\0\0                \0\2\0\0\0\11\0\0\0\62\0\0\0\40";
    static const char spec[] = "[production]\n"
                               "title = Harbour Lights\n"
                               "recordist = A. Example\n"
                               "roll = S01\n"
                               "date = 2031-03-14\n"
                               "\n"
                               "[format]\n"
                               "timecode_rate = 25\n";
    static const char notes[] =
        "Scene 12A: generator behind the shed until lunch.\nScene 15: boom shadow, T03 is the one.\n";
    write_inside(roll, "._12A-T01.wav", apple_double, sizeof apple_double);
    write_inside(roll, "notes.txt", notes, sizeof notes - 1);
    write_inside(card, "spec.ini", spec, sizeof spec - 1);
    char *hidden = scratch_format("%s/.Trashes", card);
    scratch_folder(hidden);
    write_inside(hidden, "old.wav", "RIFF", 4);
    free(hidden);
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fputs("usage: demo_card OUTDIR\n", stderr);
        return 3;
    }
    char *roll = scratch_format("%s/S01", argv[1]);
    scratch_folder(roll);
    for (size_t i = 0; i < TAKE_COUNT; i++) {
        make_take(&takes[i], 100 + i, roll);
        list_take(&takes[i]);
    }
    litter(argv[1], roll);
    free(roll);
    return fflush(stdout) == 0 ? 0 : 3;
}
