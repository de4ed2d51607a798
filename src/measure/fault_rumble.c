/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "measure/fault_parts.h"

#include <string.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define HIGH_HZ 5.0
#define LOW_HZ 60.0
#define SUB_HZ 30.0
#define STEP_S 0.1
#define STEPS 4u
#define SUB_SHARE                                                                                                      \
    0.1 /* of the power below 60 Hz, at least this much below 30 Hz: neither bass notes nor hum have it                \
         */
#define JOIN_S 0.5
#define SETTLED 6u
#define UNDER_WORKING_DB 12.0
#define LIMIT_DEFAULT_DBFS -32.0
#define LIMIT_LOW_DBFS -45.0
#define LIMIT_HIGH_DBFS -14.0
#define TOO_LOW 1.5e-5    /* as a power: a little under LIMIT_LOW_DBFS, and told without a logarithm */
#define RATE_MIN_HZ 150.0 /* of the low signal: below a recording's 4,800 Hz nothing is said */
#define PI 3.14159265358979323846

/* Second-order Butterworth section by the bilinear transform (R. Bristow-Johnson's audio EQ cookbook, Q = 0.7071). */
static void design(struct tp_rumble *rumble, size_t section, double frequency_hz, bool high)
{
    double w = 2.0 * PI * frequency_hz / rumble->rate_hz, alpha = sin(w) * 0.70710678, a0 = 1.0 + alpha, c = cos(w);
    double side = high ? (1.0 + c) / 2.0 : (1.0 - c) / 2.0;
    float outer = (float)(side / a0);
    rumble->sections.b[0][section] = rumble->sections.b[2][section] = outer;
    rumble->sections.b[1][section] = (high ? -2.0F : 2.0F) * outer;
    rumble->sections.a[0][section] = (float)(-2.0 * c / a0);
    rumble->sections.a[1][section] = (float)((1.0 - alpha) / a0);
}

void tp_rumble_start(struct tp_rumble *rumble, const struct tp_low *low)
{
    rumble->halved = low->rate_hz > 500.0;
    rumble->rate_hz = rumble->halved ? low->rate_hz / 2.0 : low->rate_hz;
    design(rumble, 0, HIGH_HZ, true);
    design(rumble, 1, LOW_HZ, false);
    design(rumble, 2, LOW_HZ, false);
    design(rumble, 3, SUB_HZ, false);
}

/* A constant offset must not begin with a step: as if the first value had been there for ever. */
static void settle(struct tp_rumble *rumble, float first)
{
    rumble->sections.state[1][0] = rumble->sections.b[2][0] * first;
    rumble->sections.state[0][0] = rumble->sections.b[1][0] * first + rumble->sections.state[1][0];
}

/* A lane for each section, all at once: each works on what the one before it gave a sample earlier. */
typedef float sections __attribute__((vector_size(4 * TP_RUMBLE_SECTIONS)));
typedef int32_t lanes_in_use __attribute__((vector_size(4 * TP_RUMBLE_SECTIONS)));
#define LAG (TP_RUMBLE_SECTIONS - 1)

struct chain {
    sections b[3], a[2], state[2], out;
};

/* The next sample into the first section; transposed direct form II. */
static inline void step(struct chain *chain, float sample, sections state[2])
{
    sections in = __builtin_shufflevector(chain->out, chain->out, 3, 0, 1, 2);
    in[0] = sample;
    sections out = chain->b[0] * in + chain->state[0];
    state[0] = chain->b[1] * in - chain->a[0] * out + chain->state[1];
    state[1] = chain->b[2] * in - chain->a[1] * out;
    chain->out = out;
}

/* Where not all sections have a sample, those without keep their state. */
static void step_some(struct chain *chain, float sample, lanes_in_use used)
{
    sections state[2];
    step(chain, sample, state);
    for (size_t i = 0; i < 2; i++)
        chain->state[i] = (sections)(((lanes_in_use)state[i] & used) | ((lanes_in_use)chain->state[i] & ~used));
}

/* `out[i]`: what the sections gave after sample i, each of it for the sample that it had then. */
static void filter(struct tp_rumble *rumble, const float *samples, size_t count, sections out[TP_LOW_BLOCK + LAG])
{
    const lanes_in_use number = {0, 1, 2, 3};
    struct chain chain = {0};
    memcpy(chain.b, rumble->sections.b, sizeof chain.b);
    memcpy(chain.a, rumble->sections.a, sizeof chain.a);
    memcpy(chain.state, rumble->sections.state, sizeof chain.state);
    for (size_t i = 0; i < count + LAG; i++) {
        if (i >= LAG && i < count)
            step(&chain, samples[i], chain.state);
        else
            step_some(&chain, i < count ? samples[i] : 0.0F,
                      (number <= (int32_t)i) & (number > (int32_t)i - (int32_t)count));
        out[i] = chain.out;
    }
    memcpy(rumble->sections.state, chain.state, sizeof chain.state);
}

