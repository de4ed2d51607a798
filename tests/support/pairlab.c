/* SPDX-License-Identifier: MIT */
#include "support/pairlab.h"

#include "support/real_voice.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PI 3.14159265358979323846

void *lab_zeros(size_t count, size_t size)
{
    void *memory = calloc(count + 1, size);
    if (!memory) {
        fputs("pairlab: not enough memory\n", stderr);
        exit(99);
    }
    return memory;
}

uint64_t lab_random_bits(struct lab_random *random)
{
    uint64_t z = random->state += 0x9E3779B97F4A7C15u;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9u;
    z = (z ^ z >> 27) * 0x94D049BB133111EBu;
    return z ^ z >> 31;
}

double lab_random_between(struct lab_random *random, double low, double high)
{
    return low + (high - low) * (double)(lab_random_bits(random) >> 11) / 9007199254740992.0;
}

int lab_random_int(struct lab_random *random, int low, int high)
{
    return low + (int)(lab_random_bits(random) % (uint64_t)(high - low + 1));
}

double lab_random_normal(struct lab_random *random)
{
    double u = lab_random_between(random, 1e-12, 1.0), v = lab_random_between(random, 0.0, 1.0);
    return sqrt(-2.0 * log(u)) * cos(2.0 * PI * v);
}

float lab_full_scale(unsigned bits)
{
    return bits == 0 ? 1.0f : (float)((ldexp(1.0, (int)bits - 1) - 1.0) / ldexp(1.0, (int)bits - 1));
}

static float converted(double x, unsigned bits)
{
    if (bits == 0)
        return (float)fmax(-1.0, fmin(1.0, x));
    double scale = ldexp(1.0, (int)bits - 1);
    return (float)(fmax(-scale, fmin(scale - 1.0, nearbyint(x * scale))) / scale);
}

/* Hann-windowed sinc over 64 samples: far wider than what the code under test uses. */
static double sample_at(const double *source, size_t frames, double at)
{
    double whole = floor(at);
    if (at == whole)
        return whole >= 0.0 && whole < (double)frames ? source[(size_t)whole] : 0.0;
    double sum = 0.0;
    for (int k = -31; k <= 32; k++) {
        double index = whole + k, x = at - index;
        if (index >= 0.0 && index < (double)frames)
            sum += source[(size_t)index] * sin(PI * x) / (PI * x) * (0.5 + 0.5 * cos(PI * x / 33.0));
    }
    return sum;
}

void lab_pair_make(const struct lab_pair *pair, const double *source, size_t frames, struct lab_random *random,
                   float *main, float *safety)
{
    double gain = pow(10.0, pair->offset_db / 20.0) * (pair->inverted ? -1.0 : 1.0);
    double main_noise = pow(10.0, pair->main_noise_dbfs / 20.0);
    double safety_noise = pow(10.0, pair->safety_noise_dbfs / 20.0);
    for (size_t i = 0; i < frames; i++) {
        double at = (double)i - pair->lag - pair->lag_fraction - pair->drift_ppm * 1e-6 * (double)i;
        double x = source[i], y = gain * sample_at(source, frames, at);
        if (main_noise > 0.0)
            x += main_noise * lab_random_normal(random);
        if (safety_noise > 0.0)
            y += safety_noise * lab_random_normal(random);
        main[i] = converted(x, pair->bits);
        safety[i] = converted(y, pair->bits);
    }
}

static void normalise(double *samples, size_t frames, double peak)
{
    double top = 0.0;
    for (size_t i = 0; i < frames; i++)
        top = fmax(top, fabs(samples[i]));
    for (size_t i = 0; i < frames && top > 0.0; i++)
        samples[i] *= peak / top;
}

double *lab_voice(struct lab_random *random, size_t frames, double peak)
{
    double *all = lab_zeros(frames, sizeof *all);
    size_t at = 0;
    while (at < frames) {
        struct real_voice voice;
        const char *why;
        if (!real_voice_load((size_t)lab_random_int(random, 0, REAL_VOICE_COUNT - 1), &voice, &why)) {
            fprintf(stderr, "%s\n", why);
            exit(99);
        }
        double level = pow(10.0, lab_random_between(random, -9.0, 0.0) / 20.0);
        for (size_t i = 0; i < voice.frames && at + i < frames; i++)
            all[at + i] = level * voice.samples[i];
        at += voice.frames + (size_t)lab_random_int(random, 0, 24000);
        real_voice_clear(&voice);
    }
    normalise(all, frames, peak);
    return all;
}

static double bump(double at, double half)
{
    double x = fabs(at) / half;
    /* Flat over the inner quarter. */
    return x < 0.25 ? 1.0 : 0.5 + 0.5 * cos(PI * (x - 0.25) / 0.75);
}

