/* SPDX-License-Identifier: MIT */
#include "judge/rules.h"
#include "judge/set.h"

#include "support/cards.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define D "2026-05-04"
static const char hash_a[] = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa";

struct card {
    const char *name;
    size_t sources, count;
    struct card_take takes[6];
    const char *findings;
    const char *words; /* in the first finding; NULL = any */
};

static const struct card cards[] = {
    {"a plain day",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .date = D},
      {.path = "T002.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .date = D},
      {.path = "T003.wav", .start = CARD_AT(10, 7, 0), .seconds = 60, .date = D}},
     "",
     NULL},
    {"two days of folders",
     1,
     4,
     {{.path = "day1/A001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .date = D},
      {.path = "day1/A002.wav", .start = CARD_AT(11, 0, 0), .seconds = 60, .date = D},
      {.path = "day2/B001.wav", .start = CARD_AT(9, 0, 0), .seconds = 60, .date = "2026-05-05"},
      {.path = "day2/B002.wav", .start = CARD_AT(9, 30, 0), .seconds = 60, .date = "2026-05-05"}},
     "",
     NULL},
    {"over midnight",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(23, 59, 0), .seconds = 120},
      {.path = "T002.wav", .start = CARD_AT(0, 2, 0), .seconds = 60}},
     "",
     NULL},
    {"over midnight, dated",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(23, 59, 0), .seconds = 120, .date = D},
      {.path = "T002.wav", .start = CARD_AT(0, 2, 0), .seconds = 60, .date = "2026-05-05"}},
     "",
     NULL},
    {"no time at all",
     1,
     3,
     {{.path = "T001.wav", .start = TP_NO_TIMECODE, .seconds = 60},
      {.path = "T002.wav", .start = TP_NO_TIMECODE, .seconds = 60},
      {.path = "T003.wav", .start = TP_NO_TIMECODE, .seconds = 60}},
     "",
     NULL},
    {"a clock never set",
     1,
     2,
     {{.path = "T001.wav", .start = 0, .seconds = 60}, {.path = "T002.wav", .start = 0, .seconds = 60}},
     "",
     NULL},
    {"two recorders at once",
     2,
     2,
     {{.path = "A001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "B001.wav", .start = CARD_AT(10, 0, 10), .seconds = 60, .source = 1}},
     "",
     NULL},
    {"scenes count for themselves",
     1,
     4,
     {{.path = "12A-1.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
      {.path = "12A-2.wav", .start = CARD_AT(10, 2, 0), .seconds = 60, .scene = "12A", .take = "2"},
      {.path = "12B-1.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .scene = "12B", .take = "1"},
      {.path = "12B-2.wav", .start = CARD_AT(10, 6, 0), .seconds = 60, .scene = "12B", .take = "2"}},
     "",
     NULL},
    {"one number missing",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T003.wav", .start = CARD_AT(10, 5, 0), .seconds = 60}},
     "missing-take@1",
     "Number 2 is missing between T001 and T003."},
    {"three missing",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T005.wav", .start = CARD_AT(10, 5, 0), .seconds = 60}},
     "missing-take@1",
     "Number 2 to 4 are missing"},
    {"a leap",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T500.wav", .start = CARD_AT(10, 5, 0), .seconds = 60}},
     "missing-take@1",
     "The numbering leaps"},
    {"a take of a scene missing",
     1,
     2,
     {{.path = "12A-1.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
      {.path = "12A-3.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .scene = "12A", .take = "3"}},
     "missing-take@1",
     "Scene 12A: take 2 is missing"},
    {"the missing take is on the other card",
     2,
     3,
     {{.path = "12A-1.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
      {.path = "12A-3.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .scene = "12A", .take = "3"},
      {.path = "12A-2.wav", .start = CARD_AT(10, 2, 0), .seconds = 60, .scene = "12A", .take = "2", .source = 1}},
     "",
     NULL},
    {"a take that starts again",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
      {.path = "T002.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .scene = "12A", .take = "1"}},
     "duplicate-name@1",
     "take 1 is there twice: 'T001.wav' and 'T002.wav' (same length, contents differ)."},
    {"overlap",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T002.wav", .start = CARD_AT(10, 0, 30), .seconds = 60}},
     "timecode-overlap@1",
     "same 30.0 s"},
    {"within another",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 1, 0), .seconds = 20}},
     "timecode-overlap@1",
     "same 20.0 s"},
    {"other date, no overlap",
     1,
     2,
     {{.path = "x/T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .date = D},
      {.path = "y/A002.wav", .start = CARD_AT(10, 0, 30), .seconds = 60, .date = "2026-05-05"}},
     "",
     NULL},
    {"same content",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .sha256 = hash_a},
      {.path = "copy/X001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .sha256 = hash_a}},
     "duplicate-content@0",
     "are equal to the last byte"},
    {"same name and content",
     2,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .sha256 = hash_a},
      {.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .sha256 = hash_a, .source = 1}},
     "duplicate-content@0",
     "are equal to the last byte"},
    {"same name, other content",
     2,
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "t001.WAV", .start = CARD_AT(12, 0, 0), .seconds = 60, .source = 1}},
     "duplicate-name@0",
     "'card1: T001.wav' and 'card2: t001.WAV'"},
    {"clock back",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(15, 0, 0), .seconds = 60, .date = D},
      {.path = "T002.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .date = D}},
     "clock-jump@1",
     "5:00:00 earlier"},
    {"clock reset to its birth",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(15, 0, 0), .seconds = 60, .date = D},
      {.path = "T002.wav", .start = CARD_AT(0, 1, 0), .seconds = 60, .date = "2000-01-01"},
      {.path = "T003.wav", .start = CARD_AT(0, 3, 0), .seconds = 60, .date = "2000-01-01"}},
     "clock-jump@1",
     NULL},
    {"clock set late",
     1,
     2,
     {{.path = "T001.wav", .start = CARD_AT(0, 1, 0), .seconds = 60, .date = "2000-01-01"},
      {.path = "T002.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .date = D}},
     "clock-jump@1",
     "days later"},
    {"a renamed take of a scene is there",
     1,
     3,
     {{.path = "12B-T02.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12B", .take = "2"},
      {.path = "12B-T04.wav", .start = CARD_AT(10, 8, 0), .seconds = 60},
      {.path = "boom best.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .scene = "12B", .take = "3"}},
     "",
     NULL},
    {"a file without metadata has the take number of its name",
     1,
     3,
     {{.path = "12B-T01.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12B", .take = "1"},
      {.path = "12B-T02.wav", .start = TP_NO_TIMECODE, .seconds = 0},
      {.path = "12B-T03.wav", .start = CARD_AT(10, 8, 0), .seconds = 60, .scene = "12B", .take = "3"}},
     "",
     NULL},
    {"and still a number can be missing",
     1,
     3,
     {{.path = "12B-T01.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12B", .take = "1"},
      {.path = "12B-T02.wav", .start = TP_NO_TIMECODE, .seconds = 0},
      {.path = "12B-T04.wav", .start = CARD_AT(10, 8, 0), .seconds = 60, .scene = "12B", .take = "4"}},
     "missing-take@2",
     "Scene 12B: take 3 is missing between 12B-T02 and 12B-T04."},
    {"names that count files, not takes, say nothing of an empty file",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12B", .take = "1"},
      {.path = "T002.wav", .start = TP_NO_TIMECODE, .seconds = 0},
      {.path = "T003.wav", .start = CARD_AT(10, 8, 0), .seconds = 60, .scene = "12B", .take = "4"}},
     "missing-take@2",
     "Scene 12B: take 2 to 3 are missing"},
    {"a file that was renamed fills the number that it had",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T003.wav", .start = CARD_AT(10, 8, 0), .seconds = 60},
      {.path = "room.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .recorded_as = "T0002.WAV"}},
     "",
     NULL},
    {"and leaves what is missing beside it",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60},
      {.path = "T005.wav", .start = CARD_AT(10, 8, 0), .seconds = 60},
      {.path = "room.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .recorded_as = "T003.WAV"}},
     "missing-take@1 missing-take@1",
     "Number 2 is missing between T001 and T005."},
    {"files that were all renamed start no count of their own",
     1,
     2,
     {{.path = "a.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .recorded_as = "T001.WAV"},
      {.path = "b.wav", .start = CARD_AT(10, 8, 0), .seconds = 60, .recorded_as = "T009.WAV"}},
     "",
     NULL},
    {"parts of one recording are not there twice",
     1,
     3,
     {{.path = "T_0001.wav",
       .start = CARD_AT(10, 0, 0),
       .seconds = 60,
       .scene = "13",
       .take = "5",
       .family = "F",
       .set_total = 3},
      {.path = "T_0002.wav", .start = TP_NO_TIMECODE, .seconds = 0},
      {.path = "T_0003.wav",
       .start = CARD_AT(10, 2, 0),
       .seconds = 60,
       .scene = "13",
       .take = "5",
       .family = "F",
       .set_total = 3}},
     "",
     NULL},
    {"timecode rates that disagree",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .rate = "25/1"},
      {.path = "T002.wav", .start = CARD_AT(10, 2, 0), .seconds = 60, .rate = "24/1"},
      {.path = "T003.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .rate = "25/1"}},
     "wrong-timecode-rate@1",
     "it is 25 in 2 files, but 24 in 'T002.wav'."},
    {"one timecode rate, and files that say none",
     1,
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .rate = "25/1"},
      {.path = "T002.wav", .start = CARD_AT(10, 2, 0), .seconds = 60},
      {.path = "T003.wav", .start = CARD_AT(10, 4, 0), .seconds = 60, .rate = "25/1"}},
     "",
     NULL},
};

/* Whatever hash was computed, the same is found. */
static void judge_card(const struct card *card, enum tp_hash hash)
{
    struct tp_report *report = card_report(card->takes, card->count, card->sources);
    for (size_t i = 0; i < report->file_count; i++)
        card_hash_only(&report->files[i], hash);
    ck_assert_int_eq(tp_rules_judge_set(report, NULL), TP_OK);
    char *found = card_findings(report);
    ck_assert_msg(strcmp(found, card->findings) == 0, "%s: [%s] not [%s]: %s", card->name, found, card->findings,
                  report->finding_count > 0 ? report->findings[0].message : "");
    if (card->words != NULL)
        ck_assert_msg(strstr(report->findings[0].message, card->words) != NULL, "%s: %s", card->name,
                      report->findings[0].message);
    free(found);
    tp_report_free(report);
}

START_TEST(set__cards)
{
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        judge_card(&cards[_i], hash);
}
END_TEST

START_TEST(set__a_missing_take_has_its_number_for_value)
{
    const struct card_take takes[] = {
        {.path = "12A-1.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
        {.path = "12A-4.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .scene = "12A", .take = "4"}};
    struct tp_report *report = card_report(takes, 2, 1);
    ck_assert_int_eq(tp_rules_judge_set(report, NULL), TP_OK);
    ck_assert_uint_eq(report->finding_count, 1);
    ck_assert_double_eq(report->findings[0].value, 2.0);
    ck_assert_uint_eq(report->findings[0].more_places, 1);
    tp_report_free(report);
}
END_TEST

/* A rate that was agreed is held against each file, which fails by itself. */
START_TEST(set__agreed_timecode_rates_are_not_compared_again)
{
    const struct card_take takes[] = {{.path = "T001.wav", .start = 0, .seconds = 60, .rate = "25/1"},
                                      {.path = "T002.wav", .start = 0, .seconds = 60, .rate = "24/1"}};
    struct tp_report *report = card_report(takes, 2, 1);
    report->spec.timecode_rate = (struct tp_timecode_rate){25, 1, false};
    ck_assert_int_eq(tp_rules_judge_set(report, NULL), TP_OK);
    ck_assert_uint_eq(report->finding_count, 0);
    tp_report_free(report);
}
END_TEST

START_TEST(set__nothing_to_compare)
{
    struct tp_report *report = card_report(NULL, 0, 1);
    ck_assert_int_eq(tp_rules_judge_set(report, NULL), TP_OK);
    /* A source without one recording is itself the finding. */
    ck_assert_uint_eq(report->finding_count, 1);
    ck_assert_int_eq(report->findings[0].code, TP_CODE_MISSING_TAKE);
    ck_assert_int_eq(report->findings[0].severity, TP_FAIL);
    tp_report_free(report);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("set");
    TCase *tcase = tcase_create("set");
    tcase_add_loop_test(tcase, set__cards, 0, (int)(sizeof cards / sizeof cards[0]));
    tcase_add_test(tcase, set__nothing_to_compare);
    tcase_add_test(tcase, set__a_missing_take_has_its_number_for_value);
    tcase_add_test(tcase, set__agreed_timecode_rates_are_not_compared_again);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
