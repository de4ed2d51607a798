/* SPDX-License-Identifier: MIT */
/* A medium with holes: pread64 is ours here, so that chosen bytes cannot be read. */
#include "read/stream.h"

#include "support/scratch.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

static struct {
    uint64_t from, to; /* unreadable */
    int cause, tries;  /* reads into it succeed after so many failures; 0 = never */
    unsigned failures, calls;
} hole;

static ssize_t own_pread(int fd, void *buffer, size_t size, off_t offset)
{
    uint64_t from = (uint64_t)offset, to = from + size;
    hole.calls++;
    if (from < hole.to && to > hole.from) {
        if (from < hole.from) {
            size = (size_t)(hole.from - from);
        } else if (hole.tries == 0 || hole.failures < (unsigned)hole.tries) {
            hole.failures++;
            errno = hole.cause;
            return -1;
        }
    }
    return syscall(SYS_pread64, fd, buffer, size, offset);
}

#include "support/own_pread.h"

#define SIZE ((size_t)3 << 20)
static char *root, *path;
static uint8_t *bytes, *seen;
static size_t seen_size;

static void set_up(void)
{
    root = scratch_new();
    path = scratch_format("%s/file", root);
    bytes = malloc(SIZE);
    seen = calloc(1, SIZE);
    ck_assert(bytes != NULL && seen != NULL);
    for (size_t i = 0; i < SIZE; i++)
        bytes[i] = (uint8_t)(1 + i % 251);
    scratch_write(path, bytes, SIZE);
    seen_size = 0;
    memset(&hole, 0, sizeof hole);
    hole.cause = EIO;
}

static void tear_down(void)
{
    scratch_remove(root);
    free(path);
    free(bytes);
    free(seen);
}

static void look(void *user, const uint8_t *run, size_t size)
{
    (void)user;
    ck_assert(seen_size + size <= SIZE);
    memcpy(seen + seen_size, run, size);
    seen_size += size;
}

static enum tp_status read_all(bool forgive, struct tp_gap *first, size_t *count, struct tp_error *error)
{
    const struct tp_tap tap = {.bytes = look};
    const struct tp_gap *gaps;
    struct tp_stream *stream;
    ck_assert_int_eq(tp_stream_open(&stream, path, &tap, 1, NULL), TP_OK);
    if (forgive)
        tp_stream_forgive(stream);
    enum tp_status status = tp_stream_skip(stream, UINT64_MAX, error);
    *count = tp_stream_gaps(stream, &gaps);
    if (*count > 0)
        *first = gaps[0];
    tp_stream_close(stream);
    return status;
}

/* First unreadable byte, length, and how much must be given up: to the end of the last piece of TP_STREAM_PIECE it
 * touches. */
static const struct {
    uint64_t from, size, gap_size;
} holes[] = {
    {0, 1, 4096}, {4096, 4096, 4096}, {700000, 1, 416}, {262143, 2, 4097}, {1000000, 20000, 24000}, {SIZE - 1, 1, 1},
};

START_TEST(gaps__a_hole_is_told_and_the_rest_is_read)
{
    hole.from = holes[_i].from;
    hole.to = hole.from + holes[_i].size;
    struct tp_gap gap;
    size_t count;
    ck_assert_int_eq(read_all(true, &gap, &count, NULL), TP_OK);
    ck_assert_uint_eq(seen_size, SIZE);
    ck_assert_uint_eq(count, 1);
    ck_assert_uint_eq(gap.offset, holes[_i].from);
    ck_assert_uint_eq(gap.bytes, holes[_i].gap_size);
    ck_assert_int_eq(gap.os_errno, EIO);
    memset(bytes + gap.offset, 0, (size_t)gap.bytes);
    ck_assert_mem_eq(seen, bytes, SIZE);
}
END_TEST

START_TEST(gaps__without_forgiving_a_hole_ends_the_read)
{
    hole.from = 700000;
    hole.to = 700001;
    struct tp_gap gap;
    size_t count;
    struct tp_error error = {0};
    ck_assert_int_eq(read_all(false, &gap, &count, &error), TP_ERR_READ);
    ck_assert_uint_eq(error.offset, 700000);
    ck_assert_uint_eq(count, 0);
    tp_error_clear(&error);
}
END_TEST

START_TEST(gaps__what_reads_on_the_third_try_is_no_hole)
{
    hole.from = 700000;
    hole.to = 700001;
    hole.tries = 3;
    struct tp_gap gap;
    size_t count;
    ck_assert_int_eq(read_all(true, &gap, &count, NULL), TP_OK);
    ck_assert_uint_eq(count, 0);
    ck_assert_mem_eq(seen, bytes, SIZE);
}
END_TEST

/* A medium that is gone must not be tried piece by piece to the end. */
START_TEST(gaps__a_medium_that_is_gone_is_an_error)
{
    hole.from = 1000000;
    hole.to = SIZE;
    hole.cause = _i == 0 ? EIO : ENODEV;
    struct tp_gap gap;
    size_t count;
    struct tp_error error = {0};
    ck_assert_int_eq(read_all(true, &gap, &count, &error), TP_ERR_READ);
    ck_assert_uint_lt(hole.calls, _i == 0 ? 1000 : 20);
    ck_assert_msg(strstr(tp_error_text(&error), path) != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("gaps");
    TCase *cases = tcase_create("gaps");
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_loop_test(cases, gaps__a_hole_is_told_and_the_rest_is_read, 0, sizeof holes / sizeof *holes);
    tcase_add_test(cases, gaps__without_forgiving_a_hole_ends_the_read);
    tcase_add_test(cases, gaps__what_reads_on_the_third_try_is_no_hole);
    tcase_add_loop_test(cases, gaps__a_medium_that_is_gone_is_an_error, 0, 2);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || ran == 0 ? 1 : 0;
}
