/* SPDX-License-Identifier: MIT */
#include "take/choose.h"

#include <check.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000u
#define SPANS_MAX 80

/* A channel with damage at the given places; every place is a clip run of three samples in the middle. */
struct fake {
    struct tp_channel levels;
    struct tp_span spans[SPANS_MAX];
    struct tp_clip_run clips[SPANS_MAX];
};

static void fake_init(struct fake *fake, double active_s)
{
    *fake = (struct fake){.levels = {.sample_peak_dbfs = -3.0, .noise_floor_dbfs = -75.0, .active_s = active_s}};
    fake->levels.damage.items = fake->spans;
    fake->levels.clips = fake->clips;
}

static void fake_damage(struct fake *fake, double start_s, double length_s)
{
    size_t n = fake->levels.damage.count++;
    fake->spans[n] = (struct tp_span){(uint64_t)(start_s * RATE), (uint64_t)((start_s + length_s) * RATE)};
    uint64_t middle = (fake->spans[n].start_frame + fake->spans[n].end_frame) / 2;
    fake->clips[fake->levels.clip_count++] = (struct tp_clip_run){.start_frame = middle, .frames = 3};
    fake->levels.clip_runs++;
}

static struct tp_signal choose_frames(const struct fake *main, const struct fake *safety,
                                      const struct tp_pair_match *match, uint64_t frames)
{
    struct tp_pair_channel first = {.file = 4, .channel = 0, .levels = &main->levels, .frames = frames};
    struct tp_pair_channel second = {.file = 5, .channel = 1, .levels = &safety->levels, .frames = frames};
    struct tp_signal signal = {0};
    struct tp_error error = {0};
    ck_assert_int_eq(tp_choose_pair(match, &first, &second, RATE, &signal, &error), TP_OK);
    return signal;
}

static struct tp_signal choose(const struct fake *main, const struct fake *safety, const struct tp_pair_match *match)
{
    return choose_frames(main, safety, match, 100 * RATE);
}

static void signal_free(struct tp_signal *signal)
{
    if (signal->pair != NULL)
        free(signal->pair->splices);
    free(signal->pair);
    free(signal->use.reason);
}

static const struct tp_pair_match twelve = {.offset_db = -12.0, .drift_ppm = (double)NAN, .correlation = 0.999};

START_TEST(choose__clean_main_is_used)
{
    struct fake main, safety;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_MAIN);
    ck_assert_uint_eq(signal.use.file, 4);
    ck_assert_uint_eq(signal.use.channel, 0);
    ck_assert_str_eq(signal.use.reason, "The main is clean; the safety is at -12.0 dB and is not needed.");
    ck_assert_uint_eq(signal.pair->splice_count, 0);
    ck_assert_double_eq_tol(signal.pair->safety_noise_dbfs, -63.0, 1e-9);
    signal_free(&signal);
}
END_TEST

START_TEST(choose__damage_that_the_safety_covers_is_spliced)
{
    struct fake main, safety;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 3.0, 0.2);
    fake_damage(&main, 12.0, 0.11);
    fake_damage(&main, 30.5, 0.1);
    /* The safety's own damage lies elsewhere. */
    fake_damage(&safety, 20.0, 0.5);
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
    ck_assert_uint_eq(signal.use.channel, 0);
    ck_assert_str_eq(signal.use.reason, "The main overloads 3 times for 0.41 s in all; the safety is clean there at "
                                        "-12.0 dB; raised to match, its noise is -63.0 dBFS.");
    ck_assert_uint_eq(signal.pair->splice_count, 3);
    ck_assert_double_eq_tol(signal.pair->splices[1].start_s, 12.0, 1e-4);
    ck_assert_double_eq_tol(signal.pair->splices[1].end_s, 12.11, 1e-4);
    ck_assert(signal.pair->splices[1].covered);
    ck_assert_int_eq(signal.pair->splices[1].cause, TP_CODE_CLIPPED);
    signal_free(&signal);
}
END_TEST

