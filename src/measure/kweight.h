/* SPDX-License-Identifier: MIT */
/*
 * K-weighting of one channel, ITU-R BS.1770-5 Annex 1: a shelf of +4 dB and the RLB high-pass, as energies.
 * The standard prints coefficients for 48 kHz only; here both stages are designed anew for each rate from the constants
 * that reproduce its 48 kHz table to 1e-12 (bilinear transform, tan pre-warping). The high-pass keeps the numerator 1,
 * -2, 1 of that table at every rate, as libebur128 and FFmpeg do: its gain far above 38 Hz is +0.043 dB at 48 kHz but
 * +0.011 dB at 192 kHz, so that a 997 Hz tone reads up to 0.03 dB lower there. Agreement between meters was preferred.
 * Double precision state. Rates below TP_KWEIGHT_RATE_MIN_HZ cannot carry the shelf: do not use it there.
 */
#ifndef TP_MEASURE_KWEIGHT_H
#define TP_MEASURE_KWEIGHT_H

#include <stddef.h>
#include <stdint.h>

#define TP_KWEIGHT_RATE_MIN_HZ 4000

/* One second-order section, a0 = 1. */
struct tp_biquad {
    double b0, b1, b2, a1, a2;
};

/*
 * The two sections as one system of four states: eight samples go through it at once,
 *     out = from_state * state + from_sample * in,   state = keep * state + store * in,
 * with matrices found by running the sections sample by sample. Exact but for rounding.
 */
struct tp_kweight {
    struct tp_biquad shelf, highpass;
    double state[4];
    double from_state[4][8];  /* [state][sample] */
    double from_sample[8][8]; /* [sample in][sample out]; 0 where out comes before in */
    double next_state[4][4];  /* [state][state eight samples later] */
    double store[8][4];       /* [sample in][state after the eight] */
};

/* The two sections for a rate. */
void tp_kweight_design(uint32_t sample_rate_hz, struct tp_biquad *shelf, struct tp_biquad *highpass);
/* Ready to filter, as after endless silence. */
void tp_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz);
/* Filters `frames` samples on from the last call and returns the sum of the squares of what comes out. */
double tp_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames);

#endif
