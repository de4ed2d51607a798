/* SPDX-License-Identifier: MIT */
/*
 * The line check over test recordings made from real voice (ALSA's samples): two seconds of quiet, then speech at a
 * known working level over a known noise floor, with one thing wrong. The level is set with a slow meter of this file,
 * written from the definition in takeproof(1) and sharing nothing with the one under test.
 */
#include "support/real_voice.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/linecheck.h>

#define RATE 48000
#define QUIET (2 * RATE)
#define SPEECH (8 * RATE)
#define FRAMES (QUIET + SPEECH)
#define HOP 480
#define FADE (RATE / 20)
#define NONE (-1)

enum fault {
    CLEAN,
    DEAD, /* all channels */
    DEAD_SAFETY,
    DEAD_MAIN,
    NOISE_ONLY, /* no voice at all */
    COPY,       /* the second channel is the first */
    UNRELATED,  /* the second channel is other noise */
    HUM50,      /* amount: peak of the fundamental, dBFS; second and third harmonic 6 and 3 dB lower */
    HUM60,
    RUMBLE,   /* amount: peak of slow noise below 25 Hz, dBFS */
    DC,       /* amount: part of full scale */
    OVERLOAD, /* amount: gain in dB before it is cut at full scale */
    FLAT      /* amount: the voice is cut at so many dB below its peak, then lowered */
};

struct row {
    const char *name;
    unsigned voice;
    double level_dbfs, floor_dbfs; /* floor: AES17 RMS of the noise */
    unsigned channels;
    double below_db; /* of the second channel */
    int lag;
    bool inverted;
    enum fault fault;
    double amount;
    enum wavgen_sample sample;
    uint32_t rate_hz; /* 0 = 48000; the header only */
    unsigned pad_bits;
    const char *spec; /* lines over the built-in spec, or NULL */
    enum tp_line_state verdict;
    int topic; /* the item looked at, NONE = the verdict only */
    enum tp_line_state state;
    double value, tolerance; /* tolerance 0 = not looked at */
    unsigned also;           /* bits of topics that this fault makes wrong too */
};

#define ALSO(topic) (1U << TP_LINE_##topic)

#define MONO 1, 0, 0, false
#define PAIR(below) 2, below, 0, false
#define AS_24 WAVGEN_PCM24, 0, 0, NULL
#define READY TP_LINE_READY
#define ADJUST TP_LINE_ADJUST
#define NOT_READY TP_LINE_NOT_READY

