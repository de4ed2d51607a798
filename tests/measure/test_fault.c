/* SPDX-License-Identifier: MIT */
#include "base/observe.h"
#include "support/faultlab.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000u

/* Deterministic white noise of the given RMS, in 24-bit steps. */
static void add_noise(float *samples, size_t frames, double rms, uint32_t seed)
{
    for (size_t f = 0; f < frames; f++) {
        double sum = 0.0;
        for (int i = 0; i < 4; i++) {
            seed = seed * 1664525u + 1013904223u;
            sum += (double)(seed >> 8) / 16777216.0 - 0.5;
        }
        samples[f] += (float)(round(8388608.0 * rms * sum * 1.7320508) / 8388608.0);
    }
}

static struct tp_observations measure(float *samples, size_t frames, uint32_t rate_hz, size_t block,
                                      struct tp_spans *damage)
{
    return faultlab_faults_of(&(struct faultlab_sound){samples, frames, rate_hz}, block, 2, 0, 0, damage);
}

static const struct tp_observation *first_of(const struct tp_observations *observations, enum tp_code code)
{
    for (size_t i = 0; i < observations->count; i++) {
        if (observations->items[i].code == code)
            return &observations->items[i];
    }
    return NULL;
}

START_TEST(dropout__zeros_and_held_values_are_found)
{
    static const size_t lengths[] = {36, 48, 100, 480, 5000, 40000, 96000};
    for (int held = 0; held < 2; held++) {
        for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
            size_t frames = RATE * 9, at = RATE * 2 + 13 * i;
            float *samples = calloc(frames, sizeof *samples);
            add_noise(samples, frames, 0.01, 7);
            float value = held ? samples[at - 1] : 0.0F;
            for (size_t f = at; f < at + lengths[i]; f++)
                samples[f] = value;
            struct tp_spans damage;
            struct tp_observations o = measure(samples, frames, RATE, 4096, &damage);
            ck_assert_msg(tp_observations_count(&o, TP_CODE_DROPOUT) == 1, "%zu frames, held %d", lengths[i], held);
            const struct tp_observation *found = first_of(&o, TP_CODE_DROPOUT);
            ck_assert_uint_eq(found->channel, 2);
            ck_assert_double_eq_tol(found->start_s, (double)(at - (size_t)held) / RATE, 1e-9);
            ck_assert_double_eq_tol(found->end_s, (double)(at + lengths[i]) / RATE, 1e-9);
            ck_assert_ptr_nonnull(strstr(found->detail, held ? "held" : "zeros"));
            ck_assert_uint_eq(damage.count, 1);
            ck_assert_uint_eq(damage.items[0].end_frame, at + lengths[i]);
            tp_observations_clear(&o);
            free(damage.items);
            free(samples);
        }
    }
}
END_TEST

START_TEST(dropout__silence_at_the_ends_and_faded_gaps_are_not)
{
    size_t frames = RATE * 6;
    float *samples = calloc(frames, sizeof *samples);
    add_noise(samples, frames, 0.03, 3);
    memset(samples, 0, 20000 * sizeof *samples);
    memset(samples + frames - 30000, 0, 30000 * sizeof *samples);
    size_t gap = RATE * 3, fade = 480; /* 10 ms down, 100 ms of nothing, 10 ms up */
    for (size_t f = 0; f < fade; f++) {
        samples[gap - 1 - f] *= (float)f / (float)fade;
        samples[gap + 4800 + f] *= (float)f / (float)fade;
    }
    memset(samples + gap, 0, 4800 * sizeof *samples);
    struct tp_observations o = measure(samples, frames, RATE, 480, NULL);
    ck_assert_uint_eq(tp_observations_count(&o, TP_CODE_DROPOUT), 0);
    tp_observations_clear(&o);
    free(samples);
}
END_TEST

/* One of everything that can be in one channel at once. */
static float *damaged(size_t frames)
{
    float *samples = calloc(frames, sizeof *samples);
    add_noise(samples, frames, 0.005, 11);
    for (size_t f = 0; f < frames; f++) {
        double t = (double)f / RATE, burst = f > 4 * RATE && fmod(t, 0.120 / 26.0) < 0.000577 ? 0.1 : 0.0;
        double rumble = t > 1.0 && t < 2.0 ? 0.2 * sin(2.0 * M_PI * 14.0 * t) : 0.0;
        samples[f] += (float)(0.02 * sin(2.0 * M_PI * 50.0 * t) + 0.01 * sin(2.0 * M_PI * 150.0 * t) + burst + rumble);
    }
    memset(samples + 50000, 0, 900 * sizeof *samples);
    memset(samples + 8192, 0, 64 * sizeof *samples);
    memcpy(samples + 100001, samples + 100001 - 1024, 1024 * sizeof *samples);
    samples[130000] += 0.5F;
    return samples;
}

