/* SPDX-License-Identifier: MIT */
#include "read/scan.h"

#include "base/io.h"
#include "base/text.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *root;

static void make_root(void)
{
    char pattern[] = "/tmp/tp-scan-XXXXXX";
    ck_assert_ptr_nonnull(mkdtemp(pattern));
    root = tp_strdup(pattern);
}

static void remove_root(void)
{
    char *command = tp_format("chmod -R u+rwx '%s'; rm -rf '%s'", root, root);
    ck_assert_int_eq(system(command), 0);
    free(command);
    free(root);
}

static void put(const char *path)
{
    char *full = tp_path_join(root, path);
    FILE *file = fopen(full, "w");
    ck_assert_msg(file != NULL, "%s", full);
    fputs("x", file);
    fclose(file);
    free(full);
}

static void put_folder(const char *path)
{
    char *full = tp_path_join(root, path);
    ck_assert_int_eq(mkdir(full, 0777), 0);
    free(full);
}

static void put_link(const char *target, const char *path)
{
    char *full = tp_path_join(root, path);
    ck_assert_int_eq(symlink(target, full), 0);
    free(full);
}

static void scan_root(struct tp_scan *scan)
{
    const char *sources[] = {root};
    ck_assert_int_eq(tp_scan_sources(sources, 1, scan, NULL), TP_OK);
}

static const struct tp_scan_entry *find(const struct tp_scan *scan, const char *path)
{
    for (size_t i = 0; i < scan->count; i++)
        if (strcmp(scan->entries[i].path, path) == 0)
            return &scan->entries[i];
    ck_abort_msg("'%s' was not listed", path);
    return NULL;
}

START_TEST(scan__orders_by_path_bytes_and_takes_every_case)
{
    put_folder("b");
    put("b/2.WAV");
    put("b/1.wav");
    put("a.Wav");
    put("a\xff.wav");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert_uint_eq(scan.count, 4);
    const char *expected[] = {"a.Wav", "a\xff.wav", "b/1.wav", "b/2.WAV"};
    for (size_t i = 0; i < 4; i++) {
        ck_assert_str_eq(scan.entries[i].path, expected[i]);
        ck_assert_ptr_null(scan.entries[i].why);
    }
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__lists_what_it_does_not_check)
{
    put("._a.wav");
    put(".hidden.wav");
    put("notes.txt");
    put("song.MP3");
    char *pipe_path = tp_path_join(root, "pipe.wav");
    ck_assert_int_eq(mkfifo(pipe_path, 0666), 0);
    free(pipe_path);
    put_link("/dev/zero", "zero.wav");
    put_folder(".waste");
    put_folder(".waste/1");
    put(".waste/1/old.wav");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert_uint_eq(scan.count, 7);
    for (size_t i = 0; i < scan.count; i++)
        ck_assert_ptr_nonnull(scan.entries[i].why);
    ck_assert_str_eq(find(&scan, "pipe.wav")->why, "named pipe, never opened");
    ck_assert_str_eq(find(&scan, "zero.wav")->why, "character device, never opened");
    tp_scan_clear(&scan);
}
END_TEST

/* What a computer keeps in a wastebasket on the card was deleted by somebody. */
START_TEST(scan__lists_but_does_not_check_hidden_folders)
{
    put_folder(".bin");
    put_folder(".bin/day");
    put(".bin/day/1.wav");
    put("2.wav");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert_str_eq(find(&scan, ".bin/day/1.wav")->why, "in a hidden folder: not checked");
    ck_assert_ptr_null(find(&scan, "2.wav")->why);
    tp_scan_clear(&scan);
}
END_TEST

