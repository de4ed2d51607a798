/* SPDX-License-Identifier: MIT */
/*
 * Channels that are dead for a part of a take, through a whole check and a whole line check: main and safety of one
 * invented voice in a room, and a second microphone with another voice. What is to be told follows from how each take
 * is made: the sound of a channel is replaced by digital zeros, one held value or the white noise of a bare input over
 * known stretches, or it is quiet for reasons that are no fault.
 */
#include "support/scratch.h"
#include "support/voice.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/linecheck.h>
#include <takeproof/splice.h>
#include <takeproof/takeproof.h>

#define RATE 48000
#define SECONDS 20
#define FRAMES ((size_t)RATE * SECONDS)
#define CHANNELS_MAX 3
#define WOUNDS_MAX 5
#define EXPECTED_MAX 4
#define END SECONDS
/* Places are known to a step of the trace (about 50 ms), and a step more is covered on each side. */
#define PLACE_TOLERANCE_S 0.16

enum what { ZEROS = 1, HELD, NOISE, LOWER, QUIETER, FADED, TONE };

#define MAIN 1U
#define SAFETY 2U
#define LAV 4U
#define BOTH (MAIN | SAFETY)
#define ALL (MAIN | SAFETY | LAV)

struct wound {
    enum what what;
    unsigned channels; /* bits */
    double from_s, to_s;
};
struct expected {
    enum tp_code code;
    unsigned channel; /* 1-based */
    double from_s, to_s;
};
struct row {
    const char *name;
    unsigned channels;
    struct wound wounds[WOUNDS_MAX];
    struct expected expected[EXPECTED_MAX];
    enum tp_choice choice; /* of the main */
};

#define CODE(suffix) TP_CODE_##suffix
#define USE(suffix) TP_CHOICE_##suffix
/* Where nobody speaks, and a gate is shut. */
#define GATED(channels)                                                                                                \
    {ZEROS, channels, 0, 1.2}, {ZEROS, channels, 4.9, 5.7}, {ZEROS, channels, 9.4, 10.7},                              \
        {ZEROS, channels, 14.4, 15.7},                                                                                 \
    {                                                                                                                  \
        ZEROS, channels, 18.4, END                                                                                     \
    }

static const struct voice_line boom_lines[] = {
    {1.5, 3.0, 0, 0, 0}, {6.0, 3.0, 0, 0, 0}, {11.0, 3.0, 0, 0, 0}, {16.0, 2.0, 0, 0, 0}};
static const struct voice_line lav_lines[] = {{0.8, 2.0, 0, 0, 1}, {4.0, 3.0, 0, 0, 1}, {14.0, 3.0, 0, 0, 1}};

