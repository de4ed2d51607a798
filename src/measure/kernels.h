/* SPDX-License-Identifier: MIT */
/*
 * The loops that touch every sample, apart from the filters. Compiled for finite numbers only (see CFLAGS_kernels in
 * the Makefile), so that searching for extremes is vectorised: no NaN may be made or asked for in this file.
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
/* Smallest and largest sample of each `block` frames of blocks * block. */
void tp_kernel_extremes(const float *samples, size_t blocks, size_t block, float *min, float *max);

#endif