/* One bump of `half` frames a side, as high as lets the loudest sample under it reach `peak` and none pass it. */
static bool shout(double *source, size_t centre, size_t half, double peak)
{
    double rise = 1e9;
    for (size_t i = centre - half + 1; i < centre + half; i++) {
        double shape = bump((double)i - (double)centre, (double)half);
        if (fabs(source[i]) > 1e-9 && shape > 1e-9)
            rise = fmin(rise, (peak / fabs(source[i]) - 1.0) / shape);
    }
    if (rise > 20.0 || rise <= 0.0)
        return false;
    for (size_t i = centre - half + 1; i < centre + half; i++)
        source[i] *= 1.0 + rise * bump((double)i - (double)centre, (double)half);
    return true;
}

size_t lab_shouts(double *source, size_t frames, size_t count, size_t apart, double peak, struct lab_random *random)
{
    size_t half = 1200, made = 0;
    size_t *places = lab_zeros(count, sizeof *places);
    for (int try = 0; try < 20000 && made < count && frames > 4 * half; try++) {
        size_t centre = 2 * half + (size_t)(lab_random_between(random, 0.0, 1.0) * (double)(frames - 4 * half));
        bool free_place = true;
        for (size_t i = 0; i < made; i++)
            free_place =
                free_place && (centre > places[i] ? centre - places[i] : places[i] - centre) > apart + 2 * half;
        if (free_place && shout(source, centre, half, peak))
            places[made++] = centre;
    }
    free(places);
    return made;
}

void lab_noise_add(float *samples, size_t frames, double rms_dbfs, struct lab_random *random)
{
    double rms = pow(10.0, rms_dbfs / 20.0);
    for (size_t i = 0; i < frames; i++)
        samples[i] += (float)(rms * lab_random_normal(random));
}

static int by_value(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return first < second ? -1 : first > second;
}

static void measure_windows(const float *samples, size_t frames, uint32_t rate, struct tp_channel *channel)
{
    size_t window = rate / 20, count = 0, active = 0;
    double *levels = lab_zeros(frames / window + 1, sizeof *levels);
    for (size_t at = 0; at + window <= frames; at += window) {
        double sum = 0.0;
        for (size_t i = at; i < at + window; i++)
            sum += (double)samples[i] * (double)samples[i];
        if (sum > 0.0)
            levels[count++] = 10.0 * log10(sum / (double)window) + 3.0102999566;
    }
    qsort(levels, count, sizeof *levels, by_value);
    channel->noise_floor_dbfs = count > 0 ? levels[count / 10] : (double)NAN;
    for (size_t i = 0; i < count; i++)
        active += levels[i] > channel->noise_floor_dbfs + 10.0;
    channel->active_s = (double)active * 0.05;
    free(levels);
}

static void damage_add(struct tp_spans *damage, size_t start, size_t end, size_t guard)
{
    uint64_t from = start > guard ? start - guard : 0, to = end + guard;
    if (damage->count > 0 && damage->items[damage->count - 1].end_frame >= from) {
        damage->items[damage->count - 1].end_frame = to;
        return;
    }
    damage->items = realloc(damage->items, (damage->count + 1) * sizeof *damage->items);
    if (!damage->items)
        exit(99);
    damage->items[damage->count++] = (struct tp_span){from, to};
}

static void measure_clips(const float *samples, size_t frames, float full_scale, size_t guard,
                          struct tp_channel *channel)
{
    for (size_t i = 0, end; i < frames; i = end) {
        end = i + 1;
        if (fabsf(samples[i]) < full_scale)
            continue;
        while (end < frames && fabsf(samples[end]) >= full_scale)
            end++;
        if (end - i < 3)
            continue;
        channel->clip_runs++;
        channel->clipped_samples += end - i;
        damage_add(&channel->damage, i, end, guard);
        if (channel->clip_count == TP_CLIPS_MAX)
            continue;
        channel->clips = realloc(channel->clips, (channel->clip_count + 1) * sizeof *channel->clips);
        if (!channel->clips)
            exit(99);
        channel->clips[channel->clip_count++] = (struct tp_clip_run){.start_frame = i, .frames = end - i};
    }
    if (channel->damage.count > 0 && channel->damage.items[channel->damage.count - 1].end_frame > frames)
        channel->damage.items[channel->damage.count - 1].end_frame = frames;
}

struct tp_channel lab_channel(const float *samples, size_t frames, uint32_t sample_rate_hz, float full_scale,
                              size_t guard)
{
    struct tp_channel channel = {.digital_silence = true};
    float peak = 0.0f;
    for (size_t i = 0; i < frames; i++) {
        peak = fmaxf(peak, fabsf(samples[i]));
        channel.digital_silence = channel.digital_silence && samples[i] == 0.0f;
    }
    channel.sample_peak_dbfs = peak > 0.0f ? 20.0 * log10((double)peak) : (double)NAN;
    measure_windows(samples, frames, sample_rate_hz, &channel);
    measure_clips(samples, frames, full_scale, guard, &channel);
    return channel;
}

void lab_channel_clear(struct tp_channel *channel)
{
    free(channel->clips);
    free(channel->damage.items);
    *channel = (struct tp_channel){0};
}