START_TEST(fault__result_does_not_depend_on_the_block_size)
{
    size_t frames = RATE * 6 + 77;
    float *samples = damaged(frames);
    static const size_t blocks[] = {1, 7, 480, 4096, 1000000};
    struct tp_observations expected = measure(samples, frames, RATE, 5000, NULL);
    static const enum tp_code codes[] = {TP_CODE_DROPOUT, TP_CODE_REPEATED_BLOCK, TP_CODE_CLICK,
                                         TP_CODE_HUM,     TP_CODE_RUMBLE,         TP_CODE_INTERFERENCE};
    for (size_t c = 0; c < sizeof codes / sizeof *codes; c++)
        ck_assert_msg(first_of(&expected, codes[c]) != NULL, "no %s", tp_finding_info(codes[c])->name);
    for (size_t b = 0; b < sizeof blocks / sizeof *blocks; b++) {
        struct tp_observations o = measure(samples, frames, RATE, blocks[b], NULL);
        ck_assert_uint_eq(o.count, expected.count);
        for (size_t i = 0; i < o.count; i++) {
            ck_assert_int_eq(o.items[i].code, expected.items[i].code);
            ck_assert(o.items[i].start_s == expected.items[i].start_s && o.items[i].end_s == expected.items[i].end_s);
            ck_assert(o.items[i].value == expected.items[i].value);
            ck_assert_str_eq(o.items[i].detail, expected.items[i].detail);
        }
        tp_observations_clear(&o);
    }
    tp_observations_clear(&expected);
    free(samples);
}
END_TEST

START_TEST(fault__values_are_what_was_put_in)
{
    size_t frames = RATE * 6 + 77;
    float *samples = damaged(frames);
    struct tp_observations o = measure(samples, frames, RATE, 4096, NULL);
    const struct tp_observation *hum = first_of(&o, TP_CODE_HUM), *repeat = first_of(&o, TP_CODE_REPEATED_BLOCK),
                                *click = first_of(&o, TP_CODE_CLICK);
    /* AES17: a sine of amplitude a reads 20 log10 a; powers of the two lines add. */
    ck_assert_double_eq_tol(hum->value, 10.0 * log10(0.02 * 0.02 + 0.01 * 0.01), 0.5);
    ck_assert_ptr_nonnull(strstr(hum->detail, "50 Hz mains hum"));
    ck_assert_double_eq_tol(repeat->value, 1024.0 / 48.0, 0.05);
    ck_assert_double_eq_tol(repeat->start_s, 100001.0 / RATE, 2.0 / RATE);
    ck_assert_double_eq_tol(click->start_s, 130000.0 / RATE, 3.0 / RATE);
    ck_assert_double_gt(click->value, click->limit);
    tp_observations_clear(&o);
    free(samples);
}
END_TEST

static void expect_nothing(float *samples, size_t frames, uint32_t rate_hz, const char *name)
{
    struct tp_observations o = measure(samples, frames, rate_hz, 4096, NULL);
    ck_assert_msg(o.count == 0, "%s at %u Hz: %s", name, rate_hz, o.count > 0 ? o.items[0].detail : "");
    tp_observations_clear(&o);
}

/* Generated sounds repeat exactly, last for ever, and break off: none of it is a fault of a recorder. */
START_TEST(fault__generated_sounds_raise_nothing)
{
    static const uint32_t rates_hz[] = {8000, 44100, 48000, 96000, 192000};
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++) {
        uint32_t rate_hz = rates_hz[r];
        size_t frames = rate_hz * 4;
        float *samples = calloc(frames, sizeof *samples);
        expect_nothing(samples, frames, rate_hz, "digital silence");
        for (size_t f = 0; f < frames; f++)
            samples[f] = 0.25F;
        expect_nothing(samples, frames, rate_hz, "a constant");
        static const double tones_hz[] = {440.0, 997.0, 1000.0, 3000.0};
        for (size_t t = 0; t < sizeof tones_hz / sizeof *tones_hz; t++) {
            for (size_t f = 0; f < frames; f++)
                samples[f] =
                    (float)(round(0.1 * sin(2.0 * M_PI * tones_hz[t] * (double)f / rate_hz) * 8388608.0) / 8388608.0);
            expect_nothing(samples, frames, rate_hz, "a tone");
            for (size_t f = 0; f < frames; f++) /* bursts of 0.2 s with fades, then 0.3 s of nothing */
                samples[f] *= (float)fmax(0.0, sin(M_PI * fmod((double)f / rate_hz, 0.5) / 0.2) *
                                                   (fmod((double)f / rate_hz, 0.5) < 0.2));
            expect_nothing(samples, frames, rate_hz, "tone bursts");
        }
        free(samples);
    }
}
END_TEST

/* A file shorter than any window, and none at all. */
START_TEST(fault__short_files_are_fine)
{
    float samples[3000] = {0};
    add_noise(samples, 3000, 0.05, 1);
    static const size_t lengths[] = {0, 1, 2, 31, 32, 33, 1000, 3000};
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
        for (uint32_t rate_hz = 1; rate_hz < 1000000; rate_hz = rate_hz * 7 + 1)
            expect_nothing(samples, lengths[i], rate_hz, "a short file");
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("fault");
    TCase *tests = tcase_create("fault");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, dropout__zeros_and_held_values_are_found);
    tcase_add_test(tests, dropout__silence_at_the_ends_and_faded_gaps_are_not);
    tcase_add_test(tests, fault__result_does_not_depend_on_the_block_size);
    tcase_add_test(tests, fault__values_are_what_was_put_in);
    tcase_add_test(tests, fault__generated_sounds_raise_nothing);
    tcase_add_test(tests, fault__short_files_are_fine);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed > 0 || ran == 0;
}
