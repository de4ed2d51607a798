/* SPDX-License-Identifier: MIT */
#include "support/faultlab.h"

#include "measure/channel_meter.h"
#include "measure/fault.h"
#include "support/real_voice.h"
#include "support/voice.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void *faultlab_must(void *memory)
{
    if (!memory) {
        fputs("no memory\n", stderr);
        exit(99);
    }
    return memory;
}

void faultlab_quantise(struct faultlab_sound *sound, int bits)
{
    double steps = ldexp(1.0, bits - 1);
    for (size_t f = 0; f < sound->frames; f++)
        sound->samples[f] = (float)(round((double)sound->samples[f] * steps) / steps);
}

struct tp_observations faultlab_measure(const struct faultlab_sound *sound, double *working_dbfs)
{
    struct tp_channel_meter *meter = faultlab_must(tp_channel_meter_new(sound->rate_hz, 1.0));
    tp_channel_meter_place(meter, FAULTLAB_OFFSET, FAULTLAB_FRAME_BYTES);
    for (size_t f = 0; f < sound->frames; f += TP_CHANNEL_METER_CHUNK) {
        size_t left = sound->frames - f;
        tp_channel_meter_push(meter, sound->samples + f, left < TP_CHANNEL_METER_CHUNK ? left : TP_CHANNEL_METER_CHUNK);
    }
    struct tp_observations observations = {0};
    struct tp_channel channel = {0};
    if (!tp_channel_meter_finish(meter, 1.0, 0, &channel, &observations))
        exit(99);
    tp_channel_meter_free(meter);
    if (working_dbfs)
        *working_dbfs = channel.working_level_dbfs;
    free(channel.clips);
    free(channel.flat_tops);
    free(channel.damage.items);
    free(channel.overview.min);
    free(channel.overview.max);
    return observations;
}

struct tp_observations faultlab_faults_of(const struct faultlab_sound *sound, size_t block, uint32_t channel,
                                          uint64_t audio_offset, uint32_t frame_bytes, struct tp_spans *damage)
{
    struct tp_fault_meter *meter = faultlab_must(tp_fault_meter_new(sound->rate_hz));
    tp_fault_meter_place(meter, audio_offset, frame_bytes);
    for (size_t f = 0; f < sound->frames; f += block)
        tp_fault_meter_push(meter, sound->samples + f, sound->frames - f < block ? sound->frames - f : block);
    struct tp_observations observations = {0};
    struct tp_spans spans = {0};
    struct tp_channel levels = {.working_level_dbfs = (double)NAN, .noise_floor_dbfs = (double)NAN};
    if (!tp_fault_meter_finish(meter, channel, &levels, &observations, &spans))
        exit(99);
    tp_fault_meter_free(meter);
    if (damage != NULL)
        *damage = spans;
    else
        free(spans.items);
    return observations;
}

#define DIALOGUE_LINES 120
struct faultlab_sound faultlab_dialogue(double level_dbfs, double room_dbfs, uint64_t seed, double seconds)
{
    struct voice_line lines[DIALOGUE_LINES];
    size_t count_lines = 0;
    for (double at = 1.0; count_lines < DIALOGUE_LINES && at + 6.0 < seconds; count_lines++) {
        lines[count_lines] = (struct voice_line){.start_s = at,
                                                 .length_s = 3.0 + (double)(count_lines % 4),
                                                 .level_db = count_lines % 5 == 4 ? 6.0 : 0.0,
                                                 .effort = count_lines % 5 == 4 ? 0.6 : 0.2,
                                                 .speaker = (unsigned)(count_lines % 3)};
        at += lines[count_lines].length_s + 0.7;
    }
    size_t frames = (size_t)(seconds * 48000.0);
    double *out = faultlab_must(calloc(frames, sizeof *out));
    voice_render(
        &(struct voice_script){
            .seed = seed, .level_dbfs = level_dbfs, .room_dbfs = room_dbfs, .lines = lines, .line_count = count_lines},
        out, frames);
    struct faultlab_sound sound = {faultlab_must(malloc(frames * sizeof(float))), frames, 48000};
    for (size_t f = 0; f < frames; f++)
        sound.samples[f] = (float)fmax(-1.0, fmin(1.0, out[f]));
    free(out);
    return sound;
}

