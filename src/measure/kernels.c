/* SPDX-License-Identifier: MIT */
#include "measure/kernels.h"

#include "base/vector.h"

TP_CLONES float tp_kernel_largest(const float *samples, size_t frames)
{
    float largest = 0.0f;
    for (size_t i = 0; i < frames; i++) {
        float magnitude = samples[i] < 0.0f ? -samples[i] : samples[i];
        largest = magnitude > largest ? magnitude : largest;
    }
    return largest;
}

TP_CLONES struct tp_kernel_sums tp_kernel_sums(const float *samples, size_t frames)
{
    tp_v8d sum = {0}, squares = {0};
    size_t whole = frames - frames % 8;
    float peak = 0.0f;
    for (size_t i = 0; i < whole; i += 8) {
        tp_v8f x;
        TP_LOAD8(x, samples + i);
        tp_v8d wide = __builtin_convertvector(x, tp_v8d);
        sum += wide;
        squares += wide * wide;
    }
    for (size_t i = 0; i < frames; i++) {
        float magnitude = samples[i] < 0.0f ? -samples[i] : samples[i];
        peak = magnitude > peak ? magnitude : peak;
    }
    struct tp_kernel_sums sums = {.peak = peak};
    for (int lane = 0; lane < 8; lane++) {
        sums.sum += sum[lane];
        sums.sum_squares += squares[lane];
    }
    for (size_t i = whole; i < frames; i++) {
        double x = (double)samples[i];
        sums.sum += x;
        sums.sum_squares += x * x;
    }
    return sums;
}

TP_CLONES void tp_kernel_extremes(const float *samples, size_t blocks, size_t block, float *min, float *max)
{
    for (size_t b = 0; b < blocks; b++) {
        const float *from = samples + b * block;
        float low = from[0], high = from[0];
        for (size_t i = 0; i < block; i++) {
            low = from[i] < low ? from[i] : low;
            high = from[i] > high ? from[i] : high;
        }
        min[b] = low;
        max[b] = high;
    }
}
