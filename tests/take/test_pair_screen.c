/* SPDX-License-Identifier: MIT */
/* Many pairs at once against each pair by itself: Pearson written down plainly where pairs are alike, and the search
 * through one FFT of the whole excerpt for all. What is screened out is no pair any more, so none may be lost. */
#include "support/guarded.h"
#include "support/pairlab.h"
#include "take/pair_lag.h"
#include "take/pair_screen.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CHANNELS 12
#define LEAST 0.75

/* Of excerpts that lie `lag` apart, energies over the overlap alone, means of all removed. */
static double plain_correlation(const float *a, const float *b, int64_t frames, int64_t lag)
{
    double mean_a = 0.0, mean_b = 0.0, aa = 0.0, ab = 0.0, bb = 0.0;
    for (int64_t i = 0; i < frames; i++) {
        mean_a += (double)a[i] / (double)frames;
        mean_b += (double)b[i] / (double)frames;
    }
    for (int64_t i = lag < 0 ? -lag : 0; i < frames && i + lag < frames; i++) {
        aa += ((double)a[i] - mean_a) * ((double)a[i] - mean_a);
        ab += ((double)a[i] - mean_a) * ((double)b[i + lag] - mean_b);
        bb += ((double)b[i + lag] - mean_b) * ((double)b[i + lag] - mean_b);
    }
    return ab / sqrt(aa * bb);
}

/* One source of a kind: white noise, noise as dark as voice, a voice, a tone, a burst on hiss, a slow wave. */
static void make_source(double *out, size_t frames, int kind, struct lab_random *random)
{
    double slow = 0.0, hz = lab_random_between(random, 0.001, 0.4), burst = lab_random_between(random, 0.1, 0.9);
    double *voice = kind == 2 ? lab_voice(random, 40 * frames, 0.9) : NULL;
    size_t loudest = 0;
    for (size_t at = 0; voice != NULL && at < 40; at++) {
        double here = 0.0, most = 0.0;
        for (size_t i = 0; i < frames; i++) {
            here += fabs(voice[at * frames + i]);
            most += fabs(voice[loudest * frames + i]);
        }
        loudest = here > most ? at : loudest;
    }
    for (size_t i = 0; i < frames; i++) {
        double normal = lab_random_normal(random), place = (double)i / (double)frames - burst;
        slow += (kind == 5 ? 0.003 : 0.1) * (normal - slow);
        switch (kind) {
        case 0: out[i] = 0.3 * normal; break;
        case 2: out[i] = voice[loudest * frames + i]; break;
        case 3: out[i] = 0.5 * sin(6.283185307179586 * hz * (double)i) + 0.01 * normal; break;
        case 4: out[i] = (0.001 + 0.5 * exp(-place * place * 2000.0)) * normal; break;
        default: out[i] = slow + 0.1; break;
        }
    }
    free(voice);
}

/* Half of the channels have a source of their own, the other half hold one of these later, lower, turned, clipped or
 * with noise of about the level at which it matters. */
static void make_group(float *const *planes, size_t frames, int64_t *lags, size_t *froms, struct lab_random *random)
{
    double *source = lab_zeros(frames, sizeof *source);
    for (size_t c = 0; c < CHANNELS; c++) {
        bool own = c < CHANNELS / 2;
        if (own)
            make_source(source, frames, (int)c, random);
        froms[c] = own ? c : (size_t)lab_random_int(random, 0, CHANNELS / 2 - 1);
        int reach = (int)tp_lag_reach(frames) - 1;
        lags[c] = own ? 0 : lab_random_int(random, 0, 3) == 0 ? 0 : lab_random_int(random, -reach, reach);
        double gain = pow(10.0, lab_random_between(random, -2.0, 0.0)) * (lab_random_int(random, 0, 1) ? 1.0 : -1.0);
        double noise = lab_random_between(random, 0.0, 1.2), power = 0.0, clip = lab_random_between(random, 0.3, 3.0);
        for (size_t i = 0; !own && i < frames; i++)
            power += (double)planes[froms[c]][i] * (double)planes[froms[c]][i] / (double)frames;
        for (int64_t i = 0; i < (int64_t)frames; i++) {
            int64_t from = i - lags[c];
            double x = own ? source[i] : from >= 0 && from < (int64_t)frames ? (double)planes[froms[c]][from] : 0.0;
            double limit = clip * sqrt(power) * 2.0;
            planes[c][i] =
                own ? (float)x
                    : (float)(gain * (fmax(-limit, fmin(x, limit)) + noise * sqrt(power) * lab_random_normal(random)));
        }
    }
    free(source);
}

