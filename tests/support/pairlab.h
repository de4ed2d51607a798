/* SPDX-License-Identifier: MIT */
/*
 * Main and safety made from one known signal, as two channels of a recorder would hold them, and plain slow
 * measurements of a channel. Shares nothing with the code under test. Deterministic for a seed. Out of memory ends the
 * process.
 */
#ifndef TESTS_SUPPORT_PAIRLAB_H
#define TESTS_SUPPORT_PAIRLAB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/result.h>

/* splitmix64: the same numbers on every machine. */
struct lab_random {
    uint64_t state;
};
uint64_t lab_random_bits(struct lab_random *random);
double lab_random_between(struct lab_random *random, double low, double high);
int lab_random_int(struct lab_random *random, int low, int high); /* both ends included */
double lab_random_normal(struct lab_random *random);

/* How the two channels are made. */
struct lab_pair {
    double offset_db;    /* safety minus main */
    int lag;             /* whole samples the safety is later */
    double lag_fraction; /* and this much more, by band-limited interpolation */
    double drift_ppm;    /* safety's clock falls behind by this */
    bool inverted;
    double main_noise_dbfs; /* RMS of white noise added; -INFINITY = none */
    double safety_noise_dbfs;
    unsigned bits; /* 16 or 24: rounded and saturated as a converter does; 0 = float, saturated at 1.0 */
};

/* main[] and safety[] (frames floats each) of source[] (frames doubles, zeros around it). What the main would be
 * without clipping, rounding and noise is source[] itself. */
void lab_pair_make(const struct lab_pair *pair, const double *source, size_t frames, struct lab_random *random,
                   float *main, float *safety);

/* Real voice, repeated to `frames`, in a random order from the seed, scaled to peak `peak`, with the recordings' own
 * pauses. Owned by the caller. Ends the process with the command to run when the recordings are not installed. */
double *lab_voice(struct lab_random *random, size_t frames, double peak);

/* Raises `count` places by a smooth bump so that each peaks at `peak` (over 1.0: the main will clip there and nowhere
 * else, if the rest lies under 1.0). Places keep `apart` frames between them. Returns how many found room. */
size_t lab_shouts(double *source, size_t frames, size_t count, size_t apart, double peak, struct lab_random *random);

/* White noise of that RMS. */
void lab_noise_add(float *samples, size_t frames, double rms_dbfs, struct lab_random *random);

/* The members of tp_channel that pairing reads, by slow plain code: peak, noise floor (10th percentile of 50 ms RMS,
 * AES17), active time, clip runs of three and more at `full_scale`, and damage = runs with `guard` frames around,
 * merged. End with lab_channel_clear(). */
struct tp_channel lab_channel(const float *samples, size_t frames, uint32_t sample_rate_hz, float full_scale,
                              size_t guard);
void lab_channel_clear(struct tp_channel *channel);
/* Largest sample of a converter of that many bits; 1.0 for 0. */
float lab_full_scale(unsigned bits);

/* malloc, calloc-like, or the end of the process. */
void *lab_zeros(size_t count, size_t size);

#endif
