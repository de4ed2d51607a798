/* SPDX-License-Identifier: MIT */
/* What the fault detectors cost, in nanoseconds of processor time a sample: median of several runs over the same noisy
 * speech-like signal at 48 kHz, pushed in blocks of 4096. Prints; never fails on speed. */
#include "measure/fault.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define FRAMES (48000u * 60u)
#define RUNS 9

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void fill(float *samples)
{
    uint32_t seed = 1;
    for (size_t f = 0; f < FRAMES; f++) {
        seed = seed * 1664525u + 1013904223u;
        double t = (double)f / 48000.0, syllable = fmax(0.0, sin(2.0 * 3.14159265 * 3.1 * t)), tone = 0.0;
        for (int h = 1; h < 20; h++)
            tone += sin(2.0 * 3.14159265 * 120.0 * h * t + h * h) / h;
        double noise = (double)seed / 4294967296.0 - 0.5;
        samples[f] = (float)round(8388608.0 * (0.1 * syllable * tone + (0.002 + 0.02 * syllable) * noise)) / 8388608.0F;
    }
}

int main(void)
{
    float *samples = malloc(FRAMES * sizeof *samples);
    double took[RUNS];
    if (!samples)
        return 1;
    fill(samples);
    for (int run = 0; run < RUNS; run++) {
        struct tp_fault_meter *meter = tp_fault_meter_new(48000);
        if (!meter)
            return 1;
        double start = now_s();
        for (size_t f = 0; f < FRAMES; f += 4096)
            tp_fault_meter_push(meter, samples + f, FRAMES - f < 4096 ? FRAMES - f : 4096);
        took[run] = now_s() - start;
        tp_fault_meter_free(meter);
    }
    qsort(took, RUNS, sizeof *took, ascending);
    printf("fault meter: %.3f ns/sample (median), %.3f (best)\n", 1e9 * took[RUNS / 2] / FRAMES,
           1e9 * took[0] / FRAMES);
    free(samples);
    return 0;
}
