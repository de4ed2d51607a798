/* SPDX-License-Identifier: MIT */
#include "support/overload.h"

#include "support/real_voice.h"
#include "support/wavgen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { OVER = 16, TAPS = 32 * OVER };

double overload_hiss(uint64_t i, double level)
{
    return level * 0.5 * (wavgen_random(2 * i) + wavgen_random(2 * i + 1));
}

static double *clipped(const struct real_voice *voice, double gain, double ceiling)
{
    double peak = 0.0, *high = malloc(voice->frames * OVER * sizeof *high);
    if (high == NULL)
        exit(99);
    for (size_t i = 0; i < voice->frames; i++)
        peak = fmax(peak, fabs(voice->samples[i]));
    for (size_t i = 0; i < voice->frames * OVER; i++) {
        size_t at = i / OVER;
        double next = at + 1 < voice->frames ? voice->samples[at + 1] : 0.0;
        double x = voice->samples[at] + (next - voice->samples[at]) * (double)(i % OVER) / OVER;
        x *= gain * ceiling / peak;
        high[i] = x > ceiling ? ceiling : x < -ceiling ? -ceiling : x;
    }
    return high;
}

static void design(double taps[TAPS])
{
    const double pi = 3.14159265358979323846;
    double sum = 0.0;
    for (int k = 0; k < TAPS; k++) {
        double t = (k - TAPS / 2) / (double)OVER, turn = 2.0 * pi * (k - TAPS / 2) / TAPS;
        double w = 0.42 + 0.5 * cos(turn) + 0.08 * cos(2.0 * turn);
        taps[k] = w * (fabs(t) < 1e-12 ? 0.9 : sin(pi * t * 0.9) / (pi * t));
        sum += taps[k];
    }
    for (int k = 0; k < TAPS; k++)
        taps[k] /= sum;
}

struct plane overload_voice(size_t index, double gain, double ceiling_lin)
{
    struct real_voice voice;
    const char *why;
    if (!real_voice_load(index, &voice, &why)) {
        puts(why);
        exit(1);
    }
    double taps[TAPS], *high = clipped(&voice, gain, ceiling_lin);
    design(taps);
    struct plane plane = plane_new(voice.frames - TAPS / OVER);
    for (size_t i = 0; i < plane.frames; i++) {
        double y = overload_hiss(i, 1e-4);
        for (int k = 0; k < TAPS; k++)
            y += taps[k] * high[i * OVER + (size_t)k];
        plane.samples[i] = (float)tones_round24(y);
    }
    free(high);
    real_voice_clear(&voice);
    return plane;
}
