/* SPDX-License-Identifier: MIT */
#include "base/observe.h"
#include "measure/fault.h"

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

static struct tp_observations measure(const float *samples, size_t frames, uint32_t rate_hz, size_t block,
                                      struct tp_spans *damage)
{
    struct tp_fault_meter *meter = tp_fault_meter_new(rate_hz);
    ck_assert_ptr_nonnull(meter);
    for (size_t f = 0; f < frames; f += block)
        tp_fault_meter_push(meter, samples + f, frames - f < block ? frames - f : block);
    struct tp_observations observations = {0};
    struct tp_spans spans = {0};
    struct tp_channel levels = {.working_level_dbfs = NAN, .noise_floor_dbfs = NAN};
    ck_assert(tp_fault_meter_finish(meter, 2, &levels, &observations, &spans));
    tp_fault_meter_free(meter);
    if (damage)
        *damage = spans;
    else
        free(spans.items);
    return observations;
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

START_TEST(fault__result_does_not_depend_on_the_block_size)
{
    size_t frames = RATE * 3 + 77;
    float *samples = calloc(frames, sizeof *samples);
    add_noise(samples, frames, 0.02, 11);
    memset(samples + 50000, 0, 900 * sizeof *samples);
    memset(samples + 8192, 0, 64 * sizeof *samples);
    static const size_t blocks[] = {1, 7, 480, 4096, 100000};
    struct tp_observations expected = measure(samples, frames, RATE, 5000, NULL);
    ck_assert_uint_ge(expected.count, 2);
    for (size_t b = 0; b < sizeof blocks / sizeof *blocks; b++) {
        struct tp_observations o = measure(samples, frames, RATE, blocks[b], NULL);
        ck_assert_uint_eq(o.count, expected.count);
        for (size_t i = 0; i < o.count; i++) {
            ck_assert_int_eq(o.items[i].code, expected.items[i].code);
            ck_assert(o.items[i].start_s == expected.items[i].start_s && o.items[i].end_s == expected.items[i].end_s);
            ck_assert_str_eq(o.items[i].detail, expected.items[i].detail);
        }
        tp_observations_clear(&o);
    }
    tp_observations_clear(&expected);
    free(samples);
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
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed > 0 || ran == 0;
}
