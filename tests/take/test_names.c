/* SPDX-License-Identifier: MIT */
#include "take/names.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *pattern, *name;
    bool fits;
    const char *scene, *take, *track, *date;
    int64_t number; /* -1 = none */
} rows[] = {
    {"", "T012.wav", true, "", "", "", "", 12},
    {NULL, "folder9/T012.WAV", true, "", "", "", "", 12},
    {"", "260504_003.wav", true, "", "", "", "", 3},
    {"", "room tone.wav", true, "", "", "", "", -1},
    {"", "S01-0043_tr2.wav", true, "", "", "", "", 2},
    {"", ".wav", true, "", "", "", "", -1},
    {"", "99999999999999999999.wav", true, "", "", "", "", -1},
    {"{scene}-{take}", "12A-3.wav", true, "12A", "3", "", "", 3},
    {"{scene}-{take}", "12A-B-3.wav", true, "12A-B", "3", "", "", 3},
    {"{scene}-{take}", "12A3.wav", false, "", "", "", "", 3},
    {"{scene}_T{take}_{track}", "12A_T03_boom.wav", true, "12A", "03", "boom", "", 3},
    {"{scene}_T{take}_{track}", "12A_T03.wav", false, "", "", "", "", 3},
    {"{date}_{n}", "2026-05-04_017.wav", true, "", "", "", "2026-05-04", 17},
    {"{date}_{n}", "260504_017.wav", true, "", "", "", "260504", 17},
    {"{date}_{n}", "20260504_017.wav", true, "", "", "", "20260504", 17},
    {"{date}_{n}", "2605_017.wav", false, "", "", "", "", 17},
    {"{n}-{scene}", "0007-12A.wav", true, "12A", "", "", "", 7},
    {"{scene}-{take}-{scene}", "12A-3-12A.wav", true, "12A", "3", "", "", 12},
    {"{scene}-{take}-{scene}", "12A-3-12B.wav", false, "", "", "", "", 12},
    {"T{n}", "t012.wav", false, "", "", "", "", 12},
    {"take", "take.wav", true, "", "", "", "", -1},
    {"{scene} {take}", "\xC3\x89t\xC3\xA9 4.wav", true, "\xC3\x89t\xC3\xA9", "4", "", "", 4},
};

START_TEST(names__are_read)
{
    struct tp_name_fields f;
    ck_assert_int_eq(tp_name_read(rows[_i].pattern, rows[_i].name, &f), rows[_i].fits);
    ck_assert_str_eq(f.scene, rows[_i].scene);
    ck_assert_str_eq(f.take, rows[_i].take);
    ck_assert_str_eq(f.track, rows[_i].track);
    ck_assert_str_eq(f.date, rows[_i].date);
    ck_assert_int_eq(f.has_number ? (int64_t)f.number : -1, rows[_i].number);
}
END_TEST

static const struct {
    const char *pattern, *name;
    bool fits;
    const char *scene, *take;
} part_rows[] = {
    {"{scene}-T{take}", "13-T01_0001.WAV", true, "13", "01"},
    {"{scene}-T{take}", "day/13-T01.WAV", true, "13", "01"},
    {"{scene}_{take}", "13_2_0001.WAV", true, "13", "2"},
    {"{scene}-T{take}_{n}", "13-T01_0001.WAV", true, "13", "01"},
    {"{scene}-T{take}", "13-01_0001.WAV", false, "", ""},
    {"{scene}-T{take}", "13-T01_b.WAV", false, "", ""},
    {"", "13-T01_0001.WAV", true, "", ""},
};

START_TEST(names__of_parts_are_read_without_their_number)
{
    struct tp_name_fields f;
    ck_assert_int_eq(tp_name_read_part(part_rows[_i].pattern, part_rows[_i].name, &f), part_rows[_i].fits);
    ck_assert_str_eq(f.scene, part_rows[_i].scene);
    ck_assert_str_eq(f.take, part_rows[_i].take);
}
END_TEST

START_TEST(names__tell_a_renamed_file)
{
    ck_assert(tp_name_differs("12B-T0003.WAV", "HL01/boom best.WAV"));
    ck_assert(tp_name_differs("C:\\rec\\12B-T03.WAV", "boom best.WAV"));
    ck_assert(tp_name_differs("12B-T03", "12B-T04.wav"));
    static const char *const same[] = {"12B-T03.WAV",          "12b-t03.wav",     "12B-T03",
                                       "C:\\rec\\12B-T03.WAV", "rec/12B-T03.bwf", ""};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++)
        ck_assert_msg(!tp_name_differs(same[i], "day/12B-T03.WAV"), "%s", same[i]);
    ck_assert(!tp_name_differs("12B-T03.2", "12B-T03.2.WAV"));
    ck_assert(!tp_name_differs(NULL, "a.wav"));
}
END_TEST

START_TEST(names__hostile_ones_end_soon)
{
    char name[300], pattern[] = "{scene}a{scene}{take}{track}{take}a{track}{scene}{take}b";
    struct tp_name_fields f;
    memset(name, 'a', 255);
    name[255] = '\0';
    ck_assert(!tp_name_read(pattern, name, &f));
    memset(name, 'a', 299);
    name[299] = '\0';
    ck_assert(!tp_name_read("{scene}", name, &f));
    name[200] = '\0';
    ck_assert(!tp_name_read("{scene}", name, &f)); /* longer than a part may be */
    name[100] = '\0';
    ck_assert(tp_name_read("{scene}", name, &f));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("names");
    TCase *tcase = tcase_create("names");
    tcase_add_loop_test(tcase, names__are_read, 0, (int)(sizeof rows / sizeof rows[0]));
    tcase_add_loop_test(tcase, names__of_parts_are_read_without_their_number, 0,
                        (int)(sizeof part_rows / sizeof part_rows[0]));
    tcase_add_test(tcase, names__tell_a_renamed_file);
    tcase_add_test(tcase, names__hostile_ones_end_soon);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
