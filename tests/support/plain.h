/* SPDX-License-Identifier: MIT */
/* The inner loops of src/measure compiled from the same source without choice of instruction set, under other names. */
#ifndef SUPPORT_PLAIN_H
#define SUPPORT_PLAIN_H

#include "measure/cells.h"
#include "measure/kernels.h"
#include "measure/kweight.h"
#include "measure/true_peak.h"

float plain_kernel_largest(const float *samples, size_t frames);
struct tp_kernel_sums plain_kernel_sums(const float *samples, size_t frames);
void plain_cells_make(struct tp_cells *cells, const float *samples, size_t frames, const float before[TP_CELLS_BEFORE]);
void plain_kweight_design(uint32_t sample_rate_hz, struct tp_biquad *shelf, struct tp_biquad *highpass);
bool plain_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz, size_t hop_frames);
void plain_kweight_clear(struct tp_kweight *filter);
double plain_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames);
void plain_kweight_parts(struct tp_kweight *filter, const struct tp_kweight_part parts[TP_KWEIGHT_PARTS],
                         double energies[TP_KWEIGHT_PARTS]);
void plain_true_peak_init(struct tp_true_peak *meter, uint32_t sample_rate_hz);
void plain_true_peak_push(struct tp_true_peak *meter, const float *samples, size_t frames);
void plain_true_peak_push_cells(struct tp_true_peak *meter, const float *samples, const struct tp_cells *cells);
double plain_true_peak_finish(struct tp_true_peak *meter);

#endif
