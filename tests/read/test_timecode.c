/* SPDX-License-Identifier: MIT */
#include "read/timecode.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct tp_timecode_rate r23976 = {24000, 1001, false}, r24 = {24, 1, false}, r25 = {25, 1, false},
                                     r2997nd = {30000, 1001, false}, r2997df = {30000, 1001, true},
                                     r30 = {30, 1, false}, r47952 = {48000, 1001, false}, r48 = {48, 1, false},
                                     r50 = {50, 1, false}, r5994nd = {60000, 1001, false},
                                     r5994df = {60000, 1001, true}, r60 = {60, 1, false};

/* Labels in a day by the counting of SMPTE ST 12-1; the doubled rates by the same rule. */
static const struct {
    struct tp_timecode_rate rate;
    uint64_t labels_per_day;
    unsigned nominal;
    const char *name;
} all[] = {
    {{24000, 1001, false}, 2073600, 24, "23.976"}, {{24, 1, false}, 2073600, 24, "24"},
    {{25, 1, false}, 2160000, 25, "25"},           {{30000, 1001, false}, 2592000, 30, "29.97ND"},
    {{30000, 1001, true}, 2589408, 30, "29.97DF"}, {{30, 1, false}, 2592000, 30, "30"},
    {{48000, 1001, false}, 4147200, 48, "47.952"}, {{48, 1, false}, 4147200, 48, "48"},
    {{50, 1, false}, 4320000, 50, "50"},           {{60000, 1001, false}, 5184000, 60, "59.94ND"},
    {{60000, 1001, true}, 5178816, 60, "59.94DF"}, {{60, 1, false}, 5184000, 60, "60"},
};
#define ALL (int)(sizeof all / sizeof all[0])

/* An odometer that knows only the rule in words: after the last frame of a minute, drop-frame skips the first labels of
 * the next unless its minute is a multiple of ten. Compared with the closed formulas over the whole day. */
START_TEST(timecode__every_label_of_a_day_goes_there_and_back)
{
    struct tp_timecode_rate rate = all[_i].rate;
    unsigned h = 0, m = 0, s = 0, f = 0;
    unsigned dropped = rate.drop ? all[_i].nominal / 15 : 0;
    for (uint64_t frame = 0; frame < all[_i].labels_per_day; frame++) {
        char expected[32], text[TP_TIMECODE_SIZE];
        snprintf(expected, sizeof expected, "%02u:%02u:%02u%c%02u", h, m, s, rate.drop ? ';' : ':', f);
        tp_timecode_text(text, frame, rate);
        uint64_t back = UINT64_MAX;
        if (strcmp(text, expected) != 0 || !tp_timecode_read(text, rate, &back) || back != frame)
            ck_abort_msg("%s frame %llu: %s, expected %s, back %llu", all[_i].name, (unsigned long long)frame, text,
                         expected, (unsigned long long)back);
        if (++f == all[_i].nominal) {
            f = 0;
            if (++s == 60) {
                s = 0;
                if (++m == 60) {
                    m = 0;
                    h++;
                }
                if (m % 10 != 0)
                    f = dropped;
            }
        }
    }
    ck_assert_uint_eq(h, 24);
    char text[TP_TIMECODE_SIZE];
    ck_assert_str_eq(tp_timecode_text(text, all[_i].labels_per_day, rate), rate.drop ? "00:00:00;00" : "00:00:00:00");
}
END_TEST

/* SMPTE ST 12-1 drop-frame pairs. */
static const struct {
    uint64_t frame;
    const char *label;
} published[] = {
    {0, "00:00:00;00"},       {1799, "00:00:59;29"},  {1800, "00:01:00;02"},   {3597, "00:01:59;29"},
    {3598, "00:02:00;02"},    {17981, "00:09:59;29"}, {17982, "00:10:00;00"},  {19781, "00:10:59;29"},
    {19782, "00:11:00;02"},   {53946, "00:30:00;00"}, {107891, "00:59:59;29"}, {107892, "01:00:00;00"},
    {2589407, "23:59:59;29"},
};

START_TEST(timecode__published_drop_frame_values)
{
    char text[TP_TIMECODE_SIZE];
    uint64_t frame;
    ck_assert_str_eq(tp_timecode_text(text, published[_i].frame, r2997df), published[_i].label);
    ck_assert(tp_timecode_read(published[_i].label, r2997df, &frame));
    ck_assert_uint_eq(frame, published[_i].frame);
}
END_TEST

