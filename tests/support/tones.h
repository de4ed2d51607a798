/* SPDX-License-Identifier: MIT */
/*
 * Test signals as planar float, synthesised in double precision and rounded to 24 bits (the published test signals are
 * 24-bit files), and a measuring of them. Memory failures end the process with a message.
 */
#ifndef TESTS_SUPPORT_TONES_H
#define TESTS_SUPPORT_TONES_H

#include <stddef.h>
#include <stdint.h>
#include <takeproof/result.h>

#define TONES_FULL_SCALE_24 (8388607.0 / 8388608.0)

struct tone_step {
    double seconds, peak_dbfs; /* NaN: silence */
};

struct plane {
    float *samples;
    size_t frames;
};

double tones_round24(double sample);
struct plane plane_new(size_t frames); /* silence */
void plane_free(struct plane *plane);
/* Steps of a sine of a whole number of Hz one after another, phase running through. */
struct plane tones_steps(uint32_t rate_hz, double hz, const struct tone_step *steps, size_t count);
/* peak * sin(2 pi n / divisor + phase), with fades of `fade_s` at both ends. */
struct plane tones_sine(uint32_t rate_hz, double divisor, double phase_degrees, double peak_lin, double seconds,
                        double fade_s);
/* Uniform noise in [-peak, peak). */
struct plane tones_noise(uint64_t seed, double peak_lin, size_t frames);

/* What the measuring under test says of some planes, pushed in blocks of `block` frames. */
struct measured {
    struct tp_channel channels[8];
    struct tp_programme programme;
    struct tp_observations observations;
    uint32_t channel_count;
};
void measure_planes(struct measured *measured, uint32_t rate_hz, const float *const *planes, uint32_t channel_count,
                    uint32_t channel_mask, size_t frames, double full_scale_lin, size_t block);
void measure_plane(struct measured *measured, uint32_t rate_hz, const struct plane *plane);
void measured_clear(struct measured *measured);

#endif