static const struct row rows[] = {
    /* right */
    {"mono_right", 0, -14, -65, MONO, CLEAN, 0, AS_24, READY, TP_LINE_LEVEL, READY, -14, 0.3, 0},
    {"pair_right", 1, -14, -65, PAIR(12), CLEAN, 0, AS_24, READY, TP_LINE_SAFETY, READY, 12, 0.1, 0},
    {"level_at_low_end", 2, -15.6, -70, PAIR(12), CLEAN, 0, AS_24, READY, TP_LINE_LEVEL, READY, -15.6, 0.3, 0},
    {"level_at_high_end", 3, -12.5, -70, PAIR(14), CLEAN, 0, AS_24, READY, TP_LINE_LEVEL, READY, -12.5, 0.3, 0},
    {"quiet_room", 4, -14, -85, PAIR(10), CLEAN, 0, AS_24, READY, TP_LINE_NOISE, READY, -85, 1, 0},
    {"one_microphone_agreed", 5, -14, -65, MONO, CLEAN, 0, WAVGEN_PCM24, 0, 0, "[pair]\npair = off\n", READY, NONE,
     READY, 0, 0, 0},
    /* format */
    {"rate_44100", 0, -14, -65, PAIR(12), CLEAN, 0, WAVGEN_PCM24, 44100, 0, NULL, NOT_READY, TP_LINE_FORMAT, NOT_READY,
     44100, 0.1, 0},
    {"rate_96000", 1, -15.5, -65, MONO, CLEAN, 0, WAVGEN_PCM24, 96000, 0, NULL, NOT_READY, TP_LINE_FORMAT, NOT_READY,
     96000, 0.1, 0},
    {"bits_16", 2, -14, -65, PAIR(12), CLEAN, 0, WAVGEN_PCM16, 0, 0, NULL, NOT_READY, TP_LINE_FORMAT, NOT_READY, 16,
     0.1, 0},
    {"bits_16_padded", 3, -14, -65, PAIR(12), CLEAN, 0, WAVGEN_PCM24, 0, 8, NULL, NOT_READY, TP_LINE_FORMAT, NOT_READY,
     16, 0.1, 0},
    {"float_samples", 4, -14, -65, PAIR(12), CLEAN, 0, WAVGEN_FLOAT32, 0, 0, NULL, NOT_READY, TP_LINE_FORMAT, NOT_READY,
     0, 0, 0},
    {"bext_agreed", 5, -14, -65, MONO, CLEAN, 0, WAVGEN_PCM24, 0, 0, "[format]\nrequire_bext = yes\n", NOT_READY,
     TP_LINE_FORMAT, NOT_READY, 0, 0, 0},
    /* connected */
    {"dead_mono", 0, -14, -65, MONO, DEAD, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, 0},
    {"dead_pair", 1, -14, -65, PAIR(12), DEAD, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, 0},
    {"dead_safety", 2, -14, -65, PAIR(12), DEAD_SAFETY, 0, AS_24, NOT_READY, TP_LINE_SAFETY, NOT_READY, 0, 0, 0},
    {"dead_main", 3, -14, -65, PAIR(12), DEAD_MAIN, 0, AS_24, NOT_READY, NONE, NOT_READY, 0, 0, 0},
    {"preamp_noise_90", 4, -14, -90, MONO, NOISE_ONLY, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, 0},
    {"preamp_noise_80", 5, -14, -80, PAIR(12), NOISE_ONLY, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, 0},
    {"preamp_noise_70", 6, -14, -70, MONO, NOISE_ONLY, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, 0},
    {"room_noise_45", 7, -14, -45, MONO, NOISE_ONLY, 0, AS_24, NOT_READY, TP_LINE_SIGNAL, NOT_READY, 0, 0, ALSO(NOISE)},
    /* level */
    {"level_18", 0, -18, -65, PAIR(12), CLEAN, 0, AS_24, ADJUST, TP_LINE_LEVEL, ADJUST, -18, 0.3, 0},
    {"level_22", 1, -22, -70, PAIR(12), CLEAN, 0, AS_24, ADJUST, TP_LINE_LEVEL, ADJUST, -22, 0.3, 0},
    {"level_30", 2, -30, -75, MONO, CLEAN, 0, AS_24, ADJUST, TP_LINE_LEVEL, ADJUST, -30, 0.3, 0},
    {"level_40", 3, -40, -80, PAIR(12), CLEAN, 0, AS_24, ADJUST, TP_LINE_LEVEL, ADJUST, -40, 0.3, 0},
    {"level_10", 4, -10, -65, PAIR(14), CLEAN, 0, AS_24, ADJUST, TP_LINE_LEVEL, ADJUST, -10, 0.3, 0},
    {"window_of_the_spec", 5, -22, -70, MONO, CLEAN, 0, WAVGEN_PCM24, 0, 0,
     "[level]\nworking_level_min_dbfs = -24\nworking_level_max_dbfs = -20\n", READY, TP_LINE_LEVEL, READY, -22, 0.3, 0},
    /* headroom */
    {"overload", 6, -14, -65, PAIR(12), OVERLOAD, 14, AS_24, NOT_READY, TP_LINE_HEADROOM, NOT_READY, 0, 0, ALSO(LEVEL)},
    {"overload_mono", 7, -14, -65, MONO, OVERLOAD, 10, AS_24, NOT_READY, TP_LINE_HEADROOM, NOT_READY, 0, 0,
     ALSO(LEVEL)},
    /* safety */
    {"safety_too_near", 0, -14, -65, PAIR(3), CLEAN, 0, AS_24, ADJUST, TP_LINE_SAFETY, ADJUST, 3, 0.1, 0},
    {"safety_too_far", 1, -14, -60, PAIR(25), CLEAN, 0, AS_24, ADJUST, TP_LINE_SAFETY, ADJUST, 25, 0.2, 0},
    {"safety_late", 2, -14, -65, 2, 12, 48, false, CLEAN, 0, AS_24, ADJUST, TP_LINE_SAFETY, ADJUST, 0, 0, 0},
    {"safety_inverted", 3, -14, -65, 2, 12, 0, true, CLEAN, 0, AS_24, ADJUST, TP_LINE_POLARITY, ADJUST, 0, 0, 0},
    {"safety_inverted_and_far", 4, -14, -65, 2, 18, 0, true, CLEAN, 0, AS_24, ADJUST, TP_LINE_POLARITY, ADJUST, 0, 0,
     0},
    {"safety_is_a_copy", 5, -14, -65, PAIR(0), COPY, 0, AS_24, ADJUST, TP_LINE_SAFETY, ADJUST, 0, 0, 0},
    {"safety_agreed_but_other", 6, -14, -65, PAIR(0), UNRELATED, 0, WAVGEN_PCM24, 0, 0, "[pair]\npair = required\n",
     NOT_READY, TP_LINE_SAFETY, NOT_READY, 0, 0, ALSO(SIGNAL) | ALSO(NOISE)},
    /* noise and faults */
    {"noise_40", 7, -14, -42, PAIR(12), CLEAN, 0, AS_24, ADJUST, TP_LINE_NOISE, ADJUST, -42, 1, 0},
    {"hum_50", 0, -14, -70, PAIR(12), HUM50, -42, AS_24, ADJUST, TP_LINE_HUM, ADJUST, 0, 0, ALSO(NOISE)},
    {"hum_60", 1, -14, -70, PAIR(12), HUM60, -42, AS_24, ADJUST, TP_LINE_HUM, ADJUST, 0, 0, ALSO(NOISE)},
    {"hum_50_low", 2, -14, -75, MONO, HUM50, -54, AS_24, ADJUST, TP_LINE_HUM, ADJUST, 0, 0, 0},
    {"hum_60_low", 3, -14, -75, MONO, HUM60, -54, AS_24, ADJUST, TP_LINE_HUM, ADJUST, 0, 0, 0},
    {"rumble", 4, -14, -70, PAIR(12), RUMBLE, -22, AS_24, ADJUST, TP_LINE_RUMBLE, ADJUST, 0, 0, ALSO(NOISE)},
    {"dc", 5, -14, -65, MONO, DC, 0.03, AS_24, ADJUST, TP_LINE_DC, ADJUST, 0.03, 0.001, 0},
    {"dc_negative", 6, -14, -65, PAIR(12), DC, -0.05, AS_24, ADJUST, TP_LINE_DC, ADJUST, -0.05, 0.001, 0},
};

