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

struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames);
/* Largest |sample|; 0 for none. */
float tp_kernel_largest(const float *samples, size_t frames);

#endif
