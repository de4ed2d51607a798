/* SPDX-License-Identifier: MIT */
#include "handoff/copier.h"

#include "support/scratch.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static char *root, *card, *one, *two;

static void set_up(void)
{
    root = scratch_new();
    card = scratch_format("%s/card", root);
    one = scratch_format("%s/one", root);
    two = scratch_format("%s/two/deep", root);
    scratch_folder(card);
}

static void tear_down(void)
{
    scratch_remove(root);
    free(card);
    free(one);
    free(two);
}

/* Bytes that differ everywhere, so that a shifted block cannot pass. */
static void put(const char *folder, const char *name, size_t size, unsigned seed)
{
    char *path = scratch_format("%s/%s", folder, name);
    char *slash = strrchr(path, '/');
    *slash = '\0';
    scratch_folder(path);
    *slash = '/';
    uint8_t *bytes = malloc(size + 1);
    ck_assert_ptr_nonnull(bytes);
    uint32_t state = seed * 2654435761u + 1;
    for (size_t i = 0; i < size; i++) {
        state = state * 1664525u + 1013904223u;
        bytes[i] = (uint8_t)(state >> 24);
    }
    scratch_write(path, bytes, size);
    struct timespec times[2] = {{.tv_sec = 1700000000 + (time_t)seed},
                                {.tv_sec = 1600000000 + (time_t)seed, .tv_nsec = 5000}};
    ck_assert_int_eq(utimensat(AT_FDCWD, path, times, 0), 0);
    free(bytes);
    free(path);
}

static void put_card(void)
{
    put(card, "S01/12A-T001.wav", 3 * 1024 * 1024 + 17, 1);
    put(card, "S01/12A-T002.wav", 1024 * 1024, 2);
    put(card, "notes.txt", 40, 3);
    put(card, "empty.wav", 0, 4);
    put(card, "odd\nname \xff\\.wav", 4097, 5);
    char *folder = scratch_format("%s/no takes yet/inner", card);
    scratch_folder(folder);
    free(folder);
}

static struct tp_copier_options options_for(const char *const *destinations, size_t count)
{
    return (struct tp_copier_options){.card = card, .destinations = destinations, .destination_count = count};
}