static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return x < y ? -1 : x > y;
}

static double percentile(double *values, size_t count, double part)
{
    qsort(values, count, sizeof *values, compare_doubles);
    return values[(size_t)((double)(count - 1) * part)];
}

/* Working level as takeproof(1) defines it. */
static double working_level(const double *samples)
{
    size_t hops = FRAMES / HOP, blocks = FRAMES / (10 * HOP), kept = 0;
    double *meter = calloc(hops, sizeof *meter), *floor = calloc(blocks, sizeof *floor),
           *sorted = calloc(hops, sizeof *sorted);
    double now = 0;
    for (size_t h = 0; h < hops; h++) {
        now *= pow(10, -20 * 0.01 / 1.7 / 20);
        for (size_t i = h * HOP; i < (h + 1) * HOP; i++)
            now = fmax(now, fabs(samples[i]));
        meter[h] = 20 * log10(fmax(now, 1e-12));
    }
    for (size_t b = 0; b < blocks; b++) {
        double sum = 0;
        for (size_t i = b * 10 * HOP; i < (b + 1) * 10 * HOP; i++)
            sum += samples[i] * samples[i];
        floor[b] = 10 * log10(fmax(2 * sum / (10 * HOP), 1e-20));
    }
    double quiet = percentile(floor, blocks, 0.1);
    for (size_t h = 0; h < hops; h++)
        if (meter[h] > -60)
            sorted[kept++] = meter[h];
    ck_assert_uint_gt(kept, 0);
    double high = percentile(sorted, kept, 0.95);
    kept = 0;
    for (size_t h = 0; h < hops; h++)
        if (meter[h] > fmax(-60, fmax(quiet + 15, high - 20)))
            sorted[kept++] = meter[h];
    ck_assert_uint_gt(kept, 30);
    double level = percentile(sorted, kept, 0.5);
    free(meter);
    free(floor);
    free(sorted);
    return level;
}

