/* SPDX-License-Identifier: MIT */
/* The search through the FFT against Pearson written down plainly, interpolation against known band-limited sound. */
#include "support/pairlab.h"
#include "take/pair_lag.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#define FRAMES 4096
#define PI 3.14159265358979323846

static double plain_correlation(const float *a, const float *b, int64_t lag)
{
    double mean_a = 0.0, mean_b = 0.0, all_aa = 0.0, all_bb = 0.0, aa = 0.0, ab = 0.0, bb = 0.0;
    for (int64_t i = 0; i < FRAMES; i++) {
        mean_a += (double)a[i] / FRAMES;
        mean_b += (double)b[i] / FRAMES;
    }
    for (int64_t i = 0; i < FRAMES; i++) {
        all_aa += ((double)a[i] - mean_a) * ((double)a[i] - mean_a);
        all_bb += ((double)b[i] - mean_b) * ((double)b[i] - mean_b);
        if (i + lag < 0 || i + lag >= FRAMES)
            continue;
        aa += ((double)a[i] - mean_a) * ((double)a[i] - mean_a);
        ab += ((double)a[i] - mean_a) * ((double)b[i + lag] - mean_b);
        bb += ((double)b[i + lag] - mean_b) * ((double)b[i + lag] - mean_b);
    }
    return aa < 0.2 * all_aa || bb < 0.2 * all_bb ? 0.0 : ab / sqrt(aa * bb);
}

START_TEST(pair_lag__search_finds_the_largest_correlation)
{
    struct tp_lag_finder *finder = tp_lag_finder_new(FRAMES, NULL);
    float *a = lab_zeros(FRAMES, sizeof *a), *b = lab_zeros(FRAMES, sizeof *b);
    for (uint64_t seed = 1; seed <= 12; seed++) {
        struct lab_random random = {.state = seed};
        int shift = lab_random_int(&random, -2400, 2400);
        double gain = pow(10.0, lab_random_between(&random, -4.0, 0.0)) * (seed % 2 == 0 ? -1.0 : 1.0), slow = 0.0;
        for (int i = 0; i < FRAMES; i++) {
            slow += 0.2 * (lab_random_normal(&random) - slow);
            a[i] = (float)(0.3 * slow + 0.01);
        }
        for (int i = 0; i < FRAMES; i++) {
            int from = i - shift;
            double noise = 0.1 * lab_random_normal(&random);
            b[i] = (float)(gain * ((from >= 0 && from < FRAMES ? (double)a[from] : 0.0) + noise));
        }
        int64_t lag, plain_lag = 0;
        double correlation, plain_best = 0.0;
        ck_assert(tp_lag_find(finder, a, b, &lag, &correlation));
        for (int64_t at = -TP_LAG_SEARCH_FRAMES; at <= TP_LAG_SEARCH_FRAMES; at++) {
            double found = plain_correlation(a, b, at);
            if (fabs(found) > fabs(plain_best)) {
                plain_best = found;
                plain_lag = at;
            }
        }
        ck_assert_int_eq(lag, plain_lag);
        ck_assert_double_eq_tol(correlation, plain_best, 1e-5);
    }
    for (int i = 0; i < FRAMES; i++)
        b[i] = 0.25f;
    int64_t lag;
    double correlation;
    ck_assert(!tp_lag_find(finder, a, b, &lag, &correlation));
    free(a);
    free(b);
    tp_lag_finder_free(finder);
}
END_TEST

START_TEST(pair_lag__taps_are_the_windowed_sinc)
{
    struct tp_lag_finder *finder = tp_lag_finder_new(FRAMES, NULL);
    double taps[TP_LAG_SHIFTS];
    for (double at = -2.0; at <= 2.0; at += 0.0625) {
        tp_lag_taps(finder, at, taps);
        for (int k = -TP_LAG_TAPS; k <= TP_LAG_TAPS; k++) {
            double x = at - (double)k, window = 0.5 + 0.5 * cos(PI * x / TP_LAG_TAPS);
            double expected = fabs(x) >= TP_LAG_TAPS ? 0.0 : x == 0.0 ? 1.0 : window * sin(PI * x) / (PI * x);
            ck_assert_double_eq_tol(taps[k + TP_LAG_TAPS], expected, 1e-12);
        }
    }
    tp_lag_finder_free(finder);
}
END_TEST

/* Autocorrelation of a band of sound is known between frames too. */
START_TEST(pair_lag__peak_is_found_between_frames)
{
    static const double tops_hz[] = {1500.0, 6000.0, 18000.0};
    struct tp_lag_finder *finder = tp_lag_finder_new(FRAMES, NULL);
    for (size_t band = 0; band < sizeof tops_hz / sizeof *tops_hz; band++) {
        for (double shift = -1.4; shift <= 1.4; shift += 0.037) {
            double r[TP_LAG_SHIFTS], energy[TP_LAG_SHIFTS];
            for (int k = -TP_LAG_TAPS; k <= TP_LAG_TAPS; k++) {
                double x = 2.0 * PI * tops_hz[band] / 48000.0 * ((double)k - shift);
                r[k + TP_LAG_TAPS] = 3.0 * (fabs(x) < 1e-9 ? 1.0 : sin(x) / x);
                energy[k + TP_LAG_TAPS] = 7.0;
            }
            /* 16 taps leave ripple, which moves a flat top most. */
            ck_assert_double_eq_tol(tp_lag_peak_position(finder, r, energy), shift, band == 0 ? 0.02 : 0.005);
        }
    }
    tp_lag_finder_free(finder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pair lag");
    TCase *tcase = tcase_create("pair lag");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, pair_lag__search_finds_the_largest_correlation);
    tcase_add_test(tcase, pair_lag__taps_are_the_windowed_sinc);
    tcase_add_test(tcase, pair_lag__peak_is_found_between_frames);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
