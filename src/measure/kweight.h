/* SPDX-License-Identifier: MIT */
/*
 * K-weighting of one channel, ITU-R BS.1770-5 Annex 1: a shelf of +4 dB and the RLB high-pass, as energies.
 * The standard prints coefficients for 48 kHz only; here both stages are designed anew for each rate from the constants
 * that reproduce its 48 kHz table to 1e-12 (bilinear transform, tan pre-warping). The high-pass keeps the numerator 1,
 * -2, 1 of that table at every rate, as libebur128 and FFmpeg do: its gain far above 38 Hz is +0.043 dB at 48 kHz but
 * +0.011 dB at 192 kHz, so that a 997 Hz tone reads up to 0.03 dB lower there. Agreement between meters was preferred.
 * Rates below TP_KWEIGHT_RATE_MIN_HZ cannot carry the shelf: do not use it there.
 *
 * Speed: TP_KWEIGHT_PARTS parts go through at once, each in a lane of a vector and each as if silence lay before it.
 * The filter is linear: with y0 the output from rest, s the state in truth at the part's start and r the output that a
 * state of 1 leaves behind, energy = sum (y0 + s r)^2 = sum y0^2 + 2 s sum (y0 r) + s s sum r^2, so the two sums over
 * the part are all that the lanes keep. They run in single precision, which the form of the equations allows: the
 * high-pass comes first, as a difference of neighbouring samples that is exact for 24 bits and leaves no offset, and
 * both sections count in differences, whose coefficients are small and keep all their digits. In double precision they
 * would be twice as slow. The energies are within 1e-6 dB of double precision (tests/measure/test_kweight.c); those of
 * parts 70 dB and more under others of the same call, within 0.1 dB. Where that cannot be had, they are done again one
 * sample at a time in double precision: when the three terms nearly cancel, as far below 20 Hz; when a number
 * overflows; and for rates over 200 kHz.
 */
#ifndef TP_MEASURE_KWEIGHT_H
#define TP_MEASURE_KWEIGHT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_KWEIGHT_RATE_MIN_HZ 4000
#define TP_KWEIGHT_PARTS 16
#define TP_KWEIGHT_HISTORY 2 /* samples before those of a part that tp_kweight_parts() reads */

/* One second-order section, a0 = 1. */
struct tp_biquad {
    double b0, b1, b2, a1, a2;
};

/*
 * The sections in differences. High-pass, with x in and z out:
 *     e[n] = (x[n] - x[n-1]) - slowing z[n-1] - w[n-1],   z[n] = z[n-1] + e[n],   w[n] = w[n-1] + pull z[n]. The shelf
 * adds to z a part v that is nothing at low frequencies: f[n] = keep f[n-1] - shelf_pull v[n-1] + now e[n] + before
 * e[n-1],   v[n] = v[n-1] + f[n],   out = z[n] + v[n]
 */
struct tp_kweight_form {
    double slowing, pull, keep, shelf_pull, now, before;
};

/* How far it has come. */
struct tp_kweight_place {
    double sample, step; /* the last x, e */
    double state[4];     /* w, z, f, v */
};

struct tp_kweight_part {
    const float *samples;
    size_t frames;
};

struct tp_kweight {
    struct tp_kweight_form form;
    struct tp_kweight_place at;
    bool is_single; /* precision will do at this rate */
    /* Of a part: */
    size_t frames;           /* that every part has */
    size_t shelf_frames;     /* after which nothing is left of f and v at its start */
    float *response;         /* [frame][state]: the output that a state of 1 leaves behind */
    double transition[4][4]; /* [state at its start][at its end] */
    double energy[4][4];     /* sums of the products of two responses */
};

/* The two sections for a rate. */
void tp_kweight_design(uint32_t sample_rate_hz, struct tp_biquad *shelf, struct tp_biquad *highpass);
/* Ready to filter, as after endless silence. `part_frames`: of the shortest part. False when memory is short. */
bool tp_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz, size_t part_frames);
void tp_kweight_clear(struct tp_kweight *filter);
/* Filters `frames` samples on from the last call and returns the sum of the squares of what comes out. */
double tp_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames);
/* The same for TP_KWEIGHT_PARTS parts that follow one another, wherever they lie, none shorter than part_frames. Before
 * the samples of each must lie the TP_KWEIGHT_HISTORY samples that go before it; zero before the first of all. */
void tp_kweight_parts(struct tp_kweight *filter, const struct tp_kweight_part parts[TP_KWEIGHT_PARTS],
                      double energies[TP_KWEIGHT_PARTS]);

#endif
