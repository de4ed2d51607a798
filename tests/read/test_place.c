/* SPDX-License-Identifier: MIT */
#include "read/place.h"

#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <unistd.h>

static char *root;

/* root/card/S01/T1.wav, root/link.wav to it; the working folder is root. */
static void set_up(void)
{
    root = scratch_new();
    char *folder = scratch_format("%s/card/S01", root), *file = scratch_format("%s/T1.wav", folder),
         *link = scratch_format("%s/link.wav", root);
    scratch_folder(folder);
    scratch_write(file, "x", 1);
    ck_assert_int_eq(symlink(file, link), 0);
    ck_assert_int_eq(chdir(root), 0);
    free(folder);
    free(file);
    free(link);
}

static void tear_down(void)
{
    ck_assert_int_eq(chdir("/"), 0);
    scratch_remove(root);
}

static const struct {
    const char *path, *directory;
    bool refused, always; /* with not_on_card, too */
} cases[] = {
    {"card/S01/T1.wav", "rescued", false, false},
    {"card/S01/T1.wav", "./rescued/deeper", false, false},
    {"card/S01/T1.wav", "card2", false, false},
    {"card/S01/T1.wav", "card/S01", true, true},
    {"card/S01/T1.wav", "card/S01/.", true, true},
    {"card/S01/T1.wav", "card/S01/rescued", true, false},
    {"card/S01/T1.wav", "card/rescued", true, false},
    {"card/S01/T1.wav", "card", true, false},
    {"card/S01/T1.wav", "new/../card/rescued", true, false}, /* not there yet and goes back */
    {"./card/S01/T1.wav", "rescued/../card/S02", true, false},
    {"link.wav", "card/S01", true, true},
    {"link.wav", "card/S01/rescued", true, false},
    {"link.wav", "card/rescued", true, false},
    {"card", "card", true, true},
    {"card", "card/S01/reports", true, true},
    {"card/S01", "card/reports", false, false}, /* a folder is named as the source: that one is kept off */
    {"card", "new/../card/reports", true, true},
    {"not_there.wav", "rescued", false, false},
};

START_TEST(place__nothing_goes_onto_the_card)
{
    uint64_t before = scratch_fingerprint(root);
    enum tp_status status = tp_place_check(cases[_i].path, cases[_i].directory, false, NULL);
    ck_assert_msg(status == (cases[_i].refused ? TP_ERR_USAGE : TP_OK), "%s into %s", cases[_i].path,
                  cases[_i].directory);
    status = tp_place_check(cases[_i].path, cases[_i].directory, true, NULL);
    ck_assert_msg(status == (cases[_i].always ? TP_ERR_USAGE : TP_OK), "%s into %s, no card", cases[_i].path,
                  cases[_i].directory);
    ck_assert_uint_eq(scratch_fingerprint(root), before);
}
END_TEST

/* From another place, by the whole path: only what lies below the recording's folder can be told, and cards by their
 * file system. */
START_TEST(place__whole_paths)
{
    ck_assert_int_eq(chdir("/"), 0);
    char *path = scratch_format("%s/card/S01/T1.wav", root), *below = scratch_format("%s/card/S01/out", root),
         *beside = scratch_format("%s/rescued", root);
    ck_assert_int_eq(tp_place_check(path, below, false, NULL), TP_ERR_USAGE);
    ck_assert_int_eq(tp_place_check(path, beside, false, NULL), TP_OK);
    free(path);
    free(below);
    free(beside);
}
END_TEST

/* Numbers: statfs(2), Linux man-pages: MSDOS_SUPER_MAGIC, UDF_SUPER_MAGIC, EXT4_SUPER_MAGIC, TMPFS_MAGIC; exFAT from
 * the kernel's magic.h. */
START_TEST(place__file_systems_of_cards)
{
    ck_assert(tp_is_card_file_system(0x4d44));
    ck_assert(tp_is_card_file_system(0x2011BAB0));
    ck_assert(tp_is_card_file_system(0x15013346));
    ck_assert(!tp_is_card_file_system(0xef53));
    ck_assert(!tp_is_card_file_system(0x01021994));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("place");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, place__nothing_goes_onto_the_card, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(tcase, place__whole_paths);
    tcase_add_test(tcase, place__file_systems_of_cards);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed != 0;
}