START_TEST(choose__one_short_run_is_damage_and_is_told_in_milliseconds)
{
    struct fake main, safety;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 3.0, 0.021);
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
    ck_assert_ptr_nonnull(strstr(signal.use.reason, "overloads once for 0.021 s; the safety"));
    signal_free(&signal);
}
END_TEST

START_TEST(choose__both_damaged_is_none_with_the_places)
{
    struct fake main, safety;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 3.0, 0.2);
    fake_damage(&main, 62.3, 0.1);
    fake_damage(&safety, 62.35, 0.01);
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    ck_assert_uint_eq(signal.use.file, TP_NO_INDEX);
    ck_assert_ptr_nonnull(strstr(signal.use.reason, "at 1 of the 2 places (0.10 s) at 1:02.30"));
    ck_assert(signal.pair->splices[0].covered);
    ck_assert(!signal.pair->splices[1].covered);
    signal_free(&signal);
}
END_TEST

/* The safety is 4,800 samples later: its damage at 3.1 s belongs to the main's 3.0 s. */
START_TEST(choose__lag_moves_the_safetys_damage)
{
    static const int64_t lags[] = {4800, -4800};
    for (size_t i = 0; i < 2; i++) {
        struct fake main, safety;
        struct tp_pair_match match = twelve;
        match.lag_samples = lags[i];
        double shift = (double)lags[i] / RATE;
        fake_init(&main, 40.0);
        fake_init(&safety, 40.0);
        fake_damage(&main, 3.0, 0.02);
        fake_damage(&safety, 3.0 + shift, 0.01);
        struct tp_signal signal = choose(&main, &safety, &match);
        ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
        signal_free(&signal);
        fake_init(&safety, 40.0);
        fake_damage(&safety, 3.0, 0.01);
        signal = choose(&main, &safety, &match);
        ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
        signal_free(&signal);
    }
}
END_TEST

START_TEST(choose__drift_moves_it_further)
{
    struct fake main, safety;
    struct tp_pair_match match = twelve;
    match.drift_ppm = 100.0; /* 90 s in: 9 ms later */
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 90.0, 0.004);
    fake_damage(&safety, 90.0, 0.004);
    struct tp_signal signal = choose(&main, &safety, &match);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
    signal_free(&signal);
}
END_TEST

START_TEST(choose__a_safety_that_does_not_reach_covers_nothing)
{
    struct fake main, safety;
    struct tp_pair_match match = twelve;
    match.lag_samples = 4800;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 99.95, 0.02);
    struct tp_signal signal = choose(&main, &safety, &match);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    signal_free(&signal);
    match.lag_samples = -4800;
    fake_init(&main, 40.0);
    fake_damage(&main, 0.05, 0.02);
    signal = choose(&main, &safety, &match);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    signal_free(&signal);
    /* Guard past the end of the main itself is nothing that needs covering. */
    match.lag_samples = 0;
    fake_init(&main, 40.0);
    fake_damage(&main, 99.99, 0.02);
    signal = choose(&main, &safety, &match);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
    ck_assert_double_eq_tol(signal.pair->splices[0].end_s, 100.0, 1e-9);
    signal_free(&signal);
}
END_TEST

START_TEST(choose__wide_or_dense_damage_takes_the_safety)
{
    struct fake main, safety;
    fake_init(&main, 10.0);
    fake_init(&safety, 10.0);
    fake_damage(&main, 3.0, 1.9);
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE); /* 19 % */
    signal_free(&signal);
    fake_damage(&main, 8.0, 0.2);
    signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SAFETY); /* 21 % */
    ck_assert_uint_eq(signal.use.file, 5);
    ck_assert_uint_eq(signal.use.channel, 1);
    ck_assert_ptr_nonnull(strstr(signal.use.reason, "2 times for 2.10 s in all, of 10.0 s of sound"));
    signal_free(&signal);
    /* A safety that is damaged elsewhere is no better: spliced all the same. */
    fake_damage(&safety, 60.0, 0.1);
    signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SPLICE);
    signal_free(&signal);
    fake_init(&main, 10.0);
    fake_init(&safety, 10.0);
    for (int i = 0; i < 21; i++)
        fake_damage(&main, 1.0 + 0.4 * i, 0.03);
    signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SAFETY);
    signal_free(&signal);
}
END_TEST

