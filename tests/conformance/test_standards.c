/* SPDX-License-Identifier: MIT */
/*
 * Prints how the measuring reads the published test signals, at each usual rate, and fails when one is outside its
 * tolerance. Signals, levels and tolerances: EBU Tech 3341 (version 4, section 2.9 table 1), EBU Tech 3342, ITU-R
 * BS.1770-5 (Annex 1 calibration; Annex 2 under-read bound), AES17-2015. EBU cases 7 and 8 (3341) and 5 and 6 (3342)
 * are real programme that only the EBU has: not run, never substituted.
 */
#include "support/tones.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const uint32_t rates[] = {44100, 48000, 88200, 96000, 192000};
static unsigned rows, misses;

static void row(const char *name, uint32_t rate_hz, double expected, double over, double under, double measured,
                const char *unit, const char *source)
{
    bool pass = measured <= expected + over && measured >= expected - under; /* false for NaN */
    rows++;
    misses += !pass;
    printf("%-44s %6u %8.2f %+5.2f/-%.2f %9.3f %-4s %-6s %s\n", name, rate_hz, expected, over, under, measured, unit,
           pass ? "pass" : "FAIL", source);
}

static void loudness_row(const char *name, uint32_t rate_hz, double expected, double measured, const char *source)
{
    row(name, rate_hz, expected, 0.1, 0.1, measured, "LUFS", source);
}

/* The same signal left and right. */
static void measure_stereo(struct measured *measured, uint32_t rate_hz, const struct plane *plane)
{
    const float *planes[2] = {plane->samples, plane->samples};
    measure_planes(measured, rate_hz, planes, 2, 0, plane->frames, TONES_FULL_SCALE_24, 4096);
}

struct programme_case {
    const char *name;
    double integrated, momentary, short_term, range; /* NaN: not asked */
    const char *source;
    size_t count;
    struct tone_step steps[5];
};
#define NONE ((double)NAN)
#define EBU "EBU Tech 3341"
#define EBU_RANGE "EBU Tech 3342"

