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

/* Sums on their way, each in TP_EIGHT parts: of what differs from the first sample of its stretch, of the squares of
 * that, and of its products with that sample. */
struct running {
    lanes most[VECTORS];
    lanes_wide sum[VECTORS], squares[VECTORS], products[VECTORS];
};

/* `frames`: a multiple of 2 * TP_EIGHT. */
static inline void take_stretch(struct running *running, const float *samples, size_t frames)
{
    lanes sum[VECTORS] = {{0}}, squares[VECTORS] = {{0}};
    for (size_t i = 0; i < frames; i += 2 * TP_EIGHT) {
        for (size_t part = 0; part < VECTORS; part++) {
            lanes a = lanes_load(samples + i + part * TP_LANES);
            lanes b = lanes_load(samples + i + part * TP_LANES + TP_EIGHT);
            lanes larger = lanes_larger(lanes_magnitude(a), lanes_magnitude(b));
            running->most[part] = lanes_larger(larger, running->most[part]);
            a -= samples[0], b -= samples[0];
            sum[part] += a + b;
            squares[part] += a * a + b * b;
        }
    }
    for (size_t part = 0; part < VECTORS; part++) {
        lanes_wide wide = __builtin_convertvector(sum[part], lanes_wide);
        running->sum[part] += wide;
        running->products[part] += wide * (double)samples[0];
        running->squares[part] += __builtin_convertvector(squares[part], lanes_wide);
    }
}

static inline double together(const lanes_wide parts[VECTORS])
{
    double sum = 0.0;
    for (size_t i = 0; i < TP_EIGHT; i++)
        sum += parts[i / TP_LANES][i % TP_LANES];
    return sum;
}

static struct tp_kernel_sums TP_LEVEL(sums)(const float *samples, size_t frames)
{
    struct running running = {0};
    struct tp_kernel_sums sums = {0};
    size_t whole = frames - frames % (2 * TP_EIGHT), step;
    for (size_t i = 0; i < whole; i += step) {
        double first = (double)samples[i];
        step = whole - i < STRETCH ? whole - i : STRETCH;
        take_stretch(&running, samples + i, step);
        sums.sum += first * (double)step;
        sums.sum_squares += first * first * (double)step;
    }
    sums.sum += together(running.sum);
    sums.sum_squares += together(running.squares) + 2.0 * together(running.products);
    for (size_t part = 0; part < VECTORS; part++) {
        float most = lanes_top(running.most[part]);
        sums.peak = most > sums.peak ? most : sums.peak;
    }
    return add_exactly(sums, samples + whole, frames - whole);
}

#undef VECTORS
