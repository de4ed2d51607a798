/* SPDX-License-Identifier: MIT */
#include "measure/kweight.h"

#include "base/vector.h"

#include <math.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

void tp_kweight_design(uint32_t sample_rate_hz, struct tp_biquad *shelf, struct tp_biquad *highpass)
{
    const double shelf_hz = 1681.974450955533, shelf_gain_db = 3.999843853973347, shelf_q = 0.7071752369554196;
    const double highpass_hz = 38.13547087602444, highpass_q = 0.5003270373238773;

    double k = tan(pi * shelf_hz / sample_rate_hz);
    double vh = pow(10.0, shelf_gain_db / 20.0);
    double vb = pow(vh, 0.4996667741545416);
    double d = 1.0 + k / shelf_q + k * k;
    shelf->b0 = (vh + vb * k / shelf_q + k * k) / d;
    shelf->b1 = 2.0 * (k * k - vh) / d;
    shelf->b2 = (vh - vb * k / shelf_q + k * k) / d;
    shelf->a1 = 2.0 * (k * k - 1.0) / d;
    shelf->a2 = (1.0 - k / shelf_q + k * k) / d;

    k = tan(pi * highpass_hz / sample_rate_hz);
    d = 1.0 + k / highpass_q + k * k;
    highpass->b0 = 1.0;
    highpass->b1 = -2.0;
    highpass->b2 = 1.0;
    highpass->a1 = 2.0 * (k * k - 1.0) / d;
    highpass->a2 = (1.0 - k / highpass_q + k * k) / d;
}

static double step(const struct tp_kweight *filter, double state[4], double x)
{
    const struct tp_biquad *s = &filter->shelf, *h = &filter->highpass;
    double y = s->b0 * x + state[0];
    state[0] = s->b1 * x - s->a1 * y + state[1];
    state[1] = s->b2 * x - s->a2 * y;
    double z = h->b0 * y + state[2];
    state[2] = h->b1 * y - h->a1 * z + state[3];
    state[3] = h->b2 * y - h->a2 * z;
    return z;
}

void tp_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz)
{
    memset(filter, 0, sizeof *filter);
    tp_kweight_design(sample_rate_hz, &filter->shelf, &filter->highpass);
    for (int from = 0; from < 4; from++) {
        double state[4] = {0};
        state[from] = 1.0;
        for (int i = 0; i < 8; i++)
            filter->from_state[from][i] = step(filter, state, 0.0);
        memcpy(filter->next_state[from], state, sizeof state);
    }
    for (int from = 0; from < 8; from++) {
        double state[4] = {0};
        for (int i = 0; i < 8; i++)
            filter->from_sample[from][i] = step(filter, state, i == from ? 1.0 : 0.0);
        memcpy(filter->store[from], state, sizeof state);
    }
}

/* -600 dB: a state that decays into denormal numbers would stay there, and slow. */
static double settle(double state)
{
    return fabs(state) < 1e-30 ? 0.0 : state;
}

/* One half of the eight samples that come out. */
struct half {
    tp_v4d from_state[4], from_sample[8];
};

static void load_half(struct half *half, const struct tp_kweight *filter, int first)
{
    for (int i = 0; i < 4; i++)
        memcpy(&half->from_state[i], &filter->from_state[i][first], sizeof half->from_state[i]);
    for (int i = 0; i < 8; i++)
        memcpy(&half->from_sample[i], &filter->from_sample[i][first], sizeof half->from_sample[i]);
}

TP_CLONES static double energy_of_eights(struct tp_kweight *filter, const float *samples, size_t eights)
{
    struct half early, late;
    tp_v4d next_state[4], store[8], state, energy = {0};
    load_half(&early, filter, 0);
    load_half(&late, filter, 4);
    memcpy(next_state, filter->next_state, sizeof next_state);
    memcpy(store, filter->store, sizeof store);
    memcpy(&state, filter->state, sizeof state);
    for (const float *x = samples; x < samples + 8 * eights; x += 8) {
        tp_v4d in = {0}, first = {0}, last = {0};
        for (int i = 0; i < 4; i++)
            first += early.from_sample[i] * (double)x[i];
        for (int i = 0; i < 8; i++) {
            last += late.from_sample[i] * (double)x[i];
            in += store[i] * (double)x[i];
        }
        first += (early.from_state[0] * state[0] + early.from_state[1] * state[1]) +
                 (early.from_state[2] * state[2] + early.from_state[3] * state[3]);
        last += (late.from_state[0] * state[0] + late.from_state[1] * state[1]) +
                (late.from_state[2] * state[2] + late.from_state[3] * state[3]);
        state = in + ((next_state[0] * state[0] + next_state[1] * state[1]) +
                      (next_state[2] * state[2] + next_state[3] * state[3]));
        energy += first * first + last * last;
    }
    memcpy(filter->state, &state, sizeof state);
    return (energy[0] + energy[1]) + (energy[2] + energy[3]);
}

double tp_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames)
{
    double energy = energy_of_eights(filter, samples, frames / 8);
    for (size_t i = frames - frames % 8; i < frames; i++) {
        double z = step(filter, filter->state, (double)samples[i]);
        energy += z * z;
    }
    for (int i = 0; i < 4; i++)
        filter->state[i] = settle(filter->state[i]);
    return energy;
}
