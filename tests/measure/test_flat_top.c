/* SPDX-License-Identifier: MIT */
/* The excursions that the flat-top meter counts, against the definition in its header written down sample by sample. */
#include "measure/flat_top.h"
#include "support/pairlab.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FRAMES 60000u
#define CELL TP_CELL_FRAMES

/* Bins of 1/512 of each octave's upper end downwards. */
static size_t bin_of_level(double level)
{
    double octave_top = 1.0;
    size_t bin = 0;
    while (level < octave_top / 2.0) {
        octave_top /= 2.0;
        bin += 512;
    }
    bin += level >= 1.0 ? 0 : (size_t)floor((octave_top - level) / (octave_top / 2.0) * 512.0);
    return bin < TP_FLAT_TOP_BINS ? bin : TP_FLAT_TOP_BINS - 1;
}

/* Largest samples of the excursions of one polarity, by level. The largest sample so far is taken cell by cell. */
static uint64_t count_excursions(const float *samples, size_t frames, float sign, uint32_t *visits)
{
    float peak = 0.0f, top = 0.0f;
    size_t length = 0;
    uint64_t count = 0;
    for (size_t i = 0; i <= frames; i++) {
        for (size_t k = i; i % CELL == 0 && k < frames && k < i + CELL; k++)
            peak = fmaxf(peak, samples[k] * sign);
        if (i < frames && samples[i] * sign >= 0.7f * peak && peak > 0.0f) {
            top = length == 0 ? samples[i] * sign : fmaxf(top, samples[i] * sign);
            length++;
            continue;
        }
        if (length > 0 && length <= TP_FLAT_TOP_LONGEST && top >= 0.01f) {
            visits[bin_of_level((double)top)]++;
            count++;
        }
        length = 0;
    }
    return count;
}

/* Noise of a brightness, from white to slow; of even steps, so that samples are equal; in a burst or growing. */
static void make_sound(float *samples, uint64_t seed)
{
    struct lab_random random = {.state = seed};
    double slow = 0.0, speed = pow(10.0, lab_random_between(&random, -2.5, 0.0)), steps = seed % 3 == 0 ? 8.0 : 1e6;
    bool even = lab_random_int(&random, 0, 1);
    double level = pow(10.0, lab_random_between(&random, -2.0, 0.3));
    for (size_t i = 0; i < FRAMES; i++) {
        double x = even ? lab_random_between(&random, -1.0, 1.0) : 0.4 * lab_random_normal(&random);
        slow += speed * (x - slow);
        double gain = seed % 4 == 0 ? (double)i / FRAMES : seed % 4 == 1 && i / 3000 % 2 == 0 ? 0.0 : 1.0;
        samples[i] = (float)(round(gain * level * slow / sqrt(speed) * steps) / steps);
    }
}

START_TEST(flat_top__excursions_are_counted_by_definition)
{
    float *samples = lab_zeros(FRAMES, sizeof *samples);
    static uint32_t expected[TP_FLAT_TOP_BINS];
    uint64_t all = 0;
    for (uint64_t seed = 1; seed <= 120; seed++) {
        static const uint32_t rates[] = {8000, 44100, 48000, 96000, 192000, 384000};
        struct tp_flat_top_meter *meter = lab_zeros(1, sizeof *meter);
        struct lab_random random = {.state = seed * 77};
        struct tp_cells cells;
        const float none[TP_CELLS_BEFORE] = {0};
        size_t frames = FRAMES - (size_t)lab_random_int(&random, 0, 200);
        make_sound(samples, seed);
        tp_flat_top_init(meter, rates[seed % 6], 0);
        for (size_t at = 0; at < frames;) {
            size_t take = (size_t)lab_random_int(&random, 1, TP_CELLS_MAX) * CELL;
            take = take < frames - at ? take : frames - at;
            tp_cells_make(&cells, samples + at, take, at == 0 ? none : samples + at - TP_CELLS_BEFORE);
            tp_flat_top_push(meter, samples + at, take, &cells);
            at += take;
        }
        struct tp_run_list list = {0};
        tp_flat_top_finish(meter, 1.0, &list);
        for (size_t side = 0; side < 2; side++) {
            memset(expected, 0, sizeof expected);
            all += count_excursions(samples, frames, side == 0 ? 1.0f : -1.0f, expected);
            for (size_t bin = 0; bin < TP_FLAT_TOP_BINS; bin++)
                ck_assert_msg(meter->side[side].visits[bin] == expected[bin], "seed %d, side %d, bin %d: %u not %u",
                              (int)seed, (int)side, (int)bin, meter->side[side].visits[bin], expected[bin]);
        }
        tp_run_list_clear(&list);
        tp_flat_top_clear(meter);
        free(meter);
    }
    printf("%llu excursions\n", (unsigned long long)all);
    ck_assert_uint_gt(all, 50000);
    free(samples);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("flat top");
    TCase *tcase = tcase_create("flat top");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, flat_top__excursions_are_counted_by_definition);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
