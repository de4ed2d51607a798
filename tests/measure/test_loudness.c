/* SPDX-License-Identifier: MIT */
/* References: libebur128 (fed directly), EBU Tech 3341/3342. The whole list of cases and rates: conformance.c. */
#include "measure/loudness.h"

#include "measure/energies.h"
#include "measure/kweight.h"
#include "measure/programme.h"
#include "measure/second_opinion.h"
#include "support/tones.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* BS.1770-5 Annex 1, tables 1 and 2. */
START_TEST(kweight__48_khz_is_the_published_table)
{
    struct tp_biquad s, h;
    tp_kweight_design(48000, &s, &h);
    ck_assert_double_eq_tol(s.b0, 1.53512485958697, 1e-12);
    ck_assert_double_eq_tol(s.b1, -2.69169618940638, 1e-12);
    ck_assert_double_eq_tol(s.b2, 1.19839281085285, 1e-12);
    ck_assert_double_eq_tol(s.a1, -1.69065929318241, 1e-12);
    ck_assert_double_eq_tol(s.a2, 0.73248077421585, 1e-12);
    ck_assert_double_eq(h.b0, 1.0);
    ck_assert_double_eq(h.b1, -2.0);
    ck_assert_double_eq(h.b2, 1.0);
    ck_assert_double_eq_tol(h.a1, -1.99004745483398, 1e-12);
    ck_assert_double_eq_tol(h.a2, 0.99007225036621, 1e-12);
}
END_TEST

/* Noise whose level wanders over 30 dB, so that both gates and the range have work. */
static struct plane wandering_noise(uint32_t rate_hz, double seconds, uint64_t seed)
{
    struct plane plane = tones_noise(seed, 1.0, (size_t)(seconds * rate_hz));
    for (size_t i = 0; i < plane.frames; i++) {
        double t = (double)i / rate_hz;
        double level_db = -30.0 + 15.0 * sin(t * 0.9 + (double)seed) + 8.0 * sin(t * 7.1);
        plane.samples[i] *= (float)pow(10.0, level_db / 20.0);
    }
    return plane;
}

static const uint32_t all_rates[] = {8000, 11025, 22050, 32000, 44100, 47952, 48000, 48048, 88200, 96000, 192000};
#define RATE_COUNT (int)(sizeof all_rates / sizeof *all_rates)

START_TEST(loudness__equals_libebur128)
{
    uint32_t rate_hz = all_rates[_i];
    struct plane left = wandering_noise(rate_hz, 31.37, 1), right = wandering_noise(rate_hz, 31.37, 2);
    const float *planes[2] = {left.samples, right.samples};
    struct measured m;
    measure_planes(&m, rate_hz, planes, 2, 0, left.frames, TONES_FULL_SCALE_24, 1000);
    struct tp_second_opinion *opinion = tp_second_opinion_new(rate_hz, 2, 0);
    struct tp_second_opinion_channel channels[2], programme;
    ck_assert_ptr_nonnull(opinion);
    ck_assert(tp_second_opinion_push(opinion, planes, left.frames));
    ck_assert(tp_second_opinion_finish(opinion, channels, &programme));
    for (int i = 0; i < 2; i++) {
        ck_assert_double_eq_tol(m.channels[i].integrated_lufs, channels[i].integrated_lufs, 1e-6);
        ck_assert_double_eq_tol(m.channels[i].loudness_range_lu, channels[i].loudness_range_lu, 1e-6);
        ck_assert_double_eq(m.channels[i].sample_peak_dbfs, channels[i].sample_peak_dbfs);
    }
    ck_assert_double_eq_tol(m.programme.integrated_lufs, programme.integrated_lufs, 1e-6);
    ck_assert_double_eq_tol(m.programme.loudness_range_lu, programme.loudness_range_lu, 1e-6);
    tp_second_opinion_free(opinion);
    measured_clear(&m);
    plane_free(&left);
    plane_free(&right);
}
END_TEST