START_TEST(timecode__day_wraps)
{
    char text[TP_TIMECODE_SIZE];
    ck_assert_str_eq(tp_timecode_text(text, 2589408, r2997df), "00:00:00;00");
    ck_assert_str_eq(tp_timecode_text(text, 2160000 + 25, r25), "00:00:01:00");
}
END_TEST

/* One real hour and ten label hours at 48 kHz: worked from the same rules, independently of this code. */
static const struct {
    struct tp_timecode_rate rate;
    uint64_t samples, frame;
    const char *label;
} worked[] = {
    {{24000, 1001, false}, 172800000, 86313, "00:59:56:09"},
    {{24, 1, false}, 172800000, 86400, "01:00:00:00"},
    {{25, 1, false}, 172800000, 90000, "01:00:00:00"},
    {{30000, 1001, false}, 172800000, 107892, "00:59:56:12"},
    {{30000, 1001, true}, 172800000, 107892, "01:00:00;00"},
    {{30, 1, false}, 172800000, 108000, "01:00:00:00"},
    {{24000, 1001, false}, 1729728000, 864000, "10:00:00:00"},
    {{24, 1, false}, 1728000000, 864000, "10:00:00:00"},
    {{25, 1, false}, 1728000000, 900000, "10:00:00:00"},
    {{30000, 1001, false}, 1729728000, 1080000, "10:00:00:00"},
    {{30000, 1001, true}, 1727998272, 1078920, "10:00:00;00"},
    {{30000, 1001, true}, 1727998271, 1078919, "09:59:59;29"},
    {{30, 1, false}, 1728000000, 1080000, "10:00:00:00"},
};

START_TEST(timecode__worked_values_at_48_khz)
{
    char text[TP_TIMECODE_SIZE];
    uint64_t frame = tp_timecode_frame(worked[_i].samples, 48000, worked[_i].rate);
    ck_assert_uint_eq(frame, worked[_i].frame);
    ck_assert_str_eq(tp_timecode_text(text, frame, worked[_i].rate), worked[_i].label);
}
END_TEST

START_TEST(timecode__frame_is_floor_to_the_sample)
{
    ck_assert_uint_eq(tp_timecode_frame(1919, 48000, r25), 0);
    ck_assert_uint_eq(tp_timecode_frame(1920, 48000, r25), 1);
    ck_assert_uint_eq(tp_timecode_frame(1601, 48000, r2997df), 0); /* 1601.6 samples a frame */
    ck_assert_uint_eq(tp_timecode_frame(1602, 48000, r2997df), 1);
    ck_assert_uint_eq(tp_timecode_frame(2001, 48000, r23976), 0);
    ck_assert_uint_eq(tp_timecode_frame(2002, 48000, r23976), 1);
    ck_assert_uint_eq(tp_timecode_frame(0, 0, r25), 0);
    ck_assert_uint_eq(tp_timecode_frame(UINT64_MAX, 1, r60), UINT64_MAX);
}
END_TEST

START_TEST(timecode__frame_counts_the_whole_day_without_rounding)
{
    /* Every frame of a day begins at the first sample at or after F * fs * den / num: ceil, in exact integers. */
    struct tp_timecode_rate rate = all[_i].rate;
    static const uint32_t sample_rates[] = {44100, 47952, 48000, 48048, 96000, 192000};
    for (size_t k = 0; k < sizeof sample_rates / sizeof sample_rates[0]; k++) {
        uint64_t fs = sample_rates[k];
        for (uint64_t frame = 1; frame < all[_i].labels_per_day; frame += 997) {
            uint64_t first = (frame * fs * rate.denominator + rate.numerator - 1) / rate.numerator;
            ck_assert_uint_eq(tp_timecode_frame(first, (uint32_t)fs, rate), frame);
            ck_assert_uint_eq(tp_timecode_frame(first - 1, (uint32_t)fs, rate), frame - 1);
        }
    }
}
END_TEST

START_TEST(timecode__bad_labels_are_refused)
{
    static const char *const bad[] = {"",
                                      "1:00:00:00",
                                      "24:00:00:00",
                                      "00:60:00:00",
                                      "00:00:60:00",
                                      "00:00:00:30",
                                      "00:00:00:0x",
                                      "00-00-00:00",
                                      "00:00:00:000",
                                      "-1:00:00:00",
                                      "00:00:00,00"};
    uint64_t frame;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        ck_assert_msg(!tp_timecode_read(bad[i], r30, &frame), "%s", bad[i]);
    ck_assert(!tp_timecode_read("00:01:00;00", r2997df, &frame));
    ck_assert(!tp_timecode_read("00:01:00;01", r2997df, &frame));
    ck_assert(tp_timecode_read("00:10:00;00", r2997df, &frame));
    ck_assert(tp_timecode_read("00:01:00:02", r2997df, &frame));
    ck_assert(!tp_timecode_read("00:01:00;03", r5994df, &frame));
    ck_assert(tp_timecode_read("00:01:00;04", r5994df, &frame));
    ck_assert_uint_eq(frame, 3600);
    ck_assert(!tp_timecode_read("00:00:00;00", r30, &frame));
    ck_assert(!tp_timecode_read("00:00:00:24", r24, &frame));
}
END_TEST

