/* SPDX-License-Identifier: MIT */
#include "report/words.h"
#include "result.h"

#include "read/timecode.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct tp_timecode_rate rates[] = {
    {24000, 1001, false}, {24, 1, false}, {25, 1, false}, {30000, 1001, false}, {30000, 1001, true}, {30, 1, false},
    {48000, 1001, false}, {48, 1, false}, {50, 1, false}, {60000, 1001, false}, {60000, 1001, true}, {60, 1, false},
};

/* The reports name rates as the reader of timecode does, and read them back. */
START_TEST(words__rates_are_named_as_everywhere)
{
    struct tp_text text = {0};
    struct tp_timecode_rate back;
    tp_words_rate(rates[_i], &text);
    ck_assert_str_eq(text.bytes, tp_timecode_rate_name(rates[_i]));
    ck_assert(tp_words_rate_read(text.bytes, &back));
    ck_assert_uint_eq(back.numerator, rates[_i].numerator);
    ck_assert_uint_eq(back.denominator, rates[_i].denominator);
    ck_assert_int_eq(back.drop, rates[_i].drop);
    tp_text_clear(&text);
}
END_TEST

START_TEST(words__odd_rates_survive_as_fractions)
{
    struct tp_timecode_rate odd = {12345, 678, true}, back;
    struct tp_text text = {0};
    tp_words_rate(odd, &text);
    ck_assert_str_eq(text.bytes, "12345/678DF");
    ck_assert(tp_words_rate_read(text.bytes, &back));
    ck_assert(back.numerator == 12345 && back.denominator == 678 && back.drop);
    tp_text_clear(&text);
    static const char *const wrong[] = {"",   "x",   "25fps", "0",           "1/0",     "-25",
                                        "DF", "25.", "1e3",   "99999999999", "29.97 DF"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        ck_assert_msg(!tp_words_rate_read(wrong[i], &back) || strcmp(wrong[i], "25.") == 0, "'%s'", wrong[i]);
}
END_TEST

static const struct {
    uint64_t value;
    const char *count, *bytes;
} numbers[] = {
    {0, "0", "0 bytes"},
    {1, "1", "1 byte"},
    {999, "999", "999 bytes"},
    {1000, "1,000", "1.0 kB"},
    {999949, "999,949", "999.9 kB"},
    {999950, "999,950", "1.0 MB"},
    {2147483648, "2,147,483,648", "2.1 GB"},
    {UINT64_MAX, "18,446,744,073,709,551,615", "18.4 EB"},
};

START_TEST(words__counts_and_sizes)
{
    struct tp_text text = {0};
    tp_words_count(numbers[_i].value, &text);
    ck_assert_str_eq(text.bytes, numbers[_i].count);
    tp_text_clear(&text);
    tp_words_bytes(numbers[_i].value, &text);
    ck_assert_str_eq(text.bytes, numbers[_i].bytes);
    tp_text_clear(&text);
}
END_TEST

/* Two recordings of one scene and take: by path, and where two cards hold the same path, by id. */
START_TEST(words__clashing_takes_are_told_apart)
{
    char paths[3][9] = {"A/T3.wav", "B/T3.wav", "T4.wav"}, ids[3][7] = {"T3", "T3 (2)", "T4"};
    char takes_of_scene[3][2] = {"3", "3", "4"}, scene[] = "12A";
    struct tp_file files[] = {{.path = paths[0]}, {.path = paths[1]}, {.path = paths[2]}};
    size_t indexes[] = {0, 1, 2};
    struct tp_take takes[3];
    struct tp_report report = {.files = files, .file_count = 3, .takes = takes, .take_count = 3};
    for (size_t i = 0; i < 3; i++)
        takes[i] = (struct tp_take){
            .id = ids[i], .scene = scene, .take = takes_of_scene[i], .files = &indexes[i], .file_count = 1};
    struct tp_text text = {0};
    tp_words_take_apart(&report, &takes[1], &text);
    ck_assert_str_eq(text.bytes, "12A take 3 'B/T3.wav'");
    tp_text_clear(&text);
    tp_words_take_apart(&report, &takes[2], &text);
    ck_assert_str_eq(text.bytes, "12A take 4");
    tp_text_clear(&text);
    files[1].path = files[0].path;
    tp_words_take_apart(&report, &takes[1], &text);
    ck_assert_str_eq(text.bytes, "12A take 3 'T3 (2)'");
    tp_text_clear(&text);
}
END_TEST

/* Of several cards each take names its own, by the last part of its path where that is enough; equal takes of two cards
 * need no path besides. */
START_TEST(words__takes_of_several_cards_name_their_card)
{
    char paths[2][9] = {"T3.wav", "T3.wav"}, ids[2][7] = {"T3", "T3 (2)"}, number[] = "3", scene[] = "12A";
    char cards[3][10] = {"cards/S01", "cards/S02", "other/S01"};
    char *sources[] = {cards[0], cards[1]};
    struct tp_file files[] = {{.path = paths[0], .source = 0}, {.path = paths[1], .source = 1}};
    size_t indexes[] = {0, 1};
    struct tp_take takes[2];
    struct tp_report report = {
        .files = files, .file_count = 2, .takes = takes, .take_count = 2, .sources = sources, .source_count = 2};
    for (size_t i = 0; i < 2; i++)
        takes[i] =
            (struct tp_take){.id = ids[i], .scene = scene, .take = number, .files = &indexes[i], .file_count = 1};
    struct tp_text text = {0};
    tp_words_take_apart(&report, &takes[1], &text);
    ck_assert_str_eq(text.bytes, "12A take 3 on S02");
    tp_text_clear(&text);
    sources[1] = cards[2];
    tp_words_take_apart(&report, &takes[1], &text);
    ck_assert_str_eq(text.bytes, "12A take 3 on other/S01");
    tp_text_clear(&text);
    report.source_count = 1;
    ck_assert_ptr_null(tp_words_card(&report, &takes[0]));
}
END_TEST

static const struct {
    const char *path, *stem;
} made_copies[] = {
    {"12A-T01-salvaged.wav", "12A-T01"},
    {"day/12A-T01_clean.wav", "day/12A-T01"},
    {"12A-T01-2_clean.wav", "12A-T01"},
    {"12A-T01_f1ch3_clean.wav", "12A-T01"},
    {"12A-T01_F1CH3_CLEAN.WAV", "12A-T01_F1CH3"},
    {"12A_f12ch3-2_clean.wav", "12A"},
    {"12A-T01.wav", ""},
    {"_clean.wav", ""},
    {"-salvaged.wav", ""},
    {"7_clean.wav", "7"},
    {"", ""},
};

START_TEST(words__names_of_made_copies_lead_back_to_the_recording)
{
    size_t stem = tp_made_copy_stem(made_copies[_i].path);
    ck_assert_uint_eq(stem, strlen(made_copies[_i].stem));
    ck_assert_int_eq(memcmp(made_copies[_i].path, made_copies[_i].stem, stem), 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("words");
    TCase *tests = tcase_create("words");
    tcase_add_loop_test(tests, words__rates_are_named_as_everywhere, 0, sizeof rates / sizeof rates[0]);
    tcase_add_test(tests, words__odd_rates_survive_as_fractions);
    tcase_add_loop_test(tests, words__counts_and_sizes, 0, sizeof numbers / sizeof numbers[0]);
    tcase_add_test(tests, words__clashing_takes_are_told_apart);
    tcase_add_test(tests, words__takes_of_several_cards_name_their_card);
    tcase_add_loop_test(tests, words__names_of_made_copies_lead_back_to_the_recording, 0,
                        sizeof made_copies / sizeof made_copies[0]);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