static double from_db(double db)
{
    return pow(10, db / 20);
}

/* Uniform noise whose AES17 RMS is floor_dbfs: a sine of that level has RMS peak/sqrt(2), uniform noise peak/sqrt(3).
 */
static double noise(const struct row *row, size_t frame, unsigned channel)
{
    return from_db(row->floor_dbfs) * sqrt(1.5) * wavgen_random((uint64_t)frame * 64 + row->voice * 8 + channel);
}

static void make_voice(const struct row *row, double *main)
{
    struct real_voice voice;
    const char *why = NULL;
    ck_assert_msg(real_voice_load_long(SPEECH, RATE / 4, &voice, &why), "%s", why);
    size_t start = (size_t)row->voice * RATE / 2 % (voice.frames - SPEECH + 1);
    double *speech = calloc(FRAMES, sizeof *speech);
    for (size_t i = 0; i < SPEECH; i++)
        speech[QUIET + i] = voice.samples[start + i] * fmin(1, (double)i / FADE); /* a cut word would be a click */
    real_voice_clear(&voice);
    double gain = 1;
    for (int pass = 0; pass < 4; pass++) {
        for (size_t i = 0; i < FRAMES; i++)
            main[i] = gain * speech[i] + noise(row, i, 0);
        gain *= from_db(row->level_dbfs - working_level(main));
    }
    free(speech);
}

static double hum(const struct row *row, double hz, size_t frame)
{
    double phase = 6.283185307179586 * hz * (double)frame / RATE;
    return from_db(row->amount) * (sin(phase) + 0.5 * sin(2 * phase + 1) + 0.7 * sin(3 * phase + 2));
}

static double rumble(const struct row *row, size_t frame)
{
    double t = (double)frame / RATE, sum = 0;
    for (int k = 0; k < 12; k++)
        sum += sin(6.283185307179586 * (6 + 1.61 * k) * t + 7 * k) / 4;
    return from_db(row->amount) * sum;
}

static double with_fault(const struct row *row, double sample, size_t frame)
{
    switch (row->fault) {
    case NOISE_ONLY: return noise(row, frame, 0);
    case HUM50: return sample + hum(row, 50, frame);
    case HUM60: return sample + hum(row, 60, frame);
    case RUMBLE: return sample + rumble(row, frame);
    case DC: return sample + row->amount;
    case OVERLOAD: return sample * from_db(row->amount);
    case DEAD:
    case DEAD_MAIN: return 0;
    case CLEAN:
    case DEAD_SAFETY:
    case COPY:
    case UNRELATED:
    case FLAT: break;
    }
    return sample;
}