static void judge_step(struct tp_rumble *rumble, uint64_t end_frame, uint32_t sample_rate_hz)
{
    double low = 0.0, sub = 0.0;
    for (size_t s = 0; s < STEPS; s++) {
        low += rumble->low_steps[s] / STEPS;
        sub += rumble->sub_steps[s] / STEPS;
    }
    if (low < TOO_LOW || sub < SUB_SHARE * low)
        return;
    double level_dbfs = low > 0.0 ? 10.0 * log10(low) + TP_AES17_DB : -INFINITY;
    if (level_dbfs < LIMIT_LOW_DBFS)
        return;
    uint64_t length = (uint64_t)(STEPS * STEP_S * sample_rate_hz), join = (uint64_t)(JOIN_S * sample_rate_hz);
    uint64_t start_frame = end_frame > length ? end_frame - length : 0;
    struct tp_fault_places *places = &rumble->places;
    struct tp_fault_place *last = places->count > 0 ? &places->items[places->count - 1] : NULL;
    if (last && places->total == places->count && start_frame <= last->end_frame + join) {
        last->end_frame = end_frame;
        last->value = fmax(last->value, level_dbfs);
        return;
    }
    tp_fault_places_add(places, start_frame, end_frame, level_dbfs);
}

/* Into the step in hand. */
static void add_up(struct tp_rumble *rumble, const sections *out, size_t count)
{
    double low_sum = rumble->low_sum, sub_sum = rumble->sub_sum;
    for (size_t i = 0; i < count; i++) {
        float deep = out[i + 2][2], deepest = out[i + 3][3];
        low_sum += (double)(deep * deep);
        sub_sum += (double)(deepest * deepest);
    }
    rumble->low_sum = low_sum, rumble->sub_sum = sub_sum;
    rumble->step_samples += count;
}

static void end_step(struct tp_rumble *rumble, uint64_t end_frame, uint32_t sample_rate_hz)
{
    rumble->low_steps[rumble->steps % STEPS] = rumble->low_sum / (double)rumble->step_samples;
    rumble->sub_steps[rumble->steps % STEPS] = rumble->sub_sum / (double)rumble->step_samples;
    rumble->low_sum = rumble->sub_sum = 0.0;
    rumble->step_samples = 0;
    if (++rumble->steps >= STEPS)
        judge_step(rumble, end_frame, sample_rate_hz);
}

void tp_rumble_block(struct tp_rumble *rumble, const struct tp_low *low, uint64_t end_frame, uint32_t sample_rate_hz)
{
    if (rumble->rate_hz < RATE_MIN_HZ)
        return;
    float halved[TP_LOW_BLOCK];
    const float *samples = low->samples;
    uint64_t per_sample = ((uint64_t)TP_FAULT_CELL << low->stages) * (rumble->halved ? 2 : 1), first = rumble->made;
    uint64_t sounding = end_frame / per_sample; /* the rest is padding */
    size_t step_samples = (size_t)(STEP_S * rumble->rate_hz), count = low->count;
    if (rumble->halved) {
        count = tp_low_halve(rumble->held, low->samples, count, halved);
        samples = halved;
    }
    rumble->made += count;
    if (rumble->made > sounding)
        count = sounding > first ? (size_t)(sounding - first) : 0;
    size_t i = 0;
    if (first <= SETTLED) { /* the first ones still see the silence before the recording */
        i = (size_t)(SETTLED - first);
        if (i < count)
            settle(rumble, samples[i]);
    }
    if (i >= count)
        return;
    sections out[TP_LOW_BLOCK + LAG] = {{0}};
    filter(rumble, samples + i, count - i, out);
    for (const sections *now = out; i < count;) {
        size_t left = step_samples - rumble->step_samples, take = left < count - i ? left : count - i;
        add_up(rumble, now, take);
        now += take;
        i += take;
        if (rumble->step_samples == step_samples)
            end_step(rumble, (first + i) * per_sample, sample_rate_hz);
    }
}

bool tp_rumble_finish(struct tp_rumble *rumble, const struct tp_fault_out *out)
{
    double limit = LIMIT_DEFAULT_DBFS;
    if (tp_exists(out->levels->working_level_dbfs))
        limit = fmin(fmax(out->levels->working_level_dbfs - UNDER_WORKING_DB, LIMIT_LOW_DBFS), LIMIT_HIGH_DBFS);
    for (size_t i = 0; i < rumble->places.count; i++) {
        const struct tp_fault_place *place = &rumble->places.items[i];
        if (place->value < limit)
            continue;
        double start_s = tp_fault_seconds(out->signal, place->start_frame),
               end_s = tp_fault_seconds(out->signal, place->end_frame);
        char level[TP_NUMBER_SIZE], from[TP_NUMBER_SIZE], length[TP_NUMBER_SIZE];
        if (!tp_observe(out->observations, TP_CODE_RUMBLE, out->channel, start_s, end_s, place->value, limit,
                        "%s s of rumble from %s: up to %s dBFS between 5 and 60 Hz",
                        tp_number_text(length, end_s - start_s, 1), tp_duration_text(from, start_s, 1),
                        tp_number_text(level, place->value, 1)))
            return false;
    }
    return !rumble->places.failed;
}
