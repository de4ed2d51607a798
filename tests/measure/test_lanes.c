/* SPDX-License-Identifier: MIT */
/* The inner loops as the library runs them on this processor, against the same source compiled without choice of
 * instruction set: equal to the last bit, so that a report does not depend on the machine. */
#include "support/guarded.h"
#include "support/kweight_row.h"
#include "support/plain.h"
#include "support/tones.h"
#include "support/voice_plane.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>

static struct plane sound_of(int index)
{
    if (index >= REAL_VOICE_COUNT)
        return tones_noise((uint64_t)index, 1.0, 100003);
    return voice_plane((size_t)index);
}

static void check_sums(const float *samples, size_t length)
{
    struct tp_kernel_sums a = tp_kernel_sums(samples, length), b = plain_kernel_sums(samples, length);
    ck_assert(a.sum == b.sum && a.sum_squares == b.sum_squares && a.peak == b.peak);
    ck_assert(tp_kernel_largest(samples, length) == a.peak && plain_kernel_largest(samples, length) == a.peak);
}

static void check_cells(const float *samples, size_t length)
{
    struct tp_cells a = {0}, b = {0};
    tp_cells_make(&a, samples, length, samples);
    plain_cells_make(&b, samples, length, samples);
    ck_assert_uint_eq(a.count, b.count);
    ck_assert_mem_eq(&a, &b, sizeof a);
}

START_TEST(lanes__figures_are_the_same_to_the_bit)
{
    const uint32_t rates[] = {44100, 48000, 192000};
    struct plane plane = sound_of(_i);
    for (size_t length = 1; length < 600; length += 7)
        for (size_t at = 0; at + length <= plane.frames; at += 9973) {
            check_sums(plane.samples + at, length);
            check_cells(plane.samples + at, length);
        }
    for (size_t r = 0; r < 3; r++) {
        struct tp_kweight a, b;
        size_t hop = rates[r] / 100, starts[TP_KWEIGHT_PARTS + 1];
        double energies[2][TP_KWEIGHT_PARTS];
        for (size_t i = 0; i <= TP_KWEIGHT_PARTS; i++)
            starts[i] = i * hop + i / 2;
        ck_assert(tp_kweight_init(&a, rates[r], hop) && plain_kweight_init(&b, rates[r], hop));
        for (size_t at = 2; at + starts[TP_KWEIGHT_PARTS] <= plane.frames; at += starts[TP_KWEIGHT_PARTS]) {
            struct tp_kweight_part parts[TP_KWEIGHT_PARTS];
            kweight_row(parts, plane.samples + at, starts);
            tp_kweight_parts(&a, parts, energies[0]);
            plain_kweight_parts(&b, parts, energies[1]);
            ck_assert_mem_eq(energies[0], energies[1], sizeof energies[0]);
        }
        ck_assert(tp_kweight_energy(&a, plane.samples, 441) == plain_kweight_energy(&b, plane.samples, 441));
        tp_kweight_clear(&a);
        plain_kweight_clear(&b);
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

/* `frames` samples that touch a page which must not be read, and `before` of them in front of the first. */
static float *guarded_sound(size_t before, size_t frames, enum guarded_side side)
{
    float *samples = guarded_new((before + frames) * sizeof *samples, side);
    for (size_t i = 0; i < before + frames; i++)
        samples[i] = (float)wavgen_random(i);
    return samples;
}

static void run_all(size_t frames, enum guarded_side side)
{
    float *samples = guarded_sound(0, frames, side), before[TP_CELLS_BEFORE] = {0};
    static struct tp_cells cells, plain;
    struct tp_true_peak peak;
    tp_cells_make(&cells, samples, frames, before);
    plain_cells_make(&plain, samples, frames, before);
    ck_assert_mem_eq(&cells, &plain, sizeof cells);
    ck_assert(tp_kernel_sums(samples, frames).peak == plain_kernel_sums(samples, frames).peak);
    ck_assert(tp_kernel_largest(samples, frames) == plain_kernel_largest(samples, frames));
    tp_true_peak_init(&peak, frames % 2 == 0 ? 48000 : 192000);
    tp_true_peak_push(&peak, samples, frames);
    ck_assert(frames == 0 || tp_true_peak_finish(&peak) > 0.0);
    guarded_free(samples, frames * sizeof *samples);
}

START_TEST(lanes__nothing_beside_the_samples_is_read)
{
    for (size_t frames = 0; frames < 1200; frames++)
        run_all(frames, _i == 0 ? GUARDED_START : GUARDED_END);
    for (size_t frames = 4000; frames <= TP_CELLS_MAX * TP_CELL_FRAMES; frames++)
        run_all(frames, _i == 0 ? GUARDED_START : GUARDED_END);
    for (size_t part = 40; part < 1100; part += part < 120 ? 1 : 77) {
        struct tp_kweight filter;
        double energies[TP_KWEIGHT_PARTS];
        size_t starts[TP_KWEIGHT_PARTS + 1];
        for (size_t i = 0; i <= TP_KWEIGHT_PARTS; i++)
            starts[i] = i * part + i / 3;
        size_t frames = starts[TP_KWEIGHT_PARTS];
        float *samples = guarded_sound(TP_KWEIGHT_HISTORY, frames, _i == 0 ? GUARDED_START : GUARDED_END);
        ck_assert(tp_kweight_init(&filter, 48000, part));
        struct tp_kweight_part parts[TP_KWEIGHT_PARTS];
        kweight_row(parts, samples + TP_KWEIGHT_HISTORY, starts);
        tp_kweight_parts(&filter, parts, energies);
        tp_kweight_clear(&filter);
        guarded_free(samples, (TP_KWEIGHT_HISTORY + frames) * sizeof *samples);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("lanes");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, lanes__figures_are_the_same_to_the_bit, 0, REAL_VOICE_COUNT + 2);
    tcase_add_loop_test(tcase, lanes__nothing_beside_the_samples_is_read, 0, 2);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 2;
    srunner_free(runner);
    return failed ? 1 : 0;
}
