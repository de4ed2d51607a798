/* SPDX-License-Identifier: MIT */
#include "handoff/expected.h"
#include "handoff/verify.h"

#include "support/scratch.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char *root, *list;

static void put(const char *name, const char *text)
{
    char *path = scratch_format("%s/copy/%s", root, name);
    char *slash = strrchr(path, '/');
    *slash = '\0';
    scratch_folder(path);
    *slash = '/';
    scratch_write(path, text, strlen(text));
    free(path);
}

/* Three files, listed by sha256sum itself. */
static void set_up(void)
{
    root = scratch_new();
    list = scratch_format("%s/list.sha256", root);
    put("S01/a.wav", "aaaa");
    put("S01/b.wav", "bbbb");
    put("c\n\xff.txt", "cccccc");
    char *command = scratch_format("cd %s/copy && find . -type f -print0 | xargs -0 sha256sum > ../list.sha256", root);
    ck_assert_int_eq(system(command), 0);
    free(command);
}

static void tear_down(void)
{
    scratch_remove(root);
    free(list);
}

static struct tp_comparison *compare(void)
{
    char *folder = scratch_format("%s/copy", root);
    struct tp_expected expected;
    struct tp_error error = {0};
    ck_assert_msg(tp_expected_read(&expected, list, &error) == TP_OK, "%s", tp_error_text(&error));
    struct tp_comparison *made = calloc(1, sizeof *made);
    ck_assert_ptr_nonnull(made);
    const struct tp_compare_options options = {.expected = list, .folder = folder};
    ck_assert_msg(tp_verify(&expected.listing, &options, made, &error) == TP_OK, "%s", tp_error_text(&error));
    tp_expected_clear(&expected);
    free(folder);
    return made;
}

static const struct tp_compare_item *item_at(const struct tp_comparison *made, const char *path)
{
    for (size_t i = 0; i < made->item_count; i++)
        if (strcmp(made->items[i].path, path) == 0)
            return &made->items[i];
    ck_abort_msg("'%s' is not in the comparison", path);
}

static void drop(const char *name)
{
    char *path = scratch_format("%s/copy/%s", root, name);
    ck_assert_int_eq(unlink(path), 0);
    free(path);
}

START_TEST(verify__an_untouched_copy_is_equal)
{
    struct tp_comparison *made = compare();
    ck_assert_msg(made->equal && made->all_there, "%s", made->words);
    ck_assert_uint_eq(made->counts[TP_COMPARE_SAME], 3);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__missing_changed_extra_and_renamed_are_told_apart)
{
    drop("S01/a.wav");
    put("S01/renamed.wav", "aaaa");
    put("S01/b.wav", "bbbB");
    drop("c\n\xff.txt");
    put("extra.wav", "eeee");
    struct tp_comparison *made = compare();
    ck_assert(!made->equal && !made->all_there);
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_RENAMED);
    ck_assert_str_eq(item_at(made, "S01/a.wav")->found, "S01/renamed.wav");
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_CHANGED);
    ck_assert_int_eq(item_at(made, "c\n\xff.txt")->state, TP_COMPARE_MISSING);
    ck_assert_int_eq(item_at(made, "extra.wav")->state, TP_COMPARE_EXTRA);
    ck_assert_uint_eq(made->item_count, 4);
    ck_assert_int_eq(made->items[0].state, TP_COMPARE_MISSING);
    tp_comparison_free(made);
}
END_TEST

/* The tree one level off, and one file in it changed: the level is told all the same, and the file is no stranger. */
START_TEST(verify__a_changed_file_does_not_hide_that_the_folder_is_too_high)
{
    drop("S01/a.wav");
    drop("S01/b.wav");
    drop("c\n\xff.txt");
    put("card/S01/a.wav", "aaaa");
    put("card/S01/b.wav", "bbbB");
    put("card/c\n\xff.txt", "cccccc");
    put("other/S01/b.wav", "else");
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_RENAMED);
    ck_assert_str_eq(item_at(made, "S01/a.wav")->found, "card/S01/a.wav");
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_CHANGED);
    ck_assert_str_eq(item_at(made, "S01/b.wav")->found, "card/S01/b.wav");
    ck_assert_ptr_nonnull(made->hint);
    ck_assert_ptr_nonnull(strstr(made->hint, "too high"));
    ck_assert_uint_eq(made->counts[TP_COMPARE_MISSING], 0);
    ck_assert_uint_eq(made->counts[TP_COMPARE_EXTRA], 1);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__a_changed_file_does_not_hide_that_the_folder_is_too_low)
{
    put("S01/d.wav", "dddd");
    char *command = scratch_format("cd %s/copy && sha256sum S01/*.wav > ../list.sha256 && mv S01/*.wav .", root);
    ck_assert_int_eq(system(command), 0);
    free(command);
    put("b.wav", "bbbB");
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_CHANGED);
    ck_assert_ptr_nonnull(made->hint);
    ck_assert_ptr_nonnull(strstr(made->hint, "too low"));
    tp_comparison_free(made);
}
END_TEST

