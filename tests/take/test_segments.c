/* SPDX-License-Identifier: MIT */
#include "take/segments.h"

#include "base/observe.h"
#include "support/cards.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define LIMIT ((uint64_t)1 << 32)

struct card {
    const char *name;
    size_t count;
    struct card_take takes[4];
    size_t takes_left;
    double gap_s; /* NAN: none observed */
    const char *words;
};

static const struct card cards[] = {
    {"parts that join to the sample",
     3,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0), .seconds = 600},
      {.path = "T003.wav", .start = CARD_AT(10, 20, 0), .seconds = 60}},
     1,
     NAN,
     NULL},
    {"takes with a pause",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 12, 0), .seconds = 600}},
     2,
     NAN,
     NULL},
    {"a near start is no part",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0) + 5, .seconds = 600}},
     2,
     NAN,
     NULL},
    {"a family with a gap",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600, .family = "F"},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0) + 480, .seconds = 600, .family = "F"}},
     1,
     0.01,
     "480 samples (0.0100 s) are missing"},
    {"a family with an overlap",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600, .family = "F"},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0) - 48, .seconds = 600, .family = "F"}},
     1,
     -0.001,
     "48 samples (0.0010 s) overlap"},
    {"another family",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600, .family = "F"},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0) + 480, .seconds = 600, .family = "G"}},
     2,
     NAN,
     NULL},
    {"split at 4 GiB with a gap",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600, .bytes = LIMIT - 1000},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0) + 4800, .seconds = 600}},
     1,
     0.1,
     "4800 samples"},
    {"over midnight",
     2,
     {{.path = "T001.wav", .start = CARD_AT(23, 55, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(0, 5, 0), .seconds = 600}},
     1,
     NAN,
     NULL},
    {"other folder",
     2,
     {{.path = "a/T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "b/T002.wav", .start = CARD_AT(10, 10, 0), .seconds = 600}},
     2,
     NAN,
     NULL},
    {"other source",
     2,
     {{.path = "T001.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 10, 0), .seconds = 600, .source = 1}},
     2,
     NAN,
     NULL},
    {"never timed",
     2,
     {{.path = "T001.wav", .start = 0, .seconds = 600}, {.path = "T002.wav", .start = 0, .seconds = 600}},
     2,
     NAN,
     NULL},
    {"no time",
     2,
     {{.path = "T001.wav", .start = TP_NO_TIMECODE, .seconds = 600},
      {.path = "T002.wav", .start = TP_NO_TIMECODE, .seconds = 600}},
     2,
     NAN,
     NULL},
    {"absurd time",
     2,
     {{.path = "T001.wav", .start = UINT64_MAX - 10, .seconds = 600},
      {.path = "T002.wav", .start = UINT64_MAX - 5, .seconds = 600}},
     2,
     NAN,
     NULL},
    {"two of three",
     3,
     {{.path = "T001.wav", .start = CARD_AT(9, 0, 0), .seconds = 600},
      {.path = "T002.wav", .start = CARD_AT(10, 0, 0), .seconds = 600},
      {.path = "T003.wav", .start = CARD_AT(10, 10, 0), .seconds = 600}},
     2,
     NAN,
     NULL},
};

START_TEST(segments__are_joined)
{
    const struct card *card = &cards[_i];
    struct tp_report *report = card_report(card->takes, card->count, 2);
    double seconds = 0.0, joined = 0.0;
    for (size_t i = 0; i < report->take_count; i++)
        seconds += report->takes[i].duration_s;
    ck_assert_int_eq(tp_segments_join(report, NULL), TP_OK);
    ck_assert_msg(report->take_count == card->takes_left, "%s: %zu takes", card->name, report->take_count);
    size_t files = 0, gaps = 0;
    for (size_t i = 0; i < report->take_count; i++) {
        joined += report->takes[i].duration_s;
        for (size_t f = 0; f < report->takes[i].file_count; f++, files++)
            ck_assert_uint_eq(report->files[report->takes[i].files[f]].take, i);
        const struct tp_file *last = &report->files[report->takes[i].files[report->takes[i].file_count - 1]];
        ck_assert_str_eq(report->takes[i].end_timecode, last->path);
    }
    ck_assert_uint_eq(files, card->count);
    ck_assert_double_eq_tol(joined, seconds, 1e-9);
    for (size_t i = 0; i < report->file_count; i++) {
        const struct tp_observations *seen = &report->files[i].observations;
        gaps += seen->count;
        if (seen->count > 0) {
            ck_assert_int_eq(seen->items[0].code, TP_CODE_SEGMENT_GAP);
            ck_assert_double_eq_tol(seen->items[0].value, card->gap_s, 1e-9);
            ck_assert_msg(strstr(seen->items[0].detail, card->words) != NULL, "%s", seen->items[0].detail);
        }
    }
    ck_assert_uint_eq(gaps, tp_exists(card->gap_s) ? 1 : 0);
    tp_report_free(report);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("segments");
    TCase *tcase = tcase_create("segments");
    tcase_add_loop_test(tcase, segments__are_joined, 0, (int)(sizeof cards / sizeof cards[0]));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
