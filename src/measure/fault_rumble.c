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
#define RATE_MIN_HZ 150.0 /* of the low signal: below a recording's 4,800 Hz nothing is said */
#define PI 3.14159265358979323846

/* Second-order Butterworth section by the bilinear transform (R. Bristow-Johnson's audio EQ cookbook, Q = 0.7071). */
static void section(struct tp_low_pass *filter, double frequency_hz, double rate_hz, bool high)
{
    double w = 2.0 * PI * frequency_hz / rate_hz, alpha = sin(w) * 0.70710678, a0 = 1.0 + alpha, c = cos(w);
    double side = high ? (1.0 + c) / 2.0 : (1.0 - c) / 2.0;
    filter->b[0] = filter->b[2] = (float)(side / a0);
    filter->b[1] = (high ? -2.0F : 2.0F) * filter->b[0];
    filter->a[0] = (float)(-2.0 * c / a0);
    filter->a[1] = (float)((1.0 - alpha) / a0);
}

/* Transposed direct form II. */
static inline float pass(struct tp_low_pass *filter, float x, size_t sections)
{
    for (size_t s = 0; s < sections; s++) {
        float *state = filter->state[s], y = filter->b[0] * x + state[0];
        state[0] = filter->b[1] * x - filter->a[0] * y + state[1];
        state[1] = filter->b[2] * x - filter->a[1] * y;
        x = y;
    }
    return x;
}

void tp_rumble_start(struct tp_rumble *rumble, const struct tp_low *low)
{
    rumble->halved = low->rate_hz > 500.0;
    rumble->rate_hz = rumble->halved ? low->rate_hz / 2.0 : low->rate_hz;
    section(&rumble->high, HIGH_HZ, rumble->rate_hz, true);
    section(&rumble->low, LOW_HZ, rumble->rate_hz, false);
    section(&rumble->sub, SUB_HZ, rumble->rate_hz, false);
}

/* A constant offset must not begin with a step: as if the first value had been there for ever. */
static void settle(struct tp_rumble *rumble, float first)
{
    rumble->high.state[0][1] = rumble->high.b[2] * first;
    rumble->high.state[0][0] = rumble->high.b[1] * first + rumble->high.state[0][1];
}

static void judge_step(struct tp_rumble *rumble, uint64_t end_frame, uint32_t sample_rate_hz)
{
    double low = 0.0, sub = 0.0;
    for (size_t s = 0; s < STEPS; s++) {
        low += rumble->low_steps[s] / STEPS;
        sub += rumble->sub_steps[s] / STEPS;
    }
    double level_dbfs = low > 0.0 ? 10.0 * log10(low) + TP_AES17_DB : -INFINITY;
    if (level_dbfs < LIMIT_LOW_DBFS || sub < SUB_SHARE * low)
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

void tp_rumble_block(struct tp_rumble *rumble, const struct tp_low *low, uint64_t end_frame, uint32_t sample_rate_hz)
{
    if (rumble->rate_hz < RATE_MIN_HZ)
        return;
    float samples[TP_LOW_BLOCK];
    uint64_t per_sample = ((uint64_t)TP_FAULT_CELL << low->stages) * (rumble->halved ? 2 : 1), first = rumble->made;
    size_t step_samples = (size_t)(STEP_S * rumble->rate_hz), count = low->count;
    if (rumble->halved)
        count = tp_low_halve(rumble->held, low->samples, count, samples);
    else
        memcpy(samples, low->samples, count * sizeof *samples);
    rumble->made += count;
    for (size_t i = 0; i < count; i++) {
        if ((first + i + 1) * per_sample > end_frame) /* padding */
            return;
        if (first + i < SETTLED) /* these still see the silence before the recording */
            continue;
        if (first + i == SETTLED)
            settle(rumble, samples[i]);
        float deep = pass(&rumble->low, pass(&rumble->high, samples[i], 1), 2), deepest = pass(&rumble->sub, deep, 1);
        rumble->low_sum += (double)(deep * deep);
        rumble->sub_sum += (double)(deepest * deepest);
        if (++rumble->step_samples < step_samples)
            continue;
        rumble->low_steps[rumble->steps % STEPS] = rumble->low_sum / (double)step_samples;
        rumble->sub_steps[rumble->steps % STEPS] = rumble->sub_sum / (double)step_samples;
        rumble->low_sum = rumble->sub_sum = 0.0;
        rumble->step_samples = 0;
        if (++rumble->steps >= STEPS)
            judge_step(rumble, (first + i + 1) * per_sample, sample_rate_hz);
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
