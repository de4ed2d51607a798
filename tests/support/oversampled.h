/* SPDX-License-Identifier: MIT */
/* A slow and plain reference for true peaks. */
#ifndef TESTS_SUPPORT_OVERSAMPLED_H
#define TESTS_SUPPORT_OVERSAMPLED_H

#include <stddef.h>

/* Largest |value| between the first and the last of `count` samples, on a grid of 32 a sample, with a Blackman-windowed
 * sinc of 256 samples in double precision. Beyond the ends the sound is continued by even reflection. Not looked at:
 * stretches of 18 samples that stay under the largest sample divided by `headroom` (4 for noise; real sound is nowhere
 * 6 dB higher between its samples: 2). */
double oversampled_peak(const float *samples, size_t count, double headroom);

#endif