static const struct row rows[] = {
    /* one of two is dead */
    {"main_zeros_to_the_end", 3, {{ZEROS, MAIN, 7.4, END}}, {{CODE(MAIN_SILENT), 1, 7.4, END}}, USE(SAFETY)},
    {"main_zeros_from_the_start", 2, {{ZEROS, MAIN, 0, 7.4}}, {{CODE(MAIN_SILENT), 1, 0, 7.4}}, USE(SAFETY)},
    {"main_zeros_over_a_quarter", 2, {{ZEROS, MAIN, 7.4, 14}}, {{CODE(MAIN_SILENT), 1, 7.4, 14}}, USE(SAFETY)},
    {"main_held_over_a_quarter", 2, {{HELD, MAIN, 7.4, 14}}, {{CODE(MAIN_SILENT), 1, 7.4, 14}}, USE(SAFETY)},
    {"main_noise_to_the_end", 2, {{NOISE, MAIN, 7.4, END}}, {{CODE(MAIN_SILENT), 1, 7.4, END}}, USE(SAFETY)},
    {"main_noise_in_the_middle", 3, {{NOISE, MAIN, 7.4, 13}}, {{CODE(MAIN_SILENT), 1, 7.4, 13}}, USE(SAFETY)},
    {"main_noise_while_nobody_speaks", 2, {{NOISE, MAIN, 18.1, END}}, {{0}}, USE(MAIN)},
    {"safety_zeros_to_the_end", 2, {{ZEROS, SAFETY, 7.4, END}}, {{CODE(SAFETY_SILENT), 2, 7.4, END}}, USE(MAIN)},
    {"safety_noise_in_the_middle", 2, {{NOISE, SAFETY, 7.4, 13}}, {{CODE(SAFETY_SILENT), 2, 7.4, 13}}, USE(MAIN)},
    {"first_the_main_then_the_safety",
     2,
     {{NOISE, MAIN, 3, 8}, {ZEROS, SAFETY, 12, END}},
     {{CODE(MAIN_SILENT), 1, 3, 8}, {CODE(SAFETY_SILENT), 2, 12, END}},
     USE(SPLICE)},
    {"safety_noise_under_a_quiet_room",
     2,
     {{LOWER, BOTH, 0, END}, {NOISE, SAFETY, 7.4, END}},
     {{CODE(SAFETY_SILENT), 2, 7.4, END}},
     USE(MAIN)},
    /* both are */
    {"both_zeros_in_the_middle",
     2,
     {{ZEROS, BOTH, 7.4, 14}},
     {{CODE(DROPOUT), 1, 7.4, 14}, {CODE(DROPOUT), 2, 7.4, 14}},
     USE(MAIN)},
    {"all_zeros_to_the_end",
     3,
     {{ZEROS, ALL, 7.4, END}},
     {{CODE(DROPOUT), 1, 7.4, END}, {CODE(DROPOUT), 2, 7.4, END}, {CODE(DROPOUT), 3, 7.4, END}},
     USE(MAIN)},
    {"both_noise_to_the_end",
     2,
     {{NOISE, BOTH, 7.4, END}},
     {{CODE(NOISE_ONLY), 1, 7.4, END}, {CODE(NOISE_ONLY), 2, 7.4, END}},
     USE(MAIN)},
    {"first_the_main_then_both",
     2,
     {{NOISE, MAIN, 7.4, END}, {NOISE, SAFETY, 13, END}},
     {{CODE(MAIN_SILENT), 1, 7.4, 13}, {CODE(NOISE_ONLY), 1, 7.4, END}, {CODE(NOISE_ONLY), 2, 13, END}},
     USE(SPLICE)},
    /* a channel alone */
    {"lav_noise_to_the_end", 3, {{NOISE, LAV, 5.5, END}}, {{CODE(NOISE_ONLY), 3, 5.5, END}}, USE(MAIN)},
    {"lav_zeros_to_the_end", 3, {{ZEROS, LAV, 5.5, END}}, {{CODE(DROPOUT), 3, 5.5, END}}, USE(MAIN)},
    /* nothing is wrong */
    {"healthy", 3, {{0}}, {{0}}, USE(MAIN)},
    {"room_tone_at_the_end", 2, {{0}}, {{0}}, USE(MAIN)},
    {"leader_and_tail_of_zeros", 3, {{ZEROS, ALL, 0, 1}, {ZEROS, ALL, 18.5, END}}, {{0}}, USE(MAIN)},
    {"short_lead_in_of_zeros", 3, {{ZEROS, ALL, 0, 0.3}}, {{0}}, USE(MAIN)},
    {"gated_main_and_safety", 2, {GATED(BOTH)}, {{0}}, USE(MAIN)},
    {"gated_main_beside_an_open_safety", 2, {GATED(MAIN)}, {{0}}, USE(MAIN)},
    {"gated_lav", 3, {GATED(LAV)}, {{0}}, USE(MAIN)},
    {"gated_lav_that_begins_with_sound",
     3,
     {{ZEROS, LAV, 3.2, 4.5}, {ZEROS, LAV, 7.5, 9.5}, {ZEROS, LAV, 11, 13.5}, {ZEROS, LAV, 17.5, END}},
     {{0}},
     USE(MAIN)},
    {"unused_track", 3, {{ZEROS, LAV, 0, END}}, {{0}}, USE(MAIN)},
    {"one_line_cut_out", 3, {{ZEROS, LAV, 0, 3.9}, {ZEROS, LAV, 7.2, END}}, {{0}}, USE(MAIN)},
    {"quiet_room", 2, {{LOWER, BOTH, 0, END}}, {{0}}, USE(MAIN)},
    {"machine_switched_off", 2, {{QUIETER, BOTH, 15, END}}, {{0}}, USE(MAIN)},
    {"faded_out", 2, {{FADED, BOTH, 14, END}}, {{0}}, USE(MAIN)},
    {"pulled_down_in_half_a_second", 2, {{FADED, BOTH, 14.5, 15}, {NOISE, BOTH, 15, END}}, {{0}}, USE(MAIN)},
    {"tone_that_ends", 3, {{TONE, LAV, 0, 10}, {NOISE, LAV, 10, END}}, {{0}}, USE(MAIN)},
};

