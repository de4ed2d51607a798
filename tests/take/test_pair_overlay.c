/* SPDX-License-Identifier: MIT */
/* The fast loops against plain ones in double, written down from what the header promises. */
#include "support/pairlab.h"
#include "take/pair_overlay.h"

#include <check.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define FRAMES 4096
#define MARGIN 20
#define HALF TP_LAG_TAPS

static void mark(bool *bad, int64_t from, int64_t to)
{
    for (int64_t i = from - MARGIN; i < to + MARGIN; i++)
        if (i >= 0 && i < FRAMES)
            bad[i] = true;
}

static void plain_bad(const float *samples, bool *bad)
{
    float top = 0.0f;
    for (int i = 0; i < FRAMES; i++)
        top = fmaxf(top, fabsf(samples[i]));
    memset(bad, 0, FRAMES * sizeof *bad);
    for (int i = 0; i < FRAMES; i++) {
        int zeros = i, flat = i;
        while (zeros < FRAMES && samples[zeros] == 0.0f)
            zeros++;
        while (flat < FRAMES && samples[flat] != 0.0f && fabsf(samples[flat]) >= 0.999f * top &&
               (samples[flat] > 0.0f) == (samples[i] > 0.0f))
            flat++;
        if (fabsf(samples[i]) >= 0.985f)
            mark(bad, i, i + 1);
        if (zeros - i >= 64)
            mark(bad, i, zeros);
        if (flat - i >= 3 && fabsf(samples[i]) < 0.985f)
            mark(bad, i, flat);
    }
}

/* Sound with shouts at full scale, plateaus under it and dropouts, some at the very ends. */
static void make_sound(float *samples, struct lab_random *random)
{
    double level = lab_random_between(random, 0.01, 1.2), slow = 0.0, dc = lab_random_between(random, -0.05, 0.05);
    float ceiling = lab_random_int(random, 0, 1) ? 1.0f : 0.7f;
    for (int i = 0; i < FRAMES; i++) {
        slow += 0.1 * (lab_random_normal(random) - slow);
        samples[i] = fmaxf(-ceiling, fminf((float)(level * 2.0 * slow + dc), ceiling));
    }
    for (int drop = lab_random_int(random, 0, 3); drop > 0; drop--) {
        int from = lab_random_int(random, -50, FRAMES - 1), to = from + lab_random_int(random, 60, 200);
        for (int i = from; i < to; i++)
            if (i >= 0 && i < FRAMES)
                samples[i] = i % 2 ? -0.0f : 0.0f;
    }
}

struct plain {
    bool clear[FRAMES];
    size_t count;
    double mean_a, mean_b;
};

static void plain_lay(const float *a, const float *b, int64_t lag, struct plain *plain)
{
    static bool bad_a[FRAMES], bad_b[FRAMES];
    plain_bad(a, bad_a);
    plain_bad(b, bad_b);
    memset(plain, 0, sizeof *plain);
    for (int64_t i = HALF; i < FRAMES - HALF; i++) {
        int64_t partner = i + lag;
        /* The taps reach no further than the overlap. */
        if (i < HALF - lag || i >= FRAMES - HALF - lag || bad_a[i] || bad_b[partner])
            continue;
        plain->clear[i] = true;
        plain->count++;
        plain->mean_a += (double)a[i];
        plain->mean_b += (double)b[partner];
    }
    if (plain->count > 0) {
        plain->mean_a /= (double)plain->count;
        plain->mean_b /= (double)plain->count;
    }
}

static void check_correlation(struct tp_overlay *overlay, const float *a, const float *b, int64_t lag,
                              const struct plain *plain)
{
    double r[TP_LAG_SHIFTS], energy[TP_LAG_SHIFTS];
    tp_overlay_correlate(overlay, r, energy);
    for (int k = -HALF; k <= HALF; k++) {
        double xy = 0.0, xx = 0.0, yy = 0.0;
        for (int64_t i = 0; i < FRAMES; i++) {
            if (!plain->clear[i])
                continue;
            double x = (double)a[i - k] - plain->mean_a, y = (double)b[i + lag] - plain->mean_b;
            xy += x * y;
            xx += x * x;
            yy += y * y;
        }
        ck_assert_double_eq_tol(r[k + HALF], xy, 1e-6 * sqrt(xx * yy) + 1e-12);
        ck_assert_double_eq_tol(energy[k + HALF], xx, 1e-6 * xx + 1e-12);
    }
}

static void check_sums(struct tp_overlay *overlay, const float *a, const float *b, int64_t lag,
                       const struct plain *plain, const double *taps)
{
    struct tp_overlay_segment segments[TP_OVERLAY_SEGMENTS];
    tp_overlay_sum(overlay, taps, segments);
    for (size_t s = 0; s < TP_OVERLAY_SEGMENTS; s++) {
        double aa = 0.0, ab = 0.0, bb = 0.0, count = 0.0;
        for (size_t i = s * FRAMES / TP_OVERLAY_SEGMENTS; i < (s + 1) * FRAMES / TP_OVERLAY_SEGMENTS; i++) {
            double x = 0.0;
            if (!plain->clear[i])
                continue;
            for (int k = -HALF; k <= HALF; k++)
                x += ((double)a[(int64_t)i + k] - plain->mean_a) * (taps != NULL ? taps[k + HALF] : k == 0 ? 1.0 : 0.0);
            double y = (double)b[(int64_t)i + lag] - plain->mean_b;
            aa += x * x;
            ab += x * y;
            bb += y * y;
            count += 1.0;
        }
        ck_assert_double_eq(segments[s].count, count);
        ck_assert_double_eq_tol(segments[s].aa, aa, 1e-5 * aa + 1e-12);
        ck_assert_double_eq_tol(segments[s].ab, ab, 1e-5 * sqrt(aa * bb) + 1e-12);
        ck_assert_double_eq_tol(segments[s].bb, bb, 1e-5 * bb + 1e-12);
    }
}

