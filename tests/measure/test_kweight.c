/* SPDX-License-Identifier: MIT */
/* Reference: the two sections of ITU-R BS.1770-5 Annex 1 one after another in long double, sample by sample. */
#include "measure/kweight.h"

#include "support/kweight_row.h"
#include "support/tones.h"
#include "support/voice_plane.h"

#include <check.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/* 1e-6 dB */
#define NEAR 2.3e-7
#define HISTORY TP_KWEIGHT_HISTORY
#define HOPS TP_KWEIGHT_PARTS

/* Direct form, as the standard draws it. */
struct reference {
    struct tp_biquad s, h;
    long double x1, x2, y1, y2, z1, z2;
};

static long double reference_energy(struct reference *r, const float *samples, size_t frames)
{
    long double energy = 0;
    for (size_t i = 0; i < frames; i++) {
        long double x = (long double)samples[i];
        long double y = r->s.b0 * x + r->s.b1 * r->x1 + r->s.b2 * r->x2 - r->s.a1 * r->y1 - r->s.a2 * r->y2;
        long double z = y - 2.0L * r->y1 + r->y2 - r->h.a1 * r->z1 - r->h.a2 * r->z2;
        r->x2 = r->x1, r->x1 = x, r->y2 = r->y1, r->y1 = y, r->z2 = r->z1, r->z1 = z;
        energy += z * z;
    }
    return energy;
}

/* Hops of the given frames, every other one a frame longer; the worst part by which 400 ms in a row differ, where they
 * are above the absolute gate of -70 LUFS (which is all that counts), and the part by which all together do. */
struct deviation {
    double worst, total;
};

static struct deviation deviation_of(const struct plane *plane, uint32_t rate_hz)
{
    size_t hop = rate_hz / 100, starts[HOPS + 1], hops = 0;
    struct tp_kweight filter;
    struct reference reference = {.x1 = 0};
    double energies[HOPS], ours[40] = {0}, theirs[40] = {0}, total[2] = {0};
    struct deviation deviation = {0};
    for (size_t i = 0; i <= HOPS; i++)
        starts[i] = i * hop + i / 2;
    float *samples = calloc(plane->frames + HISTORY, sizeof *samples);
    ck_assert_ptr_nonnull(samples);
    for (size_t i = 0; i < plane->frames; i++)
        samples[HISTORY + i] = plane->samples[i];
    ck_assert(tp_kweight_init(&filter, rate_hz, hop));
    tp_kweight_design(rate_hz, &reference.s, &reference.h);
    for (size_t at = HISTORY; at + starts[HOPS] <= plane->frames + HISTORY; at += starts[HOPS]) {
        struct tp_kweight_part parts[HOPS];
        kweight_row(parts, samples + at, starts);
        tp_kweight_parts(&filter, parts, energies);
        for (size_t i = 0; i < HOPS; i++, hops++) {
            ours[hops % 40] = energies[i];
            theirs[hops % 40] =
                (double)reference_energy(&reference, samples + at + starts[i], starts[i + 1] - starts[i]);
            double block[2] = {0};
            for (size_t k = 0; k < 40; k++) {
                block[0] += ours[k];
                block[1] += theirs[k];
            }
            total[0] += energies[i];
            total[1] += theirs[hops % 40];
            if (hops >= 40 && block[1] >= 1.17e-7 * 40.0 * (double)hop)
                deviation.worst = fmax(deviation.worst, fabs(block[0] / block[1] - 1.0));
        }
    }
    ck_assert_uint_gt(hops, 40);
    deviation.total = fabs(total[0] / total[1] - 1.0);
    tp_kweight_clear(&filter);
    free(samples);
    return deviation;
}

static void check_near(const struct plane *plane, uint32_t rate_hz, const char *what)
{
    struct deviation d = deviation_of(plane, rate_hz);
    ck_assert_msg(d.worst <= NEAR && d.total <= NEAR, "%s at %u Hz: worst block %.2e, all %.2e", what, rate_hz, d.worst,
                  d.total);
}

static const uint32_t rates[] = {4000, 11025, 16000, 44100, 48000, 96000, 192000, 384000};

START_TEST(kweight__equals_the_sections_on_noise_and_tones)
{
    const double divisors[] = {2400.0, 480.0, 48.0, 12.7, 3.1};
    struct plane noise = tones_noise(3, 0.9, rates[_i] * 2);
    check_near(&noise, rates[_i], "noise");
    plane_free(&noise);
    for (size_t d = 0; d < sizeof divisors / sizeof *divisors; d++) {
        struct plane tone = tones_sine(rates[_i], divisors[d], 17.0, 0.8, 2.0, 0.0);
        check_near(&tone, rates[_i], "tone");
        plane_free(&tone);
    }
}
END_TEST

START_TEST(kweight__equals_the_sections_on_real_voices)
{
    struct plane plane = voice_plane((size_t)_i);
    check_near(&plane, 48000, real_voice_name((size_t)_i));
    plane_free(&plane);
}
END_TEST

/* Where single precision could go wrong: quiet sound on a large offset, on a rumble at full scale, after a loud
 * stretch, and in numbers far beyond full scale. */
START_TEST(kweight__equals_the_sections_on_hostile_sound)
{
    struct plane plane = tones_noise(9, 1.0, 48000 * 4);
    for (size_t i = 0; i < plane.frames; i++) {
        double x = (double)plane.samples[i], t = (double)i / 48000.0;
        const double kinds[] = {0.9 + 1e-3 * x,
                                0.9 * sin(2.0 * 3.14159265358979323846 * 5.0 * t) + 1e-3 * x,
                                (i / 12000 % 2 != 0 ? 1.0 : 1e-3) * x,
                                (i / 12000 % 2 != 0 ? 0.99 : -0.99),
                                1e15 * x,
                                i % 1000 == 0 ? 1e30 * x : x};
        plane.samples[i] = (float)kinds[_i];
    }
    check_near(&plane, 48000, "hostile sound");
    plane_free(&plane);
}
END_TEST

/* Sample by sample in double precision there is nothing to lose. */
START_TEST(kweight__single_samples_equal_the_sections)
{
    struct plane plane = tones_noise(4, 0.9, 480000);
    struct tp_kweight filter;
    struct reference reference = {.x1 = 0};
    ck_assert(tp_kweight_init(&filter, 48000, 480));
    tp_kweight_design(48000, &reference.s, &reference.h);
    for (size_t at = 0; at + 479 <= plane.frames; at += 479) {
        double ours = tp_kweight_energy(&filter, plane.samples + at, 479);
        ck_assert_double_eq_tol(ours / (double)reference_energy(&reference, plane.samples + at, 479), 1.0, 1e-10);
    }
    tp_kweight_clear(&filter);
    plane_free(&plane);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("kweight");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, kweight__equals_the_sections_on_noise_and_tones, 0, sizeof rates / sizeof *rates);
    tcase_add_loop_test(tcase, kweight__equals_the_sections_on_real_voices, 0, REAL_VOICE_COUNT);
    tcase_add_loop_test(tcase, kweight__equals_the_sections_on_hostile_sound, 0, 6);
    tcase_add_test(tcase, kweight__single_samples_equal_the_sections);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 4;
    srunner_free(runner);
    return failed ? 1 : 0;
}
