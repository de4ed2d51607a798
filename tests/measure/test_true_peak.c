/* SPDX-License-Identifier: MIT */
/* Reference: support/oversampled.h, a plain 32-times windowed sinc in double precision that shares nothing with the
 * meter. */
#include "measure/true_peak.h"

#include "support/oversampled.h"
#include "support/real_voice.h"
#include "support/tones.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static double meter_peak(uint32_t rate_hz, const float *samples, size_t count, size_t block)
{
    struct tp_true_peak meter;
    tp_true_peak_init(&meter, rate_hz);
    for (size_t at = 0; at < count; at += block)
        tp_true_peak_push(&meter, samples + at, count - at < block ? count - at : block);
    return tp_true_peak_finish(&meter);
}

static double db(double ratio)
{
    return 20.0 * log10(ratio);
}

START_TEST(true_peak__sines_within_a_tenth_of_a_db)
{
    const uint32_t rates[] = {44100, 48000, 88200, 96000, 192000};
    uint32_t rate_hz = rates[_i];
    double highest = rate_hz < 96000 ? 0.45 : 20000.0 / rate_hz > 0.25 ? 20000.0 / rate_hz : 0.25;
    for (double f = 0.01; f <= highest; f += 0.0237)
        for (int phase = 0; phase < 8; phase++) {
            struct plane plane = tones_sine(rate_hz, 1.0 / f, phase * 23.0, 0.5, 0.1, 0.01);
            double error = db(meter_peak(rate_hz, plane.samples, plane.frames, 4096) / 0.5);
            ck_assert_msg(fabs(error) <= 0.1, "%u Hz, f/fs %.4f, phase %d: %.4f dB", rate_hz, f, phase, error);
            plane_free(&plane);
        }
}
END_TEST

START_TEST(true_peak__noise_equals_the_reference)
{
    struct plane plane = tones_noise((uint64_t)_i + 5, 0.7, 3000);
    /* White to 0.5 fs is no sound that any filter agrees on up there: a three-point smoothing tames the top octave. */
    for (size_t i = 1; i + 1 < plane.frames; i++)
        plane.samples[i] = 0.25f * plane.samples[i - 1] + 0.5f * plane.samples[i] + 0.25f * plane.samples[i + 1];
    double reference = oversampled_peak(plane.samples, plane.frames, 4.0);
    double error = db(meter_peak(48000, plane.samples, plane.frames, 4096) / reference);
    ck_assert_msg(fabs(error) <= 0.1, "seed %d: %.4f dB", _i, error);
    plane_free(&plane);
}
END_TEST

START_TEST(true_peak__real_voices_equal_the_reference)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load((size_t)_i, &voice, &why), "%s", why);
    float *samples = malloc(voice.frames * sizeof *samples);
    ck_assert_ptr_nonnull(samples);
    for (size_t i = 0; i < voice.frames; i++)
        samples[i] = (float)voice.samples[i];
    double reference = oversampled_peak(samples, voice.frames, 2.0);
    double error = db(meter_peak(48000, samples, voice.frames, 4096) / reference);
    ck_assert_msg(fabs(error) <= 0.05, "%s: %.4f dB", voice.name, error);
    free(samples);
    real_voice_clear(&voice);
}
END_TEST

START_TEST(true_peak__does_not_depend_on_the_blocks)
{
    const size_t blocks[] = {1, 7, 480, 4096, 100000};
    for (size_t frames = 1; frames < 9000; frames = frames * 3 / 2 + 1) {
        struct plane plane = tones_noise(frames, 0.9, frames);
        double whole = meter_peak(48000, plane.samples, frames, frames);
        for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++)
            ck_assert_double_eq(meter_peak(48000, plane.samples, frames, blocks[i]), whole);
        float sample_peak = 0.0f;
        for (size_t i = 0; i < frames; i++)
            sample_peak = fmaxf(sample_peak, fabsf(plane.samples[i]));
        ck_assert_double_ge(whole, (double)sample_peak);
        plane_free(&plane);
    }
}
END_TEST

/* Sound of stretches of 1 to 400 samples, of all kinds and levels. */
static float hostile_sample(int kind, double level, size_t i)
{
    double noise = wavgen_random(7 * i + (uint64_t)kind);
    switch (kind) {
    case 0: return (float)(level * noise);
    case 1: return (float)(level + 1e-6 * noise); /* an offset, and hardly anything else: where rounding decides */
    case 2: return (float)(level * (noise > 0.0 ? 1.0 : -1.0));
    case 3: return (float)(level * sin(0.3 * (double)i));
    case 4: return (float)(noise > 0.97 ? level : 0.0);
    case 5: return (float)(level * sin(1.5708 * (double)i));
    case 6: return (float)(3e38 * level * noise);
    default: return (float)(1e-41 * noise);
    }
}

static struct plane hostile_sound(uint64_t seed)
{
    struct plane plane = plane_new(1 + (size_t)(4000.0 * fabs(wavgen_random(seed))));
    double spread = wavgen_random(seed + 1) > 0.0 ? 3.0 : 0.001; /* powers of ten */
    for (size_t at = 0, end; at < plane.frames; at = end) {
        uint64_t key = seed + 1000 * at;
        int kind = (int)(4.0 + 4.0 * wavgen_random(key + 2));
        double level = pow(10.0, -spread * fabs(wavgen_random(key + 3)));
        end = at + 1 + (size_t)(400.0 * fabs(wavgen_random(key + 4)));
        for (size_t i = at; i < end && i < plane.frames; i++)
            plane.samples[i] = hostile_sample(seed % 4 != 0 && kind >= 6 ? 1 : kind, level, i);
    }
    return plane;
}

