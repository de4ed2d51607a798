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

/* DC within 3e-7 of the peak, RMS (without DC) within 1e-6 dB (tests/measure/test_kernels.c); the peak is exact. Long
 * stretches of equal samples are summed without rounding, so that a constant is seen to be one. */
struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames);
/* Largest |sample|; 0 for none. */
float tp_kernel_largest(const float *samples, size_t frames);

#endif
