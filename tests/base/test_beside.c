/* SPDX-License-Identifier: MIT */
#include "base/beside.h"

#include <check.h>
#include <pthread.h>
#include <stdbool.h>
#include <string.h>

/* What the work has seen. */
struct seen {
    uint8_t bytes[4096];
    size_t size, runs;
    pthread_t thread;
};

static void keep(void *user, const uint8_t *bytes, size_t size)
{
    struct seen *seen = user;
    memcpy(seen->bytes + seen->size, bytes, size);
    seen->size += size;
    seen->runs++;
    seen->thread = pthread_self();
}

START_TEST(beside__works_in_order_in_another_thread)
{
    struct seen seen = {.size = 0};
    struct tp_beside *beside = tp_beside_new(keep, &seen);
    ck_assert_ptr_nonnull(beside);
    uint8_t all[4000];
    for (size_t i = 0; i < sizeof all; i++)
        all[i] = (uint8_t)(i * 7 + i / 256);
    size_t runs = 0;
    for (size_t at = 0; at < sizeof all; runs++) {
        size_t size = at + 1 + at / 3 < sizeof all ? 1 + at / 3 : sizeof all - at;
        tp_beside_give(beside, all + at, size);
        at += size;
    }
    tp_beside_wait(beside);
    ck_assert_uint_eq(seen.runs, runs);
    ck_assert_uint_eq(seen.size, sizeof all);
    ck_assert_mem_eq(seen.bytes, all, sizeof all);
    ck_assert(!pthread_equal(seen.thread, pthread_self()));
    tp_beside_free(beside);
}
END_TEST

START_TEST(beside__the_bytes_may_change_after_a_wait)
{
    struct seen seen = {.size = 0};
    struct tp_beside *beside = tp_beside_new(keep, &seen);
    ck_assert_ptr_nonnull(beside);
    for (int i = 0; i < 1000; i++) {
        uint8_t bytes[4];
        memset(bytes, i, sizeof bytes);
        tp_beside_give(beside, bytes, sizeof bytes);
        tp_beside_wait(beside);
        ck_assert_uint_eq(seen.size, 4U * (unsigned)(i + 1));
        ck_assert_mem_eq(seen.bytes + 4 * i, bytes, sizeof bytes);
    }
    tp_beside_free(beside);
}
END_TEST

START_TEST(beside__is_done_before_it_is_freed)
{
    for (int i = 0; i < 100; i++) {
        struct seen seen = {.size = 0};
        struct tp_beside *beside = tp_beside_new(keep, &seen);
        ck_assert_ptr_nonnull(beside);
        if (i % 2 != 0)
            tp_beside_give(beside, (const uint8_t *)"sound", 5);
        tp_beside_free(beside);
        ck_assert_uint_eq(seen.size, i % 2 != 0 ? 5 : 0);
    }
    tp_beside_free(NULL);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("beside");
    TCase *tcase = tcase_create("all");
    tcase_add_test(tcase, beside__works_in_order_in_another_thread);
    tcase_add_test(tcase, beside__the_bytes_may_change_after_a_wait);
    tcase_add_test(tcase, beside__is_done_before_it_is_freed);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 3;
    srunner_free(runner);
    return failed ? 1 : 0;
}
