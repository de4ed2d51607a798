/* SPDX-License-Identifier: MIT */
/*
 * A bounded collection of mean squares above -70 LUFS, for gated means and percentiles: a list while it is short
 * enough, then a histogram of 0.01 LU bins (-70 to +30 LUFS; louder goes into the last) that keeps each bin's sum.
 */
#ifndef TP_MEASURE_ENERGIES_H
#define TP_MEASURE_ENERGIES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_ENERGY_BINS 10000

struct tp_energies {
    size_t limit; /* of the list */
    float *list;  /* float: an error of 3e-7 dB a value; the sum below is exact */
    size_t capacity;
    double sum; /* of all */
    uint64_t count;
    double *bin_sum; /* NULL while the list holds everything */
    uint32_t *bin_count;
    bool failed;
};

/* -0.691 + 10 log10(mean square), BS.1770 Annex 1; NaN for nothing. */
double tp_lufs_from_energy(double mean_square);

void tp_energies_init(struct tp_energies *energies, size_t limit);
void tp_energies_clear(struct tp_energies *energies);
/* Values under -70 LUFS are left out. */
void tp_energies_add(struct tp_energies *energies, double mean_square);
/* Mean of the values that are not below `factor` times the mean of all; NaN when there is none. */
double tp_energies_gated_mean(const struct tp_energies *energies, double factor);
/* 95th minus 10th percentile in LU of the values that are not below `factor` times the mean of all; NaN below two. */
bool tp_energies_range(const struct tp_energies *energies, double factor, double *range_lu);

#endif
