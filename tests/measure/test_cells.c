/* SPDX-License-Identifier: MIT */
/* Cells against the words of their header, sample by sample; and against what the fault detectors see of single
 * samples: they look there only where a cell tells them to. */
#include "measure/cells.h"

#include "measure/fault_signal.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BEFORE TP_CELLS_BEFORE
#define CELL TP_CELL_FRAMES

/* Sound of many kinds, with held values, zeros of either sign, ramps, and the smallest and largest of numbers. */
static void make_sound(float *samples, size_t frames, uint64_t seed)
{
    int kind = 0;
    double level = 0.5;
    for (size_t i = 0; i < frames; i++) {
        double noise = wavgen_random(seed * 100000 + i);
        if (fabs(noise) > 0.97) {
            kind = (int)(5.0 + 5.0 * wavgen_random(seed + 7 * i));
            level = pow(10.0, -4.0 * fabs(wavgen_random(seed + 11 * i)));
        }
        float last = i > 0 ? samples[i - 1] : 0.0f;
        switch (kind) {
        case 0: samples[i] = 0.0f; break;
        case 1: samples[i] = -0.0f; break;
        case 2:
        case 3: samples[i] = last; break;
        case 4: samples[i] = last + 0x1p-12f; break;
        case 5: samples[i] = (float)(1e-41 * noise); break;
        case 6: samples[i] = (float)((level > 0.1 ? 3.4e38 : 1e35) * noise); break;
        case 7: samples[i] = (float)rint(3.0 * noise) * 0x1p-15f; break;
        default: samples[i] = (float)(level * noise); break;
        }
    }
}

/* `x`: the cell, with what lies before it readable. */
static void check_cell(const struct tp_cells *cells, size_t c, const float *x, size_t frames)
{
    float low = x[0], high = x[0], slope = 0.0f, edges[2] = {0.0f, 0.0f}, sum = 0.0f, ramp = 0.0f;
    double squares = 0.0;
    for (size_t i = 0; i < frames; i++) {
        const float *here = x + i;
        float rise = here[0] - here[-1], rise_before = here[-1] - here[-2], first_rise = here[-2] - here[-3];
        float third = fabsf((rise - rise_before) - (rise_before - first_rise));
        low = fminf(low, here[0]);
        high = fmaxf(high, here[0]);
        slope = fmaxf(slope, fabsf(rise));
        edges[i / (CELL / 2)] = fmaxf(edges[i / (CELL / 2)], third);
        sum += here[0];
        ramp += here[0] * (float)(i + 1);
        squares += (double)here[0] * (double)here[0];
    }
    ck_assert(cells->low[c] == low && cells->high[c] == high && cells->slope[c] == slope);
    ck_assert(cells->edge[c] == fmaxf(edges[0], edges[1]));
    ck_assert((cells->sum[c] == sum || isnan(sum)) && (cells->ramp[c] == ramp || isnan(ramp)));
    /* A rounding of single precision for each square and each sum. */
    ck_assert(squares > 1e38 || fabs((double)cells->squares[c] - squares) <= 33.0 * 0x1p-24 * squares + 1e-37);
    ck_assert_int_eq(cells->still[c], (edges[0] == 0.0f ? 1 : 0) + (edges[1] == 0.0f ? 2 : 0));
}

START_TEST(cells__are_what_their_words_say)
{
    static float sound[BEFORE + TP_CELLS_MAX * CELL];
    static struct tp_cells cells;
    for (uint64_t seed = 0; seed < 200; seed++) {
        size_t frames = seed % 4 == 0 ? TP_CELLS_MAX * CELL : (size_t)(4096.0 * fabs(wavgen_random(seed)));
        make_sound(sound, BEFORE + frames, seed);
        tp_cells_make(&cells, sound + BEFORE, frames, sound);
        ck_assert_uint_eq(cells.count, (frames + CELL - 1) / CELL);
        float lowest = frames > 0 ? cells.low[0] : 0.0f, highest = frames > 0 ? cells.high[0] : 0.0f;
        for (size_t c = 0; c < cells.count; c++) {
            check_cell(&cells, c, sound + BEFORE + c * CELL, frames - c * CELL < CELL ? frames - c * CELL : CELL);
            lowest = fminf(lowest, cells.low[c]);
            highest = fmaxf(highest, cells.high[c]);
        }
        ck_assert(cells.lowest == lowest && cells.highest == highest);
    }
}
END_TEST

/* From the second cell on: at the first frames tp_fault_edge() has nothing before them. */
START_TEST(cells__edges_of_the_signal_are_those_of_its_samples)
{
    struct tp_fault_signal *signal = calloc(1, sizeof *signal);
    float *block = calloc(TP_FAULT_BLOCK, sizeof *block), before[BEFORE] = {0};
    static struct tp_cells cells;
    ck_assert(signal != NULL && block != NULL);
    signal->sample_rate_hz = 48000;
    for (uint64_t number = 0; number < 40; number++) { /* five times round the ring */
        make_sound(block, TP_FAULT_BLOCK, number);
        size_t frames = number == 39 ? 1234 : TP_FAULT_BLOCK;
        tp_cells_make(&cells, block, frames, before);
        memcpy(before, block + TP_FAULT_BLOCK - BEFORE, sizeof before);
        tp_fault_signal_block(signal, block, frames, frames == TP_FAULT_BLOCK && number % 2 == 0 ? &cells : NULL);
        for (uint64_t cell = number == 0 ? 1 : number * TP_FAULT_BLOCK_CELLS;
             cell < (number + 1) * TP_FAULT_BLOCK_CELLS; cell++) {
            float edges[2] = {0.0f, 0.0f}, peak = 0.0f;
            for (uint64_t i = 0; i < CELL; i++) {
                edges[i / (CELL / 2)] = fmaxf(edges[i / (CELL / 2)], tp_fault_edge(signal, cell * CELL + i));
                peak = fmaxf(peak, fabsf(tp_fault_sample(signal, cell * CELL + i)));
            }
            size_t at = cell % TP_FAULT_RING_CELLS;
            ck_assert(signal->edge[at] == fmaxf(edges[0], edges[1]) && signal->peak[at] == peak);
            ck_assert_int_eq(signal->still[at], (edges[0] == 0.0f ? 1 : 0) + (edges[1] == 0.0f ? 2 : 0));
        }
    }
    free(signal);
    free(block);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("cells");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, cells__are_what_their_words_say);
    tcase_add_test(tcase, cells__edges_of_the_signal_are_those_of_its_samples);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 2;
    srunner_free(runner);
    return failed ? 1 : 0;
}
