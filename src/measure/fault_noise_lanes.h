/* SPDX-License-Identifier: MIT */
/* Part of fault_noise.c, compiled for each instruction set by lanes.h. */

/* The partial sums of one cell. */
static inline void TP_LEVEL(sum_partly)(const float *samples, float parts[3][TP_EIGHT])
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
    memcpy(parts[0], squares, sizeof squares);
    memcpy(parts[1], slopes, sizeof slopes);
    memcpy(parts[2], sum, sizeof sum);
}

/* The partial sums of as many cells as there are lanes become those of each, in the same order as lanes_total(). */
static inline void TP_LEVEL(add_up)(const float (*parts)[3][TP_EIGHT], size_t what, float *sums)
{
    const float *of_cell[TP_LANES];
    lanes total = {0}, x[4];
    for (size_t lane = 0; lane < TP_LANES; lane++)
        of_cell[lane] = parts[lane][what];
    for (size_t i = 0; i < TP_EIGHT; i += 4) {
        lanes_four_of_each(of_cell, i, x);
        total = (((total + x[0]) + x[1]) + x[2]) + x[3];
    }
    memcpy(sums, &total, sizeof total);
}

static void TP_LEVEL(sum_up)(const float *block, struct sums *sums)
{
    for (size_t c = 0; c < SUMMED_CELLS; c += TP_LANES) {
        float parts[TP_LANES][3][TP_EIGHT];
        for (size_t lane = 0; lane < TP_LANES; lane++)
            TP_LEVEL(sum_partly)(block + (c + lane) * EVERY * TP_FAULT_CELL, parts[lane]);
        TP_LEVEL(add_up)((const float(*)[3][TP_EIGHT])parts, 0, sums->squares + c);
        TP_LEVEL(add_up)((const float(*)[3][TP_EIGHT])parts, 1, sums->slopes + c);
        TP_LEVEL(add_up)((const float(*)[3][TP_EIGHT])parts, 2, sums->sum + c);
    }
}
