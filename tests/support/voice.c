/* SPDX-License-Identifier: MIT */
#include "support/voice.h"

#include "support/wavgen.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PI 3.14159265358979323846
#define STEPS_PER_S 200.0 /* of the controls */
#define FORMANTS 5

/* What the mouth does, 200 times a second. */
struct control {
    double voice;   /* loudness of the pulses, linear */
    double hiss;    /* of friction, linear */
    double hiss_hz; /* its centre */
    double pitch_hz;
    double formant_hz[3];
};

struct dice {
    uint64_t key;
};

static double uniform(struct dice *dice, double low, double high)
{
    return low + (high - low) * 0.5 * (1.0 + wavgen_random(dice->key++));
}

static void *must(void *memory)
{
    if (!memory) {
        fputs("voice: memory\n", stderr);
        exit(99);
    }
    return memory;
}

static const double vowels_hz[][3] = {
    {730, 1090, 2440}, {270, 2290, 3010}, {300, 870, 2240},  {530, 1840, 2480}, {570, 840, 2410},
    {660, 1720, 2410}, {440, 1020, 2240}, {390, 1990, 2550}, {490, 1350, 1690}, {500, 1500, 2500},
};

struct speaker {
    double pitch_hz, formant_scale;
};
static const struct speaker speakers[] = {{112.0, 1.0}, {205.0, 1.16}, {150.0, 1.07}};

/* One line being spoken. */
struct speech {
    struct control *controls;
    size_t count;
    struct dice dice;
    const struct voice_line *line;
    const struct speaker *who;
    double gain;
};

static struct control *at(struct speech *s, double time_s)
{
    double step = time_s * STEPS_PER_S;
    return step >= 0.0 && step < (double)s->count ? &s->controls[(size_t)step] : NULL;
}

/* Friction or a burst from start_s; the shape rises and falls. */
static void hiss(struct speech *s, double start_s, double length_s, double loudness, double centre_hz)
{
    for (double t = 0.0; t < length_s; t += 1.0 / STEPS_PER_S) {
        struct control *c = at(s, start_s + t);
        if (!c)
            return;
        c->hiss = s->gain * loudness * sin(PI * (t + 0.002) / (length_s + 0.004));
        c->hiss_hz = centre_hz;
    }
}

static double consonant(struct speech *s, double start_s)
{
    double kind = uniform(&s->dice, 0.0, 1.0);
    if (kind < 0.25) {
        double length_s = uniform(&s->dice, 0.06, 0.12);
        hiss(s, start_s, length_s, 0.10, uniform(&s->dice, 4000.0, 7500.0));
        return length_s;
    }
    if (kind < 0.6) {
        double closed_s = uniform(&s->dice, 0.03, 0.06);
        hiss(s, start_s + closed_s, 0.015, 0.18, uniform(&s->dice, 1500.0, 4500.0));
        return closed_s + 0.012;
    }
    return kind < 0.85 ? 0.02 : 0.0;
}

/* A cascade of resonators rings far louder on open vowels than on close ones; a speaker evens most of that out. */
static double evened(const double *formants_hz)
{
    double gain = formants_hz[0] / 60.0;
    for (int f = 1; f < 3; f++) {
        double ratio = formants_hz[0] / formants_hz[f];
        gain /= 1.0 - ratio * ratio;
    }
    return pow(10.0 / gain, 0.7);
}

static double vowel(struct speech *s, double start_s, double phrase_s, double through, double stress)
{
    const double *target_hz = vowels_hz[(size_t)uniform(&s->dice, 0.0, 9.999)];
    double length_s = uniform(&s->dice, 0.09, 0.17) * (0.85 + 0.4 * stress) * (1.0 + 0.3 * s->line->effort);
    double pitch_hz = s->who->pitch_hz * (1.0 + 0.9 * s->line->effort) * (1.12 - 0.22 * through + 0.18 * stress);
    double loudness = s->gain * evened(target_hz) * pow(10.0, (-6.0 + 7.0 * stress - 3.0 * through) / 20.0);
    for (double t = 0.0; t < length_s && start_s + t < phrase_s; t += 1.0 / STEPS_PER_S) {
        struct control *c = at(s, start_s + t);
        if (!c)
            break;
        double part = t / length_s;
        c->voice = loudness * fmin(1.0, fmin(part / 0.15 + 0.1, (1.0 - part) / 0.35));
        c->pitch_hz = pitch_hz * (1.0 + 0.06 * sin(PI * part));
        for (int f = 0; f < 3; f++)
            c->formant_hz[f] = target_hz[f] * s->who->formant_scale * (f == 0 ? 1.0 + 0.25 * s->line->effort : 1.0);
    }
    return length_s;
}

