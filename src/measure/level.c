/* SPDX-License-Identifier: MIT */
#include "measure/level.h"

#include "base/num.h"

/* As many partial sums as the widest vectors hold, in a fixed order: the same figures on every machine. */
#define LANES 8

struct tp_sums tp_sums_of(const float *samples, size_t frames)
{
    double sum[LANES] = {0}, squares[LANES] = {0};
    float peak[LANES] = {0};
    size_t whole = frames - frames % LANES;
    for (size_t i = 0; i < whole; i += LANES)
        for (size_t lane = 0; lane < LANES; lane++) {
            float magnitude = fabsf(samples[i + lane]);
            double x = (double)samples[i + lane];
            sum[lane] += x;
            squares[lane] += x * x;
            peak[lane] = magnitude > peak[lane] ? magnitude : peak[lane];
        }
    struct tp_sums sums = {.frames = frames};
    for (size_t lane = 0; lane < LANES; lane++) {
        sums.sum += sum[lane];
        sums.sum_squares += squares[lane];
        sums.peak = peak[lane] > sums.peak ? peak[lane] : sums.peak;
    }
    for (size_t i = whole; i < frames; i++) {
        double x = (double)samples[i];
        sums.sum += x;
        sums.sum_squares += x * x;
        sums.peak = fabsf(samples[i]) > sums.peak ? fabsf(samples[i]) : sums.peak;
    }
    return sums;
}

void tp_sums_join(struct tp_sums *total, const struct tp_sums *part)
{
    total->sum += part->sum;
    total->sum_squares += part->sum_squares;
    total->peak = part->peak > total->peak ? part->peak : total->peak;
    total->frames += part->frames;
}

double tp_sums_dc(const struct tp_sums *sums)
{
    return sums->frames > 0 ? sums->sum / (double)sums->frames : (double)NAN;
}

double tp_sums_rms_dbfs(const struct tp_sums *sums)
{
    if (sums->frames == 0)
        return (double)NAN;
    double mean = sums->sum / (double)sums->frames;
    double power = sums->sum_squares / (double)sums->frames - mean * mean;
    /* The difference of two nearly equal numbers: below this it is rounding, the sound is a constant. */
    if (power <= 1e-14 * mean * mean)
        return (double)NAN;
    return tp_db_from_power(power) + TP_AES17_DB;
}

static void extremes_of_block(const float *samples, float *min, float *max)
{
    float low[LANES], high[LANES];
    for (size_t lane = 0; lane < LANES; lane++)
        low[lane] = high[lane] = samples[lane];
    for (size_t i = LANES; i < TP_EXTREMES_FRAMES; i += LANES)
        for (size_t lane = 0; lane < LANES; lane++) {
            float x = samples[i + lane];
            low[lane] = x < low[lane] ? x : low[lane];
            high[lane] = x > high[lane] ? x : high[lane];
        }
    *min = low[0];
    *max = high[0];
    for (size_t lane = 1; lane < LANES; lane++) {
        *min = low[lane] < *min ? low[lane] : *min;
        *max = high[lane] > *max ? high[lane] : *max;
    }
}

size_t tp_extremes(const float *samples, size_t frames, float *min, float *max)
{
    size_t blocks = frames / TP_EXTREMES_FRAMES;
    for (size_t block = 0; block < blocks; block++)
        extremes_of_block(samples + block * TP_EXTREMES_FRAMES, &min[block], &max[block]);
    size_t at = blocks * TP_EXTREMES_FRAMES;
    if (at == frames)
        return blocks;
    min[blocks] = max[blocks] = samples[at];
    for (; at < frames; at++) {
        min[blocks] = samples[at] < min[blocks] ? samples[at] : min[blocks];
        max[blocks] = samples[at] > max[blocks] ? samples[at] : max[blocks];
    }
    return blocks + 1;
}