/* The hash is the one that coreutils wrote into the list. */
START_TEST(verify__a_changed_file_in_another_folder_is_changed_and_the_right_hash_is_named)
{
    drop("S01/a.wav");
    put("elsewhere/a.wav", "AAAA");
    struct tp_comparison *made = compare();
    const struct tp_compare_item *item = item_at(made, "S01/a.wav");
    ck_assert_int_eq(item->state, TP_COMPARE_CHANGED);
    ck_assert_str_eq(item->found, "elsewhere/a.wav");
    ck_assert_str_eq(item->listed_hash_kind, "sha256");
    ck_assert_str_eq(item->listed_hash, "61be55a8e2f6b4e172338bddf184d6dbee29c98853e0a0485ecee7f27b9af0b4");
    ck_assert_uint_eq(made->counts[TP_COMPARE_EXTRA], 0);
    ck_assert(!made->all_there);
    ck_assert_ptr_nonnull(strstr(made->next, "another copy"));
    tp_comparison_free(made);
}
END_TEST

/* Two strangers of one name: which of them it was cannot be said. */
START_TEST(verify__two_namesakes_leave_a_file_missing)
{
    drop("S01/a.wav");
    put("one/a.wav", "AAAA");
    put("two/a.wav", "AAaa");
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_MISSING);
    ck_assert_uint_eq(made->counts[TP_COMPARE_EXTRA], 2);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__two_missing_of_equal_content_need_two_files)
{
    put("S01/b.wav", "aaaa");
    char *command = scratch_format("cd %s/copy && sha256sum S01/a.wav S01/b.wav > ../list.sha256", root);
    ck_assert_int_eq(system(command), 0);
    free(command);
    drop("S01/a.wav");
    drop("S01/b.wav");
    drop("c\n\xff.txt");
    put("one.wav", "aaaa");
    struct tp_comparison *made = compare();
    ck_assert_uint_eq(made->counts[TP_COMPARE_RENAMED], 1);
    ck_assert_uint_eq(made->counts[TP_COMPARE_MISSING], 1);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__a_folder_or_pipe_in_place_of_a_file_is_not_the_file)
{
    drop("S01/a.wav");
    drop("S01/b.wav");
    char *command = scratch_format("mkdir %s/copy/S01/a.wav; mkfifo %s/copy/S01/b.wav", root, root);
    ck_assert_int_eq(system(command), 0);
    free(command);
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_MISSING);
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_UNREADABLE);
    ck_assert(!made->all_there);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__only_an_extra_file_leaves_everything_there)
{
    put("extra.wav", "eeee");
    struct tp_comparison *made = compare();
    ck_assert(made->all_there && !made->equal);
    tp_comparison_free(made);
}
END_TEST

/* coreutils agree about which files are the same. */
START_TEST(verify__agrees_with_sha256sum)
{
    if (_i & 1)
        put("S01/a.wav", "aaab");
    if (_i & 2)
        put("S01/b.wav", "bbbbb");
    if (_i & 4)
        drop("c\n\xff.txt");
    char *folder = scratch_format("%s/copy", root);
    const char *argv[] = {"sha256sum", "--check", "--quiet", list, NULL};
    struct run run;
    run_program(argv, folder, NULL, 0, &run);
    struct tp_comparison *made = compare();
    ck_assert_int_eq(made->equal, run.exit_status == 0);
    tp_comparison_free(made);
    run_clear(&run);
    free(folder);
}
END_TEST

