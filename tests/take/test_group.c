/* SPDX-License-Identifier: MIT */
#include "take/group.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct stem_row {
    const char *name, *stem;
    enum tp_track_kind kind;
} stems[] = {
    {"12A-T3_Tr1.wav", "12A-T3", TP_TRACK_SURE},
    {"12A-T3_main.WAV", "12A-T3", TP_TRACK_SURE},
    {"12A-T3 - Safety.wav", "12A-T3", TP_TRACK_SURE},
    {"S01_1.wav", "S01", TP_TRACK_MAYBE},
    {"S01_L.wav", "S01", TP_TRACK_MAYBE},
    {"REC0001.wav", "REC0001", TP_TRACK_NONE},
    {"S01_001.wav", "S01_001", TP_TRACK_NONE},
    {"main.wav", "main", TP_TRACK_NONE},
    {"take.1.wav", "take", TP_TRACK_MAYBE},
    {"plain", "plain", TP_TRACK_NONE},
};

START_TEST(group__stem_of_a_name)
{
    const struct stem_row *row = &stems[_i];
    enum tp_track_kind kind;
    size_t length = tp_group_stem(row->name, &kind);
    ck_assert_msg(length == strlen(row->stem) && strncmp(row->name, row->stem, length) == 0, "%s: %.*s", row->name,
                  (int)length, row->name);
    ck_assert_int_eq(kind, row->kind);
}
END_TEST

START_TEST(group__brings_tracks_together)
{
    struct tp_group_file files[] = {
        {0, "a/1_ch1.wav", 900}, {0, "a/1_ch2.wav", 500000}, {0, "a/2_1.wav", 900},  {0, "a/2_2.wav", 500000},
        {0, "b/1_ch1.wav", 900}, {0, "c_1.wav", 100000},     {0, "c_2.wav", 120000}, {1, "a/1_ch1.wav", 900},
    };
    struct tp_groups groups;
    ck_assert_int_eq(tp_groups_make(files, 8, &groups, NULL), TP_OK);
    ck_assert_uint_eq(groups.count, 6);
    ck_assert_uint_eq(groups.items[0].file_count, 2); /* sure tracks, whatever their size */
    ck_assert_uint_eq(groups.items[1].file_count, 1); /* 2_1 and 2_2 differ too much to be two tracks */
    ck_assert_uint_eq(groups.items[2].file_count, 1);
    ck_assert_uint_eq(groups.items[3].file_count, 1); /* another folder */
    ck_assert_uint_eq(groups.items[4].file_count, 2);
    ck_assert_uint_eq(groups.items[4].files[0], 5);
    ck_assert_uint_eq(groups.items[4].files[1], 6);
    ck_assert_uint_eq(groups.items[5].files[0], 7);
    tp_groups_clear(&groups);
}
END_TEST

START_TEST(group__never_loses_a_file)
{
    struct tp_group_file files[100];
    static char names[100][16];
    for (size_t i = 0; i < 100; i++) {
        names[i][0] = 't';
        names[i][1] = '_';
        names[i][2] = (char)('0' + i / 10);
        names[i][3] = (char)('0' + i % 10);
        memcpy(names[i] + 4, ".wav", 5);
        files[i] = (struct tp_group_file){0, names[i], 1000};
    }
    struct tp_groups groups;
    ck_assert_int_eq(tp_groups_make(files, 100, &groups, NULL), TP_OK);
    size_t seen = 0;
    for (size_t i = 0; i < groups.count; i++)
        seen += groups.items[i].file_count;
    ck_assert_uint_eq(seen, 100);
    ck_assert_uint_eq(groups.count, 7);
    tp_groups_clear(&groups);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("group");
    TCase *tests = tcase_create("group");
    tcase_add_loop_test(tests, group__stem_of_a_name, 0, (int)(sizeof stems / sizeof *stems));
    tcase_add_test(tests, group__brings_tracks_together);
    tcase_add_test(tests, group__never_loses_a_file);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