static void programme_cases(uint32_t rate_hz)
{
    const struct programme_case cases[] = {
        {"3341-1 tone -23", -23, -23, -23, NONE, EBU, 1, {{20, -23}}},
        {"3341-2 tone -33", -33, -33, -33, NONE, EBU, 1, {{20, -33}}},
        {"3341-3 -36, -23, -36", -23, NONE, NONE, NONE, EBU, 3, {{10, -36}, {60, -23}, {10, -36}}},
        {"3341-4 -72, -36, -23, -36, -72",
         -23,
         NONE,
         NONE,
         NONE,
         EBU,
         5,
         {{10, -72}, {10, -36}, {60, -23}, {10, -36}, {10, -72}}},
        {"3341-5 -26, -20, -26", -23, NONE, NONE, NONE, EBU, 3, {{20, -26}, {20.1, -20}, {20, -26}}},
        {"3342-1 -20, -30", NONE, NONE, NONE, 10, EBU_RANGE, 2, {{20, -20}, {20, -30}}},
        {"3342-2 -20, -15", NONE, NONE, NONE, 5, EBU_RANGE, 2, {{20, -20}, {20, -15}}},
        {"3342-3 -40, -20", NONE, NONE, NONE, 20, EBU_RANGE, 2, {{20, -40}, {20, -20}}},
        {"3342-4 -50, -35, -20, -35, -50",
         NONE,
         NONE,
         NONE,
         15,
         EBU_RANGE,
         5,
         {{20, -50}, {20, -35}, {20, -20}, {20, -35}, {20, -50}}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct programme_case *c = &cases[i];
        struct plane plane = tones_steps(rate_hz, 1000.0, c->steps, c->count);
        struct measured m;
        measure_stereo(&m, rate_hz, &plane);
        char name[80];
        snprintf(name, sizeof name, "%s: I", c->name);
        if (!isnan(c->integrated))
            loudness_row(name, rate_hz, c->integrated, m.programme.integrated_lufs, c->source);
        snprintf(name, sizeof name, "%s: M", c->name);
        if (!isnan(c->momentary))
            loudness_row(name, rate_hz, c->momentary, m.programme.momentary_max_lufs, c->source);
        snprintf(name, sizeof name, "%s: S", c->name);
        if (!isnan(c->short_term))
            loudness_row(name, rate_hz, c->short_term, m.programme.short_term_max_lufs, c->source);
        snprintf(name, sizeof name, "%s: LRA", c->name);
        if (!isnan(c->range))
            row(name, rate_hz, c->range, 1.0, 1.0, m.programme.loudness_range_lu, "LU", c->source);
        measured_clear(&m);
        plane_free(&plane);
    }
}

/* 3341-6: five channels, left and right -28, centre -24, surrounds -30 dBFS. */
static void surround_case(uint32_t rate_hz)
{
    const double levels[5] = {-28, -28, -24, -30, -30};
    const uint32_t mask = 0x1 | 0x2 | 0x4 | 0x10 | 0x20;
    struct plane planes[5];
    const float *pointers[5];
    for (size_t i = 0; i < 5; i++) {
        planes[i] = tones_steps(rate_hz, 1000.0, &(struct tone_step){20, levels[i]}, 1);
        pointers[i] = planes[i].samples;
    }
    struct measured m;
    measure_planes(&m, rate_hz, pointers, 5, mask, planes[0].frames, TONES_FULL_SCALE_24, 4096);
    loudness_row("3341-6 five channels: I", rate_hz, -23.0, m.programme.integrated_lufs, EBU);
    measured_clear(&m);
    for (size_t i = 0; i < 5; i++)
        plane_free(&planes[i]);
}

/* Meters that run along (9, 11, 12, 14) are asked for the maximum after each part, as file meters are: the part alone.
 */
static void repeated_cases(uint32_t rate_hz)
{
    struct tone_step nine[10], twelve[50];
    for (size_t i = 0; i < 10; i++)
        nine[i] = i % 2 == 0 ? (struct tone_step){1.34, -20} : (struct tone_step){1.66, -30};
    for (size_t i = 0; i < 50; i++)
        twelve[i] = i % 2 == 0 ? (struct tone_step){0.18, -20} : (struct tone_step){0.22, -30};
    struct measured m;
    struct plane plane = tones_steps(rate_hz, 1000.0, nine, 10);
    measure_stereo(&m, rate_hz, &plane);
    loudness_row("3341-9 alternating, 3 s period: S", rate_hz, -23.0, m.programme.short_term_max_lufs, EBU);
    measured_clear(&m);
    plane_free(&plane);
    plane = tones_steps(rate_hz, 1000.0, twelve, 50);
    measure_stereo(&m, rate_hz, &plane);
    loudness_row("3341-12 alternating, 400 ms period: M", rate_hz, -23.0, m.programme.momentary_max_lufs, EBU);
    measured_clear(&m);
    plane_free(&plane);
}

/* 10 and 13: each shift is a file; the worst of the twenty is printed. 11 and 14: the segment of each level, alone. */
static void shifted_case(const char *name, uint32_t rate_hz, bool short_term, bool rising)
{
    const double length = short_term ? 3.0 : 0.4, step = short_term ? 0.15 : 0.02;
    double worst = 0.0;
    for (int i = 0; i < 20; i++) {
        double level = rising ? -38.0 + i : -23.0;
        double after = rising ? length - i * step : 1.0;
        const struct tone_step steps[3] = {{i * step, NONE}, {length, level}, {after, NONE}};
        struct plane plane = tones_steps(rate_hz, 1000.0, steps, 3);
        struct measured m;
        measure_stereo(&m, rate_hz, &plane);
        double error = (short_term ? m.programme.short_term_max_lufs : m.programme.momentary_max_lufs) - level;
        if (isnan(error) || fabs(error) > fabs(worst))
            worst = error;
        measured_clear(&m);
        plane_free(&plane);
    }
    loudness_row(name, rate_hz, rising ? 0.0 : -23.0, rising ? worst : -23.0 + worst, EBU);
}

static double true_peak_of(uint32_t rate_hz, const struct plane *plane)
{
    struct measured m;
    measure_plane(&m, rate_hz, plane);
    double true_peak = m.channels[0].true_peak_dbtp;
    measured_clear(&m);
    return true_peak;
}

/* 20 to 23: one period of fs/4 at full scale inside fs/6 at half of it, built at 4 fs, low-passed, every 4th sample
 * kept. */
static struct plane burst(uint32_t rate_hz, size_t offset)
{
    const double tau = 6.28318530717958647692;
    size_t high = (size_t)rate_hz * 4 / 2;
    size_t insert = high / 2 / 24 * 24;
    double *x = calloc(high, sizeof *x);
    if (x == NULL)
        exit(99);
    for (size_t i = 0; i < high; i++) {
        size_t base = i < insert + 16 ? i : i - 16;
        bool inside = i >= insert && i < insert + 16;
        double fade = fmin(1.0, fmin((double)i, (double)(high - 1 - i)) / (0.01 * 4.0 * rate_hz));
        x[i] = inside ? sin(tau * (double)(i - insert) / 16.0) : fade * 0.5 * sin(tau * (double)(base % 24) / 24.0);
    }
    enum { TAPS = 511 };
    double taps[TAPS], sum = 0.0;
    for (int k = 0; k < TAPS; k++) {
        double t = (k - TAPS / 2) / 4.0;
        double w = 0.42 - 0.5 * cos(tau * (k + 0.5) / TAPS) + 0.08 * cos(2.0 * tau * (k + 0.5) / TAPS);
        taps[k] = (fabs(t) < 1e-9 ? 1.0 : sin(tau / 2.0 * t) / (tau / 2.0 * t)) * w;
        sum += taps[k];
    }
    struct plane plane = plane_new(high / 4 - 1);
    for (size_t i = 0; i < plane.frames; i++) {
        double y = 0.0;
        for (int k = 0; k < TAPS; k++) {
            ptrdiff_t at = (ptrdiff_t)(i * 4 + offset) + k - TAPS / 2;
            if (at >= 0 && at < (ptrdiff_t)high)
                y += taps[k] * x[at];
        }
        plane.samples[i] = (float)tones_round24(y / sum);
    }
    free(x);
    return plane;
}

static void true_peak_cases(uint32_t rate_hz)
{
    const struct {
        const char *name;
        double divisor, phase, peak, expected;
    } tones[] = {
        {"3341-15 fs/4, 0 degrees", 4, 0.0, 0.5, -6.0},         {"3341-16 fs/4, 45 degrees", 4, 45.0, 0.5, -6.0},
        {"3341-17 fs/6, 60 degrees", 6, 60.0, 0.5, -6.0},       {"3341-18 fs/8, 67.5 degrees", 8, 67.5, 0.5, -6.0},
        {"3341-19 fs/4, 45 degrees, 1.41", 4, 45.0, 1.41, 3.0},
    };
    for (size_t i = 0; i < sizeof tones / sizeof *tones; i++) {
        struct plane plane = tones_sine(rate_hz, tones[i].divisor, tones[i].phase, tones[i].peak, 1.0, 0.01);
        row(tones[i].name, rate_hz, tones[i].expected, 0.2, 0.4, true_peak_of(rate_hz, &plane), "dBTP", EBU);
        plane_free(&plane);
    }
    for (size_t offset = 0; offset < 4; offset++) {
        char name[40];
        snprintf(name, sizeof name, "3341-%zu burst, offset %zu", 20 + offset, offset);
        struct plane plane = burst(rate_hz, offset);
        row(name, rate_hz, 0.0, 0.2, 0.4, true_peak_of(rate_hz, &plane), "dBTP", EBU);
        plane_free(&plane);
    }
}

/* BS.1770-5 Annex 2: a sine whose peak lies midway between points of an n times finer grid reads 20 log cos(pi f / n)
 * low; the bound for its n = 4 is the tolerance under; the tolerance over is EBU Tech 3341's. */
static void under_read_cases(uint32_t rate_hz)
{
    const double divisors[] = {4, 6, 8, 3, 2.5};
    for (size_t i = 0; i < sizeof divisors / sizeof *divisors; i++) {
        double worst_under = 0.0, worst_over = -100.0;
        for (int phase = 0; phase < 32; phase++) {
            struct plane plane =
                tones_sine(rate_hz, divisors[i], phase * (360.0 / divisors[i] / 32.0), 0.5, 0.25, 0.01);
            double read = true_peak_of(rate_hz, &plane) - 20.0 * log10(0.5);
            worst_under = fmin(worst_under, read);
            worst_over = fmax(worst_over, read);
            plane_free(&plane);
        }
        double bound = -20.0 * log10(cos(3.14159265358979 / divisors[i] / 4.0));
        char name[64];
        snprintf(name, sizeof name, "fs/%g, lowest of 32 phases", divisors[i]);
        row(name, rate_hz, 0.0, 0.2, bound, worst_under, "dB", "BS.1770-5 Annex 2");
        snprintf(name, sizeof name, "fs/%g, highest of 32 phases", divisors[i]);
        row(name, rate_hz, 0.0, 0.2, bound, worst_over, "dB", "BS.1770-5 Annex 2");
    }
}

static void calibration_cases(uint32_t rate_hz)
{
    struct measured m;
    struct plane plane = tones_steps(rate_hz, 997.0, &(struct tone_step){20, 0}, 1);
    measure_plane(&m, rate_hz, &plane);
    /* At other rates the K-weighting that every reference library uses lies up to 0.03 dB under its 48 kHz table:
     * kweight.h. */
    double tolerance = rate_hz == 48000 ? 0.01 : 0.05;
    row("997 Hz, 0 dBFS, one channel: I", rate_hz, -3.01, tolerance, tolerance, m.channels[0].integrated_lufs, "LUFS",
        "BS.1770-5 Annex 1");
    row("997 Hz, 0 dBFS: RMS", rate_hz, 0.0, 0.01, 0.01, m.channels[0].rms_dbfs, "dBFS", "AES17-2015");
    measured_clear(&m);
    plane_free(&plane);
    plane = tones_steps(rate_hz, 997.0, &(struct tone_step){20, -20}, 1);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] += 0.25f;
    measure_plane(&m, rate_hz, &plane);
    row("997 Hz, -20 dBFS on DC of 0.25: RMS", rate_hz, -20.0, 0.01, 0.01, m.channels[0].rms_dbfs, "dBFS",
        "AES17-2015");
    row("997 Hz, -20 dBFS on DC of 0.25: DC x 100", rate_hz, 25.0, 0.001, 0.001, 100.0 * m.channels[0].dc_offset, "%FS",
        "mean of the samples");
    measured_clear(&m);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = i % 96 < 48 ? 0.5f : -0.5f;
    measure_plane(&m, rate_hz, &plane);
    row("square wave, peak 0.5: RMS", rate_hz, -3.01, 0.01, 0.01, m.channels[0].rms_dbfs, "dBFS", "AES17-2015");
    measured_clear(&m);
    plane_free(&plane);
}

int main(void)
{
    printf("%-44s %6s %8s %11s %9s %-4s %-6s %s\n", "case", "rate", "expected", "tolerance", "measured", "unit",
           "verdict", "source");
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        programme_cases(rates[i]);
        surround_case(rates[i]);
        repeated_cases(rates[i]);
        shifted_case("3341-10 twenty shifts: worst max S", rates[i], true, false);
        shifted_case("3341-11 twenty levels: worst S error", rates[i], true, true);
        shifted_case("3341-13 twenty shifts: worst max M", rates[i], false, false);
        shifted_case("3341-14 twenty levels: worst M error", rates[i], false, true);
        true_peak_cases(rates[i]);
        under_read_cases(rates[i]);
        calibration_cases(rates[i]);
    }
    puts("not run: EBU Tech 3341 cases 7 and 8, Tech 3342 cases 5 and 6 (real programme, to be had from the EBU only)");
    printf("%u of %u inside tolerance\n", rows - misses, rows);
    return rows >= 200 && misses == 0 ? 0 : 1;
}
