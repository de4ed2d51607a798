/* SPDX-License-Identifier: MIT */
/* The inner loops as the library runs them on this processor, against the same source compiled here without choice of
 * instruction set: equal to the last bit, so that a report does not depend on the machine. */
#include "measure/kernels.h"
#include "measure/kweight.h"
#include "measure/true_peak.h"
#include "support/real_voice.h"
#include "support/tones.h"

#include <check.h>
#include <stdlib.h>

#define TP_PLAIN
#define tp_kernel_largest plain_kernel_largest
#define tp_kernel_sums(samples, frames) plain_kernel_sums(samples, frames) /* not the struct */
#define tp_kernel_extremes plain_kernel_extremes
#define tp_kweight_design plain_kweight_design
#define tp_kweight_init plain_kweight_init
#define tp_kweight_energy plain_kweight_energy
#define tp_true_peak_init plain_true_peak_init
#define tp_true_peak_push plain_true_peak_push
#define tp_true_peak_finish plain_true_peak_finish
float plain_kernel_largest(const float *samples, size_t frames);
struct tp_kernel_sums plain_kernel_sums(const float *samples, size_t frames);
void plain_kernel_extremes(const float *samples, size_t blocks, size_t block, float *min, float *max);
void plain_kweight_design(uint32_t sample_rate_hz, struct tp_biquad *shelf, struct tp_biquad *highpass);
void plain_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz);
double plain_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames);
void plain_true_peak_init(struct tp_true_peak *meter, uint32_t sample_rate_hz);
void plain_true_peak_push(struct tp_true_peak *meter, const float *samples, size_t frames);
double plain_true_peak_finish(struct tp_true_peak *meter);
#include "../src/measure/kernels.c"
#define pi pi_of_kweight
#include "../src/measure/kweight.c"
#undef pi
#include "../src/measure/true_peak.c"
#undef tp_kernel_largest
#undef tp_kernel_sums
#undef tp_kernel_extremes
#undef tp_kweight_init
#undef tp_kweight_energy
#undef tp_true_peak_init
#undef tp_true_peak_push
#undef tp_true_peak_finish

static struct plane sound_of(int index)
{
    if (index >= REAL_VOICE_COUNT)
        return tones_noise((uint64_t)index, 1.0, 100003);
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load((size_t)index, &voice, &why), "%s", why);
    struct plane plane = plane_new(voice.frames);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = (float)voice.samples[i];
    real_voice_clear(&voice);
    return plane;
}

START_TEST(vector__figures_are_the_same_to_the_bit)
{
    const uint32_t rates[] = {44100, 48000, 192000};
    struct plane plane = sound_of(_i);
    for (size_t length = 1; length < 600; length += 7)
        for (size_t at = 0; at + length <= plane.frames; at += 9973) {
            struct tp_kernel_sums a = tp_kernel_sums(plane.samples + at, length);
            struct tp_kernel_sums b = plain_kernel_sums(plane.samples + at, length);
            ck_assert(a.sum == b.sum && a.sum_squares == b.sum_squares && a.peak == b.peak);
            float min[2], max[2];
            tp_kernel_extremes(plane.samples + at, 1, length, &min[0], &max[0]);
            plain_kernel_extremes(plane.samples + at, 1, length, &min[1], &max[1]);
            ck_assert(min[0] == min[1] && max[0] == max[1]);
        }
    for (size_t r = 0; r < 3; r++) {
        struct tp_kweight a, b;
        tp_kweight_init(&a, rates[r]);
        plain_kweight_init(&b, rates[r]);
        for (size_t at = 0; at + 441 <= plane.frames; at += 441) {
            double energy = tp_kweight_energy(&a, plane.samples + at, 441);
            ck_assert(energy == plain_kweight_energy(&b, plane.samples + at, 441));
        }
        struct tp_true_peak c, d;
        tp_true_peak_init(&c, rates[r]);
        plain_true_peak_init(&d, rates[r]);
        tp_true_peak_push(&c, plane.samples, plane.frames);
        plain_true_peak_push(&d, plane.samples, plane.frames);
        double peak = tp_true_peak_finish(&c);
        ck_assert(peak == plain_true_peak_finish(&d) && peak > 0.0);
    }
    plane_free(&plane);
}
END_TEST

/* Eight samples at once against the two sections of BS.1770 one after another, in long double. */
START_TEST(kweight__equals_the_sections_sample_by_sample)
{
    struct plane plane = tones_noise(3, 0.9, 480000);
    struct tp_kweight filter;
    struct tp_biquad s, h;
    tp_kweight_init(&filter, 48000);
    plain_kweight_design(48000, &s, &h);
    long double x1 = 0, x2 = 0, y1 = 0, y2 = 0, z1 = 0, z2 = 0;
    for (size_t at = 0; at + 479 <= plane.frames; at += 479) {
        long double energy = 0;
        for (size_t i = at; i < at + 479; i++) {
            long double x = (long double)plane.samples[i];
            long double y = s.b0 * x + s.b1 * x1 + s.b2 * x2 - s.a1 * y1 - s.a2 * y2;
            long double z = y - 2.0L * y1 + y2 - h.a1 * z1 - h.a2 * z2;
            x2 = x1, x1 = x, y2 = y1, y1 = y, z2 = z1, z1 = z;
            energy += z * z;
        }
        double ours = tp_kweight_energy(&filter, plane.samples + at, 479);
        ck_assert_double_eq_tol(ours / (double)energy, 1.0, 1e-10);
    }
    plane_free(&plane);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("vector");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, vector__figures_are_the_same_to_the_bit, 0, REAL_VOICE_COUNT + 2);
    tcase_add_test(tcase, kweight__equals_the_sections_sample_by_sample);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 2;
    srunner_free(runner);
    return failed ? 1 : 0;
}