#define PI 3.14159265358979323846

double faultlab_chance(struct faultlab_seeder *seeder)
{
    seeder->state = seeder->state * 1664525u + 1013904223u;
    return (double)(seeder->state >> 8) / 16777216.0;
}
static double noise_of(struct faultlab_seeder *seeder)
{
    double sum = 0.0;
    for (int i = 0; i < 4; i++)
        sum += faultlab_chance(seeder) - 0.5;
    return sum * 1.7320508;
}

/* Each puts a fault of `size` at frame `at` of the sound. */
static void seed_zeros(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    memset(s->samples + at, 0, (size_t)(size * s->rate_hz / 1000.0) * sizeof(float));
}
static void seed_held(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    for (size_t f = at; f < at + (size_t)(size * s->rate_hz / 1000.0); f++)
        s->samples[f] = s->samples[at - 1];
}
static void seed_twice(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    memcpy(s->samples + at, s->samples + at - (size_t)size, (size_t)size * sizeof(float));
}
static void seed_later(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    memcpy(s->samples + at, s->samples + at - 2 * (size_t)size, (size_t)size * sizeof(float));
}
static void seed_spike(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    s->samples[at] += (float)(pow(10.0, size / 20.0) * (faultlab_chance(seeder) < 0.5 ? -1.0 : 1.0));
}
static void seed_step(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    double step = pow(10.0, size / 20.0) * (faultlab_chance(seeder) < 0.5 ? -1.0 : 1.0);
    for (size_t f = at; f < s->frames; f++) /* dies away as through a high pass */
        s->samples[f] += (float)(step * exp(-(double)(f - at) / 4800.0));
}
/* Five sectors, from the next one on, hold noise of this peak instead of the sound. */
static void seed_sectors(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    size_t sector = (FAULTLAB_OFFSET + at * FAULTLAB_FRAME_BYTES) / 512 + 1;
    for (size_t f = at; f < s->frames; f++) {
        size_t byte = FAULTLAB_OFFSET + (f + 1) * FAULTLAB_FRAME_BYTES - 1;
        if (byte / 512 >= sector && byte / 512 < sector + 5)
            s->samples[f] = (float)(pow(10.0, size / 20.0) * (2.0 * faultlab_chance(seeder) - 1.0));
    }
}
/* Noise of this peak in place of 3 ms of sound. */
static void seed_crackle(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    for (size_t f = at; f < at + (size_t)(0.003 * s->rate_hz) && f < s->frames; f++)
        s->samples[f] = (float)(pow(10.0, size / 20.0) * (2.0 * faultlab_chance(seeder) - 1.0));
}
static void hum_of(struct faultlab_sound *s, double level_dbfs, double mains_hz, const double *harmonics, size_t count)
{
    double power = 0.0;
    for (size_t h = 0; h < count; h++)
        power += harmonics[h] * harmonics[h];
    double amplitude = pow(10.0, level_dbfs / 20.0) / sqrt(power);
    for (size_t f = 0; f < s->frames; f++) {
        for (size_t h = 0; h < count; h++)
            s->samples[f] += (float)(amplitude * harmonics[h] *
                                     sin(2.0 * PI * mains_hz * (double)(h + 1) * (double)f / s->rate_hz + (double)h));
    }
}
static void seed_hum_50(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)at;
    hum_of(s, size, 50.0 + 0.2 * (faultlab_chance(seeder) - 0.5), (const double[]){1.0, 0.5, 0.7, 0.2}, 4);
}
static void seed_hum_60(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)at;
    hum_of(s, size, 60.0 + 0.2 * (faultlab_chance(seeder) - 0.5), (const double[]){1.0, 0.5, 0.7, 0.2}, 4);
}
static void seed_hum_line(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)at;
    hum_of(s, size, 50.0 + 0.2 * (faultlab_chance(seeder) - 0.5), (const double[]){1.0}, 1);
}
/* Two seconds of wind: noise through two one-pole low passes at 20 Hz, the RMS (AES17) of which is `size`. */
static void seed_wind(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    size_t frames = 2u * s->rate_hz;
    double *wind = faultlab_must(malloc(frames * sizeof *wind)), one = 0.0, two = 0.0, power = 0.0;
    double pole = exp(-2.0 * PI * 20.0 / s->rate_hz);
    for (size_t f = 0; f < frames; f++) {
        one = pole * one + noise_of(seeder);
        two = pole * two + one;
        wind[f] = two * sin(PI * (double)f / (double)frames);
        power += wind[f] * wind[f];
    }
    double gain = pow(10.0, size / 20.0) / sqrt(2.0 * power / (double)frames);
    for (size_t f = 0; f < frames && at + f < s->frames; f++)
        s->samples[at + f] += (float)(gain * wind[f]);
    free(wind);
}
static void seed_noise(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)at;
    double rms = pow(10.0, size / 20.0) / sqrt(2.0);
    for (size_t f = 0; f < s->frames; f++)
        s->samples[f] = (float)(rms * noise_of(seeder) * 1.0);
}
static void pulses(struct faultlab_sound *s, size_t at, double level_dbfs, double seconds)
{
    double height = pow(10.0, level_dbfs / 20.0), frame_s = 0.120 / 26.0;
    for (size_t f = 0; f < (size_t)(seconds * s->rate_hz) && at + f < s->frames; f++) {
        double in_frame = fmod((double)f / s->rate_hz, frame_s);
        s->samples[at + f] += (float)(in_frame < frame_s / 8.0 ? height : 0.0);
    }
}
static void seed_buzz(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    pulses(s, at, size, 1.5);
}
static void seed_buzz_length(struct faultlab_sound *s, size_t at, double size, struct faultlab_seeder *seeder)
{
    (void)seeder;
    pulses(s, at, -30.0, size);
}