START_TEST(pair_overlay__sums_are_those_of_plain_loops)
{
    struct tp_overlay *overlay = tp_overlay_new(FRAMES);
    struct tp_lag_finder *finder = tp_lag_finder_new(FRAMES, NULL);
    float *a = lab_zeros(FRAMES, sizeof *a), *b = lab_zeros(FRAMES, sizeof *b);
    struct plain *plain = lab_zeros(1, sizeof *plain);
    size_t all = 0, most = 0;
    for (uint64_t seed = 1; seed <= 200; seed++) {
        struct lab_random random = {.state = seed};
        double taps[TP_LAG_SHIFTS];
        int64_t lag = seed % 3 == 0 ? 0 : lab_random_int(&random, -2600, 2600);
        make_sound(a, &random);
        make_sound(b, &random);
        tp_lag_taps(finder, lab_random_between(&random, -0.5, 0.5), taps);
        plain_lay(a, b, lag, plain);
        tp_overlay_lay(overlay, a, b, lag);
        check_correlation(overlay, a, b, lag, plain);
        check_sums(overlay, a, b, lag, plain, NULL);
        check_sums(overlay, a, b, lag, plain, taps);
        all += plain->count > 0;
        most += plain->count < FRAMES - 2 * HALF - (size_t)llabs(lag);
    }
    /* Both with much to compare and with parts left out. */
    ck_assert_uint_gt(all, 100);
    ck_assert_uint_gt(most, 100);
    free(plain);
    free(a);
    free(b);
    tp_lag_finder_free(finder);
    tp_overlay_free(overlay);
}
END_TEST

START_TEST(pair_overlay__silence_and_full_scale_leave_nothing)
{
    struct tp_overlay *overlay = tp_overlay_new(FRAMES);
    float *a = lab_zeros(FRAMES, sizeof *a), *b = lab_zeros(FRAMES, sizeof *b);
    double r[TP_LAG_SHIFTS], energy[TP_LAG_SHIFTS];
    struct tp_overlay_segment segments[TP_OVERLAY_SEGMENTS];
    for (int i = 0; i < FRAMES; i++)
        b[i] = i % 2 ? 1.0f : -1.0f;
    tp_overlay_lay(overlay, a, b, 5);
    tp_overlay_correlate(overlay, r, energy);
    tp_overlay_sum(overlay, NULL, segments);
    for (int k = 0; k < TP_LAG_SHIFTS; k++)
        ck_assert(r[k] == 0.0 && energy[k] == 0.0);
    for (int s = 0; s < TP_OVERLAY_SEGMENTS; s++)
        ck_assert(segments[s].count == 0.0 && segments[s].aa == 0.0 && segments[s].bb == 0.0);
    free(a);
    free(b);
    tp_overlay_free(overlay);
}
END_TEST

/* A hum has next to no curvature, a hiss has much. */
START_TEST(pair_overlay__curvature_is_that_of_plain_loops)
{
    struct tp_overlay *overlay = tp_overlay_new(FRAMES);
    float *a = lab_zeros(FRAMES, sizeof *a), *b = lab_zeros(FRAMES, sizeof *b);
    struct lab_random random = {.state = 5};
    for (int i = 0; i < FRAMES; i++)
        a[i] = b[i] = (float)(0.1 * sin(2.0 * 3.14159265358979 * 50.0 * i / 48000.0));
    lab_noise_add(a, FRAMES, -50.0, &random);
    lab_noise_add(b, FRAMES, -50.0, &random);
    tp_overlay_lay(overlay, a, b, -7);
    struct tp_overlay_segment sums = tp_overlay_sum_curvature(overlay);
    double aa = 0.0, ab = 0.0, bb = 0.0;
    for (int i = 7 + HALF; i < FRAMES - HALF; i++) {
        double da = (double)a[i + 1] - 2.0 * (double)a[i] + (double)a[i - 1];
        double db = (double)b[i - 6] - 2.0 * (double)b[i - 7] + (double)b[i - 8];
        aa += da * da;
        ab += da * db;
        bb += db * db;
    }
    ck_assert_double_eq_tol(sums.aa, aa, 1e-9 * aa);
    ck_assert_double_eq_tol(sums.ab, ab, 1e-9 * aa);
    ck_assert_double_eq_tol(sums.bb, bb, 1e-9 * bb);
    ck_assert_double_lt(fabs(sums.ab) / sqrt(sums.aa * sums.bb), 0.1);
    free(a);
    free(b);
    tp_overlay_free(overlay);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pair overlay");
    TCase *tcase = tcase_create("pair overlay");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, pair_overlay__sums_are_those_of_plain_loops);
    tcase_add_test(tcase, pair_overlay__silence_and_full_scale_leave_nothing);
    tcase_add_test(tcase, pair_overlay__curvature_is_that_of_plain_loops);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