static void phrase(struct speech *s, double start_s, double end_s)
{
    hiss(s, start_s - 0.38, 0.28, 0.02 * (1.0 + s->line->effort), uniform(&s->dice, 1800.0, 2600.0));
    for (double now_s = start_s; now_s < end_s - 0.08;) {
        double through = (now_s - start_s) / (end_s - start_s);
        double stress = uniform(&s->dice, 0.0, 1.0);
        now_s += consonant(s, now_s);
        now_s += vowel(s, now_s, end_s, through * (1.0 - s->line->effort), fmax(stress, s->line->effort));
    }
}

static void speak(struct speech *s)
{
    double end_s = s->line->start_s + s->line->length_s;
    for (double now_s = s->line->start_s; now_s < end_s - 0.25;) {
        double stop_s = fmin(end_s, now_s + uniform(&s->dice, 1.1, 2.8));
        phrase(s, now_s, stop_s);
        now_s = stop_s + uniform(&s->dice, 0.35, 0.95) * (1.0 - 0.5 * s->line->effort);
    }
}

/* A mouth does not jump: each control follows with a short lag, back and forth so that nothing moves in time. */
static void soften(struct control *controls, size_t count)
{
    for (int pass = 0; pass < 2; pass++) {
        for (size_t n = 1; n < count; n++) {
            struct control *c = &controls[pass ? count - 1 - n : n];
            const struct control *before = &controls[pass ? count - n : n - 1];
            c->voice += 0.35 * (before->voice - c->voice);
            c->pitch_hz += 0.6 * (before->pitch_hz - c->pitch_hz);
            for (int f = 0; f < 3; f++)
                c->formant_hz[f] += 0.7 * (before->formant_hz[f] - c->formant_hz[f]);
        }
    }
}

struct resonator {
    double a, b, c, y1, y2;
};

static void tune(struct resonator *r, double centre_hz, double width_hz, double rate_hz)
{
    double radius = exp(-PI * width_hz / rate_hz);
    r->c = -radius * radius;
    r->b = 2.0 * radius * cos(2.0 * PI * centre_hz / rate_hz);
    r->a = 1.0 - r->b - r->c;
}

static double ring(struct resonator *r, double x)
{
    double y = r->a * x + r->b * r->y1 + r->c * r->y2;
    r->y2 = r->y1;
    r->y1 = y;
    return y;
}

/* The flow through the glottis, as its slope: a slow opening and a fast closing. */
static double pulse(double phase)
{
    if (phase < 0.45)
        return 0.22 * sin(PI * phase / 0.45);
    if (phase < 0.54)
        return -1.1 * sin(PI * (phase - 0.45) / 0.09);
    return 0.0;
}

struct mouth {
    double rate_hz;
    double phase, jitter, shimmer;
    uint64_t pulse_number, seed;
    struct resonator formants[FORMANTS], friction[2];
};

static void shape(struct mouth *m, const struct control *c)
{
    static const double widths_hz[FORMANTS] = {70, 95, 140, 240, 330};
    for (int f = 0; f < FORMANTS; f++) {
        double centre_hz = f < 3 ? c->formant_hz[f] : f == 3 ? 3600.0 : 4700.0;
        tune(&m->formants[f], centre_hz, widths_hz[f], m->rate_hz);
    }
    for (int i = 0; i < 2; i++)
        tune(&m->friction[i], c->hiss_hz * (i ? 1.25 : 0.9), c->hiss_hz * 0.4, m->rate_hz);
}

static double throat(struct mouth *m, double pitch_hz, uint64_t frame)
{
    m->phase += pitch_hz * m->jitter / m->rate_hz;
    if (m->phase >= 1.0) {
        m->phase -= 1.0;
        m->pulse_number++;
        m->jitter = 1.0 + 0.012 * wavgen_random(m->seed + 3 * m->pulse_number);
        m->shimmer = 1.0 + 0.05 * wavgen_random(m->seed + 3 * m->pulse_number + 1);
    }
    double air = 0.02 * wavgen_random(m->seed ^ (frame * 7 + 5));
    return (pulse(m->phase) + air) * m->shimmer;
}

static double sound(struct mouth *m, const struct control *c, double voice, uint64_t frame)
{
    double x = throat(m, c->pitch_hz, frame) * voice;
    for (int f = 0; f < FORMANTS; f++)
        x = ring(&m->formants[f], x);
    double noise = c->hiss > 1e-9 ? wavgen_random(m->seed ^ (frame * 11 + 3)) * c->hiss : 0.0;
    double friction = ring(&m->friction[1], ring(&m->friction[0], noise));
    return x + friction * 2.5;
}

static void utter(const struct control *controls, size_t count, double rate_hz, uint64_t seed, double *out,
                  size_t frames)
{
    struct mouth m = {.rate_hz = rate_hz, .seed = seed, .jitter = 1.0, .shimmer = 1.0};
    double step_frames = rate_hz / STEPS_PER_S;
    size_t tuned = SIZE_MAX;
    for (size_t n = 0; n < frames; n++) {
        double step = (double)n / step_frames;
        size_t i = (size_t)step;
        if (i + 1 >= count)
            break;
        if (i != tuned)
            shape(&m, &controls[tuned = i]);
        double part = step - (double)i;
        out[n] += sound(&m, &controls[i], controls[i].voice * (1.0 - part) + controls[i + 1].voice * part, n);
    }
}

