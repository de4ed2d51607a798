/* SPDX-License-Identifier: MIT */
#include "measure/kweight.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PARTS TP_KWEIGHT_PARTS
/* Sums in single precision go over to double precision after so many samples. */
#define STRETCH 32
#define SINGLE_RATE_MIN_HZ 8000u
#define SINGLE_RATE_MAX_HZ 200000u
#define CANCELLING 4.0
static const double nothing = 1e-9;   /* what a state of 1 leaves behind is over below this */
static const double inaudible = 1e-9; /* mean square, 20 dB below the gate of -70 LUFS */
enum { W, Z, F, V };

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

/* The shelf is 1 at frequency 0: without that 1, its numerator is (1 - q) (now + before q), q being a sample's delay.
 */
static struct tp_kweight_form form_of(uint32_t sample_rate_hz)
{
    struct tp_biquad s, h;
    tp_kweight_design(sample_rate_hz, &s, &h);
    return (struct tp_kweight_form){.slowing = 1.0 - h.a2,
                                    .pull = 1.0 + h.a1 + h.a2,
                                    .keep = s.a2,
                                    .shelf_pull = 1.0 + s.a1 + s.a2,
                                    .now = s.b0 - 1.0,
                                    .before = s.a2 - s.b2};
}

/* `rise`: x[n] - x[n-1]; `last_step` is e. */
static double step(const struct tp_kweight_form *form, double state[4], double *last_step, double rise)
{
    double e = rise - form->slowing * state[Z] - state[W];
    state[Z] += e;
    state[W] += form->pull * state[Z];
    state[F] = form->keep * state[F] - form->shelf_pull * state[V] + (form->now * e + form->before * *last_step);
    state[V] += state[F];
    *last_step = e;
    return state[Z] + state[V];
}

/* The e that led to a state: the first three lines of step(), solved for it. */
static double step_before(const struct tp_kweight_form *form, const double state[4], double rise)
{
    return (rise - (form->slowing - form->pull) * state[Z] - state[W]) / (1.0 - form->slowing);
}

/* What each state alone leaves behind over a part. */
static bool make_responses(struct tp_kweight *filter)
{
    double *outs = calloc(filter->frames * 4, sizeof *outs);
    filter->response = calloc(filter->frames * 4, sizeof *filter->response);
    for (size_t from = 0; outs != NULL && filter->response != NULL && from < 4; from++) {
        double *state = filter->transition[from];
        state[from] = 1.0;
        double last_step = step_before(&filter->form, state, 0.0);
        for (size_t i = 0; i < filter->frames; i++) {
            outs[4 * i + from] = step(&filter->form, state, &last_step, 0.0);
            filter->response[4 * i + from] = (float)outs[4 * i + from];
            if (from >= F && fabs(outs[4 * i + from]) > nothing)
                filter->shelf_frames = i + 1;
        }
    }
    for (size_t i = 0; outs != NULL && i < filter->frames; i++)
        for (size_t a = 0; a < 4; a++)
            for (size_t b = 0; b < 4; b++)
                filter->energy[a][b] += outs[4 * i + a] * outs[4 * i + b];
    bool made = outs != NULL && filter->response != NULL;
    free(outs);
    return made;
}

bool tp_kweight_init(struct tp_kweight *filter, uint32_t sample_rate_hz, size_t part_frames)
{
    memset(filter, 0, sizeof *filter);
    filter->form = form_of(sample_rate_hz);
    filter->frames = part_frames;
    filter->is_single = sample_rate_hz >= SINGLE_RATE_MIN_HZ && sample_rate_hz <= SINGLE_RATE_MAX_HZ;
    return make_responses(filter);
}

void tp_kweight_clear(struct tp_kweight *filter)
{
    free(filter->response);
    filter->response = NULL;
}

/* -600 dB: a state that decays into denormal numbers would stay there, and slow. */
static double settle(double state)
{
    return fabs(state) < 1e-30 ? 0.0 : state;
}

double tp_kweight_energy(struct tp_kweight *filter, const float *samples, size_t frames)
{
    double energy = 0.0;
    for (size_t i = 0; i < frames; i++) {
        double x = (double)samples[i], out;
        out = step(&filter->form, filter->at.state, &filter->at.step, x - filter->at.sample);
        filter->at.sample = x;
        energy += out * out;
    }
    filter->at.step = settle(filter->at.step);
    for (int i = 0; i < 4; i++)
        filter->at.state[i] = settle(filter->at.state[i]);
    return energy;
}

/* What the lanes give: from rest, the sums of the squares and of the products with the responses, and the states at the
 * end. */
struct sums {
    double energy[PARTS], product[4][PARTS];
    float state[4][PARTS];
};

#define TP_LANES_SIXTEEN
#define TP_LANES_SOURCE "measure/kweight_lanes.h"
#include "measure/lanes.h"

/* Goes on from the true state over one part. */
static double join_part(struct tp_kweight *filter, const struct sums *sums, size_t part)
{
    const double *state = filter->at.state;
    double next[4], weight[4]; /* of each state in the energy */
    for (size_t a = 0; a < 4; a++) {
        next[a] = (double)sums->state[a][part];
        weight[a] = 2.0 * sums->product[a][part];
    }
    for (size_t b = 0; b < 4; b++) {
        for (size_t a = 0; a < 4; a++) {
            next[a] += state[b] * filter->transition[b][a];
            weight[a] += state[b] * filter->energy[b][a];
        }
    }
    double energy = sums->energy[part];
    for (size_t a = 0; a < 4; a++)
        energy += state[a] * weight[a];
    for (size_t a = 0; a < 4; a++)
        filter->at.state[a] = settle(next[a]);
    return energy > 0.0 ? energy : 0.0;
}

/* False where single precision will not do: see kweight.h. */
static bool join_parts(struct tp_kweight *filter, const struct sums *sums, const struct tp_kweight_part parts[PARTS],
                       double energies[PARTS])
{
    double from_rest = 0.0, all = 0.0, frames = 0.0;
    for (size_t part = 0; part < PARTS; part++) {
        const float *last = parts[part].samples + filter->frames - 1;
        size_t rest = parts[part].frames - filter->frames;
        energies[part] = join_part(filter, sums, part);
        from_rest += sums->energy[part];
        all += energies[part];
        filter->at.sample = (double)last[0];
        filter->at.step = step_before(&filter->form, filter->at.state, (double)last[0] - (double)last[-1]);
        energies[part] += tp_kweight_energy(filter, last + 1, rest);
        frames += (double)parts[part].frames;
    }
    bool counts = all > inaudible * frames;
    return isfinite(all) && isfinite(from_rest) && !(counts && from_rest > CANCELLING * all);
}

void tp_kweight_parts(struct tp_kweight *filter, const struct tp_kweight_part parts[PARTS], double energies[PARTS])
{
    const float *at[PARTS];
    struct sums sums;
    for (size_t part = 0; part < PARTS; part++)
        at[part] = parts[part].samples;
    if (filter->is_single) {
        const struct tp_kweight_place before = filter->at;
        TP_CHOSEN(run_parts)(filter, at, &sums);
        if (join_parts(filter, &sums, parts, energies))
            return;
        filter->at = before;
    }
    for (size_t part = 0; part < PARTS; part++)
        energies[part] = tp_kweight_energy(filter, at[part], parts[part].frames);
}
