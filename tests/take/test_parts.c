/* SPDX-License-Identifier: MIT */
/* The file set is that of the iXML specification; a running number behind the name is common practice, no source. */
#include "take/parts.h"

#include "support/cards.h"
#include "take/segments.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *path, *stem;
    uint64_t number;
} names[] = {
    {"T05_0002.WAV", "T05", 2},    {"day 1/T05-0002.wav", "day 1/T05", 2},
    {"T05 1", "T05", 1},           {"12B-T02.wav", NULL, 0},
    {"_0002.wav", NULL, 0},        {"0002.wav", NULL, 0},
    {"a_1/T05.wav", NULL, 0},      {"T05_.wav", NULL, 0},
    {"T_0000000001.wav", NULL, 0}, {"T05_999999999.wav", "T05", 999999999},
};

START_TEST(parts__are_numbered_in_names)
{
    struct tp_part_name part;
    ck_assert_int_eq(tp_part_of_name(names[_i].path, &part), names[_i].stem != NULL);
    if (names[_i].stem == NULL)
        return;
    ck_assert_uint_eq(part.number, names[_i].number);
    ck_assert_uint_eq(part.stem_length, strlen(names[_i].stem));
    ck_assert_int_eq(strncmp(names[_i].path, names[_i].stem, part.stem_length), 0);
}
END_TEST

#define T(second) CARD_AT(10, 0, second)
#define OF(total, index, name) .family = name, .set_total = total, .set_index = index
#define SLATE .scene = "13", .take = "5"

static const struct {
    const char *name;
    size_t count;
    struct card_take takes[5];
    size_t takes_left, told; /* takes with a missing part */
    const char *words;       /* of the first that tells */
} cards[] = {
    {"all parts are here",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 1, "F")},
      {.path = "T_0002.wav", .start = T(5), .seconds = 5, OF(2, 2, "F")}},
     1,
     0,
     NULL},
    {"the first is lost",
     1,
     {{.path = "d/13-T03_0002.WAV", .start = T(0), .seconds = 5, OF(2, 0, "F")}},
     1,
     1,
     "Part 1 of 2 of this recording is not here; by the name of the others it would be '13-T03_0001.WAV'."},
    {"the last is lost",
     1,
     {{.path = "13-T04_0001.WAV", .start = T(0), .seconds = 5, OF(2, 1, "F")}},
     1,
     1,
     "Part 2 of 2 of this recording is not here; by the name of the others it would be '13-T04_0002.WAV'."},
    {"the middle of three is lost",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(3, 1, "F")},
      {.path = "T_0003.wav", .start = T(10), .seconds = 5, OF(3, 3, "F")}},
     1,
     1,
     "Part 2 of 3 of this recording is not here; by the name of the others it would be 'T_0002.wav'."},
    {"two of four are lost",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(4, 0, "F")},
      {.path = "T_0003.wav", .start = T(10), .seconds = 5, OF(4, 0, "F")}},
     1,
     1,
     "Parts 2 and 4 of 4 of this recording are not here; by the name of the others it would be 'T_0002.wav', "
     "'T_0004.wav'."},
    {"the place is told by the index alone",
     1,
     {{.path = "room.wav", .start = T(0), .seconds = 5, OF(2, 2, "F")}},
     1,
     1,
     "Part 1 of 2 of this recording is not here. Look"},
    {"the place is not told",
     1,
     {{.path = "T017.wav", .start = T(0), .seconds = 5, OF(2, 0, "F")}},
     1,
     1,
     "The recorder made 2 files of this recording, and only 1 is here."},
    {"counters that are no places",
     2,
     {{.path = "T_0017.wav", .start = T(0), .seconds = 5, OF(2, 0, "F")},
      {.path = "T_0018.wav", .start = T(30), .seconds = 5, OF(2, 0, "F")}},
     1,
     0,
     NULL},
    {"the tracks that were armed, and their mix",
     3,
     {{.path = "T_1.wav", .start = T(0), .seconds = 5, OF(3, 0, "F")},
      {.path = "T_3.wav", .start = T(0), .seconds = 5, OF(3, 0, "F")},
      {.path = "T_MIX.wav", .start = T(0), .seconds = 5, OF(3, 0, "F")}},
     3,
     0,
     NULL},
    {"no family: by the name",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 0, "")},
      {.path = "T_0002.wav", .start = T(20), .seconds = 5, OF(2, 0, "")}},
     2,
     0,
     NULL},
    {"an empty file is in its place",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 0, "F")},
      {.path = "T_0002.wav", .start = TP_NO_TIMECODE, .seconds = 0}},
     2,
     0,
     NULL},
    {"the other part is on the other card",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 1, "F")},
      {.path = "T_0002.wav", .start = T(5), .seconds = 5, OF(2, 2, "F"), .source = 1}},
     2,
     0,
     NULL},
    {"a copy of the card does not stand for the lost part",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 1, "F")},
      {.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(2, 1, "F"), .source = 1}},
     2,
     2,
     "Part 2 of 2"},
    {"a total that cannot be",
     1,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, OF(4000000000u, 1, "F")}},
     1,
     0,
     NULL},
    {"no file set: scene, take, number and time run on",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, SLATE},
      {.path = "T_0003.wav", .start = T(10), .seconds = 4, SLATE}},
     1,
     1,
     "Part 2 of this recording is not here; by the name of the others it would be 'T_0002.wav'."},
    {"no file set: another take of a scene",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, .scene = "13", .take = "1"},
      {.path = "T_0003.wav", .start = T(10), .seconds = 5, .scene = "13", .take = "3"}},
     2,
     0,
     NULL},
    {"no file set: one take number twice",
     2,
     {{.path = "T_0001.wav", .start = T(0), .seconds = 5, SLATE},
      {.path = "T_0003.wav", .start = T(40), .seconds = 5, SLATE}},
     2,
     0,
     NULL},
};

START_TEST(parts__missing_ones_are_told)
{
    struct tp_report *report = card_report(cards[_i].takes, cards[_i].count, 2);
    ck_assert_int_eq(tp_segments_join(report, NULL), TP_OK);
    ck_assert_int_eq(tp_parts_observe(report, NULL), TP_OK);
    ck_assert_msg(report->take_count == cards[_i].takes_left, "%s: %zu takes", cards[_i].name, report->take_count);
    size_t told = 0;
    for (size_t i = 0; i < report->file_count; i++)
        for (size_t k = 0; k < report->files[i].observations.count; k++) {
            const struct tp_observation *seen = &report->files[i].observations.items[k];
            ck_assert_int_eq(seen->code, TP_CODE_SEGMENT_GAP);
            if (tp_exists(seen->value)) /* a gap between two that are here */
                continue;
            ck_assert_msg(told++ > 0 || (cards[_i].words != NULL && strstr(seen->detail, cards[_i].words) != NULL),
                          "%s: %s", cards[_i].name, seen->detail);
            ck_assert_uint_eq(report->takes[report->files[i].take].files[0], i);
        }
    ck_assert_msg(told == cards[_i].told, "%s: %zu told", cards[_i].name, told);
    tp_report_free(report);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("parts");
    TCase *tcase = tcase_create("parts");
    tcase_add_loop_test(tcase, parts__are_numbered_in_names, 0, (int)(sizeof names / sizeof names[0]));
    tcase_add_loop_test(tcase, parts__missing_ones_are_told, 0, (int)(sizeof cards / sizeof cards[0]));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
