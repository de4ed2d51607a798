/* SPDX-License-Identifier: MIT */
/* What a stream's taps see, against the bytes of the file; and that these stay as they are until a tap is done. */
#include "read/stream.h"
#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { SIZE = 3 * 262144 + 12345 };

/* A tap that is slow: it looks at its bytes only when it is waited for. */
struct slow {
    const uint8_t *bytes, *file;
    size_t size, at, waits, runs;
};

static void slow_bytes(void *user, const uint8_t *bytes, size_t size)
{
    struct slow *slow = user;
    ck_assert_uint_eq(slow->size, 0); /* nobody gives more before the wait */
    slow->bytes = bytes;
    slow->size = size;
    slow->runs++;
}

static void slow_wait(void *user)
{
    struct slow *slow = user;
    if (slow->size > 0)
        ck_assert_mem_eq(slow->bytes, slow->file + slow->at, slow->size);
    slow->at += slow->size;
    slow->size = 0;
    slow->waits++;
}

static uint8_t *make_file(const char *path)
{
    uint8_t *bytes = malloc(SIZE);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < SIZE; i++)
        bytes[i] = (uint8_t)(i * 31 + i / 251);
    scratch_write(path, bytes, SIZE);
    return bytes;
}

static char *folder;
static uint8_t *file;
static struct slow slow;
static struct tp_stream *stream;

static void set_up(void)
{
    folder = scratch_new();
    char *path = scratch_format("%s/a.wav", folder);
    file = make_file(path);
    slow = (struct slow){.file = file};
    struct tp_tap tap = {.bytes = slow_bytes, .wait = slow_wait, .user = &slow};
    ck_assert_int_eq(tp_stream_open(&stream, path, &tap, 1, NULL), TP_OK);
    free(path);
}

static void tear_down(void)
{
    free(file);
    scratch_remove(folder);
}

START_TEST(stream__waits_for_a_tap_before_its_bytes_change)
{
    const size_t peeks[] = {1, 6, 4096, 65536};
    for (size_t i = 0, at = 0; at < SIZE; i++) {
        const uint8_t *bytes;
        size_t got;
        ck_assert_int_eq(tp_stream_peek(stream, peeks[i % 4], &bytes, &got, NULL), TP_OK);
        ck_assert_uint_gt(got, 0);
        ck_assert_mem_eq(bytes, slow.file + at, got);
        size_t take = got > 3 ? got - 3 : got;
        tp_stream_consume(stream, take);
        at += take;
    }
    tp_stream_close(stream);
    ck_assert_uint_eq(slow.at, SIZE);
    ck_assert_uint_ge(slow.runs, 3);
    ck_assert_uint_gt(slow.waits, slow.runs);
}
END_TEST

START_TEST(stream__closed_early_waits_too)
{
    const uint8_t *bytes;
    size_t got;
    ck_assert_int_eq(tp_stream_peek(stream, 1, &bytes, &got, NULL), TP_OK);
    ck_assert_uint_gt(slow.size, 0);
    tp_stream_close(stream);
    ck_assert_uint_eq(slow.size, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stream");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, stream__waits_for_a_tap_before_its_bytes_change);
    tcase_add_test(tcase, stream__closed_early_waits_too);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 2;
    srunner_free(runner);
    return failed ? 1 : 0;
}
