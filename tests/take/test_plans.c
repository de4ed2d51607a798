/* SPDX-License-Identifier: MIT */
#include "take/plans.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 240 };

static void fill(kiss_fft_scalar samples[FRAMES], int seed)
{
    for (int i = 0; i < FRAMES; i++)
        samples[i] = (kiss_fft_scalar)((i * i * seed + 7 * i) % 101 - 50) / 50;
}

/* A plan that has been used before gives what a new one of kissfft's gives. */
START_TEST(plans__are_kept_and_work_as_new)
{
    struct tp_plans plans = {0};
    const struct tp_plan *plan = tp_plans_get(&plans, FRAMES);
    ck_assert_ptr_nonnull(plan);
    kiss_fft_scalar samples[FRAMES], back[FRAMES], expected_back[FRAMES];
    kiss_fft_cpx bins[FRAMES / 2 + 1], expected[FRAMES / 2 + 1];
    for (int seed = 1; seed <= 5; seed++) {
        ck_assert_ptr_eq(tp_plans_get(&plans, FRAMES), plan);
        ck_assert_ptr_nonnull(tp_plans_get(&plans, FRAMES + 2 * (size_t)seed));
        fill(samples, seed);
        kiss_fftr_cfg forward = kiss_fftr_alloc(FRAMES, 0, NULL, NULL),
                      inverse = kiss_fftr_alloc(FRAMES, 1, NULL, NULL);
        ck_assert(forward != NULL && inverse != NULL);
        kiss_fftr(plan->forward, samples, bins);
        kiss_fftr(forward, samples, expected);
        ck_assert_mem_eq(bins, expected, sizeof bins);
        kiss_fftri(plan->inverse, bins, back);
        kiss_fftri(inverse, bins, expected_back);
        ck_assert_mem_eq(back, expected_back, sizeof back);
        kiss_fftr_free(forward);
        kiss_fftr_free(inverse);
    }
    ck_assert_uint_eq(plans.count, 6);
    tp_plans_clear(&plans);
    ck_assert_uint_eq(plans.count, 0);
}
END_TEST

START_TEST(plans__too_many_sizes_are_refused)
{
    struct tp_plans plans = {0};
    for (size_t i = 0; i < TP_PLANS_MAX; i++)
        ck_assert_ptr_nonnull(tp_plans_get(&plans, 16 + 2 * i));
    ck_assert_ptr_null(tp_plans_get(&plans, 1024));
    ck_assert_ptr_nonnull(tp_plans_get(&plans, 16));
    tp_plans_clear(&plans);
    tp_plans_clear(&plans);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("plans");
    TCase *tests = tcase_create("plans");
    tcase_add_test(tests, plans__are_kept_and_work_as_new);
    tcase_add_test(tests, plans__too_many_sizes_are_refused);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