/* Of every stretch that is not one value, over-sampled: bounds so high that nothing is skipped. */
static double unskipped_peak(uint32_t rate_hz, const struct plane *plane)
{
    struct tp_true_peak all;
    tp_true_peak_init(&all, rate_hz);
    all.gain = all.slope_gain = 1e30f;
    tp_true_peak_push(&all, plane->samples, plane->frames);
    return tp_true_peak_finish(&all);
}

/* Steady noise: nearly every cell is let through by its peaks and passed over by the taps in the middle. White,
 * smoothed, or of two levels. */
START_TEST(true_peak__skipping_in_noise_loses_nothing)
{
    const uint32_t rates[] = {48000, 192000, 96000, 384000};
    for (uint64_t seed = 0; seed < 400; seed++) {
        struct plane plane = tones_noise(seed, 0.9, 2000 + (size_t)seed * 97 % 30000);
        float smooth = seed % 5 == 4 ? 0.3f : 0.0f;
        for (size_t i = 1; i < plane.frames; i++)
            plane.samples[i] += smooth * (plane.samples[i - 1] - plane.samples[i]);
        for (size_t i = 0; seed % 3 == 0 && i < plane.frames; i++)
            plane.samples[i] = (plane.samples[i] > 0.0f ? 0.9f : -0.9f) + 0.1f * plane.samples[i];
        double expected = unskipped_peak(rates[seed % 4], &plane);
        ck_assert_double_eq(meter_peak(rates[seed % 4], plane.samples, plane.frames, 4096), expected);
        plane_free(&plane);
    }
}
END_TEST

/* The skipping is exact. */
START_TEST(true_peak__skipping_loses_nothing)
{
    const uint32_t rates[] = {8000, 48000, 192000};
    for (uint64_t seed = 0; seed < 3000; seed++) {
        struct plane plane = hostile_sound(seed);
        double expected = unskipped_peak(rates[seed % 3], &plane), sample_peak = 0.0;
        for (size_t i = 0; i < plane.frames; i++)
            sample_peak = fmax(sample_peak, fabs((double)plane.samples[i]));
        ck_assert(isfinite(expected) && expected >= sample_peak);
        size_t block = 1 + (size_t)seed % plane.frames;
        ck_assert_double_eq(meter_peak(rates[seed % 3], plane.samples, plane.frames, plane.frames), expected);
        ck_assert_double_eq(meter_peak(rates[seed % 3], plane.samples, plane.frames, block), expected);
        plane_free(&plane);
    }
}
END_TEST

/* Takes cut from a longer recording begin and end mid-sound: no step from silence may be read as a peak. */
START_TEST(true_peak__cut_sound_does_not_read_over)
{
    for (int phase = 0; phase < 360; phase += 15) {
        const double divisors[] = {40.0, 17.3, 9.1, 6.0};
        for (size_t d = 0; d < 4; d++) {
            struct plane plane = tones_sine(48000, divisors[d], phase, 0.5, 0.1, 0.0);
            double error = db(meter_peak(48000, plane.samples, plane.frames, 4096) / 0.5);
            ck_assert_msg(error < 0.15 && error > -0.05, "divisor %.1f, phase %d: %.3f dB", divisors[d], phase, error);
            plane_free(&plane);
        }
    }
    float step[1000];
    for (size_t i = 0; i < 1000; i++)
        step[i] = 0.5f;
    ck_assert_double_eq_tol(meter_peak(48000, step, 1000, 4096), 0.5, 1e-4);
}
END_TEST

/* A crest between the last samples counts: libebur128 needs zeros pushed behind to see it. */
START_TEST(true_peak__last_peak_is_not_lost)
{
    for (size_t keep = 990; keep < 1010; keep++) {
        struct plane plane = plane_new(keep);
        /* a smooth bump of an odd width whose top lies at 0.4 of the way between the last two samples */
        for (size_t i = 0; i < keep; i++) {
            double t = (double)i - ((double)keep - 2.0 + 0.4);
            plane.samples[i] = (float)(0.6 * exp(-t * t / 8.0));
        }
        ck_assert_double_eq_tol(meter_peak(48000, plane.samples, keep, 4096), 0.6, 0.006);
        plane_free(&plane);
    }
}
END_TEST

START_TEST(true_peak__nothing_and_next_to_nothing)
{
    float one = -0.25f, two[2] = {0.5f, -0.5f};
    ck_assert_double_eq(meter_peak(48000, &one, 0, 1), 0.0);
    ck_assert_double_eq_tol(meter_peak(48000, &one, 1, 1), 0.25, 1e-4);
    ck_assert_double_ge(meter_peak(192000, two, 2, 1), 0.5);
    ck_assert_double_lt(meter_peak(192000, two, 2, 1), 0.8);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("true_peak");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, true_peak__sines_within_a_tenth_of_a_db, 0, 5);
    tcase_add_loop_test(tcase, true_peak__noise_equals_the_reference, 0, 6);
    tcase_add_loop_test(tcase, true_peak__real_voices_equal_the_reference, 0, REAL_VOICE_COUNT);
    tcase_add_test(tcase, true_peak__does_not_depend_on_the_blocks);
    tcase_add_test(tcase, true_peak__skipping_loses_nothing);
    tcase_add_test(tcase, true_peak__skipping_in_noise_loses_nothing);
    tcase_add_test(tcase, true_peak__cut_sound_does_not_read_over);
    tcase_add_test(tcase, true_peak__last_peak_is_not_lost);
    tcase_add_test(tcase, true_peak__nothing_and_next_to_nothing);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 8;
    srunner_free(runner);
    return failed ? 1 : 0;
}