static struct tp_offload_result *run(const struct tp_copier_options *options)
{
    struct tp_error error = {0};
    struct tp_copier *copier;
    struct tp_offload_result *result;
    ck_assert_msg(tp_copier_open(&copier, options, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_int_eq(tp_copier_rest(copier, NULL, &error), TP_OK);
    ck_assert_int_eq(tp_copier_finish(copier, &result, &error), TP_OK);
    tp_copier_close(copier);
    return result;
}

static enum tp_status refusal(const struct tp_copier_options *options, const char *words)
{
    struct tp_error error = {0};
    struct tp_copier *copier;
    enum tp_status status = tp_copier_open(&copier, options, &error);
    ck_assert_msg(strstr(tp_error_text(&error), words) != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
    return status;
}

/* Contents, names and times agree: diffutils and coreutils are the judges. */
static void same_as_card(const char *destination)
{
    static const char *const script =
        "diff -r \"$0\" \"$1\" && (cd \"$0\" && find . ! -path . -printf '%P %y %T@\\n' | LC_ALL=C sort) > \"$2.a\" && "
        "(cd \"$1\" && find . ! -path . -printf '%P %y %T@\\n' | LC_ALL=C sort) > \"$2.b\" && cmp \"$2.a\" \"$2.b\"";
    char *list = scratch_format("%s/list", root);
    const char *argv[] = {"sh", "-c", script, card, destination, list, NULL};
    struct run outcome;
    run_program(argv, NULL, NULL, 0, &outcome);
    ck_assert_msg(outcome.exit_status == 0, "%s%s", outcome.out, outcome.err);
    run_clear(&outcome);
    free(list);
}

static const struct tp_offload_file *file_named(const struct tp_offload_result *result, const char *path)
{
    for (size_t i = 0; i < result->file_count; i++)
        if (strcmp(result->files[i].path, path) == 0)
            return &result->files[i];
    ck_abort_msg("no file '%s'", path);
}

START_TEST(copier__two_destinations_get_everything_and_the_card_may_be_wiped)
{
    put_card();
    uint64_t before = scratch_fingerprint(card);
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_offload_result *result = run(&options);
    ck_assert_msg(result->may_be_wiped && result->complete, "%s", result->words);
    ck_assert_uint_eq(result->file_count, 5);
    ck_assert_uint_eq(result->destinations[0].copied, 5);
    ck_assert_uint_eq(result->destinations[1].failed, 0);
    ck_assert_uint_eq(result->destinations[0].bytes_copied, 3 * 1024 * 1024 + 17 + 1024 * 1024 + 40 + 4097);
    ck_assert_int_ne(result->destinations[0].readback, TP_READBACK_NONE);
    same_as_card(one);
    same_as_card(two);
    ck_assert_uint_eq(scratch_fingerprint(card), before);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__one_copy_is_not_enough)
{
    put_card();
    const char *destinations[] = {one};
    struct tp_copier_options options = options_for(destinations, 1);
    struct tp_offload_result *result = run(&options);
    ck_assert(result->complete && !result->may_be_wiped);
    ck_assert_msg(strstr(result->words, "NOT wipe") != NULL, "%s", result->words);
    tp_offload_result_free(result);
    options.copies_wanted = 1;
    result = run(&options);
    ck_assert_msg(result->may_be_wiped, "%s", result->words);
    ck_assert_uint_eq(result->destinations[0].kept, 5);
    ck_assert_uint_eq(result->destinations[0].copied, 0);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__an_empty_card_is_not_called_safe)
{
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_offload_result *result = run(&options);
    ck_assert(!result->may_be_wiped);
    tp_offload_result_free(result);
}
END_TEST

/* One byte, same size and time: only reading it back can tell. */
START_TEST(copier__a_differing_file_is_left_alone_and_named)
{
    put_card();
    put(one, "S01/12A-T001.wav", 3 * 1024 * 1024 + 17, 1);
    char *path = scratch_format("%s/S01/12A-T001.wav", one);
    int fd = open(path, O_RDWR);
    ck_assert_int_eq(pwrite(fd, "\x55\xaa", 2, 2 * 1024 * 1024 + 5), 2);
    close(fd);
    put(one, "notes.txt", 41, 3);
    uint64_t before = scratch_fingerprint(path);
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_offload_result *result = run(&options);
    ck_assert(!result->may_be_wiped && !result->complete);
    const struct tp_offload_file *take = file_named(result, "S01/12A-T001.wav");
    ck_assert_int_eq(take->copies[0].state, TP_COPY_CONFLICT);
    ck_assert_int_eq(take->copies[1].state, TP_COPY_COPIED);
    ck_assert_msg(strstr(take->copies[0].message, "alike up to about 2.0 MB") != NULL, "%s", take->copies[0].message);
    ck_assert_int_eq(file_named(result, "notes.txt")->copies[0].state, TP_COPY_CONFLICT);
    ck_assert_uint_eq(scratch_fingerprint(path), before);
    tp_offload_result_free(result);

    options.set_aside = true;
    result = run(&options);
    ck_assert_msg(result->may_be_wiped, "%s", result->words);
    ck_assert_uint_eq(result->destinations[0].copied, 2);
    ck_assert_uint_eq(result->destinations[0].kept, 3);
    char *aside = scratch_format("%s.differs", path);
    ck_assert_int_eq(access(aside, F_OK), 0);
    free(aside);
    free(path);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__nested_folders_are_refused_before_anything_is_made)
{
    put_card();
    char *inside = scratch_format("%s/copies/new", card), *back = scratch_format("%s/nowhere/../card/x", root);
    uint64_t before = scratch_fingerprint(root);
    const char *lists[][2] = {{inside, NULL}, {card, NULL}, {root, NULL}, {back, NULL}};
    static const char *const words[] = {"lies inside the card", "lies inside the card", "lies inside the destination",
                                        "goes back"};
    for (size_t i = 0; i < 4; i++) {
        struct tp_copier_options options = options_for(lists[i], 1);
        ck_assert_int_eq(refusal(&options, words[i]), TP_ERR_USAGE);
    }
    ck_assert_uint_eq(scratch_fingerprint(root), before);
    char *same = scratch_format("%s/./one/", root), *under = scratch_format("%s/one/two", root);
    const char *twice[] = {one, same}, *nested[] = {one, under};
    struct tp_copier_options options = options_for(twice, 2);
    ck_assert_int_eq(refusal(&options, "same or lie inside"), TP_ERR_USAGE);
    options = options_for(nested, 2);
    ck_assert_int_eq(refusal(&options, "same or lie inside"), TP_ERR_USAGE);
    free(same);
    free(under);
    free(inside);
    free(back);
}
END_TEST

START_TEST(copier__a_link_into_the_card_is_the_card)
{
    put_card();
    char *link = scratch_format("%s/link", root), *inner = scratch_format("%s/link/S01/x", root);
    ck_assert_int_eq(symlink(card, link), 0);
    const char *destinations[] = {inner};
    struct tp_copier_options options = options_for(destinations, 1);
    ck_assert_int_eq(refusal(&options, "lies inside the card"), TP_ERR_USAGE);
    free(link);
    free(inner);
}
END_TEST

START_TEST(copier__a_locked_destination_is_refused)
{
    put_card();
    scratch_folder(one);
    int fd = open(one, O_RDONLY);
    ck_assert_int_eq(flock(fd, LOCK_EX | LOCK_NB), 0);
    const char *destinations[] = {one};
    struct tp_copier_options options = options_for(destinations, 1);
    ck_assert_int_eq(refusal(&options, "another offload"), TP_ERR_EXISTS);
    close(fd);
    struct tp_offload_result *result = run(&options);
    ck_assert(result->complete);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__what_an_interrupted_run_left_is_cleared)
{
    put_card();
    char *left = scratch_format("%s/" TP_COPY_FOLDER "/7.part", one),
         *folder = scratch_format("%s/" TP_COPY_FOLDER, one);
    scratch_folder(folder);
    scratch_write(left, "half", 4);
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_offload_result *result = run(&options);
    ck_assert(result->may_be_wiped);
    same_as_card(one);
    tp_offload_result_free(result);
    free(left);
    free(folder);
}
END_TEST

START_TEST(copier__what_is_no_file_is_accounted_for)
{
    put_card();
    char *pipe_path = scratch_format("%s/pipe.wav", card);
    ck_assert_int_eq(mkfifo(pipe_path, 0666), 0);
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_offload_result *result = run(&options);
    ck_assert(!result->may_be_wiped);
    ck_assert_msg(strstr(result->words, "pipe.wav") != NULL, "%s", result->words);
    tp_offload_result_free(result);
    free(pipe_path);
}
END_TEST

/* The pipeline's half of the seam, with what can go wrong in it. */
static struct tp_offload_result *run_with_change(void (*meanwhile)(const char *opened))
{
    const char *destinations[] = {one, two};
    struct tp_copier_options options = options_for(destinations, 2);
    struct tp_copier *copier;
    ck_assert_int_eq(tp_copier_open(&copier, &options, NULL), TP_OK);
    char *opened = scratch_format("%s/notes.txt", card);
    struct tp_tap tap;
    struct tp_copy *copy = tp_copier_begin(copier, "notes.txt", opened, &tap);
    ck_assert_ptr_nonnull(copy);
    struct tp_tap again;
    ck_assert_ptr_null(tp_copier_begin(copier, "notes.txt", opened, &again));
    again.bytes(again.user, (const uint8_t *)"x", 1);
    size_t size;
    char *bytes = scratch_read(opened, &size);
    tap.bytes(tap.user, (uint8_t *)bytes, size);
    if (meanwhile != NULL)
        meanwhile(opened);
    struct run sum;
    const char *argv[] = {"sha256sum", opened, NULL};
    run_program(argv, NULL, NULL, 0, &sum);
    sum.out[64] = '\0';
    struct tp_copy_outcome outcome = {.status = TP_OK, .sha256 = sum.out, .xxh64 = "0000000000000000"};
    tp_copier_end(copier, copy, &outcome);
    ck_assert_int_eq(tp_copier_rest(copier, NULL, NULL), TP_OK);
    struct tp_offload_result *result;
    ck_assert_int_eq(tp_copier_finish(copier, &result, NULL), TP_OK);
    tp_copier_close(copier);
    run_clear(&sum);
    free(bytes);
    free(opened);
    return result;
}

static void touch(const char *opened)
{
    scratch_write(opened, "0123456789012345678901234567890123456789", 40);
}
static void lengthen(const char *opened)
{
    scratch_write(opened, "01234567890123456789012345678901234567890", 41);
}
static void vanish(const char *opened)
{
    unlink(opened);
}

START_TEST(copier__a_file_that_changes_while_read_is_not_claimed)
{
    static void (*const changes[])(const char *) = {touch, lengthen, vanish};
    put_card();
    struct tp_offload_result *result = run_with_change(changes[_i]);
    ck_assert(!result->may_be_wiped);
    ck_assert_ptr_nonnull(file_named(result, "notes.txt")->message);
    char *copy = scratch_format("%s/notes.txt", one);
    ck_assert_int_ne(access(copy, F_OK), 0);
    free(copy);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__a_tapped_file_is_copied_like_the_rest)
{
    put_card();
    struct tp_offload_result *result = run_with_change(NULL);
    ck_assert_msg(result->may_be_wiped, "%s", result->words);
    same_as_card(one);
    tp_offload_result_free(result);
}
END_TEST

START_TEST(copier__unfinished_work_leaves_no_names)
{
    put_card();
    const char *destinations[] = {one};
    struct tp_copier_options options = options_for(destinations, 1);
    struct tp_copier *copier;
    ck_assert_int_eq(tp_copier_open(&copier, &options, NULL), TP_OK);
    char *opened = scratch_format("%s/notes.txt", card), *folder = scratch_format("%s/" TP_COPY_FOLDER, one);
    struct tp_tap tap;
    struct tp_copy *copy = tp_copier_begin(copier, "notes.txt", opened, &tap);
    tap.bytes(tap.user, (const uint8_t *)"half", 4);
    struct tp_copy_outcome outcome = {.status = TP_ERR_READ, .message = "the card is gone"};
    tp_copier_end(copier, copy, &outcome);
    tp_copier_close(copier);
    ck_assert_int_ne(access(folder, F_OK), 0);
    free(opened);
    free(folder);
}
END_TEST

START_TEST(copier__a_missing_card_and_no_destination_are_errors)
{
    const char *destinations[] = {one};
    struct tp_copier_options options = options_for(destinations, 0);
    ck_assert_int_eq(refusal(&options, "destinations"), TP_ERR_USAGE);
    options = options_for(destinations, 1);
    char *nothing = scratch_format("%s/nothing", root);
    options.card = nothing;
    ck_assert_int_eq(refusal(&options, "cannot find the card"), TP_ERR_OPEN);
    free(nothing);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("copier");
    TCase *cases = tcase_create("copier");
    tcase_set_timeout(cases, 60);
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_test(cases, copier__two_destinations_get_everything_and_the_card_may_be_wiped);
    tcase_add_test(cases, copier__one_copy_is_not_enough);
    tcase_add_test(cases, copier__an_empty_card_is_not_called_safe);
    tcase_add_test(cases, copier__a_differing_file_is_left_alone_and_named);
    tcase_add_test(cases, copier__nested_folders_are_refused_before_anything_is_made);
    tcase_add_test(cases, copier__a_link_into_the_card_is_the_card);
    tcase_add_test(cases, copier__a_locked_destination_is_refused);
    tcase_add_test(cases, copier__what_an_interrupted_run_left_is_cleared);
    tcase_add_test(cases, copier__what_is_no_file_is_accounted_for);
    tcase_add_loop_test(cases, copier__a_file_that_changes_while_read_is_not_claimed, 0, 3);
    tcase_add_test(cases, copier__a_tapped_file_is_copied_like_the_rest);
    tcase_add_test(cases, copier__unfinished_work_leaves_no_names);
    tcase_add_test(cases, copier__a_missing_card_and_no_destination_are_errors);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || ran == 0 ? 1 : 0;
}
