/* SPDX-License-Identifier: MIT */
/*
 * Loops over every sample that others build on. Finite numbers only.
 */
#ifndef TP_MEASURE_KERNELS_H
#define TP_MEASURE_KERNELS_H

#include <stddef.h>

struct tp_kernel_sums {
    double sum, sum_squares;
    float peak;
};

/* The sum is exact for up to 24 bits and 3 h at 48 kHz, the peak always. Squares are summed in single precision over
 * short stretches, of what differs from the mean of the stretch before: RMS (without DC) within 1e-6 dB
 * (tests/measure/test_kernels.c). A constant is seen to be one. */
struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames);
/* Largest |sample|; 0 for none. */
float tp_kernel_largest(const float *samples, size_t frames);

#endif
