/* SPDX-License-Identifier: MIT */
/*
 * Sample peak, DC and RMS of one channel.
 * RMS: AES17-2015 convention (a full-scale sine reads 0 dBFS: 3.01 dB above plain RMS), DC removed. DC: plain mean.
 * Peak and DC of tp_sums_of() are exact for up to 3 h of 24-bit sound at 48 kHz, RMS is within 1e-6 dB (kernels.h). A
 * channel's sums are mostly made of those of its cells (channel_meter.c): its DC is then within 1e-9 of full scale.
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
