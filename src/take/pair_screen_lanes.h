/* SPDX-License-Identifier: MIT */
/* Part of pair_screen.c, compiled for each instruction set by lanes.h. */

#define cross TP_LEVEL(cross)

/* The cross-spectrum at bins `at` … of a chunk. Blocks lie 2 * CHUNK apart, real parts before imaginary ones. */
static inline void cross(const float *a, const float *b, size_t blocks, size_t at, lanes *re, lanes *im)
{
    lanes b_re = lanes_load(b + at), b_im = lanes_load(b + CHUNK + at), sum_re = {0}, sum_im = {0};
    for (size_t j = 0; j < blocks; j++) {
        lanes next_re = {0}, next_im = {0}, a_re = lanes_load(a + at), a_im = lanes_load(a + CHUNK + at);
        a += 2 * CHUNK;
        b += 2 * CHUNK;
        if (j + 1 < blocks) {
            next_re = lanes_load(b + at);
            next_im = lanes_load(b + CHUNK + at);
        }
        lanes both_re = b_re + next_re, both_im = b_im + next_im;
        sum_re += a_re * both_re + a_im * both_im;
        sum_im += a_re * both_im - a_im * both_re;
        b_re = next_re;
        b_im = next_im;
    }
    *re = sum_re;
    *im = sum_im;
}

/* At least the sum of magnitudes: the larger of the two parts and (root of 2, less 1) times the smaller. */
static float TP_LEVEL(magnitudes)(const float *a, const float *b, size_t blocks)
{
    lanes sum = {0};
    for (size_t at = 0; at < CHUNK; at += TP_LANES) {
        lanes re, im;
        cross(a, b, blocks, at, &re, &im);
        re = lanes_magnitude(re);
        im = lanes_magnitude(im);
        lanes larger = lanes_larger(re, im);
        sum += larger + (re + im - larger) * 0.41422F;
    }
    float total = 0.0F;
    for (size_t lane = 0; lane < TP_LANES; lane++)
        total += sum[lane];
    return total;
}

static void TP_LEVEL(spectrum)(const float *a, const float *b, size_t blocks, float *out)
{
    for (size_t at = 0; at < CHUNK; at += TP_LANES) {
        lanes re, im;
        cross(a, b, blocks, at, &re, &im);
        memcpy(out + at, &re, sizeof re);
        memcpy(out + CHUNK + at, &im, sizeof im);
    }
}
#undef cross
