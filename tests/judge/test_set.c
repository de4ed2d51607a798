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
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
