/* SPDX-License-Identifier: MIT */
/* Part of fault_burst.c, compiled for each instruction set by lanes.h. */

/* log2 to within 0.09, from the bits of the number: cheap, and enough to weigh pulses against what lies between. */
static inline lanes TP_LEVEL(rough_log2)(lanes x)
{
    return __builtin_convertvector((lanes_bits)x, lanes) * (1.0F / 8388608.0F) - 127.0F;
}

static inline float TP_LEVEL(total)(const lanes parts[EIGHT / TP_LANES])
{
    float sum = 0.0F;
    for (size_t i = 0; i < EIGHT; i++)
        sum += parts[i / TP_LANES][i % TP_LANES];
    return sum;
}

/* In EIGHT partial sums, however wide the lanes are: the order of adding is the same everywhere. */
static struct sums TP_LEVEL(sum_up)(const struct tp_buzz *buzz, const float *edges)
{
    lanes real[EIGHT / TP_LANES] = {{0}}, imaginary[EIGHT / TP_LANES] = {{0}}, sum[EIGHT / TP_LANES] = {{0}},
                       squares[EIGHT / TP_LANES] = {{0}}, pulse = {0};
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c += EIGHT) {
        for (size_t part = 0; part < EIGHT / TP_LANES; part++) {
            lanes edge, cosine, sine;
            memcpy(&edge, edges + c + part * TP_LANES, sizeof edge);
            memcpy(&cosine, buzz->cosine + c + part * TP_LANES, sizeof cosine);
            memcpy(&sine, buzz->sine + c + part * TP_LANES, sizeof sine);
            lanes v = TP_LEVEL(rough_log2)(edge + 2e-7F);
            real[part] += v * cosine;
            imaginary[part] += v * sine;
            sum[part] += v;
            squares[part] += v * v;
            pulse = lanes_larger(edge, pulse);
        }
    }
    struct sums sums = {.real = TP_LEVEL(total)(real),
                        .imaginary = TP_LEVEL(total)(imaginary),
                        .sum = TP_LEVEL(total)(sum),
                        .squares = TP_LEVEL(total)(squares)};
    for (size_t lane = 0; lane < TP_LANES; lane++)
        sums.pulse = pulse[lane] > sums.pulse ? pulse[lane] : sums.pulse;
    return sums;
}
