/* SPDX-License-Identifier: MIT */
/* What each meter costs, in nanoseconds of processor time a sample, beside libebur128 in one run: medians over the same
 * minute of sound at 48 kHz, pushed in blocks of 4096. Two sounds: real voice (ALSA's recordings, repeated, 16 bit),
 * and noise at full scale, the worst case. Prints; never fails on speed. */
#include "measure/activity.h"
#include "measure/cells.h"
#include "measure/channel_meter.h"
#include "measure/clip.h"
#include "measure/fault.h"
#include "measure/flat_top.h"
#include "measure/kweight.h"
#include "measure/level.h"
#include "measure/loudness.h"
#include "measure/overview.h"
#include "measure/programme.h"
#include "measure/second_opinion.h"
#include "measure/true_peak.h"
#include "support/kweight_row.h"
#include "support/real_voice.h"
#include "support/tones.h"

#include <ebur128.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define RATE 48000u
#define BLOCK 4096u
#define BLOCKS (RATE * 60u / BLOCK)
#define RUNS 9

static double kept; /* so that nothing is optimised away */

static double cpu_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static const float before[TP_CELLS_BEFORE];

static void run_cells(const float *samples)
{
    struct tp_cells cells;
    for (size_t b = 0; b < BLOCKS; b++) {
        tp_cells_make(&cells, samples + b * BLOCK, BLOCK, before);
        kept += (double)cells.high[3];
    }
}

static void run_sums(const float *samples)
{
    for (size_t at = 0; at + 480 <= BLOCKS * BLOCK; at += 480)
        kept += tp_sums_of(samples + at, 480).sum_squares;
}

static void run_kweight(const float *samples)
{
    struct tp_kweight filter;
    size_t starts[TP_KWEIGHT_PARTS + 1];
    double energies[TP_KWEIGHT_PARTS];
    for (size_t hop = 0; hop <= TP_KWEIGHT_PARTS; hop++)
        starts[hop] = hop * 480;
    if (!tp_kweight_init(&filter, RATE, 480))
        return;
    kept += tp_kweight_energy(&filter, samples, TP_KWEIGHT_HISTORY);
    for (size_t at = TP_KWEIGHT_HISTORY; at + starts[TP_KWEIGHT_PARTS] <= BLOCKS * BLOCK;
         at += starts[TP_KWEIGHT_PARTS]) {
        struct tp_kweight_part parts[TP_KWEIGHT_PARTS];
        kweight_row(parts, samples + at, starts);
        tp_kweight_parts(&filter, parts, energies);
        kept += energies[1];
    }
    tp_kweight_clear(&filter);
}

static void run_loudness(const float *samples)
{
    struct tp_loudness *loudness = tp_loudness_new(4800);
    struct tp_loudness_result result;
    for (size_t at = 0; at + 480 <= BLOCKS * BLOCK; at += 480)
        tp_loudness_push_hop(loudness, 1.0 + (double)samples[at]);
    tp_loudness_finish(loudness, &result);
    kept += result.integrated_lufs;
    tp_loudness_free(loudness);
}

static void run_true_peak(const float *samples)
{
    struct tp_true_peak meter;
    tp_true_peak_init(&meter, RATE);
    for (size_t b = 0; b < BLOCKS; b++)
        tp_true_peak_push(&meter, samples + b * BLOCK, BLOCK);
    kept += tp_true_peak_finish(&meter);
}

static void run_clip(const float *samples)
{
    static struct tp_clip_meter meter;
    struct tp_cells cells;
    tp_clip_init(&meter, TONES_FULL_SCALE_24, 480);
    for (size_t b = 0; b < BLOCKS; b++) {
        tp_cells_make(&cells, samples + b * BLOCK, BLOCK, before);
        tp_clip_push(&meter, samples + b * BLOCK, BLOCK, &cells);
    }
    kept += (double)tp_clip_finish(&meter, TONES_FULL_SCALE_24)->runs;
    tp_clip_clear(&meter);
}

static void run_flat_top(const float *samples)
{
    static struct tp_flat_top_meter meter;
    struct tp_run_list list = {0};
    struct tp_cells cells;
    tp_flat_top_init(&meter, RATE, 480);
    for (size_t b = 0; b < BLOCKS; b++) {
        tp_cells_make(&cells, samples + b * BLOCK, BLOCK, before);
        tp_flat_top_push(&meter, samples + b * BLOCK, BLOCK, &cells);
    }
    tp_flat_top_finish(&meter, TONES_FULL_SCALE_24, &list);
    kept += (double)list.runs;
    tp_run_list_clear(&list);
    tp_flat_top_clear(&meter);
}

static void run_fault(const float *samples)
{
    struct tp_fault_meter *meter = tp_fault_meter_new(RATE);
    for (size_t b = 0; b < BLOCKS; b++)
        tp_fault_meter_push(meter, samples + b * BLOCK, BLOCK);
    tp_fault_meter_free(meter);
}

static void run_channel(const float *samples)
{
    struct tp_channel_meter *meter = tp_channel_meter_new(RATE, TONES_FULL_SCALE_24);
    for (size_t b = 0; b < BLOCKS; b++)
        tp_channel_meter_push(meter, samples + b * BLOCK, BLOCK);
    tp_channel_meter_free(meter);
}

static void run_library(const float *samples, int mode)
{
    ebur128_state *state = ebur128_init(1, RATE, mode);
    double value;
    for (size_t b = 0; b < BLOCKS; b++)
        ebur128_add_frames_float(state, samples + b * BLOCK, BLOCK);
    ebur128_loudness_global(state, &value);
    kept += value;
    ebur128_destroy(&state);
}

static void run_library_i(const float *samples)
{
    run_library(samples, EBUR128_MODE_I);
}
static void run_library_all(const float *samples)
{
    run_library(samples, EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median_ns(void (*run)(const float *), const float *samples)
{
    double took[RUNS];
    for (int i = 0; i < RUNS; i++) {
        double start = cpu_s();
        run(samples);
        took[i] = cpu_s() - start;
    }
    qsort(took, RUNS, sizeof *took, ascending);
    return 1e9 * took[RUNS / 2] / (BLOCKS * BLOCK);
}

int main(void)
{
    const struct {
        const char *name;
        void (*run)(const float *);
    } rows[] = {{"cells", run_cells},
                {"sums (peak, DC, RMS)", run_sums},
                {"K-weighting", run_kweight},
                {"loudness windows", run_loudness},
                {"cells, true peak", run_true_peak},
                {"cells, clip runs", run_clip},
                {"cells, flat tops", run_flat_top},
                {"cells, faults", run_fault},
                {"everything: channel meter", run_channel},
                {"libebur128 I", run_library_i},
                {"libebur128 I, LRA, true peak", run_library_all}};
    struct real_voice voice;
    const char *why;
    if (!real_voice_load_long(BLOCKS * BLOCK, 24000, &voice, &why)) {
        puts(why);
        return 1;
    }
    struct plane speech = plane_new(BLOCKS * BLOCK), noise = tones_noise(1, 1.0, BLOCKS * BLOCK);
    for (size_t i = 0; i < speech.frames; i++)
        speech.samples[i] = (float)voice.samples[i];
    printf("%-30s %12s %12s  ns a sample, median of %d\n", "", "voice", "noise 0 dBFS", RUNS);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        printf("%-30s %12.3f %12.3f\n", rows[i].name, median_ns(rows[i].run, speech.samples),
               median_ns(rows[i].run, noise.samples));
    real_voice_clear(&voice);
    plane_free(&speech);
    plane_free(&noise);
    return isnan(kept) ? 1 : 0;
}
