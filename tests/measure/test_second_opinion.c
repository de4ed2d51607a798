/* SPDX-License-Identifier: MIT */
#include "measure/second_opinion.h"

#include "support/tones.h"

#include <check.h>
#include <math.h>
#include <pthread.h>
#include <stdlib.h>

/* A tone on track 4 of 8 alone: with the library's own channel map it would read nothing. */
START_TEST(second_opinion__hears_every_track)
{
    struct plane tone = tones_steps(48000, 997.0, &(struct tone_step){5, -20}, 1), silence = plane_new(tone.frames);
    for (uint32_t track = 0; track < 8; track++) {
        const float *planes[8];
        for (uint32_t i = 0; i < 8; i++)
            planes[i] = i == track ? tone.samples : silence.samples;
        struct tp_second_opinion *opinion = tp_second_opinion_new(48000, 8, 0);
        struct tp_second_opinion_channel channels[8], programme;
        ck_assert_ptr_nonnull(opinion);
        ck_assert(tp_second_opinion_push(opinion, planes, tone.frames));
        ck_assert(tp_second_opinion_finish(opinion, channels, &programme));
        ck_assert_double_eq_tol(programme.integrated_lufs, -23.01, 0.01); /* BS.1770-5 Annex 1: -3.01 at 0 dBFS */
        for (uint32_t i = 0; i < 8; i++) {
            ck_assert_int_eq(isnan(channels[i].integrated_lufs), i != track);
            ck_assert_int_eq(isnan(channels[i].sample_peak_dbfs), i != track);
        }
        ck_assert_double_eq_tol(channels[track].sample_peak_dbfs, -20.0, 0.01);
        tp_second_opinion_free(opinion);
    }
    plane_free(&tone);
    plane_free(&silence);
}
END_TEST

/* 0.5, 0.5 at the very end: 0.626 between them when silence follows. */
START_TEST(second_opinion__flushes_the_last_peak)
{
    struct plane plane = plane_new(48000);
    plane.samples[47998] = plane.samples[47999] = 0.5f;
    const float *planes[1] = {plane.samples};
    struct tp_second_opinion *opinion = tp_second_opinion_new(48000, 1, 0);
    struct tp_second_opinion_channel channel, programme;
    ck_assert_ptr_nonnull(opinion);
    ck_assert(tp_second_opinion_push(opinion, planes, plane.frames));
    ck_assert(tp_second_opinion_finish(opinion, &channel, &programme));
    ck_assert_double_gt(channel.true_peak_dbtp, 20.0 * log10(0.6));
    tp_second_opinion_free(opinion);
    plane_free(&plane);
}
END_TEST

START_TEST(second_opinion__refuses_what_the_library_cannot)
{
    ck_assert_ptr_null(tp_second_opinion_new(48000, 65, 0));
    ck_assert_ptr_null(tp_second_opinion_new(1, 1, 0));
    ck_assert_ptr_null(tp_second_opinion_new(4000000, 1, 0));
    tp_second_opinion_free(NULL);
}
END_TEST

static void *one_opinion(void *unused)
{
    (void)unused;
    for (int i = 0; i < 20; i++) {
        float samples[480] = {0.25f};
        const float *planes[1] = {samples};
        struct tp_second_opinion *opinion = tp_second_opinion_new(48000, 1, 0);
        if (opinion == NULL || !tp_second_opinion_push(opinion, planes, 480))
            return (void *)1;
        tp_second_opinion_free(opinion);
    }
    return NULL;
}

/* Worth most under the thread sanitizer. */
START_TEST(second_opinion__many_threads)
{
    pthread_t threads[4];
    for (int i = 0; i < 4; i++)
        ck_assert_int_eq(pthread_create(&threads[i], NULL, one_opinion, NULL), 0);
    for (int i = 0; i < 4; i++) {
        void *failed;
        ck_assert_int_eq(pthread_join(threads[i], &failed), 0);
        ck_assert_ptr_null(failed);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("second_opinion");
    TCase *tcase = tcase_create("all");
    tcase_add_test(tcase, second_opinion__hears_every_track);
    tcase_add_test(tcase, second_opinion__flushes_the_last_peak);
    tcase_add_test(tcase, second_opinion__refuses_what_the_library_cannot);
    tcase_add_test(tcase, second_opinion__many_threads);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 4;
    srunner_free(runner);
    return failed ? 1 : 0;
}
