/* SPDX-License-Identifier: MIT */
#include "support/tones.h"

#include "base/observe.h"
#include "measure/programme.h"
#include "support/wavgen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double tau = 6.28318530717958647692;

static void *must(void *memory)
{
    if (memory == NULL) {
        fputs("tones: out of memory\n", stderr);
        exit(99);
    }
    return memory;
}

double tones_round24(double sample)
{
    /* To the nearest integer, as nearbyint() does it but without a call: 1.5 * 2^52. */
    double code = sample * 8388608.0 + 6755399441055744.0 - 6755399441055744.0;
    code = code > 8388607.0 ? 8388607.0 : code < -8388608.0 ? -8388608.0 : code;
    return code / 8388608.0;
}

struct plane plane_new(size_t frames)
{
    return (struct plane){must(calloc(frames > 0 ? frames : 1, sizeof(float))), frames};
}

void plane_free(struct plane *plane)
{
    free(plane->samples);
    *plane = (struct plane){0};
}

/* One second of a sine: for a whole number of Hz it repeats exactly. */
static double *second_of_sine(uint32_t rate_hz, double hz)
{
    double *table = must(malloc(rate_hz * sizeof *table));
    for (uint32_t i = 0; i < rate_hz; i++)
        table[i] = sin(tau * fmod(hz * i / rate_hz, 1.0));
    return table;
}

struct plane tones_steps(uint32_t rate_hz, double hz, const struct tone_step *steps, size_t count)
{
    double seconds = 0.0;
    for (size_t i = 0; i < count; i++)
        seconds += steps[i].seconds;
    struct plane plane = plane_new((size_t)llround(seconds * rate_hz));
    double *table = second_of_sine(rate_hz, hz);
    size_t at = 0;
    seconds = 0.0;
    for (size_t i = 0; i < count; i++) {
        seconds += steps[i].seconds;
        size_t end = (size_t)llround(seconds * rate_hz);
        double peak = isnan(steps[i].peak_dbfs) ? 0.0 : pow(10.0, steps[i].peak_dbfs / 20.0);
        for (; at < end && at < plane.frames; at++)
            plane.samples[at] = (float)tones_round24(peak * table[at % rate_hz]);
    }
    free(table);
    return plane;
}

struct plane tones_sine(uint32_t rate_hz, double divisor, double phase_degrees, double peak_lin, double seconds,
                        double fade_s)
{
    struct plane plane = plane_new((size_t)llround(seconds * rate_hz));
    double fade = fade_s * rate_hz;
    for (size_t i = 0; i < plane.frames; i++) {
        double edge = fmin((double)i, (double)(plane.frames - 1 - i));
        double gain = fade > 0.0 ? fmin(1.0, edge / fade) : 1.0;
        double turn = fmod((double)i / divisor, 1.0) + phase_degrees / 360.0;
        plane.samples[i] = (float)tones_round24(gain * peak_lin * sin(tau * turn));
    }
    return plane;
}

struct plane tones_noise(uint64_t seed, double peak_lin, size_t frames)
{
    struct plane plane = plane_new(frames);
    for (size_t i = 0; i < frames; i++)
        plane.samples[i] = (float)tones_round24(peak_lin * wavgen_random(seed * 1000003u + i));
    return plane;
}

void measure_planes(struct measured *measured, uint32_t rate_hz, const float *const *planes, uint32_t channel_count,
                    uint32_t channel_mask, size_t frames, double full_scale_lin, size_t block)
{
    memset(measured, 0, sizeof *measured);
    measured->channel_count = channel_count;
    struct tp_programme_meter *meter =
        must(tp_programme_meter_new(rate_hz, channel_count, channel_mask, full_scale_lin));
    for (size_t at = 0; at < frames; at += block) {
        const float *moved[8];
        for (uint32_t i = 0; i < channel_count; i++)
            moved[i] = planes[i] + at;
        tp_programme_meter_push(meter, moved, frames - at < block ? frames - at : block);
    }
    bool ok = tp_programme_meter_finish(meter, full_scale_lin, measured->channels, &measured->programme,
                                        &measured->observations);
    must(ok ? meter : NULL);
    tp_programme_meter_free(meter);
}

void measure_plane(struct measured *measured, uint32_t rate_hz, const struct plane *plane)
{
    const float *planes[1] = {plane->samples};
    measure_planes(measured, rate_hz, planes, 1, 0, plane->frames, TONES_FULL_SCALE_24, 4096);
}

void measured_clear(struct measured *measured)
{
    for (uint32_t i = 0; i < measured->channel_count; i++) {
        struct tp_channel *channel = &measured->channels[i];
        free(channel->clips);
        free(channel->flat_tops);
        free(channel->damage.items);
        free(channel->overview.min);
        free(channel->overview.max);
    }
    tp_observations_clear(&measured->observations);
    memset(measured, 0, sizeof *measured);
}