static double *voices[2];
static char *scratch, *path;

static void setup(void)
{
    for (unsigned i = 0; i < 2; i++) {
        struct voice_script script = {.seed = 11 + i, .level_dbfs = -25, .room_dbfs = -55};
        script.lines = i == 0 ? boom_lines : lav_lines;
        script.line_count = i == 0 ? 4 : 3;
        voices[i] = malloc(FRAMES * sizeof **voices);
        ck_assert_ptr_nonnull(voices[i]);
        voice_render(&script, voices[i], FRAMES);
    }
    scratch = scratch_new();
    path = scratch_format("%s/12A-T01.wav", scratch);
}

static void teardown(void)
{
    free(voices[0]);
    free(voices[1]);
    scratch_remove(scratch);
    free(path);
}

/* The white noise of an input, peak -85 dBFS. */
static double input_noise(size_t frame, unsigned channel)
{
    return pow(10.0, -85.0 / 20.0) * wavgen_random(frame * CHANNELS_MAX + channel);
}

static double wounded(const struct wound *wound, double sample, double held, size_t frame, unsigned channel)
{
    double t = (double)frame / RATE, part = (t - wound->from_s) / (wound->to_s - wound->from_s);
    switch (wound->what) {
    case ZEROS: return 0.0;
    case HELD: return held;
    case NOISE: return input_noise(frame, channel);
    case LOWER: return 0.4 * sample;
    case QUIETER: return 0.1 * sample;
    case FADED: return sample * pow(10.0, -4.0 * part);
    case TONE: return 0.1 * sin(2.0 * M_PI * 1000.0 * t);
    }
    return sample;
}

static void make(const struct row *row)
{
    double *samples = malloc(FRAMES * row->channels * sizeof *samples);
    double held[CHANNELS_MAX] = {0};
    ck_assert_ptr_nonnull(samples);
    for (size_t f = 0; f < FRAMES; f++) {
        for (unsigned c = 0; c < row->channels; c++) {
            double sample = c == 2 ? voices[1][f] : voices[0][f] * (c == 1 ? pow(10.0, -12.0 / 20.0) : 1.0);
            sample += 0.2 * input_noise(f, c + 7);
            bool is_held = false;
            for (size_t w = 0; w < WOUNDS_MAX && row->wounds[w].what != 0; w++) {
                const struct wound *wound = &row->wounds[w];
                if ((wound->channels & 1U << c) == 0 || (double)f < wound->from_s * RATE ||
                    (double)f >= wound->to_s * RATE)
                    continue;
                sample = wounded(wound, sample, held[c], f, c);
                is_held = is_held || wound->what == HELD;
            }
            held[c] = is_held ? held[c] : sample;
            samples[f * row->channels + c] = sample;
        }
    }
    struct wavgen w = {.channels = row->channels, .frames = FRAMES, .reals = samples};
    wavgen_write(&w, path);
    free(samples);
}

