/* SPDX-License-Identifier: MIT */
/* Part of true_peak.c, compiled for each instruction set by lanes.h. */

/* How high the true peak may be in the intervals of each cell from the second to the last but one. */
static void TP_LEVEL(bounds)(const struct tp_true_peak *meter, const float *peak, const float *slope, size_t count,
                             float *bound)
{
    for (size_t c = 0; c < count; c++) {
        float peaks = peak[c] > peak[c + 1] ? peak[c] : peak[c + 1],
              steep = slope[c] > slope[c + 1] ? slope[c] : slope[c + 1];
        peaks = peak[c + 2] > peaks ? peak[c + 2] : peaks;
        steep = slope[c + 2] > steep ? slope[c + 2] : steep;
        float by_peaks = peaks * meter->gain, by_slope = peak[c + 1] + peaks * ROUNDING + steep * meter->slope_gain;
        bound[c] = by_peaks < by_slope ? by_peaks : by_slope;
    }
}

/*
 * Values 1/4, 2/4 and 3/4 of the way after each of samples[0 … COMPUTED). The taps of 3/4 are those of 1/4 reversed and
 * those of 2/4 are symmetric, so taps k and TAPS - 1 - k go together: sums and differences of two samples are shared by
 * the three.
 */
static void TP_LEVEL(interpolate_4)(const float *samples, const struct tp_true_peak_pair *pairs, struct grid *grid)
{
    for (size_t at = 0; at < COMPUTED; at += TP_LANES) {
        lanes even = {0}, odd = {0}, middle = {0};
        const float *left = samples + at - BEFORE, *right = left + TAPS - 1;
        for (size_t k = 0; k < TAPS / 2; k++) {
            lanes a = lanes_load(left + k), b = lanes_load(right - k);
            lanes sum = a + b, difference = a - b;
            even += sum * pairs[k].even;
            odd += difference * pairs[k].odd;
            middle += sum * pairs[k].middle;
        }
        lanes first = even + odd, last = even - odd;
        memcpy(&grid->rows[1][at], &first, sizeof first);
        memcpy(&grid->rows[2][at], &middle, sizeof middle);
        memcpy(&grid->rows[3][at], &last, sizeof last);
    }
}

/* Values 1/2 of the way. */
static void TP_LEVEL(interpolate_2)(const float *samples, const struct tp_true_peak_pair *pairs, struct grid *grid)
{
    for (size_t at = 0; at < COMPUTED; at += TP_LANES) {
        lanes middle = {0};
        const float *left = samples + at - BEFORE, *right = left + TAPS - 1;
        for (size_t k = 0; k < TAPS / 2; k++) {
            lanes a = lanes_load(left + k), b = lanes_load(right - k);
            middle += (a + b) * pairs[k].middle;
        }
        memcpy(&grid->rows[1][at], &middle, sizeof middle);
    }
}
