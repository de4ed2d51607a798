/* SPDX-License-Identifier: MIT */
#include "measure/fault_parts.h"

#include <math.h>
#include <string.h>

#define RATE_MAX_HZ 900.0
#define PI 3.14159265358979323846

void tp_low_start(struct tp_low *low, uint32_t sample_rate_hz)
{
    low->rate_hz = (double)sample_rate_hz / TP_FAULT_CELL;
    low->stages = 0;
    while (low->rate_hz > RATE_MAX_HZ && low->stages < TP_LOW_STAGES) {
        low->rate_hz /= 2.0;
        low->stages++;
    }
}

size_t tp_low_halve(float held[6], const float *in, size_t count, float *out)
{
    float x[6 + TP_LOW_BLOCK];
    memcpy(x, held, 6 * sizeof *x);
    memcpy(x + 6, in, count * sizeof *x);
    for (size_t i = 0; i < count / 2; i++) {
        const float *t = x + 2 * i + 1;
        out[i] = (16.0F * t[3] + 9.0F * (t[2] + t[4]) - (t[0] + t[6])) * (1.0F / 32.0F);
    }
    memcpy(held, x + count, 6 * sizeof *x);
    return count / 2;
}

void tp_low_block(struct tp_low *low, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    size_t first = first_frame % TP_FAULT_RING / TP_FAULT_CELL;
    const float *sums = signal->sum + first, *ramps = signal->ramp + first;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        /* Rising over the cell before, falling over this one. */
        float rising = c > 0 ? ramps[c - 1] : low->last_ramp, falling = (float)(TP_FAULT_CELL + 1) * sums[c] - ramps[c];
        low->samples[c] = (rising + falling) * (1.0F / (TP_FAULT_CELL * (TP_FAULT_CELL + 1)));
    }
    low->last_ramp = ramps[TP_FAULT_BLOCK_CELLS - 1];
    low->count = TP_FAULT_BLOCK_CELLS;
    for (unsigned s = 0; s < low->stages; s++)
        low->count = tp_low_halve(low->held[s], low->samples, low->count, low->samples);
    low->made += low->count;
}

double tp_low_power_gain(const struct tp_low *low, double frequency_hz)
{
    double cells_hz = low->rate_hz * (double)(1u << low->stages), x = PI * frequency_hz / cells_hz;
    double gain = x > 0.0 ? pow(sin(x) / x, 2.0) : 1.0, rate_hz = cells_hz;
    for (unsigned s = 0; s < low->stages; s++, rate_hz /= 2.0) {
        double w = 2.0 * PI * frequency_hz / rate_hz;
        gain *= (16.0 + 18.0 * cos(w) - 2.0 * cos(3.0 * w)) / 32.0;
    }
    return gain * gain;
}
