/* SPDX-License-Identifier: MIT */
#include "measure/kweight.h"

#include <math.h>

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

void tp_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz)
{
    tp_kweight_design(sample_rate_hz, &filter->shelf, &filter->highpass);
    for (size_t i = 0; i < 4; i++)
        filter->state[i] = 0.0;
}

/* -600 dB: a state that decays into denormal numbers would stay there, and slow. */
static double settle(double state)
{
    return fabs(state) < 1e-30 ? 0.0 : state;
}

double tp_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames)
{
    const struct tp_biquad s = filter->shelf, h = filter->highpass;
    double s1 = filter->state[0], s2 = filter->state[1], h1 = filter->state[2], h2 = filter->state[3];
    double energy = 0.0;
    for (size_t i = 0; i < frames; i++) {
        double x = (double)samples[i];
        double y = s.b0 * x + s1;
        s1 = s.b1 * x - s.a1 * y + s2;
        s2 = s.b2 * x - s.a2 * y;
        double z = y + h1;
        h1 = h2 - 2.0 * y - h.a1 * z;
        h2 = y - h.a2 * z;
        energy += z * z;
    }
    filter->state[0] = settle(s1);
    filter->state[1] = settle(s2);
    filter->state[2] = settle(h1);
    filter->state[3] = settle(h2);
    return energy;
}