START_TEST(choose__cause_is_told)
{
    struct fake main, safety;
    fake_init(&main, 40.0);
    fake_init(&safety, 40.0);
    fake_damage(&main, 3.0, 0.02);
    fake_damage(&main, 5.0, 0.02);
    fake_damage(&main, 7.0, 0.02);
    struct tp_clip_run flat = main.clips[1];
    main.clips[1] = main.clips[0];
    main.levels.clip_count = 1;
    main.levels.clip_runs = 1;
    main.levels.flat_tops = &flat;
    main.levels.flat_top_count = 1;
    main.levels.flat_top_runs = 1;
    struct tp_signal signal = choose(&main, &safety, &twelve);
    ck_assert_int_eq(signal.pair->splices[0].cause, TP_CODE_CLIPPED);
    ck_assert_int_eq(signal.pair->splices[1].cause, TP_CODE_FLAT_TOPPED);
    ck_assert_int_eq(signal.pair->splices[2].cause, TP_CODE_DROPOUT);
    ck_assert_ptr_nonnull(strstr(signal.use.reason, "is damaged 3 times"));
    signal_free(&signal);
}
END_TEST

START_TEST(choose__alone_and_with_a_dead_partner)
{
    struct fake live, silent;
    struct tp_signal signal = {0};
    fake_init(&live, 40.0);
    fake_init(&silent, 0.0);
    silent.levels.digital_silence = true;
    silent.levels.sample_peak_dbfs = (double)NAN;
    struct tp_pair_channel channel = {.file = 2, .channel = 1, .levels = &live.levels};
    struct tp_pair_channel dead = {.file = 2, .channel = 0, .levels = &silent.levels};
    ck_assert_int_eq(tp_choose_single(&channel, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SINGLE);
    ck_assert_uint_eq(signal.use.channel, 1);
    signal_free(&signal);
    ck_assert_int_eq(tp_choose_single(&dead, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    ck_assert_str_eq(signal.use.reason, "The channel is silent.");
    signal_free(&signal);
    ck_assert_int_eq(tp_choose_with_dead_partner(&channel, true, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_SAFETY);
    ck_assert_ptr_null(signal.pair);
    signal_free(&signal);
    ck_assert_int_eq(tp_choose_with_dead_partner(&channel, false, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_MAIN);
    signal_free(&signal);
    fake_damage(&live, 1.0, 0.1);
    ck_assert_int_eq(tp_choose_with_dead_partner(&channel, false, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    ck_assert_str_eq(signal.use.reason,
                     "The safety is silent; the main overloads once for 0.10 s, and there is nothing "
                     "to cover it with.");
    signal_free(&signal);
    /* A copy is no safety. */
    struct tp_pair_match copy = {.copy = true, .drift_ppm = (double)NAN};
    ck_assert_int_eq(tp_choose_pair(&copy, &channel, &channel, RATE, &signal, NULL), TP_OK);
    ck_assert_int_eq(signal.use.choice, TP_CHOICE_NONE);
    ck_assert_ptr_null(signal.pair);
    signal_free(&signal);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("choose");
    TCase *tcase = tcase_create("choose");
    tcase_add_test(tcase, choose__clean_main_is_used);
    tcase_add_test(tcase, choose__damage_that_the_safety_covers_is_spliced);
    tcase_add_test(tcase, choose__one_short_run_is_damage_and_is_told_in_milliseconds);
    tcase_add_test(tcase, choose__both_damaged_is_none_with_the_places);
    tcase_add_test(tcase, choose__lag_moves_the_safetys_damage);
    tcase_add_test(tcase, choose__drift_moves_it_further);
    tcase_add_test(tcase, choose__a_safety_that_does_not_reach_covers_nothing);
    tcase_add_test(tcase, choose__wide_or_dense_damage_takes_the_safety);
    tcase_add_test(tcase, choose__cause_is_told);
    tcase_add_test(tcase, choose__alone_and_with_a_dead_partner);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
