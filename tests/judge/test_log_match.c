/* SPDX-License-Identifier: MIT */
#include "judge/log_match.h"

#include "support/cards.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct card_take takes[] = {
    {.path = "T001.wav", .start = CARD_AT(10, 20, 0), .seconds = 60, .scene = "12A", .take = "1"},
    {.path = "T002.wav", .start = CARD_AT(10, 24, 0), .seconds = 60, .scene = "12A", .take = "2"},
    {.path = "day/T003.WAV", .start = CARD_AT(10, 30, 0), .seconds = 60},
};

static const struct {
    const char *log;
    const char *findings;
    const char *words;
} rows[] = {
    {"file\nT001.wav\nT002.wav\nT003.wav\n", "", NULL},
    {"file\nt001\nT002\nT003\n", "", NULL},
    {"scene,take,file\n12a,01,\n12A,T2,\n,,D:\\card\\T003.wav\n", "", NULL},
    {"file\nT001.wav\nT002.wav\n", "file-not-in-log@2", "do not mention 'T003'"},
    {"file\nT001.wav\nT002.wav\nT003.wav\nT004.wav\n", "log-without-file", "line 5"},
    {"scene,take,file\n12A,1,\n12A,2,\n12A,3,\n,,T003\n", "log-without-file", "scene 12A take 3"},
    {"scene,take,file\n12A,2,T009.wav\n,,T001\n,,T002\n,,T003\n", "log-without-file", "'T009.wav'"},
    {"scene,take,file\n12B,1,T001.wav\n12A,2,T002.wav\n,,T003\n", "metadata-conflict@0", "scene 12B take 1"},
    {"file,start\nT001.wav,10:20\nT002.wav,10:25:00:12\nT003.wav,teatime\n", "", NULL},
    {"file,start\nT001.wav,11:20\nT002.wav,10:24\nT003.wav,\n", "metadata-conflict@0", "starts at 11:20"},
};

static struct tp_report *match(const char *text)
{
    struct tp_log log;
    struct tp_report *report = card_report(takes, 3, 1);
    ck_assert_int_eq(tp_log_read_bytes(text, strlen(text), "day.csv", &log, NULL), TP_OK);
    ck_assert_int_eq(tp_log_match(report, &log, NULL), TP_OK);
    tp_log_clear(&log);
    return report;
}

START_TEST(log_match__rows_find_their_takes)
{
    struct tp_report *report = match(rows[_i].log);
    char *found = card_findings(report);
    ck_assert_msg(strcmp(found, rows[_i].findings) == 0, "row %d: [%s] not [%s]", _i, found, rows[_i].findings);
    if (rows[_i].words != NULL)
        ck_assert_msg(strstr(report->findings[0].message, rows[_i].words) != NULL, "%s", report->findings[0].message);
    free(found);
    tp_report_free(report);
}
END_TEST

START_TEST(log_match__notes_are_merged)
{
    struct tp_report *report =
        match("file,scene,take,good,notes\nT001.wav,,,good,gulls\nT002.wav,12A,2,ng,\nT003.wav,13,1,,\"wild, boom\"\n");
    ck_assert_str_eq(report->takes[0].notes, "gulls");
    ck_assert_int_eq(report->takes[0].circled, 1);
    ck_assert_int_eq(report->takes[1].circled, 0);
    ck_assert_int_eq(report->takes[0].no_good, 0);
    ck_assert_int_eq(report->takes[1].no_good, 1);
    ck_assert_int_eq(report->takes[2].no_good, -1);
    ck_assert_str_eq(report->takes[2].scene, "13");
    ck_assert_str_eq(report->takes[2].take, "1");
    ck_assert_str_eq(report->takes[2].notes, "wild, boom");
    ck_assert_int_eq(report->takes[2].circled, -1);
    tp_report_free(report);
}
END_TEST

START_TEST(log_match__notes_settle_what_is_good)
{
    struct tp_log log;
    static const char notes[] = "file,good\nT001.wav,good\nT002.wav,ng\n";
    static const struct card_take two[] = {{.path = "T001.wav", .seconds = 60}, {.path = "T002.wav", .seconds = 60}};
    struct tp_report *report = card_report(two, 2, 1);
    report->takes[0].circled = 0; /* a recorder's "not said" */
    report->takes[1].circled = 1;
    ck_assert_int_eq(tp_log_read_bytes(notes, sizeof notes - 1, "notes", &log, NULL), TP_OK);
    ck_assert_int_eq(tp_log_match(report, &log, NULL), TP_OK);
    ck_assert_int_eq(report->takes[0].circled, 1);
    ck_assert_int_eq(report->takes[1].circled, 0);
    ck_assert_uint_eq(report->finding_count, 1);
    ck_assert_int_eq(report->findings[0].code, TP_CODE_METADATA_CONFLICT);
    tp_log_clear(&log);
    tp_report_free(report);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("log_match");
    TCase *tcase = tcase_create("log_match");
    tcase_add_loop_test(tcase, log_match__rows_find_their_takes, 0, (int)(sizeof rows / sizeof rows[0]));
    tcase_add_test(tcase, log_match__notes_are_merged);
    tcase_add_test(tcase, log_match__notes_settle_what_is_good);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
