/* SPDX-License-Identifier: MIT */
#include "measure/kernels.h"

#include <math.h>
#include <stdbool.h>

/* Squares of at most so many samples are summed up in single precision, in TP_EIGHT parts. */
#define STRETCH 256u

/* One sample after another, in double precision. */
static struct tp_kernel_sums add_exactly(struct tp_kernel_sums sums, const float *samples, size_t frames)
{
    for (size_t i = 0; i < frames; i++) {
        double x = (double)samples[i];
        sums.sum += x;
        sums.sum_squares += x * x;
        sums.peak = fabsf(samples[i]) > sums.peak ? fabsf(samples[i]) : sums.peak;
    }
    return sums;
}

#define TP_LANES_SOURCE "measure/kernels_lanes.h"
#include "measure/lanes.h"

float tp_kernel_largest(const float *samples, size_t frames)
{
    return TP_CHOSEN(largest)(samples, frames);
}

struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames)
{
    struct tp_kernel_sums sums = TP_CHOSEN(sums)(samples, frames);
    /* Where squares come near the ends of what single precision can hold. */
    bool is_extreme = sums.peak > 1e15F || (sums.peak < 1e-12F && sums.peak > 0.0F);
    return is_extreme ? add_exactly((struct tp_kernel_sums){0}, samples, frames) : sums;
}