struct tally {
    int alike, related, apart, close;
};

static void check_group(size_t frames, uint64_t seed, struct tally *tally)
{
    struct lab_random random = {.state = seed};
    struct tp_screen *screen = tp_screen_new(frames, CHANNELS, NULL);
    struct tp_lag_finder *finder = tp_lag_finder_new(frames, NULL);
    float *planes[CHANNELS];
    int64_t lags[CHANNELS];
    size_t froms[CHANNELS];
    bool pairs[CHANNELS * CHANNELS] = {false};
    for (size_t c = 0; c < CHANNELS; c++)
        planes[c] = lab_zeros(frames, sizeof(float));
    make_group(planes, frames, lags, froms, &random);
    for (uint32_t c = 0; c < CHANNELS; c++)
        tp_screen_set(screen, c, planes[c]);
    for (size_t a = 0; a < CHANNELS; a++)
        for (size_t b = a + 1; b < CHANNELS; b++)
            pairs[a * CHANNELS + b] = (a + b) % 7 != 3;
    tp_screen_keep(screen, pairs, LEAST);
    for (size_t a = 0; a < CHANNELS; a++) {
        for (size_t b = a + 1; b < CHANNELS; b++) {
            bool kept = pairs[a * CHANNELS + b];
            int64_t lag;
            double correlation;
            if ((a + b) % 7 == 3) {
                ck_assert(!kept);
                continue;
            }
            if (froms[b] == a &&
                fabs(plain_correlation(planes[a], planes[b], (int64_t)frames, lags[b])) > LEAST + 1e-4) {
                ck_assert_msg(kept, "%zu frames, seed %d: %zu and %zu lost", frames, (int)seed, a, b);
                tally->alike++;
            }
            if (!tp_lag_find(finder, planes[a], planes[b], &lag, &correlation))
                correlation = 0.0;
            if (fabs(fabs(correlation) - LEAST) < 1e-4) {
                tally->close++;
                continue;
            }
            ck_assert_msg(kept == (fabs(correlation) > LEAST), "%zu frames, seed %d: %zu and %zu, %.5f at %d", frames,
                          (int)seed, a, b, correlation, (int)lag);
            tally->related += kept;
            tally->apart += !kept;
        }
    }
    for (size_t c = 0; c < CHANNELS; c++)
        free(planes[c]);
    tp_screen_free(screen);
    tp_lag_finder_free(finder);
}

/* Excerpts of all lengths that there are, and odd ones. */
static const struct {
    size_t frames;
    uint64_t seeds;
} lengths[] = {{4096, 60}, {8192, 60}, {16384, 60}, {32768, 20}, {2048, 20}, {5000, 20}, {15000, 20}};

START_TEST(pair_screen__no_related_pair_is_lost)
{
    struct tally tally = {0};
    for (uint64_t seed = 1; seed <= lengths[_i].seeds; seed++)
        check_group(lengths[_i].frames, seed * 31 + (uint64_t)_i, &tally);
    printf("%zu frames: %d alike, %d related, %d not, %d too close to tell\n", lengths[_i].frames, tally.alike,
           tally.related, tally.apart, tally.close);
    ck_assert_int_gt(tally.alike, 2 * (int)lengths[_i].seeds);
    ck_assert_int_gt(tally.related, tally.alike - 1);
    ck_assert_int_gt(tally.apart, 20 * (int)lengths[_i].seeds);
    ck_assert_int_lt(tally.close, 3);
}
END_TEST

