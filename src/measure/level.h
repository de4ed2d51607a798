/* SPDX-License-Identifier: MIT */
/*
 * Sample peak, DC and RMS of one channel.
 * RMS: AES17-2015 convention (a full-scale sine reads 0 dBFS: 3.01 dB above plain RMS), DC removed. DC: plain mean.
 * Sums are in single precision over short stretches, of what differs from the stretch's first sample, and in double
 * precision over these (kernels.h).
 */
#ifndef TP_MEASURE_LEVEL_H
#define TP_MEASURE_LEVEL_H

#include <stddef.h>
#include <stdint.h>

/* Of a stretch of sound. */
struct tp_sums {
    double sum, sum_squares;
    float peak; /* largest |sample| */
    uint64_t frames;
};

struct tp_sums tp_sums_of(const float *samples, size_t frames);
void tp_sums_join(struct tp_sums *total, const struct tp_sums *part);
/* Mean; NaN for nothing. */
double tp_sums_dc(const struct tp_sums *sums);
/* AES17 RMS in dBFS without DC; NaN for silence or a constant. */
double tp_sums_rms_dbfs(const struct tp_sums *sums);

#endif