static void make_recording(const struct row *row, const char *path)
{
    double *main = calloc(FRAMES, sizeof *main), *out = calloc(FRAMES * row->channels, sizeof *out);
    make_voice(row, main);
    for (size_t i = 0; i < FRAMES; i++)
        out[i * row->channels] = with_fault(row, main[i], i);
    for (size_t i = 0; i < FRAMES && row->channels == 2; i++) {
        size_t from = i >= (size_t)row->lag ? i - (size_t)row->lag : 0;
        double source = row->fault == DEAD_MAIN ? main[from] : with_fault(row, main[from], from);
        double safety = source * from_db(-row->below_db) * (row->inverted ? -1 : 1);
        if (row->fault == UNRELATED)
            safety = 20 * noise(row, i, 1);
        else if (row->fault == DEAD_SAFETY || row->fault == DEAD)
            safety = 0;
        else if (row->fault != COPY)
            safety += 0.02 * noise(row, i, 1); /* its own converter */
        out[i * 2 + 1] = safety;
    }
    wavgen_write(&(struct wavgen){.sample = row->sample,
                                  .rate_hz = row->rate_hz,
                                  .channels = row->channels,
                                  .frames = FRAMES,
                                  .reals = out,
                                  .pad_bits = row->pad_bits},
                 path);
    free(main);
    free(out);
}

static struct tp_linecheck *check_recording(const struct row *row)
{
    char *folder = scratch_new();
    char *path = scratch_format("%s/%s.wav", folder, row->name);
    make_recording(row, path);
    struct tp_spec spec;
    struct tp_error error = {0};
    const char *lines = row->spec != NULL ? row->spec : "";
    ck_assert_int_eq(tp_spec_read_bytes(&spec, lines, strlen(lines), "spec", NULL), TP_OK);
    struct tp_linecheck *result = NULL;
    struct tp_check_options options = {
        .sources = (const char *const[]){path}, .source_count = 1, .spec = &spec, .jobs = 1};
    ck_assert_msg(tp_linecheck(&options, &result, &error) == TP_OK, "%s: %s", row->name, tp_error_text(&error));
    tp_spec_clear(&spec);
    free(path);
    scratch_remove(folder);
    return result;
}

/* The worst item of a topic. */
static const struct tp_line_item *worst_item(const struct tp_linecheck *result, int topic)
{
    const struct tp_line_item *worst = NULL;
    for (size_t i = 0; i < result->count; i++) {
        const struct tp_line_item *item = &result->items[i];
        if ((int)item->topic == topic && (worst == NULL || item->state > worst->state))
            worst = item;
    }
    return worst;
}

static char *text_of(const struct tp_linecheck *result)
{
    char *text = NULL;
    size_t size;
    FILE *out = open_memstream(&text, &size);
    ck_assert_int_eq(tp_linecheck_write_text(result, false, out, NULL), TP_OK);
    fclose(out);
    return text;
}

START_TEST(linecheck__is_right_about_real_voice)
{
    const struct row *row = &rows[_i];
    struct tp_linecheck *result = check_recording(row);
    char *text = text_of(result);
    ck_assert_msg(result->verdict == row->verdict, "%s: expected %s\n%s", row->name, tp_line_state_name(row->verdict),
                  text);
    if (row->topic != NONE) {
        const struct tp_line_item *item = worst_item(result, row->topic);
        ck_assert_msg(item != NULL && item->state == row->state, "%s: %s\n%s", row->name,
                      tp_line_topic_name((enum tp_line_topic)row->topic), text);
        ck_assert_msg(row->tolerance <= 0 || fabs(item->value - row->value) <= row->tolerance,
                      "%s: %f, expected %f\n%s", row->name, item->value, row->value, text);
    }
    /* One thing was wrong: nothing else may be complained about. */
    for (size_t i = 0; i < result->count; i++)
        ck_assert_msg(result->items[i].state == TP_LINE_READY || row->topic == NONE ||
                          (int)result->items[i].topic == row->topic || (row->also >> result->items[i].topic & 1U) != 0,
                      "%s: also complains of %s\n%s", row->name, tp_line_topic_name(result->items[i].topic), text);
    free(text);
    tp_linecheck_free(result);
}
END_TEST