/* xxhsum's lists of either hash: what is changed, renamed and extra is told by that hash alone. */
START_TEST(verify__lists_of_xxhsum_are_held_to)
{
    static const char *const made_by[] = {"xxhsum", "xxhsum --tag", "xxhsum -H3"};
    drop("c\n\xff.txt");
    char *command = scratch_format("cd %s/copy && %s S01/a.wav S01/b.wav > ../list.sha256", root, made_by[_i]);
    ck_assert_int_eq(system(command), 0);
    struct tp_comparison *made = compare();
    ck_assert(made->equal);
    tp_comparison_free(made);
    put("S01/a.wav", "aaab");
    drop("S01/b.wav");
    put("S01/renamed.wav", "bbbb");
    put("S01/extra.wav", "eeee");
    made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_CHANGED);
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_RENAMED);
    ck_assert_str_eq(item_at(made, "S01/b.wav")->found, "S01/renamed.wav");
    ck_assert_int_eq(item_at(made, "S01/extra.wav")->state, TP_COMPARE_EXTRA);
    tp_comparison_free(made);
    free(command);
}
END_TEST

/* Of several hashes of a file one wrong one is enough. XXH3 of "aaaa" by xxhsum 0.8.1. */
START_TEST(verify__each_listed_hash_counts)
{
    static const char text[] = "61be55a8e2f6b4e172338bddf184d6dbee29c98853e0a0485ecee7f27b9af0b4  S01/a.wav\n"
                               "XXH3 (S01/a.wav) = 4b134ec1c5393727\n";
    scratch_write(list, text, sizeof text - 1);
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_SAME);
    tp_comparison_free(made);
    char wrong[sizeof text];
    memcpy(wrong, text, sizeof text);
    wrong[sizeof text - 3] = wrong[sizeof text - 3] == '0' ? '1' : '0';
    scratch_write(list, wrong, sizeof wrong - 1);
    made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_CHANGED);
    tp_comparison_free(made);
}
END_TEST

START_TEST(verify__the_record_of_an_offload_is_a_list)
{
    static const char record[] =
        "{\"format\": 1, \"may_be_wiped\": true, \"files\": ["
        "{\"path\": \"S01/a.wav\", \"bytes\": 4, \"hashes\": {\"sha256\": "
        "\"61be55a8e2f6b4e172338bddf184d6dbee29c98853e0a0485ecee7f27b9af0b4\"}},"
        "{\"path\": \"c\\n\\ufffd.txt\", \"path_hex\": \"630aff2e747874\", \"bytes\": 6, \"hashes\": null}]}";
    scratch_write(list, record, sizeof record - 1);
    struct tp_comparison *made = compare();
    ck_assert_int_eq(item_at(made, "S01/a.wav")->state, TP_COMPARE_SAME);
    ck_assert_int_eq(item_at(made, "c\n\xff.txt")->state, TP_COMPARE_UNPROVEN);
    ck_assert_int_eq(item_at(made, "S01/b.wav")->state, TP_COMPARE_EXTRA);
    ck_assert(!made->equal);
    tp_comparison_free(made);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("verify");
    TCase *cases = tcase_create("verify");
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_test(cases, verify__an_untouched_copy_is_equal);
    tcase_add_test(cases, verify__missing_changed_extra_and_renamed_are_told_apart);
    tcase_add_test(cases, verify__a_changed_file_does_not_hide_that_the_folder_is_too_high);
    tcase_add_test(cases, verify__a_changed_file_does_not_hide_that_the_folder_is_too_low);
    tcase_add_test(cases, verify__a_changed_file_in_another_folder_is_changed_and_the_right_hash_is_named);
    tcase_add_test(cases, verify__two_namesakes_leave_a_file_missing);
    tcase_add_test(cases, verify__two_missing_of_equal_content_need_two_files);
    tcase_add_test(cases, verify__a_folder_or_pipe_in_place_of_a_file_is_not_the_file);
    tcase_add_test(cases, verify__only_an_extra_file_leaves_everything_there);
    tcase_add_loop_test(cases, verify__agrees_with_sha256sum, 0, 8);
    tcase_add_loop_test(cases, verify__lists_of_xxhsum_are_held_to, 0, 3);
    tcase_add_test(cases, verify__each_listed_hash_counts);
    tcase_add_test(cases, verify__the_record_of_an_offload_is_a_list);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || ran == 0 ? 1 : 0;
}
