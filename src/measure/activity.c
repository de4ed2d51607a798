/* SPDX-License-Identifier: MIT */
#include "measure/activity.h"

#include "base/num.h"

#include <string.h>

static const double bottom_dbfs = -180.0, bins_per_db = 20.0;
static const double fall_db = 20.0 / 170.0; /* a hop */

void tp_activity_init(struct tp_activity *activity)
{
    memset(activity, 0, sizeof *activity);
    activity->fall_lin = tp_lin_from_db(-fall_db);
}

static size_t bin_of(double dbfs)
{
    double bin = (dbfs - bottom_dbfs) * bins_per_db;
    return bin < 1.0 ? 0 : bin >= TP_ACTIVITY_BINS ? TP_ACTIVITY_BINS - 1 : (size_t)bin;
}

static uint64_t count_from(const uint32_t *bins, size_t first)
{
    uint64_t count = 0;
    for (size_t bin = first; bin < TP_ACTIVITY_BINS; bin++)
        count += bins[bin];
    return count;
}

/* The level below which `part` of the values from bin `first` on lie; NaN when there is none. */
static double percentile(const uint32_t *bins, size_t first, double part)
{
    double rank = part * (double)count_from(bins, first);
    for (size_t bin = first; bin < TP_ACTIVITY_BINS; bin++) {
        if (bins[bin] > 0 && rank <= bins[bin])
            return bottom_dbfs + ((double)bin + rank / bins[bin]) / bins_per_db;
        rank -= bins[bin];
    }
    return (double)NAN;
}

static void end_block(struct tp_activity *activity)
{
    double rms_dbfs = tp_sums_rms_dbfs(&activity->block);
    if (!isnan(rms_dbfs))
        activity->block_bins[bin_of(rms_dbfs)]++;
    activity->block = (struct tp_sums){0};
    activity->hops_in_block = 0;
}

void tp_activity_push_hop(struct tp_activity *activity, const struct tp_sums *hop)
{
    /* A falling reading needs no logarithm. */
    double peak = (double)hop->peak;
    activity->meter_lin *= activity->fall_lin;
    activity->meter_dbfs -= fall_db;
    if (peak >= activity->meter_lin) {
        activity->meter_lin = peak;
        activity->meter_dbfs = tp_db_from_lin(peak);
    }
    if (activity->meter_lin < 1e-9)
        activity->meter_lin = 0.0;
    else
        activity->meter_bins[bin_of(activity->meter_dbfs)]++;
    tp_sums_join(&activity->block, hop);
    if (++activity->hops_in_block == 10)
        end_block(activity);
}

struct tp_activity_result tp_activity_finish(const struct tp_activity *activity)
{
    struct tp_activity_result result = {(double)NAN, (double)NAN, 0.0};
    result.noise_floor_dbfs = percentile(activity->block_bins, 0, 0.10);
    double floor_dbfs = isnan(result.noise_floor_dbfs) ? bottom_dbfs : result.noise_floor_dbfs;
    size_t quiet = bin_of(-60.0);

    size_t active = bin_of(floor_dbfs + 10.0);
    result.active_s = 0.1 * (double)count_from(activity->block_bins, active > quiet ? active : quiet);

    double loud_dbfs = percentile(activity->meter_bins, quiet, 0.95);
    if (isnan(loud_dbfs))
        return result;
    size_t gate = bin_of(fmax(fmax(-60.0, floor_dbfs + 15.0), loud_dbfs - 20.0));
    if (count_from(activity->meter_bins, gate) >= 30)
        result.working_level_dbfs = percentile(activity->meter_bins, gate, 0.50);
    return result;
}