static void options_init(struct tp_check_options *options, struct tp_spec *spec, const char *const *source)
{
    struct tp_error error = {0};
    ck_assert_int_eq(tp_spec_init(spec, &error), TP_OK);
    *options = (struct tp_check_options){.sources = source, .source_count = 1, .spec = spec, .jobs = 1};
}

static bool is_of_dead_channels(enum tp_code code)
{
    return code == TP_CODE_DROPOUT || code == TP_CODE_NOISE_ONLY || code == TP_CODE_MAIN_SILENT ||
           code == TP_CODE_SAFETY_SILENT || code == TP_CODE_BOTH_CLIPPED;
}

static bool is_expected(const struct row *row, const struct tp_finding *finding)
{
    for (size_t i = 0; i < EXPECTED_MAX && row->expected[i].channel != 0; i++) {
        const struct expected *e = &row->expected[i];
        if (e->code == finding->code && finding->channel + 1 == e->channel &&
            fabs(finding->start_s - e->from_s) <= PLACE_TOLERANCE_S &&
            fabs(finding->end_s - e->to_s) <= PLACE_TOLERANCE_S)
            return true;
    }
    return false;
}

static size_t expected_count(const struct row *row)
{
    size_t count = 0;
    while (count < EXPECTED_MAX && row->expected[count].channel != 0)
        count++;
    return count;
}

START_TEST(dead__channels_are_told_and_quiet_ones_are_not)
{
    const struct row *row = &rows[_i];
    const char *source = path;
    struct tp_check_options options;
    struct tp_spec spec;
    struct tp_error error = {0};
    struct tp_report *report = NULL;
    make(row);
    options_init(&options, &spec, &source);
    ck_assert_msg(tp_check(&options, &report, &error) == TP_OK, "%s", tp_error_text(&error));
    const struct tp_take *take = &report->takes[0];
    size_t told = 0;
    for (size_t i = 0; i < take->finding_count; i++) {
        const struct tp_finding *finding = &take->findings[i];
        if (!is_of_dead_channels(finding->code))
            continue;
        ck_assert_msg(is_expected(row, finding), "%s: %s, channel %u, %.2f to %.2f s: %s", row->name,
                      tp_finding_info(finding->code)->name, finding->channel + 1, finding->start_s, finding->end_s,
                      finding->message);
        ck_assert_int_ge(finding->severity, TP_LISTEN);
        told++;
    }
    ck_assert_msg(told == expected_count(row), "%s: %zu told", row->name, told);
    ck_assert_msg(told == 0 || take->verdict == TP_VERDICT_LISTEN, "%s", row->name);
    const struct tp_signal *boom = &take->signals[0];
    ck_assert_msg(boom->pair != NULL, "%s: no pair", row->name);
    ck_assert_msg(boom->use.choice == row->choice, "%s: %s: %s", row->name, tp_choice_name(boom->use.choice),
                  boom->use.reason);
    tp_report_free(report);
    tp_spec_clear(&spec);
}
END_TEST

