/* SPDX-License-Identifier: MIT */
/* Part of fault_noise.c, compiled for each instruction set by lanes.h. */

static struct sums TP_LEVEL(sum_up)(const float *samples)
{
    lanes squares[TP_EIGHT / TP_LANES] = {{0}}, slopes[TP_EIGHT / TP_LANES] = {{0}}, sum[TP_EIGHT / TP_LANES] = {{0}};
    for (size_t i = 0; i < SUMMED; i += TP_EIGHT) {
        for (size_t part = 0; part < TP_EIGHT / TP_LANES; part++) {
            const float *at = samples + i + part * TP_LANES;
            lanes x = lanes_load(at), slope = lanes_load(at + 1) - x;
            squares[part] += x * x;
            slopes[part] += slope * slope;
            sum[part] += x;
        }
    }
    return (struct sums){.squares = lanes_total(squares), .slopes = lanes_total(slopes), .sum = lanes_total(sum)};
}