const struct faultlab_fault faultlab_faults[] = {
    {"zeros inside signal", "ms", TP_CODE_DROPOUT, seed_zeros, 0.05, false, 1, {100, 20, 5, 2, 1, 0.8, 0.75, 0.7, 0.5}},
    {"one value held", "ms", TP_CODE_DROPOUT, seed_held, 0.05, false, 1, {100, 20, 5, 2, 1, 0.8, 0.75, 0.7, 0.5}},
    {"block written twice",
     "samples",
     TP_CODE_REPEATED_BLOCK,
     seed_twice,
     0.2,
     false,
     64,
     {8192, 4096, 1024, 512, 256, 128, 96, 64, 48, 32}},
    {"... odd sizes",
     "samples",
     TP_CODE_REPEATED_BLOCK,
     seed_twice,
     0.2,
     false,
     240,
     {8191, 4410, 2205, 1001, 882, 480, 441, 240, 100}},
    {"block again, one later",
     "samples",
     TP_CODE_REPEATED_BLOCK,
     seed_later,
     0.2,
     false,
     64,
     {8192, 4096, 1024, 512, 256, 128, 96, 64, 48, 32}},
    {"click, one sample",
     "dBFS",
     TP_CODE_CLICK,
     seed_spike,
     0.002,
     false,
     -24,
     {-6, -12, -18, -24, -30, -36, -42, -48, -54, -60, -66}},
    {"click, a step",
     "dBFS",
     TP_CODE_CLICK,
     seed_step,
     0.002,
     false,
     -24,
     {-6, -12, -18, -24, -30, -36, -42, -48, -54, -60, -66}},
    {"... in dialogue",
     "dBFS",
     TP_CODE_CLICK,
     seed_spike,
     0.002,
     true,
     -24,
     {-6, -12, -18, -24, -30, -36, -42, -48, -54, -60, -66}},
    {"sectors of noise, 9 ms",
     "dBFS",
     TP_CODE_CLICK,
     seed_sectors,
     0.002,
     false,
     -18,
     {-1, -3, -6, -9, -12, -18, -24, -30, -36, -42}},
    {"... in dialogue",
     "dBFS",
     TP_CODE_CLICK,
     seed_sectors,
     0.002,
     true,
     -12,
     {-1, -3, -6, -9, -12, -18, -24, -30, -36, -42}},
    {"crackle of 3 ms",
     "dBFS",
     TP_CODE_CLICK,
     seed_crackle,
     0.002,
     false,
     -3,
     {-1, -3, -6, -9, -12, -18, -24, -30, -36, -42}},
    {"... in dialogue",
     "dBFS",
     TP_CODE_CLICK,
     seed_crackle,
     0.002,
     true,
     -6,
     {-1, -3, -6, -9, -12, -18, -24, -30, -36, -42}},
    {"hum, 50 Hz and harmonics",
     "dBFS",
     TP_CODE_HUM,
     seed_hum_50,
     0,
     false,
     -50,
     {-30, -40, -50, -55, -60, -65, -70, -75, -80, -85}},
    {"hum, 60 Hz and harmonics",
     "dBFS",
     TP_CODE_HUM,
     seed_hum_60,
     0,
     false,
     -50,
     {-30, -40, -50, -55, -60, -65, -70, -75, -80, -85}},
    {"hum, 50 Hz alone",
     "dBFS",
     TP_CODE_HUM,
     seed_hum_line,
     0,
     false,
     -50,
     {-30, -40, -50, -55, -60, -65, -70, -75, -80, -85}},
    {"... in dialogue",
     "dBFS",
     TP_CODE_HUM,
     seed_hum_50,
     0,
     true,
     -60,
     {-30, -40, -50, -55, -60, -65, -70, -75, -80, -85}},
    {"rumble, 2 s of wind",
     "dBFS",
     TP_CODE_RUMBLE,
     seed_wind,
     2.0,
     false,
     -24,
     {-6, -12, -18, -24, -30, -33, -36, -40, -45}},
    {"noise only",
     "dBFS",
     TP_CODE_NOISE_ONLY,
     seed_noise,
     0,
     false,
     -110,
     {-40, -44, -46, -50, -60, -70, -80, -90, -100, -110, -120}},
    {"217 Hz pulses, 1.5 s",
     "dBFS",
     TP_CODE_INTERFERENCE,
     seed_buzz,
     2.0,
     false,
     -42,
     {-10, -20, -30, -36, -42, -48, -54, -60, -66}},
    {"217 Hz pulses, -30 dBFS",
     "s",
     TP_CODE_INTERFERENCE,
     seed_buzz_length,
     2.0,
     false,
     1,
     {4, 2, 1.5, 1, 0.9, 0.8, 0.7, 0.6, 0.4}},
};

const size_t faultlab_fault_count = sizeof faultlab_faults / sizeof *faultlab_faults;

bool faultlab_found(const struct tp_observations *o, const struct faultlab_fault *fault, double at_s)
{
    for (size_t i = 0; i < o->count; i++) {
        const struct tp_observation *one = &o->items[i];
        if (one->code == fault->code &&
            (fault->reach_s <= 0.0 || (one->start_s <= at_s + fault->reach_s && one->end_s >= at_s - fault->reach_s)))
            return true;
    }
    return false;
}

struct faultlab_sound faultlab_voices(void)
{
    struct real_voice voice;
    const char *why = "";
    if (!real_voice_load_long((size_t)16 * 48000, 12000, &voice, &why)) {
        fprintf(stderr, "%s\n", why);
        exit(99);
    }
    struct faultlab_sound sound = {faultlab_must(malloc(voice.frames * sizeof(float))), voice.frames, 48000};
    struct faultlab_seeder seeder = {5};
    for (size_t f = 0; f < voice.frames; f++)
        sound.samples[f] = (float)(0.5 * voice.samples[f] + pow(10.0, -68.0 / 20.0) * noise_of(&seeder));
    real_voice_clear(&voice);
    return sound;
}
