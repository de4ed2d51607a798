/* SPDX-License-Identifier: MIT */
/* Part of kernels.c, compiled for each instruction set by lanes.h. */

static float TP_LEVEL(largest)(const float *samples, size_t frames)
{
    lanes most = {0};
    size_t whole = frames - frames % TP_LANES;
    for (size_t i = 0; i < whole; i += TP_LANES)
        most = lanes_larger(lanes_magnitude(lanes_load(samples + i)), most);
    float largest = lanes_top(most);
    for (size_t i = whole; i < frames; i++)
        largest = fabsf(samples[i]) > largest ? fabsf(samples[i]) : largest;
    return largest;
}

static struct tp_kernel_sums TP_LEVEL(sums)(const float *samples, size_t frames)
{
    lanes_wide sum[TP_EIGHT / TP_LANES] = {{0}}, squares[TP_EIGHT / TP_LANES] = {{0}};
    lanes most = {0};
    size_t whole = frames - frames % TP_EIGHT;
    for (size_t i = 0; i < whole; i += TP_EIGHT) {
        for (size_t part = 0; part < TP_EIGHT / TP_LANES; part++) {
            lanes x = lanes_load(samples + i + part * TP_LANES);
            lanes_wide wide = __builtin_convertvector(x, lanes_wide);
            sum[part] += wide;
            squares[part] += wide * wide;
            most = lanes_larger(lanes_magnitude(x), most);
        }
    }
    struct tp_kernel_sums sums = {.peak = lanes_top(most)};
    for (size_t i = 0; i < TP_EIGHT; i++) {
        sums.sum += sum[i / TP_LANES][i % TP_LANES];
        sums.sum_squares += squares[i / TP_LANES][i % TP_LANES];
    }
    for (size_t i = whole; i < frames; i++) {
        double x = (double)samples[i];
        sums.sum += x;
        sums.sum_squares += x * x;
        sums.peak = fabsf(samples[i]) > sums.peak ? fabsf(samples[i]) : sums.peak;
    }
    return sums;
}