START_TEST(linecheck__every_action_belongs_to_something_to_do)
{
    struct tp_linecheck *result = check_recording(&rows[_i]);
    for (size_t i = 0; i < result->count; i++)
        ck_assert_int_eq(result->items[i].state != TP_LINE_READY, result->items[i].action[0] != '\0');
    for (size_t i = 1; i < result->count; i++)
        ck_assert_int_le((int)result->items[i - 1].topic, (int)result->items[i].topic);
    tp_linecheck_free(result);
}
END_TEST

/* A safety that is too near is one thing to do, told of the safety alone, though the room is short by it too. */
START_TEST(linecheck__too_near_a_safety_is_one_thing_to_do)
{
    static const struct row near = {"near", 0,      -12.4,          -65,    PAIR(2), CLEAN, 0,
                                    AS_24,  ADJUST, TP_LINE_SAFETY, ADJUST, 2,       0.1,   0};
    struct tp_linecheck *result = check_recording(&near);
    const struct tp_line_item *room = worst_item(result, TP_LINE_HEADROOM);
    ck_assert_ptr_nonnull(room);
    ck_assert(room->value < TP_LINE_SHOUT_DB);
    ck_assert_int_eq(room->state, TP_LINE_READY);
    char *text = text_of(result);
    const char *start = "ADJUST: 1 thing to change first.\n  adjust     channel 2: Follows";
    ck_assert_msg(strncmp(text, start, strlen(start)) == 0, "%s", text);
    free(text);
    tp_linecheck_free(result);
}
END_TEST

/* Float overloads nothing of its own. */
START_TEST(linecheck__float_is_not_said_to_overload)
{
    static const struct row whole = {"whole",
                                     0,
                                     -14,
                                     -65,
                                     MONO,
                                     CLEAN,
                                     0,
                                     WAVGEN_FLOAT32,
                                     0,
                                     0,
                                     "[format]\nencoding = float\nbit_depth = 32\n",
                                     READY,
                                     TP_LINE_HEADROOM,
                                     READY,
                                     0,
                                     0,
                                     0};
    static const struct row pcm = {"pcm", 0, -14, -65, MONO, CLEAN, 0, AS_24, READY, NONE, READY, 0, 0, 0};
    struct tp_linecheck *result = check_recording(&whole);
    ck_assert_int_eq(result->verdict, TP_LINE_READY);
    ck_assert_ptr_null(strstr(worst_item(result, TP_LINE_HEADROOM)->message, "will overload"));
    tp_linecheck_free(result);
    result = check_recording(&pcm);
    ck_assert_ptr_nonnull(strstr(worst_item(result, TP_LINE_HEADROOM)->message, "will overload"));
    tp_linecheck_free(result);
}
END_TEST

START_TEST(linecheck__takes_one_recording)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    struct tp_linecheck *result = NULL;
    char *folder = scratch_new();
    ck_assert_int_eq(tp_spec_init(&spec, NULL), TP_OK);
    struct tp_check_options options = {
        .sources = (const char *const[]){folder, folder}, .source_count = 2, .spec = &spec};
    ck_assert_int_eq(tp_linecheck(&options, &result, &error), TP_ERR_USAGE);
    options.source_count = 1;
    ck_assert_int_eq(tp_linecheck(&options, &result, &error), TP_ERR_USAGE);
    ck_assert_ptr_null(result);
    tp_error_clear(&error);
    tp_spec_clear(&spec);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("linecheck");
    TCase *tests = tcase_create("linecheck");
    tcase_set_timeout(tests, 30);
    int count = (int)(sizeof rows / sizeof rows[0]);
    tcase_add_loop_test(tests, linecheck__is_right_about_real_voice, 0, count);
    for (int i = 0; i < count; i += 13)
        tcase_add_loop_test(tests, linecheck__every_action_belongs_to_something_to_do, i, i + 1);
    tcase_add_test(tests, linecheck__too_near_a_safety_is_one_thing_to_do);
    tcase_add_test(tests, linecheck__float_is_not_said_to_overload);
    tcase_add_test(tests, linecheck__takes_one_recording);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