static int ascending(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean power of the louder half of the 50 ms stretches that hold anything. */
static double loud_half_power(const double *x, size_t frames, double rate_hz)
{
    size_t block = (size_t)(0.05 * rate_hz), count = 0;
    double *powers = must(malloc(sizeof *powers * (frames / block + 1)));
    for (size_t start = 0; start + block <= frames; start += block) {
        double sum = 0.0;
        for (size_t n = start; n < start + block; n++)
            sum += x[n] * x[n];
        if (sum > 1e-12)
            powers[count++] = sum / (double)block;
    }
    qsort(powers, count, sizeof *powers, ascending);
    double sum = 0.0;
    for (size_t i = count / 2; i < count; i++)
        sum += powers[i];
    double power = count ? sum / (double)(count - count / 2) : 0.0;
    free(powers);
    return power;
}

/* Each line is spoken alone and brought to its level, so that level_db means the same for every voice. */
static void add_line(const struct voice_script *script, const struct voice_line *line, uint64_t seed, double *out,
                     size_t frames)
{
    double rate_hz = script->rate_hz > 0.0 ? script->rate_hz : 48000.0;
    size_t count = (size_t)((double)frames / rate_hz * STEPS_PER_S) + 2;
    struct speech speech = {.controls = must(calloc(count, sizeof(struct control))),
                            .count = count,
                            .dice = {seed},
                            .line = line,
                            .who = &speakers[line->speaker % 3],
                            .gain = 1.0};
    for (size_t i = 0; i < count; i++)
        speech.controls[i] = (struct control){
            .pitch_hz = speech.who->pitch_hz, .hiss_hz = 3000.0, .formant_hz = {500.0, 1500.0, 2500.0}};
    speak(&speech);
    soften(speech.controls, count);
    double *dry = must(calloc(frames, sizeof *dry));
    utter(speech.controls, count, rate_hz, seed, dry, frames);
    double power = loud_half_power(dry, frames, rate_hz);
    double target = pow(10.0, (script->level_dbfs - 3.0103 + line->level_db) / 10.0);
    double gain = power > 0.0 ? sqrt(target / power) : 0.0;
    for (size_t n = 0; n < frames; n++)
        out[n] += gain * dry[n];
    free(dry);
    free(speech.controls);
}

/* Air and distant traffic: noise that falls by some 6 dB an octave as rooms do (from memory), breathing slowly. */
static void add_room(const struct voice_script *script, double *out, size_t frames)
{
    double rate_hz = script->rate_hz > 0.0 ? script->rate_hz : 48000.0;
    double rumble = 0.0, low = 0.0, middle = 0.0, sum = 0.0;
    double *tone = must(malloc(sizeof *tone * (frames + 1)));
    for (size_t n = 0; n < frames; n++) {
        double white = wavgen_random(script->seed * 0x10001 + n);
        rumble += 0.008 * (white - rumble);
        low += 0.02 * (white - rumble - low);
        middle += 0.25 * (white - middle);
        tone[n] = (2.0 * low + 0.2 * (middle - rumble) + 0.005 * white) *
                  (1.0 + 0.1 * sin(2.0 * PI * 0.11 * (double)n / rate_hz));
        sum += tone[n] * tone[n];
    }
    double target = pow(10.0, (script->room_dbfs - 3.0103) / 10.0) * (double)frames;
    double gain = sum > 0.0 ? sqrt(target / sum) : 0.0;
    for (size_t n = 0; n < frames; n++)
        out[n] += gain * tone[n];
    free(tone);
}

/* Walls: a few reflections, quiet. */
static void add_walls(double *out, size_t frames, double rate_hz)
{
    static const double delays_s[] = {0.0071, 0.0119, 0.0183, 0.0277};
    static const double gains[] = {0.10, 0.07, 0.05, 0.03};
    for (size_t n = frames; n-- > 0;) {
        for (size_t i = 0; i < 4; i++) {
            size_t delay = (size_t)(delays_s[i] * rate_hz);
            if (n >= delay)
                out[n] += gains[i] * out[n - delay];
        }
    }
}

void voice_render(const struct voice_script *script, double *out, size_t frames)
{
    memset(out, 0, sizeof *out * frames);
    for (size_t i = 0; i < script->line_count; i++)
        add_line(script, &script->lines[i], script->seed * 1000003u + i * 7919u, out, frames);
    add_walls(out, frames, script->rate_hz > 0.0 ? script->rate_hz : 48000.0);
    if (script->room_dbfs < 0.0)
        add_room(script, out, frames);
}