START_TEST(loudness__too_short_or_silent_does_not_exist)
{
    const struct {
        double seconds;
        bool integrated, short_term;
    } rows[] = {
        {0.0, false, false}, {0.399, false, false}, {0.4, true, false}, {2.999, true, false}, {3.0, true, true}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct plane plane = tones_steps(48000, 1000.0, &(struct tone_step){rows[i].seconds, -20}, 1);
        struct measured m;
        measure_plane(&m, 48000, &plane);
        ck_assert_int_eq(tp_exists(m.channels[0].integrated_lufs), rows[i].integrated);
        ck_assert_int_eq(tp_exists(m.channels[0].momentary_max_lufs), rows[i].integrated);
        ck_assert_int_eq(tp_exists(m.channels[0].short_term_max_lufs), rows[i].short_term);
        ck_assert_int_eq(tp_exists(m.channels[0].loudness_range_lu), false);
        measured_clear(&m);
        plane_free(&plane);
    }
    struct plane silence = plane_new(480000);
    struct measured m;
    measure_plane(&m, 48000, &silence);
    ck_assert(!tp_exists(m.channels[0].integrated_lufs) && !tp_exists(m.channels[0].momentary_max_lufs));
    ck_assert(!tp_exists(m.channels[0].short_term_max_lufs) && !tp_exists(m.channels[0].loudness_range_lu));
    ck_assert(m.channels[0].digital_silence);
    measured_clear(&m);
    plane_free(&silence);
}
END_TEST

/* The promise of loudness.h about recordings longer than the lists hold. */
START_TEST(energies__bins_agree_with_the_list)
{
    struct tp_energies list, bins;
    tp_energies_init(&list, 1000000);
    tp_energies_init(&bins, 100);
    for (uint64_t i = 0; i < 50000; i++) {
        double lufs = -45.0 + 30.0 * wavgen_random(i);
        double energy = pow(10.0, (lufs + 0.691) / 10.0);
        tp_energies_add(&list, energy);
        tp_energies_add(&bins, energy);
    }
    ck_assert_ptr_nonnull(bins.bin_sum);
    ck_assert_ptr_null(bins.list);
    ck_assert_uint_eq(list.count, bins.count);
    ck_assert_double_eq_tol(tp_lufs_from_energy(tp_energies_gated_mean(&list, 0.1)),
                            tp_lufs_from_energy(tp_energies_gated_mean(&bins, 0.1)), 0.01);
    double a, b;
    ck_assert(tp_energies_range(&list, 0.01, &a) && tp_energies_range(&bins, 0.01, &b));
    ck_assert_double_eq_tol(a, b, 0.01);
    ck_assert_double_gt(a, 10.0);
    tp_energies_clear(&list);
    tp_energies_clear(&bins);
}
END_TEST

START_TEST(loudness__hops_tile_blocks_at_any_rate)
{
    for (int i = 0; i < RATE_COUNT; i++) {
        uint32_t block = tp_block_frames(all_rates[i]);
        ck_assert_uint_eq(block, (all_rates[i] + 5) / 10); /* libebur128's rounding */
        for (uint64_t k = 0; k < 50; k++) {
            ck_assert_uint_eq(tp_hop_start(block, 10 * k), k * block);
            ck_assert_uint_gt(tp_hop_start(block, k + 1), tp_hop_start(block, k));
        }
    }
    ck_assert_uint_ge(tp_block_frames(1), 10);
    ck_assert_uint_eq(tp_block_frames(UINT32_MAX), 429496730);
}
END_TEST

/* WAVE_FORMAT_EXTENSIBLE order; weights of BS.1770-5 Annex 1. */
START_TEST(programme__weights_follow_the_mask)
{
    const uint32_t five_one = 0x3f; /* L R C LFE BL BR */
    const double expected[6] = {1, 1, 1, 0, 1.41, 1.41};
    for (uint32_t i = 0; i < 6; i++)
        ck_assert_double_eq(tp_programme_weight(five_one, 6, i), expected[i]);
    for (uint32_t i = 0; i < 8; i++)
        ck_assert_double_eq(tp_programme_weight(0, 8, i), 1.0);
    ck_assert_double_eq(tp_programme_weight(0x600, 2, 0), 1.0); /* two channels are left and right */
    ck_assert_double_eq(tp_programme_weight(0x3, 4, 3), 1.0);   /* not named by the mask */
    ck_assert_double_eq(tp_programme_weight(0x8, 1, 0), 1.0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("loudness");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, kweight__48_khz_is_the_published_table);
    tcase_add_loop_test(tcase, loudness__equals_libebur128, 0, RATE_COUNT);
    tcase_add_test(tcase, loudness__too_short_or_silent_does_not_exist);
    tcase_add_test(tcase, energies__bins_agree_with_the_list);
    tcase_add_test(tcase, loudness__hops_tile_blocks_at_any_rate);
    tcase_add_test(tcase, programme__weights_follow_the_mask);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 6;
    srunner_free(runner);
    return failed ? 1 : 0;
}
