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

#define any_over TP_LEVEL(any_over)
#define between_2 TP_LEVEL(between_2)
#define between_4 TP_LEVEL(between_4)
#define three TP_LEVEL(three)

static inline bool any_over(lanes x, float limit)
{
    lanes_bits over = x > limit;
    uint64_t pairs[TP_LANES / 2], any = 0;
    memcpy(pairs, &over, sizeof pairs);
    for (size_t i = 0; i < TP_LANES / 2; i++)
        any |= pairs[i];
    return any != 0;
}

/* What pairs `from` … `to` add to the value 1/2 of the way after each of samples[0 … TP_LANES). */
static inline lanes between_2(const float *samples, const struct tp_true_peak_pair *pairs, size_t from, size_t to)
{
    const float *left = samples - BEFORE, *right = left + TAPS - 1;
    lanes middle = {0};
    for (size_t k = from; k < to; k++)
        middle += (lanes_load(left + k) + lanes_load(right - k)) * pairs[k].middle;
    return middle;
}

/* Whether any |value| in the intervals of a cell goes over the limit; what taps far from the middle add is `far` at
 * most. */
static bool TP_LEVEL(passes_2)(const float *cell, const struct tp_true_peak_pair *pairs, float far, float limit)
{
    lanes near[CELL / TP_LANES], most = {0};
    for (size_t v = 0; v < CELL / TP_LANES; v++) {
        near[v] = between_2(cell + v * TP_LANES, pairs, TAPS / 2 - NEAR, TAPS / 2);
        most = lanes_larger(lanes_magnitude(near[v]), most);
    }
    if (!any_over(most, limit - far))
        return false;
    for (size_t v = 0; v < CELL / TP_LANES; v++)
        if (any_over(lanes_magnitude(near[v]), limit - far) &&
            any_over(lanes_magnitude(near[v] + between_2(cell + v * TP_LANES, pairs, 0, TAPS / 2 - NEAR)), limit))
            return true;
    return false;
}

struct three {
    lanes even, odd, middle;
};

static inline void between_4(const float *samples, const struct tp_true_peak_pair *pairs, size_t from, size_t to,
                             struct three *sums)
{
    const float *left = samples - BEFORE, *right = left + TAPS - 1;
    for (size_t k = from; k < to; k++) {
        lanes a = lanes_load(left + k), b = lanes_load(right - k), sum = a + b;
        sums->even += sum * pairs[k].even;
        sums->odd += (a - b) * pairs[k].odd;
        sums->middle += sum * pairs[k].middle;
    }
}

/* The same for three values an interval. Of those at 1/4 and 3/4 the larger magnitude is that of both parts. */
static bool TP_LEVEL(passes_4)(const float *cell, const struct tp_true_peak_pair *pairs, float far, float limit)
{
    for (size_t at = 0; at < CELL; at += TP_LANES) {
        struct three sums = {{0}, {0}, {0}};
        float allowed = limit - far;
        for (size_t part = 0; part < 2; part++, allowed = limit) {
            between_4(cell + at, pairs, part == 0 ? TAPS / 2 - NEAR : 0, part == 0 ? TAPS / 2 : TAPS / 2 - NEAR, &sums);
            lanes sides = lanes_magnitude(sums.even) + lanes_magnitude(sums.odd);
            if (!any_over(lanes_larger(sides, lanes_magnitude(sums.middle)), allowed))
                break;
            if (part == 1)
                return true;
        }
    }
    return false;
}
#undef any_over
#undef between_2
#undef between_4
#undef three
