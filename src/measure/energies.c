/* SPDX-License-Identifier: MIT */
#include "measure/energies.h"

#include "base/num.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

static const double absolute_gate = 1.1724653045822964e-7; /* 10^((-70 + 0.691) / 10) */

double tp_lufs_from_energy(double mean_square)
{
    return tp_db_from_power(mean_square) - 0.691;
}

void tp_energies_init(struct tp_energies *energies, size_t limit)
{
    memset(energies, 0, sizeof *energies);
    energies->limit = limit;
}

void tp_energies_clear(struct tp_energies *energies)
{
    free(energies->list);
    free(energies->bin_sum);
    free(energies->bin_count);
    tp_energies_init(energies, energies->limit);
}

static size_t bin_of(double mean_square)
{
    double bin = floor((tp_lufs_from_energy(mean_square) + 70.0) * 100.0);
    return bin <= 0.0 ? 0 : bin >= TP_ENERGY_BINS ? TP_ENERGY_BINS - 1 : (size_t)bin;
}

static void bin_add(struct tp_energies *energies, double mean_square)
{
    size_t bin = bin_of(mean_square);
    energies->bin_sum[bin] += mean_square;
    energies->bin_count[bin]++;
}

static bool fold_into_bins(struct tp_energies *energies)
{
    energies->bin_sum = calloc(TP_ENERGY_BINS, sizeof *energies->bin_sum);
    energies->bin_count = calloc(TP_ENERGY_BINS, sizeof *energies->bin_count);
    if (energies->bin_sum == NULL || energies->bin_count == NULL)
        return false;
    for (size_t i = 0; i < energies->count; i++)
        bin_add(energies, (double)energies->list[i]);
    free(energies->list);
    energies->list = NULL;
    energies->capacity = 0;
    return true;
}

void tp_energies_add(struct tp_energies *energies, double mean_square)
{
    if (!(mean_square >= absolute_gate) || energies->failed)
        return;
    if (energies->bin_sum == NULL && energies->count >= energies->limit && !fold_into_bins(energies)) {
        energies->failed = true;
        return;
    }
    if (energies->bin_sum != NULL) {
        bin_add(energies, mean_square);
    } else {
        void *list = energies->list;
        if (!tp_grow(&list, &energies->capacity, (size_t)energies->count, sizeof *energies->list)) {
            energies->failed = true;
            return;
        }
        energies->list = list;
        energies->list[energies->count] = (float)mean_square;
    }
    energies->sum += mean_square;
    energies->count++;
}

double tp_energies_gated_mean(const struct tp_energies *energies, double factor)
{
    if (energies->count == 0 || energies->failed)
        return (double)NAN;
    double gate = energies->sum / (double)energies->count * factor;
    double sum = 0.0;
    uint64_t count = 0;
    if (energies->bin_sum != NULL) {
        for (size_t bin = bin_of(gate); bin < TP_ENERGY_BINS; bin++) {
            sum += energies->bin_sum[bin];
            count += energies->bin_count[bin];
        }
    } else {
        for (size_t i = 0; i < energies->count; i++)
            if ((double)energies->list[i] >= gate) {
                sum += (double)energies->list[i];
                count++;
            }
    }
    return count > 0 ? sum / (double)count : (double)NAN;
}

static int ascending(const void *left, const void *right)
{
    float a = *(const float *)left, b = *(const float *)right;
    return (a > b) - (a < b);
}

/* The position that libebur128 and the algorithm of Tech 3342 take: 0-based round((n - 1) * part). */
static uint64_t percentile_index(uint64_t count, double part)
{
    return (uint64_t)((double)(count - 1) * part + 0.5);
}

static bool range_of_list(const struct tp_energies *energies, double gate, double *range_lu)
{
    float *kept = malloc((size_t)energies->count * sizeof *kept);
    if (kept == NULL)
        return false;
    size_t count = 0;
    for (size_t i = 0; i < energies->count; i++)
        if ((double)energies->list[i] >= gate)
            kept[count++] = energies->list[i];
    if (count >= 2) {
        qsort(kept, count, sizeof *kept, ascending);
        *range_lu = tp_lufs_from_energy((double)kept[percentile_index(count, 0.95)]) -
                    tp_lufs_from_energy((double)kept[percentile_index(count, 0.10)]);
    }
    free(kept);
    return true;
}

/* Mean loudness of the bin that holds the value of rank `index` among those from bin `first` on. */
static double level_at(const struct tp_energies *energies, size_t first, uint64_t index)
{
    for (size_t bin = first; bin < TP_ENERGY_BINS; bin++) {
        if (index < energies->bin_count[bin])
            return tp_lufs_from_energy(energies->bin_sum[bin] / energies->bin_count[bin]);
        index -= energies->bin_count[bin];
    }
    return (double)NAN;
}

bool tp_energies_range(const struct tp_energies *energies, double factor, double *range_lu)
{
    *range_lu = (double)NAN;
    if (energies->failed)
        return false;
    if (energies->count < 2)
        return true;
    double gate = energies->sum / (double)energies->count * factor;
    if (energies->bin_sum == NULL)
        return range_of_list(energies, gate, range_lu);
    size_t first = bin_of(gate);
    uint64_t count = 0;
    for (size_t bin = first; bin < TP_ENERGY_BINS; bin++)
        count += energies->bin_count[bin];
    if (count >= 2)
        *range_lu = level_at(energies, first, percentile_index(count, 0.95)) -
                    level_at(energies, first, percentile_index(count, 0.10));
    return true;
}
