/* SPDX-License-Identifier: MIT */
#include "measure/kernels.h"

#include <math.h>

#define TP_LANES_SOURCE "measure/kernels_lanes.h"
#include "measure/lanes.h"

float tp_kernel_largest(const float *samples, size_t frames)
{
    return TP_CHOSEN(largest)(samples, frames);
}

struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames)
{
    return TP_CHOSEN(sums)(samples, frames);
}
