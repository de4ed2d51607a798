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

#define running TP_LEVEL(running)
#define take_stretch TP_LEVEL(take_stretch)
#define together TP_LEVEL(together)
#define VECTORS (TP_EIGHT / TP_LANES)

/* Sums on their way, each in TP_EIGHT parts. */
struct running {
    lanes most[VECTORS];
    lanes_wide sum[VECTORS], squares[VECTORS];
};

static inline double together(const lanes_wide parts[VECTORS])
{
    double sum = 0.0;
    for (size_t i = 0; i < TP_EIGHT; i++)
        sum += parts[i / TP_LANES][i % TP_LANES];
    return sum;
}

/* Adds the squares of what differs from `middle`; returns the sum. `frames`: a multiple of 2 * TP_EIGHT. Two samples of
 * up to 24 bits add up in single precision without rounding. */
static inline double take_stretch(struct running *running, const float *samples, size_t frames, float middle)
{
    lanes squares[VECTORS] = {{0}};
    lanes_wide sum[VECTORS] = {{0}};
    for (size_t i = 0; i < frames; i += 2 * TP_EIGHT) {
        for (size_t part = 0; part < VECTORS; part++) {
            lanes a = lanes_load(samples + i + part * TP_LANES);
            lanes b = lanes_load(samples + i + part * TP_LANES + TP_EIGHT);
            lanes larger = lanes_larger(lanes_magnitude(a), lanes_magnitude(b));
            running->most[part] = lanes_larger(larger, running->most[part]);
            sum[part] += __builtin_convertvector(a + b, lanes_wide);
            a -= middle, b -= middle;
            squares[part] += a * a + b * b;
        }
    }
    for (size_t part = 0; part < VECTORS; part++)
        running->squares[part] += __builtin_convertvector(squares[part], lanes_wide);
    return together(sum);
}

static struct tp_kernel_sums TP_LEVEL(sums)(const float *samples, size_t frames)
{
    struct running running = {0};
    struct tp_kernel_sums sums = {0};
    size_t whole = frames - frames % (2 * TP_EIGHT), step;
    float middle = whole > 0 ? samples[0] : 0.0F;
    for (size_t i = 0; i < whole; i += step) {
        step = whole - i < STRETCH ? whole - i : STRETCH;
        double sum = take_stretch(&running, samples + i, step, middle);
        sums.sum += sum;
        sums.sum_squares += (double)middle * (2.0 * sum - (double)middle * (double)step);
        middle = (float)(sum / (double)step);
    }
    sums.sum_squares += together(running.squares);
    for (size_t part = 0; part < VECTORS; part++) {
        float most = lanes_top(running.most[part]);
        sums.peak = most > sums.peak ? most : sums.peak;
    }
    return add_exactly(sums, samples + whole, frames - whole);
}

#undef VECTORS