/* What covers the dead main is the safety, from the place on at which the main breaks off. */
START_TEST(dead__main_is_covered_by_the_safety)
{
    static const struct row row = {"main", 2, {{NOISE, MAIN, 12, 13}}, {{0}}, USE(SPLICE)};
    const char *source = path;
    struct tp_check_options options;
    struct tp_spec spec;
    struct tp_error error = {0};
    struct tp_report *report = NULL;
    make(&row);
    options_init(&options, &spec, &source);
    ck_assert_msg(tp_check(&options, &report, &error) == TP_OK, "%s", tp_error_text(&error));
    const struct tp_signal *boom = &report->takes[0].signals[0];
    ck_assert_ptr_nonnull(boom->pair);
    ck_assert_int_eq(boom->use.choice, TP_CHOICE_SPLICE);
    ck_assert_uint_eq(boom->pair->splice_count, 1);
    ck_assert(boom->pair->splices[0].covered);
    ck_assert_double_le(boom->pair->splices[0].start_s, 12.0);
    ck_assert_double_ge(boom->pair->splices[0].start_s, 12.0 - PLACE_TOLERANCE_S);
    ck_assert_double_ge(boom->pair->splices[0].end_s, 13.0);
    ck_assert_double_le(boom->pair->splices[0].end_s, 13.0 + PLACE_TOLERANCE_S);
    tp_report_free(report);
    tp_spec_clear(&spec);
}
END_TEST

/* A track that is dead where both are must not look whole. */
START_TEST(dead__track_says_where_both_are)
{
    static const struct row row = {"both", 2, {{NOISE, BOTH, 12, 14.5}}, {{0}}, USE(MAIN)};
    const char *source = path;
    struct tp_check_options check;
    struct tp_spec spec;
    struct tp_error error = {0};
    struct tp_report *report = NULL;
    struct tp_splice_result *spliced = NULL;
    char *folder = scratch_format("%s.tracks", scratch);
    make(&row);
    options_init(&check, &spec, &source);
    ck_assert_msg(tp_check(&check, &report, &error) == TP_OK, "%s", tp_error_text(&error));
    struct tp_splice_options options = {
        .report = report, .sources = &source, .source_count = 1, .directory = folder, .not_on_card = true};
    ck_assert_msg(tp_splice_write(&options, &spliced, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_uint_eq(spliced->written, 1);
    /* The whole steps of the trace between the borders. */
    ck_assert_msg(strstr(spliced->tracks[0].caution, "main and safety are both silent from 0:12.0 to 0:14.5") != NULL,
                  "%s", spliced->tracks[0].caution);
    tp_splice_result_free(spliced);
    tp_report_free(report);
    tp_spec_clear(&spec);
    scratch_remove(folder);
}
END_TEST

START_TEST(dead__line_check_is_not_ready)
{
    const struct row *row = &rows[_i];
    const char *source = path;
    struct tp_check_options options;
    struct tp_spec spec;
    struct tp_error error = {0};
    struct tp_linecheck *line = NULL;
    make(row);
    options_init(&options, &spec, &source);
    ck_assert_msg(tp_linecheck(&options, &line, &error) == TP_OK, "%s", tp_error_text(&error));
    size_t faults = 0;
    for (size_t i = 0; i < line->count; i++)
        faults += line->items[i].topic == TP_LINE_FAULT && line->items[i].state != TP_LINE_READY &&
                  strstr(line->items[i].message, "nothing but") != NULL;
    faults += expected_count(row) > 0 && row->expected[0].code != TP_CODE_MAIN_SILENT &&
              row->expected[0].code != TP_CODE_SAFETY_SILENT && line->verdict != TP_LINE_READY;
    ck_assert_msg((faults > 0) == (expected_count(row) > 0), "%s: %zu", row->name, faults);
    tp_linecheck_free(line);
    tp_spec_clear(&spec);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("dead");
    TCase *tests = tcase_create("takes");
    tcase_add_unchecked_fixture(tests, setup, teardown);
    tcase_set_timeout(tests, 120);
    int count = (int)(sizeof rows / sizeof *rows);
    tcase_add_loop_test(tests, dead__channels_are_told_and_quiet_ones_are_not, 0, count);
    tcase_add_test(tests, dead__main_is_covered_by_the_safety);
    tcase_add_test(tests, dead__track_says_where_both_are);
    tcase_add_loop_test(tests, dead__line_check_is_not_ready, 0, count);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_run(runner) == 0 || srunner_ntests_failed(runner) != 0;
    srunner_free(runner);
    return failed;
}
