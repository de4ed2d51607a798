/* SPDX-License-Identifier: MIT */
/* Part of kernels.c, compiled for each instruction set by lanes.h. */

static float TP_LEVEL(largest)(const float *samples, size_t frames)
{
    lanes most = {0};
    size_t whole = frames - frames % TP_LANES;
    float largest = 0.0F;
    for (size_t i = 0; i < whole; i += TP_LANES) {
        lanes x;
        memcpy(&x, samples + i, sizeof x);
        most = lanes_larger(lanes_magnitude(x), most);
    }
    for (size_t lane = 0; lane < TP_LANES; lane++)
        largest = most[lane] > largest ? most[lane] : largest;
    for (size_t i = whole; i < frames; i++)
        largest = fabsf(samples[i]) > largest ? fabsf(samples[i]) : largest;
    return largest;
}

/* In EIGHT partial sums, however wide the lanes are: the order of adding is the same everywhere. */
static struct tp_kernel_sums TP_LEVEL(sums)(const float *samples, size_t frames)
{
    lanes_wide sum[EIGHT / TP_LANES] = {{0}}, squares[EIGHT / TP_LANES] = {{0}};
    lanes most = {0};
    size_t whole = frames - frames % EIGHT;
    for (size_t i = 0; i < whole; i += EIGHT) {
        for (size_t part = 0; part < EIGHT / TP_LANES; part++) {
            lanes x;
            memcpy(&x, samples + i + part * TP_LANES, sizeof x);
            lanes_wide wide = __builtin_convertvector(x, lanes_wide);
            sum[part] += wide;
            squares[part] += wide * wide;
            most = lanes_larger(lanes_magnitude(x), most);
        }
    }
    struct tp_kernel_sums sums = {.peak = 0.0F};
    for (size_t i = 0; i < EIGHT; i++) {
        sums.sum += sum[i / TP_LANES][i % TP_LANES];
        sums.sum_squares += squares[i / TP_LANES][i % TP_LANES];
        sums.peak = most[i % TP_LANES] > sums.peak ? most[i % TP_LANES] : sums.peak;
    }
    for (size_t i = whole; i < frames; i++) {
        double x = (double)samples[i];
        sums.sum += x;
        sums.sum_squares += x * x;
        sums.peak = fabsf(samples[i]) > sums.peak ? fabsf(samples[i]) : sums.peak;
    }
    return sums;
}
