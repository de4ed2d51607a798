/* SPDX-License-Identifier: MIT */
#include "measure/level.h"

#include "base/num.h"
#include "measure/kernels.h"

struct tp_sums tp_sums_of(const float *samples, size_t frames)
{
    struct tp_kernel_sums sums = tp_kernel_sums(samples, frames);
    return (struct tp_sums){sums.sum, sums.sum_squares, sums.peak, frames};
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
