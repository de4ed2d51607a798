/* SPDX-License-Identifier: MIT */
/* Without a spec, a format that a card's recordings share is told once for the card; with one, of each take. What keeps
 * less than the built-in spec asks for is never excused. Common practice, no source. */
#include "judge/rules.h"

#include "base/text.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define FILES 4

static struct tp_report *report;

static char *text(const char *words)
{
    char *copy = tp_strdup(words);
    ck_assert_ptr_nonnull(copy);
    return copy;
}

static void add_take(size_t i)
{
    struct tp_file *file = &report->files[i];
    *file = (struct tp_file){.container = TP_CONTAINER_WAV,
                             .encoding = TP_ENCODING_FLOAT,
                             .bit_depth = 32,
                             .valid_bits = 32,
                             .sample_rate_hz = 48000,
                             .frames = 960000,
                             .duration_s = 20.0,
                             .take = i};
    file->channel_count = 1;
    file->channels = calloc(1, sizeof *file->channels);
    file->channels[0] = (struct tp_channel){.name = text(""),
                                            .sample_peak_dbfs = -6.0,
                                            .true_peak_dbtp = -5.5,
                                            .noise_floor_dbfs = -66.0,
                                            .working_level_dbfs = -14.0,
                                            .active_s = 12.0};
    file->path = file->path_raw = tp_format("12A-T0%zu.wav", i + 1);
    struct tp_take *take = &report->takes[i];
    *take = (struct tp_take){.file_count = 1, .signal_count = 1, .duration_s = 20.0};
    take->id = tp_format("12A-T0%zu", i + 1);
    take->scene = text("12A");
    take->take = tp_format("%zu", i + 1);
    take->notes = text("");
    take->files = calloc(1, sizeof *take->files);
    take->files[0] = i;
    take->signals = calloc(1, sizeof *take->signals);
    struct tp_signal *signal = take->signals;
    signal->channel.file = i;
    signal->copy.file = signal->dead_partner.file = TP_NO_INDEX;
    signal->name = text("");
    signal->use = (struct tp_use){.choice = TP_CHOICE_SINGLE, .reason = text("Clean.")};
}

/* Four takes of 32-bit float from one card, checked without a spec. */
static void set_up(void)
{
    report = calloc(1, sizeof *report);
    ck_assert_int_eq(tp_spec_init(&report->spec, NULL), TP_OK);
    report->sources = calloc(1, sizeof *report->sources);
    report->sources[0] = text("S01");
    report->source_count = 1;
    report->files = calloc(FILES, sizeof *report->files);
    report->takes = calloc(FILES, sizeof *report->takes);
    report->file_count = report->take_count = FILES;
    for (size_t i = 0; i < FILES; i++)
        add_take(i);
}

static void tear_down(void)
{
    tp_report_free(report);
}

static size_t count_in(const struct tp_finding *findings, size_t count, enum tp_code code, enum tp_severity severity)
{
    size_t found = 0;
    for (size_t i = 0; i < count; i++)
        found += findings[i].code == code && findings[i].severity == severity;
    return found;
}

static size_t of_card(enum tp_code code, enum tp_severity severity)
{
    return count_in(report->findings, report->finding_count, code, severity);
}

static size_t of_takes(enum tp_code code)
{
    size_t found = 0;
    for (size_t i = 0; i < FILES; i++)
        found += count_in(report->takes[i].findings, report->takes[i].finding_count, code, TP_FAIL);
    return found;
}

static void judge(void)
{
    ck_assert_int_eq(tp_rules_judge(report, NULL), TP_OK);
}

START_TEST(card_format__shared_float_without_a_spec_is_told_once)
{
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_ENCODING), 0);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_ENCODING, TP_LISTEN), 1);
    ck_assert_ptr_nonnull(strstr(report->findings[0].message, "takeproof spec > day.ini"));
    ck_assert_int_eq(report->verdict, TP_VERDICT_LISTEN);
    ck_assert_uint_eq(report->summary.fail, 0);
}
END_TEST

START_TEST(card_format__with_a_spec_each_take_fails)
{
    report->spec.is_default = false;
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_ENCODING), FILES);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_ENCODING, TP_LISTEN), 0);
    ck_assert_ptr_nonnull(strstr(report->takes[0].findings[0].message, "agreed is pcm"));
}
END_TEST

START_TEST(card_format__the_odd_one_fails_and_so_does_the_card)
{
    report->files[2].encoding = TP_ENCODING_PCM;
    report->files[2].valid_bits = 24;
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_ENCODING), 1);
    ck_assert_int_eq(report->takes[2].verdict, TP_VERDICT_FAIL);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_ENCODING, TP_FAIL), 1);
}
END_TEST

START_TEST(card_format__without_a_majority_the_built_in_spec_decides)
{
    for (size_t i = 0; i < FILES / 2; i++) {
        report->files[i].encoding = TP_ENCODING_PCM;
        report->files[i].valid_bits = 24;
    }
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_ENCODING), FILES / 2);
    ck_assert_int_eq(report->takes[FILES - 1].verdict, TP_VERDICT_FAIL);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_ENCODING, TP_LISTEN), 0);
}
END_TEST

START_TEST(card_format__less_than_the_built_in_spec_is_never_excused)
{
    for (size_t i = 0; i < FILES; i++) {
        report->files[i].encoding = TP_ENCODING_PCM;
        report->files[i].valid_bits = 16;
        report->files[i].sample_rate_hz = 44100;
    }
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_BIT_DEPTH), FILES);
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_SAMPLE_RATE), FILES);
    ck_assert_ptr_null(strstr(report->takes[0].findings[0].message, "agreed"));
}
END_TEST

START_TEST(card_format__a_shared_multiple_of_the_rate_is_told_once)
{
    for (size_t i = 0; i < FILES; i++) {
        report->files[i].encoding = TP_ENCODING_PCM;
        report->files[i].valid_bits = 24;
        report->files[i].sample_rate_hz = 96000;
    }
    judge();
    ck_assert_uint_eq(of_takes(TP_CODE_WRONG_SAMPLE_RATE), 0);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_SAMPLE_RATE, TP_LISTEN), 1);
    ck_assert_uint_eq(of_card(TP_CODE_WRONG_ENCODING, TP_LISTEN), 0);
}
END_TEST

START_TEST(card_format__one_that_is_as_usual_says_nothing)
{
    for (size_t i = 0; i < FILES; i++) {
        report->files[i].encoding = TP_ENCODING_PCM;
        report->files[i].valid_bits = 24;
    }
    judge();
    ck_assert_int_eq(report->verdict, TP_VERDICT_PASS);
    ck_assert_uint_eq(report->finding_count, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("card_format");
    TCase *tests = tcase_create("all");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, card_format__shared_float_without_a_spec_is_told_once);
    tcase_add_test(tests, card_format__with_a_spec_each_take_fails);
    tcase_add_test(tests, card_format__the_odd_one_fails_and_so_does_the_card);
    tcase_add_test(tests, card_format__without_a_majority_the_built_in_spec_decides);
    tcase_add_test(tests, card_format__less_than_the_built_in_spec_is_never_excused);
    tcase_add_test(tests, card_format__a_shared_multiple_of_the_rate_is_told_once);
    tcase_add_test(tests, card_format__one_that_is_as_usual_says_nothing);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    bool ran = srunner_ntests_run(runner) > 0;
    srunner_free(runner);
    return failed > 0 || !ran;
}
