/* SPDX-License-Identifier: MIT */
/* The loops of pairing as the library runs them on this processor, against the same source compiled here without choice
 * of instruction set: equal to the last bit, so that a pair's figures do not depend on the machine. */
#include "support/guarded.h"
#include "support/pairlab.h"
#include "take/evidence.h"

#include <check.h>
#include <stdlib.h>

#define TP_PLAIN
#define tp_lag_power plain_lag_power
#define tp_lag_finder_new plain_lag_finder_new
#define tp_lag_finder_free plain_lag_finder_free
#define tp_lag_find plain_lag_find
#define tp_lag_reach plain_lag_reach
#define tp_lag_normalise plain_lag_normalise
#define tp_lag_line_robust plain_lag_line_robust
#define tp_lag_line_refine plain_lag_line_refine
#define tp_lag_peak_position plain_lag_peak_position
#define tp_lag_taps plain_lag_taps
#define tp_overlay_new plain_overlay_new
#define tp_overlay_free plain_overlay_free
#define tp_overlay_lay plain_overlay_lay
#define tp_overlay_correlate plain_overlay_correlate
#define tp_overlay_sum plain_overlay_sum
#define tp_overlay_sum_curvature plain_overlay_sum_curvature
#include "../src/take/pair_lag.c"
#include "../src/take/pair_overlay.c"
#undef tp_lag_finder_new
#undef tp_lag_finder_free
#undef tp_lag_find
#undef tp_lag_peak_position
#undef tp_overlay_new
#undef tp_overlay_free
#undef tp_overlay_lay
#undef tp_overlay_correlate
#undef tp_overlay_sum
#undef tp_overlay_sum_curvature
#undef tp_lag_power
/* The library's. */
struct tp_lag_finder *tp_lag_finder_new(size_t frames, struct tp_plans *plans);
void tp_lag_finder_free(struct tp_lag_finder *finder);
bool tp_lag_find(struct tp_lag_finder *finder, const float *a, const float *b, int64_t *lag, double *correlation);
double tp_lag_peak_position(const struct tp_lag_finder *finder, const double *r, const double *energy);
struct tp_overlay *tp_overlay_new(size_t frames);
void tp_overlay_free(struct tp_overlay *overlay);
void tp_overlay_lay(struct tp_overlay *overlay, const float *a, const float *b, int64_t lag);
void tp_overlay_correlate(struct tp_overlay *overlay, double *r, double *energy_a);
void tp_overlay_sum(struct tp_overlay *overlay, const double *taps, struct tp_overlay_segment *segments);
struct tp_overlay_segment tp_overlay_sum_curvature(struct tp_overlay *overlay);
void tp_lag_power(const float *samples, size_t frames, double *sum, double *squares);

#define FRAMES 4096

