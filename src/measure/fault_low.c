/* SPDX-License-Identifier: MIT */
#include "measure/fault_parts.h"

#include <math.h>

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

/* Half-band filter (-1 0 9 16 9 0 -1)/32: maximally flat at both ends, from Lagrange interpolation. */
static bool halve(struct tp_low *low, unsigned stage, float *sample)
{
    float *held = low->held[stage];
    float newest = *sample;
    bool gives = low->held_count[stage] % 2 == 1;
    if (gives)
        *sample = (16.0F * held[3] + 9.0F * (held[2] + held[4]) - (held[0] + newest)) * (1.0F / 32.0F);
    for (unsigned i = 0; i < 5; i++)
        held[i] = held[i + 1];
    held[5] = newest;
    low->held_count[stage]++;
    return gives;
}

void tp_low_block(struct tp_low *low, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    size_t first = first_frame % TP_FAULT_RING / TP_FAULT_CELL;
    low->count = 0;
    for (size_t c = first; c < first + TP_FAULT_BLOCK_CELLS; c++) {
        /* Rising over the cell before, falling over this one. */
        float falling = (float)(TP_FAULT_CELL + 1) * signal->sum[c] - signal->ramp[c];
        float sample = (low->last_ramp + falling) * (1.0F / (TP_FAULT_CELL * (TP_FAULT_CELL + 1)));
        low->last_ramp = signal->ramp[c];
        unsigned stage = 0;
        while (stage < low->stages && halve(low, stage, &sample))
            stage++;
        if (stage == low->stages)
            low->samples[low->count++] = sample;
    }
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
