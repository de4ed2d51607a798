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

typedef float four __attribute__((vector_size(16)));

static inline four load(const float *from)
{
    four x;
    memcpy(&x, from, sizeof x);
    return x;
}

/* Of eight samples those at odd places. */
static inline four odd_of(const float *x)
{
    return __builtin_shufflevector(load(x), load(x + 4), 1, 3, 5, 7);
}

/* Four at a time of what tp_low_halve() gives of `x`, from the first on; how many. */
static size_t halve_by_four(const float *x, size_t count, float *out)
{
    size_t i = 0;
    for (; i + 4 <= count / 2; i += 4) {
        const float *t = x + 2 * i;
        four middle = __builtin_shufflevector(load(t + 4), load(t + 8), 0, 2, 4, 6);
        four halved =
            (16.0F * middle + 9.0F * (odd_of(t + 2) + odd_of(t + 4)) - (odd_of(t) + odd_of(t + 6))) * (1.0F / 32.0F);
        memcpy(out + i, &halved, sizeof halved);
    }
    return i;
}

size_t tp_low_halve(float held[6], const float *in, size_t count, float *out)
{
    float x[6 + TP_LOW_BLOCK];
    memcpy(x, held, 6 * sizeof *x);
    memcpy(x + 6, in, count * sizeof *x);
    for (size_t i = halve_by_four(x, count, out); i < count / 2; i++) {
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
    four now = load(ramps), rising = {low->last_ramp, now[0], now[1], now[2]};
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c += 4) {
        /* Rising over the cell before, falling over this one. */
        if (c > 0)
            rising = load(ramps + c - 1);
        four falling = (float)(TP_FAULT_CELL + 1) * load(sums + c) - load(ramps + c);
        four both = (rising + falling) * (1.0F / (TP_FAULT_CELL * (TP_FAULT_CELL + 1)));
        memcpy(low->samples + c, &both, sizeof both);
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