/* The names are those that the operating systems give these folders: common knowledge, no source. */
START_TEST(scan__lists_but_does_not_check_folders_of_a_system)
{
    put_folder("$Recycle.bin");
    put_folder("$Recycle.bin/S-1");
    put("$Recycle.bin/S-1/$I1.WAV");
    put_folder("System Volume Information");
    put("System Volume Information/a.wav");
    put_folder("RECYCLERS");
    put("RECYCLERS/1.wav");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert_str_eq(find(&scan, "$Recycle.bin/S-1/$I1.WAV")->why, "in a wastebasket: not checked");
    ck_assert(!find(&scan, "$Recycle.bin/S-1/$I1.WAV")->may_be_wav);
    ck_assert_str_eq(find(&scan, "System Volume Information/a.wav")->why, "in a system folder: not checked");
    ck_assert_ptr_null(find(&scan, "RECYCLERS/1.wav")->why);
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__tells_lost_clusters)
{
    put_folder("FOUND.000");
    put("FOUND.000/FILE0000.CHK");
    put("FOUND.000/T01.WAV");
    put_folder("FOUND.00");
    put("FOUND.00/a.txt");
    char *full = tp_path_join(root, "FOUND.000/FILE0000.CHK");
    ck_assert_int_eq(truncate(full, 4096), 0);
    free(full);
    struct tp_scan scan;
    scan_root(&scan);
    const struct tp_scan_entry *piece = find(&scan, "FOUND.000/FILE0000.CHK");
    ck_assert(piece->is_lost_piece && piece->may_be_wav);
    ck_assert_ptr_nonnull(strstr(piece->why, "lost clusters"));
    ck_assert_ptr_null(find(&scan, "FOUND.000/T01.WAV")->why);
    ck_assert(!find(&scan, "FOUND.00/a.txt")->is_lost_piece);
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__knows_which_others_may_be_recordings)
{
    put("12B-T05");
    put(".hidden");
    put("._a.wav");
    put_folder(".Trashes");
    put(".Trashes/a");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert(find(&scan, "12B-T05")->may_be_wav);
    ck_assert(find(&scan, ".hidden")->may_be_wav);
    ck_assert(!find(&scan, "._a.wav")->may_be_wav);
    ck_assert(!find(&scan, ".Trashes/a")->may_be_wav);
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__ends_in_link_loops)
{
    put_folder("day");
    put("day/1.wav");
    put_link("..", "day/up");
    put_link("self", "self");
    put_link("nowhere.wav", "gone.wav");
    struct tp_scan scan;
    scan_root(&scan);
    ck_assert_ptr_nonnull(find(&scan, "day/up")->why);
    ck_assert_ptr_nonnull(find(&scan, "self")->why);
    ck_assert(!find(&scan, "self")->unreadable);
    ck_assert_msg(find(&scan, "gone.wav")->unreadable, "a recording that leads nowhere must become a finding");
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__unreadable_folder_is_told)
{
    put_folder("shut");
    put("shut/1.wav");
    char *shut = tp_path_join(root, "shut");
    ck_assert_int_eq(chmod(shut, 0), 0);
    free(shut);
    struct tp_scan scan;
    scan_root(&scan);
    if (geteuid() == 0)
        ck_assert_ptr_null(find(&scan, "shut/1.wav")->why); /* root reads it all the same */
    else
        ck_assert(find(&scan, "shut")->unreadable);
    tp_scan_clear(&scan);
}
END_TEST

START_TEST(scan__missing_source_is_an_error_with_its_name)
{
    const char *sources[] = {"/no/such/card"};
    struct tp_scan scan;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_scan_sources(sources, 1, &scan, &error), TP_ERR_OPEN);
    ck_assert_ptr_nonnull(strstr(tp_error_text(&error), "/no/such/card"));
    tp_error_clear(&error);
}
END_TEST

START_TEST(scan__keeps_sources_apart)
{
    put_folder("one");
    put_folder("two");
    put("one/t.wav");
    put("two/t.wav");
    char *one = tp_path_join(root, "one");
    char *two = tp_path_join(root, "two/t.wav");
    const char *sources[] = {two, one};
    struct tp_scan scan;
    ck_assert_int_eq(tp_scan_sources(sources, 2, &scan, NULL), TP_OK);
    ck_assert_uint_eq(scan.count, 2);
    ck_assert_uint_eq(scan.entries[0].source, 0);
    ck_assert_str_eq(scan.entries[0].opened, two);
    ck_assert_str_eq(scan.entries[1].path, "t.wav");
    tp_scan_clear(&scan);
    free(one);
    free(two);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("scan");
    TCase *tests = tcase_create("scan");
    tcase_add_checked_fixture(tests, make_root, remove_root);
    tcase_add_test(tests, scan__orders_by_path_bytes_and_takes_every_case);
    tcase_add_test(tests, scan__lists_what_it_does_not_check);
    tcase_add_test(tests, scan__lists_but_does_not_check_hidden_folders);
    tcase_add_test(tests, scan__lists_but_does_not_check_folders_of_a_system);
    tcase_add_test(tests, scan__tells_lost_clusters);
    tcase_add_test(tests, scan__knows_which_others_may_be_recordings);
    tcase_add_test(tests, scan__ends_in_link_loops);
    tcase_add_test(tests, scan__unreadable_folder_is_told);
    tcase_add_test(tests, scan__missing_source_is_an_error_with_its_name);
    tcase_add_test(tests, scan__keeps_sources_apart);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
