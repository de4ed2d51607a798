/* SPDX-License-Identifier: MIT */
/* Part of fault_burst.c, compiled for each instruction set by lanes.h. */

/* log2 to within 0.09, from the bits of the number: cheap, and enough to weigh pulses against what lies between. */
static inline lanes TP_LEVEL(rough_log2)(lanes x)
{
    return __builtin_convertvector((lanes_bits)x, lanes) * (1.0F / 8388608.0F) - 127.0F;
}

static struct sums TP_LEVEL(sum_up)(const struct tp_buzz *buzz, const float *edges)
{
    lanes real[TP_EIGHT / TP_LANES] = {{0}}, imaginary[TP_EIGHT / TP_LANES] = {{0}}, sum[TP_EIGHT / TP_LANES] = {{0}},
                          squares[TP_EIGHT / TP_LANES] = {{0}}, pulse = {0};
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c += TP_EIGHT) {
        for (size_t part = 0; part < TP_EIGHT / TP_LANES; part++) {
            size_t at = c + part * TP_LANES;
            lanes edge = lanes_load(edges + at), v = TP_LEVEL(rough_log2)(edge + 2e-7F);
            real[part] += v * lanes_load(buzz->cosine + at);
            imaginary[part] += v * lanes_load(buzz->sine + at);
            sum[part] += v;
            squares[part] += v * v;
            pulse = lanes_larger(edge, pulse);
        }
    }
    return (struct sums){.real = lanes_total(real),
                         .imaginary = lanes_total(imaginary),
                         .sum = lanes_total(sum),
                         .squares = lanes_total(squares),
                         .pulse = lanes_top(pulse)};
}