/* Correlation as near to the limit as one likes, on either side, in noise and at the ends of the lags: the short way
 * out must not be taken a hair too early. */
START_TEST(pair_screen__the_limit_is_kept)
{
    const size_t frames = 16384;
    struct tp_screen *screen = tp_screen_new(frames, 2, NULL);
    float *a = lab_zeros(frames, sizeof *a), *b = lab_zeros(frames, sizeof *b);
    static const int64_t at[] = {0, 1, -1, 2450, -2450, 2000, -1700};
    for (size_t row = 0; row < sizeof at / sizeof *at; row++) {
        struct lab_random random = {.state = 500 + row};
        for (size_t i = 0; i < frames; i++)
            a[i] = (float)lab_random_normal(&random);
        double *other = lab_zeros(frames, sizeof *other);
        for (size_t i = 0; i < frames; i++)
            other[i] = lab_random_normal(&random);
        for (double share = 0.70; share < 0.80; share += 0.002) {
            for (int64_t i = 0; i < (int64_t)frames; i++) {
                int64_t from = i - at[row];
                double same = from >= 0 && from < (int64_t)frames ? (double)a[from] : other[(i * 7) % (int64_t)frames];
                b[i] = (float)(share * same + sqrt(1.0 - share * share) * other[i]);
            }
            double expected = fabs(plain_correlation(a, b, (int64_t)frames, at[row]));
            bool pairs[4] = {false, true, false, false};
            tp_screen_set(screen, 0, a);
            tp_screen_set(screen, 1, b);
            tp_screen_keep(screen, pairs, LEAST);
            if (fabs(expected - LEAST) > 1e-5)
                ck_assert_msg(pairs[1] == (expected > LEAST), "%.6f at %d", expected, (int)at[row]);
        }
        free(other);
    }
    free(a);
    free(b);
    tp_screen_free(screen);
}
END_TEST

/* Nothing, a constant, the same twice, and the widest range of levels. */
START_TEST(pair_screen__silence_has_no_pair)
{
    const size_t frames = 16384;
    struct tp_screen *screen = tp_screen_new(frames, 5, NULL);
    float *plane = guarded_new(frames * sizeof *plane, GUARDED_END);
    struct lab_random random = {.state = 3};
    bool pairs[25];
    memset(pairs, 1, sizeof pairs);
    memset(plane, 0, frames * sizeof *plane);
    tp_screen_set(screen, 0, plane);
    for (size_t i = 0; i < frames; i++)
        plane[i] = 0.25f;
    tp_screen_set(screen, 1, plane);
    for (size_t i = 0; i < frames; i++)
        plane[i] = (float)lab_random_normal(&random);
    tp_screen_set(screen, 2, plane);
    for (size_t i = 0; i < frames; i++)
        plane[i] *= 0x1p-20f;
    tp_screen_set(screen, 3, plane);
    for (size_t i = 0; i < frames; i++)
        plane[i] *= -0x1p30f;
    tp_screen_set(screen, 4, plane);
    tp_screen_keep(screen, pairs, LEAST);
    for (uint32_t a = 0; a < 5; a++)
        for (uint32_t b = a + 1; b < 5; b++)
            ck_assert_int_eq(pairs[a * 5 + b], a >= 2);
    guarded_free(plane, frames * sizeof *plane);
    tp_screen_free(screen);
}
END_TEST

int main(void)
{
    setvbuf(stdout, NULL, _IOLBF, 0);
    Suite *suite = suite_create("pair screen");
    TCase *tcase = tcase_create("pair screen");
    tcase_set_timeout(tcase, 300);
    tcase_add_loop_test(tcase, pair_screen__no_related_pair_is_lost, 0, (int)(sizeof lengths / sizeof *lengths));
    tcase_add_test(tcase, pair_screen__the_limit_is_kept);
    tcase_add_test(tcase, pair_screen__silence_has_no_pair);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