START_TEST(timecode__rate_names_are_read_back)
{
    struct tp_timecode_rate rate;
    ck_assert_str_eq(tp_timecode_rate_name(all[_i].rate), all[_i].name);
    ck_assert(tp_timecode_rate_is_known(all[_i].rate));
    ck_assert(tp_timecode_rate_read(all[_i].name, NULL, &rate));
    ck_assert_uint_eq(rate.numerator, all[_i].rate.numerator);
    ck_assert_uint_eq(rate.denominator, all[_i].rate.denominator);
    ck_assert_int_eq(rate.drop, all[_i].rate.drop);
}
END_TEST

static const struct {
    const char *text, *flag;
    const char *name; /* "" = refused */
} spellings[] = {
    {"24000/1001", "NDF", "23.976"},
    {"23.98", NULL, "23.976"},
    {"24/1", "NDF", "24"},
    {"25/1", "", "25"},
    {"25", "NDF", "25"},
    {"30000/1001", "DF", "29.97DF"},
    {"30000/1001", NULL, "29.97ND"},
    {"29.97", "DF", "29.97DF"},
    {"29.97", NULL, "29.97ND"},
    {"29.97 DF", NULL, "29.97DF"},
    {"2997/100", "NDF", "29.97ND"},
    {"60000/1001", "df", "59.94DF"},
    {"48000/1001", NULL, "47.952"},
    {"120000/4004", "DF", "29.97DF"},
    {"25/1", "DF", ""},
    {"30/1", "DF", ""},
    {"", NULL, ""},
    {"film", NULL, ""},
    {"25/0", NULL, ""},
    {"26", NULL, ""},
    {"29.97DF", "NDF", ""},
    {"25/1x", NULL, ""},
    {"-25", NULL, ""},
    {"25/1", "maybe", ""},
    {"99999999999999999999", NULL, ""},
};

START_TEST(timecode__rate_spellings)
{
    struct tp_timecode_rate rate = {0, 0, false};
    bool ok = tp_timecode_rate_read(spellings[_i].text, spellings[_i].flag, &rate);
    ck_assert_msg(ok == (spellings[_i].name[0] != '\0'), "%s", spellings[_i].text);
    ck_assert_str_eq(tp_timecode_rate_name(rate), spellings[_i].name);
}
END_TEST

START_TEST(timecode__unknown_rate_gives_no_text)
{
    char text[TP_TIMECODE_SIZE];
    uint64_t frame;
    struct tp_timecode_rate none = {0, 0, false};
    ck_assert_str_eq(tp_timecode_text(text, 100, none), "");
    ck_assert_str_eq(tp_timecode_rate_name(none), "");
    ck_assert(!tp_timecode_read("00:00:00:00", none, &frame));
    ck_assert_uint_eq(tp_timecode_frame(48000, 48000, none), 0);
    ck_assert(tp_timecode_rate_is_known(r47952) && tp_timecode_rate_is_known(r48) && tp_timecode_rate_is_known(r50) &&
              tp_timecode_rate_is_known(r2997nd) && tp_timecode_rate_is_known(r5994nd));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("timecode");
    TCase *tcase = tcase_create("timecode");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, timecode__every_label_of_a_day_goes_there_and_back, 0, ALL);
    tcase_add_loop_test(tcase, timecode__published_drop_frame_values, 0, (int)(sizeof published / sizeof published[0]));
    tcase_add_test(tcase, timecode__day_wraps);
    tcase_add_loop_test(tcase, timecode__worked_values_at_48_khz, 0, (int)(sizeof worked / sizeof worked[0]));
    tcase_add_test(tcase, timecode__frame_is_floor_to_the_sample);
    tcase_add_loop_test(tcase, timecode__frame_counts_the_whole_day_without_rounding, 0, ALL);
    tcase_add_test(tcase, timecode__bad_labels_are_refused);
    tcase_add_loop_test(tcase, timecode__rate_names_are_read_back, 0, ALL);
    tcase_add_loop_test(tcase, timecode__rate_spellings, 0, (int)(sizeof spellings / sizeof spellings[0]));
    tcase_add_test(tcase, timecode__unknown_rate_gives_no_text);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
