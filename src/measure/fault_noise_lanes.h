/* SPDX-License-Identifier: MIT */
/* Part of fault_noise.c, compiled for each instruction set by lanes.h. */

/* In EIGHT partial sums, however wide the lanes are: the order of adding is the same everywhere. */
static struct sums TP_LEVEL(sum_up)(const float *samples)
{
    lanes squares[EIGHT / TP_LANES] = {{0}}, slopes[EIGHT / TP_LANES] = {{0}}, sum[EIGHT / TP_LANES] = {{0}};
    for (size_t i = 0; i < SUMMED; i += EIGHT) {
        for (size_t part = 0; part < EIGHT / TP_LANES; part++) {
            lanes x, next;
            memcpy(&x, samples + i + part * TP_LANES, sizeof x);
            memcpy(&next, samples + i + part * TP_LANES + 1, sizeof next);
            lanes slope = next - x;
            squares[part] += x * x;
            slopes[part] += slope * slope;
            sum[part] += x;
        }
    }
    struct sums sums = {0};
    for (size_t i = 0; i < EIGHT; i++) {
        sums.squares += squares[i / TP_LANES][i % TP_LANES];
        sums.slopes += slopes[i / TP_LANES][i % TP_LANES];
        sums.sum += sum[i / TP_LANES][i % TP_LANES];
    }
    return sums;
}