START_TEST(pair_vector__figures_are_the_same_to_the_bit)
{
    struct tp_lag_finder *finder = tp_lag_finder_new(FRAMES, NULL), *plain_finder = plain_lag_finder_new(FRAMES, NULL);
    struct tp_overlay *overlay = tp_overlay_new(FRAMES), *plain_overlay = plain_overlay_new(FRAMES);
    struct lab_random random = {.state = 21};
    size_t frames = 20 * FRAMES;
    double *voice = lab_voice(&random, frames, 2.0);
    float *main = lab_zeros(frames, sizeof *main), *safety = lab_zeros(frames, sizeof *safety);
    struct lab_pair pair = {
        .offset_db = -9.0, .lag = 3, .lag_fraction = 0.3, .main_noise_dbfs = -90, .safety_noise_dbfs = -80, .bits = 24};
    lab_pair_make(&pair, voice, frames, &random, main, safety);
    for (size_t at = 0; at < frames; at += FRAMES) {
        int64_t lag, plain_lag;
        double correlation, plain_correlation, r[2][TP_LAG_SHIFTS], energy[2][TP_LAG_SHIFTS], taps[TP_LAG_SHIFTS];
        struct tp_overlay_segment sums[2][TP_OVERLAY_SEGMENTS];
        bool found = tp_lag_find(finder, main + at, safety + at, &lag, &correlation);
        ck_assert_int_eq(found, plain_lag_find(plain_finder, main + at, safety + at, &plain_lag, &plain_correlation));
        if (!found)
            continue;
        ck_assert_int_eq(lag, plain_lag);
        ck_assert_mem_eq(&correlation, &plain_correlation, sizeof correlation);
        tp_overlay_lay(overlay, main + at, safety + at, 3);
        plain_overlay_lay(plain_overlay, main + at, safety + at, 3);
        tp_overlay_correlate(overlay, r[0], energy[0]);
        plain_overlay_correlate(plain_overlay, r[1], energy[1]);
        ck_assert_mem_eq(r[0], r[1], sizeof r[0]);
        ck_assert_mem_eq(energy[0], energy[1], sizeof energy[0]);
        double peak = tp_lag_peak_position(finder, r[0], energy[0]);
        double plain_peak = plain_lag_peak_position(plain_finder, r[0], energy[0]);
        ck_assert_mem_eq(&peak, &plain_peak, sizeof peak);
        tp_lag_taps(plain_finder, -0.3, taps);
        tp_overlay_sum(overlay, taps, sums[0]);
        plain_overlay_sum(plain_overlay, taps, sums[1]);
        ck_assert_mem_eq(sums[0], sums[1], sizeof sums[0]);
    }
    free(voice);
    free(main);
    free(safety);
    tp_lag_finder_free(finder);
    plain_lag_finder_free(plain_finder);
    tp_overlay_free(overlay);
    plain_overlay_free(plain_overlay);
}
END_TEST

START_TEST(pair_vector__nothing_beside_the_samples_is_read)
{
    const size_t size = FRAMES * sizeof(float);
    for (int side = 0; side < 2; side++) {
        float *planes[2];
        for (size_t c = 0; c < 2; c++) {
            planes[c] = guarded_new(size, side == 0 ? GUARDED_START : GUARDED_END);
            for (size_t i = 0; i < FRAMES; i++) /* full scale at one end, zeros at the other */
                planes[c][c == 0 ? i : FRAMES - 1 - i] = i < 5             ? 1.0f
                                                         : i + 70 > FRAMES ? 0.0f
                                                                           : (float)(i * 37 % 101) / 200.0f;
        }
        struct tp_overlay *overlay = tp_overlay_new(FRAMES);
        struct tp_evidence *evidence = tp_evidence_new(2, 48000);
        double sum, squares, r[TP_LAG_SHIFTS], energy[TP_LAG_SHIFTS], taps[TP_LAG_SHIFTS] = {0.5};
        struct tp_overlay_segment sums[TP_OVERLAY_SEGMENTS];
        ck_assert(overlay != NULL && evidence != NULL);
        for (int64_t lag = -2660; lag <= 2660; lag += 133) {
            tp_overlay_lay(overlay, planes[0], planes[1], lag);
            tp_overlay_correlate(overlay, r, energy);
            tp_overlay_sum(overlay, taps, sums);
            sums[0] = tp_overlay_sum_curvature(overlay);
            ck_assert_double_gt(sums[0].count, 0.0);
        }
        for (size_t frames = 0; frames < 300; frames++)
            tp_lag_power(planes[0] + (side == 0 ? 0 : FRAMES - frames), frames, &sum, &squares);
        ck_assert(tp_evidence_push(evidence, (const float *const *)planes, FRAMES, NULL));
        tp_overlay_free(overlay);
        tp_evidence_free(evidence);
        guarded_free(planes[0], size);
        guarded_free(planes[1], size);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pair vector");
    TCase *tcase = tcase_create("pair vector");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, pair_vector__figures_are_the_same_to_the_bit);
    tcase_add_test(tcase, pair_vector__nothing_beside_the_samples_is_read);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
