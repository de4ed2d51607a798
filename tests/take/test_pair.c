/* SPDX-License-Identifier: MIT */
/*
 * Pairs made from real voice (ALSA's sample recordings), so that offset, lag, polarity and what is a pair are known;
 * and what must never be a pair. Room responses, music and noise are made here.
 */
#include "support/pairlab.h"
#include "take/pair.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RATE 48000u
#define CHANNELS_MAX 32
#define PI 3.14159265358979323846

struct found {
    struct tp_pair_match *matches;
    size_t count;
};

static struct found find(float *const *planes, uint32_t channels, size_t frames, uint32_t rate, float full_scale)
{
    struct tp_channel levels[CHANNELS_MAX];
    struct tp_pair_channel list[CHANNELS_MAX];
    struct tp_evidence *evidence = tp_evidence_new(channels, rate);
    const float *at[CHANNELS_MAX];
    for (size_t i = 0; i < frames; i += 4096) {
        for (uint32_t c = 0; c < channels; c++)
            at[c] = planes[c] + i;
        tp_evidence_push(evidence, at, frames - i < 4096 ? frames - i : 4096, NULL);
    }
    for (uint32_t c = 0; c < channels; c++) {
        levels[c] = lab_channel(planes[c], frames, rate, full_scale, 480);
        list[c] = (struct tp_pair_channel){.channel = c, .levels = &levels[c], .frames = frames};
    }
    struct tp_spec spec = {.pair = TP_PAIR_AUTO};
    struct found found = {0};
    struct tp_error error = {0};
    ck_assert_int_eq(tp_pair_find(evidence, list, channels, &spec, NULL, &found.matches, &found.count, &error), TP_OK);
    for (uint32_t c = 0; c < channels; c++)
        lab_channel_clear(&levels[c]);
    tp_evidence_free(evidence);
    return found;
}

static double source_peak_for(double clip_db)
{
    return pow(10.0, clip_db / 20.0);
}

/* One seeded pair. Returns NULL, or what was wrong with the answer (static text). */
static const char *check_case(uint64_t seed, double offset_low, double offset_high, bool print)
{
    struct lab_random random = {.state = seed};
    size_t frames = (size_t)lab_random_int(&random, 3, 12) * RATE;
    struct lab_pair pair = {.offset_db = lab_random_between(&random, offset_low, offset_high),
                            .lag = lab_random_int(&random, -48, 48),
                            .inverted = lab_random_int(&random, 0, 1),
                            .main_noise_dbfs = -90.0,
                            .safety_noise_dbfs = -70.0,
                            .bits = lab_random_int(&random, 0, 1) ? 24 : 16};
    /* From unclipped to heavily clipped: up to 12 dB over. */
    double over_db = fmin(lab_random_between(&random, -6.0, 12.0), -pair.offset_db - 1.0);
    double *voice = lab_voice(&random, frames, source_peak_for(over_db));
    float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
    lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
    struct found found = find(planes, 2, frames, RATE, lab_full_scale(pair.bits));
    const char *wrong = NULL;
    struct tp_pair_match match = found.count == 1 ? found.matches[0] : (struct tp_pair_match){.offset_db = 99};
    if (found.count != 1)
        wrong = "no pair";
    else if (match.main != 0 || match.safety != 1)
        wrong = "main and safety swapped";
    else if (fabs(match.offset_db - pair.offset_db) > 0.05)
        wrong = "offset";
    else if (match.lag_samples != pair.lag || fabs(match.lag_fraction) > 0.1)
        wrong = "lag";
    else if (match.inverted != pair.inverted)
        wrong = "polarity";
    else if (match.copy)
        wrong = "copy";
    else if (match.offset_range_db > TP_PAIR_LEVEL_CHANGE_DB)
        wrong = "level change";
    if (print || wrong != NULL)
        printf("%4llu %6.2f %6.2f %7.3f %7.3f %4d %4lld %6.3f %d %.5f %5.2f %s\n", (unsigned long long)seed, over_db,
               pair.offset_db, match.offset_db - pair.offset_db, match.offset_spread_db, pair.lag,
               (long long)match.lag_samples, match.lag_fraction, pair.inverted, match.correlation,
               match.offset_range_db, wrong != NULL ? wrong : "good");
    free(found.matches);
    free(planes[0]);
    free(planes[1]);
    free(voice);
    return wrong;
}

START_TEST(pair__real_voice_is_matched_exactly)
{
    printf("seed  over   offset error   spread  lag found fract  inv corr   range\n");
    int wrong = 0;
    for (uint64_t seed = 1; seed <= 240; seed++)
        wrong += check_case(seed, -20.0, -6.0, seed % 20 == 0) != NULL;
    ck_assert_int_eq(wrong, 0);
}
END_TEST

START_TEST(pair__shallow_and_deep_offsets_are_matched)
{
    int wrong = 0;
    for (uint64_t seed = 1001; seed <= 1060; seed++)
        wrong += check_case(seed, -40.0, -20.0, seed % 20 == 0) != NULL;
    for (uint64_t seed = 2001; seed <= 2040; seed++)
        wrong += check_case(seed, -6.0, -3.0, seed % 20 == 0) != NULL;
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* A room: direct sound, and a tail of scattered reflections that decays by 60 dB in `rt60_s`. */
static void through_room(const double *source, size_t frames, double delay_frames, double direct, double reverb,
                         double rt60_s, struct lab_random *random, float *out)
{
    double *sum = lab_zeros(frames, sizeof *sum);
    for (int tap = -1; tap < 300; tap++) {
        double later = tap < 0 ? 0.0 : lab_random_between(random, 40.0, rt60_s * 0.6 * RATE);
        double gain = tap < 0 ? direct
                              : reverb / sqrt(300.0) * lab_random_normal(random) *
                                    pow(10.0, -3.0 * later / (rt60_s * RATE)) * 2.0;
        size_t shift = (size_t)(delay_frames + later);
        for (size_t i = shift; i < frames; i++)
            sum[i] += gain * source[i - shift];
    }
    for (size_t i = 0; i < frames; i++)
        out[i] = (float)sum[i];
    free(sum);
}

static size_t count_pairs(float *const *planes, uint32_t channels, size_t frames, const char *what, uint64_t seed)
{
    struct found found = find(planes, channels, frames, RATE, 1.0f);
    for (size_t i = 0; i < found.count; i++)
        printf("false pair: %s, seed %llu: %u/%u offset %.2f lag %lld correlation %.5f\n", what,
               (unsigned long long)seed, found.matches[i].main, found.matches[i].safety, found.matches[i].offset_db,
               (long long)found.matches[i].lag_samples, found.matches[i].correlation);
    free(found.matches);
    return found.count;
}

START_TEST(pair__two_microphones_in_one_room_are_none)
{
    size_t pairs = 0;
    for (uint64_t seed = 1; seed <= 30; seed++) {
        struct lab_random random = {.state = seed * 77};
        size_t frames = 6 * RATE;
        double *voice = lab_voice(&random, frames, 0.7);
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        /* From a dry studio with both close by to a live hall. */
        double rt60_s = lab_random_between(&random, 0.15, 0.9), ratio = lab_random_between(&random, 0.08, 1.0);
        for (int c = 0; c < 2; c++) {
            double metres = lab_random_between(&random, 0.3, 4.0);
            through_room(voice, frames, metres / 343.0 * RATE, 0.3 / metres, 0.3 * ratio, rt60_s, &random, planes[c]);
            lab_noise_add(planes[c], frames, lab_random_between(&random, -85.0, -60.0), &random);
        }
        pairs += count_pairs(planes, 2, frames, "room", seed);
        free(planes[0]);
        free(planes[1]);
        free(voice);
    }
    ck_assert_uint_eq(pairs, 0);
}
END_TEST

/* Notes of several instruments, each with its harmonics, decay and place; `width` 0 would be mono. */
static void make_music(float *left, float *right, size_t frames, int voices, double width, double lean,
                       struct lab_random *random)
{
    static const double scale[] = {110.0, 130.8, 146.8, 164.8, 196.0, 220.0, 261.6, 293.7, 329.6, 392.0};
    for (int voice = 0; voice < voices; voice++) {
        double place = lab_random_between(random, -1.0, 1.0) * width + lean;
        double gain_left = cos((place + 1.0) * PI / 4.0), gain_right = sin((place + 1.0) * PI / 4.0);
        for (size_t start = 0; start < frames;) {
            size_t length = (size_t)lab_random_int(random, 6000, 30000);
            /* A lone line wanders from side to side. */
            if (voices == 1) {
                place = lab_random_between(random, -1.0, 1.0) * width + lean;
                gain_left = cos((place + 1.0) * PI / 4.0);
                gain_right = sin((place + 1.0) * PI / 4.0);
            }
            double hz = scale[lab_random_int(random, 0, 9)] * (voice < 3 ? 1.0 : 2.0), phase[6];
            for (int h = 0; h < 6; h++)
                phase[h] = lab_random_between(random, 0.0, 2.0 * PI);
            for (size_t i = start; i < start + length && i < frames; i++) {
                double t = (double)(i - start) / RATE, sum = 0.0;
                for (int h = 0; h < 6; h++)
                    sum += sin(2.0 * PI * hz * (h + 1) * t + phase[h]) / (h + 1);
                sum *= 0.06 * exp(-2.0 * t) * fmin(1.0, t * 200.0);
                left[i] += (float)(gain_left * sum);
                right[i] += (float)(gain_right * sum);
            }
            start += length;
        }
    }
}

START_TEST(pair__music_in_stereo_is_none)
{
    size_t pairs = 0;
    for (uint64_t seed = 1; seed <= 48; seed++) {
        struct lab_random random = {.state = seed * 131};
        size_t frames = 6 * RATE;
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        /* Wide, narrow, and nearly mono leaning to one side (levels differ as in a pair). */
        double width = seed % 4 == 0   ? lab_random_between(&random, 0.3, 0.9)
                       : seed % 3 == 0 ? 0.9
                       : seed % 3 == 1 ? 0.3
                                       : 0.08,
               lean = seed % 2 == 0 ? -0.4 : 0.0;
        make_music(planes[0], planes[1], frames, seed % 4 == 0 ? 1 : (int)(seed % 4) + 2, width, lean, &random);
        for (int c = 0; c < 2; c++)
            lab_noise_add(planes[c], frames, -96.0, &random);
        pairs += count_pairs(planes, 2, frames, "music", seed);
        free(planes[0]);
        free(planes[1]);
    }
    ck_assert_uint_eq(pairs, 0);
}
END_TEST

START_TEST(pair__unrelated_channels_silence_and_hum_are_none)
{
    size_t pairs = 0, frames = 6 * RATE;
    for (uint64_t seed = 1; seed <= 30; seed++) {
        struct lab_random random = {.state = seed * 311};
        float *planes[4];
        for (int c = 0; c < 4; c++)
            planes[c] = lab_zeros(frames, sizeof(float));
        double *first = lab_voice(&random, frames, 0.8), *second = lab_voice(&random, frames, 0.3);
        for (size_t i = 0; i < frames; i++) {
            double t = (double)i / RATE, hum = 0.0;
            for (int h = 1; h < 12; h++)
                hum += sin(2.0 * PI * 50.0 * h * t) / h;
            planes[0][i] = (float)first[i];
            planes[1][i] = (float)second[i];
            /* The same mains hum on two open inputs, louder on one. */
            planes[2][i] = (float)(0.02 * hum);
            planes[3][i] = (float)(0.005 * hum);
        }
        for (int c = 0; c < 4; c++)
            lab_noise_add(planes[c], frames, -85.0 + 5.0 * c, &random);
        pairs += count_pairs(planes, 4, frames, "unrelated and hum", seed);
        memset(planes[0], 0, frames * sizeof(float));
        memset(planes[1], 0, frames * sizeof(float));
        memset(planes[2], 0, frames * sizeof(float));
        memset(planes[3], 0, frames * sizeof(float));
        lab_noise_add(planes[1], frames, -85.0, &random);
        lab_noise_add(planes[2], frames, -60.0, &random);
        lab_noise_add(planes[3], frames, -30.0, &random);
        pairs += count_pairs(planes, 4, frames, "silence and noise", seed);
        for (int c = 0; c < 4; c++)
            free(planes[c]);
        free(first);
        free(second);
    }
    ck_assert_uint_eq(pairs, 0);
}
END_TEST

/* A mixer's file: two microphones and the mix of both. The mix is no safety of either. */
START_TEST(pair__a_mix_and_its_microphones_are_none)
{
    size_t pairs = 0, frames = 10 * RATE;
    for (uint64_t seed = 1; seed <= 8; seed++) {
        struct lab_random random = {.state = seed * 17};
        float *planes[3];
        for (int c = 0; c < 3; c++)
            planes[c] = lab_zeros(frames, sizeof(float));
        double *first = lab_voice(&random, frames, 0.5), *second = lab_voice(&random, frames, 0.4);
        for (size_t i = 0; i < frames; i++) {
            /* They take turns of two seconds. */
            planes[0][i] = i / (2 * RATE) % 2 == 0 ? (float)first[i] : 0.0f;
            planes[1][i] = i / (2 * RATE) % 2 == 1 ? (float)second[i] : 0.0f;
        }
        for (int c = 0; c < 2; c++)
            lab_noise_add(planes[c], frames, -80.0, &random);
        for (size_t i = 0; i < frames; i++)
            planes[2][i] = 0.7f * (planes[0][i] + planes[1][i]);
        pairs += count_pairs(planes, 3, frames, "mix", seed);
        for (int c = 0; c < 3; c++)
            free(planes[c]);
        free(first);
        free(second);
    }
    ck_assert_uint_eq(pairs, 0);
}
END_TEST

START_TEST(pair__stereo_main_and_stereo_safety_pair_crosswise)
{
    for (uint64_t seed = 1; seed <= 6; seed++) {
        struct lab_random random = {.state = seed * 1009};
        size_t frames = 8 * RATE;
        float *planes[4];
        for (int c = 0; c < 4; c++)
            planes[c] = lab_zeros(frames, sizeof(float));
        make_music(planes[0], planes[1], frames, 5, 0.3, 0.0, &random);
        for (size_t i = 0; i < frames; i++) {
            planes[2][i] = 0.25f * planes[0][i];
            planes[3][i] = 0.25f * planes[1][i];
        }
        for (int c = 0; c < 4; c++)
            lab_noise_add(planes[c], frames, c < 2 ? -90.0 : -80.0, &random);
        struct found found = find(planes, 4, frames, RATE, 1.0f);
        ck_assert_uint_eq(found.count, 2);
        for (uint32_t p = 0; p < 2; p++) {
            ck_assert_uint_eq(found.matches[p].main, p);
            ck_assert_uint_eq(found.matches[p].safety, p + 2);
            ck_assert_double_eq_tol(found.matches[p].offset_db, 20.0 * log10(0.25), 0.05);
            ck_assert_int_eq(found.matches[p].lag_samples, 0);
        }
        free(found.matches);
        for (int c = 0; c < 4; c++)
            free(planes[c]);
    }
}
END_TEST

START_TEST(pair__copies_and_equal_levels_are_told_apart)
{
    struct lab_random random = {.state = 3};
    size_t frames = 6 * RATE;
    double *voice = lab_voice(&random, frames, 0.8);
    float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
    struct lab_pair pair = {.offset_db = 0.0, .main_noise_dbfs = -85, .safety_noise_dbfs = -85, .bits = 24};
    lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
    struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
    ck_assert_uint_eq(found.count, 1);
    ck_assert(!found.matches[0].copy);
    ck_assert_double_eq_tol(found.matches[0].offset_db, 0.0, 0.05);
    free(found.matches);
    memcpy(planes[1], planes[0], frames * sizeof(float));
    found = find(planes, 2, frames, RATE, lab_full_scale(24));
    ck_assert_uint_eq(found.count, 1);
    ck_assert(found.matches[0].copy);
    ck_assert_uint_eq(found.matches[0].main, 0);
    free(found.matches);
    free(planes[0]);
    free(planes[1]);
    free(voice);
}
END_TEST

START_TEST(pair__louder_second_channel_is_the_main)
{
    struct lab_random random = {.state = 9};
    size_t frames = 5 * RATE;
    double *voice = lab_voice(&random, frames, 0.8);
    float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
    struct lab_pair pair = {.offset_db = -10.0, .lag = 7, .main_noise_dbfs = -85, .safety_noise_dbfs = -80, .bits = 24};
    lab_pair_make(&pair, voice, frames, &random, planes[1], planes[0]);
    struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
    ck_assert_uint_eq(found.count, 1);
    ck_assert_uint_eq(found.matches[0].main, 1);
    ck_assert_double_eq_tol(found.matches[0].offset_db, -10.0, 0.05);
    ck_assert_int_eq(found.matches[0].lag_samples, 7);
    free(found.matches);
    free(planes[0]);
    free(planes[1]);
    free(voice);
}
END_TEST

START_TEST(pair__fractional_and_long_lags_are_measured)
{
    static const struct {
        int lag;
        double fraction;
    } rows[] = {{0, 0.3}, {-5, -0.45}, {2400, 0.0}, {-2400, 0.0}, {700, 0.2}};
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        struct lab_random random = {.state = 40 + row};
        size_t frames = 6 * RATE;
        double *voice = lab_voice(&random, frames, 0.8);
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        struct lab_pair pair = {.offset_db = -12.0,
                                .lag = rows[row].lag,
                                .lag_fraction = rows[row].fraction,
                                .main_noise_dbfs = -90,
                                .safety_noise_dbfs = -75,
                                .bits = 24};
        lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
        struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
        ck_assert_msg(found.count == 1, "lag %d + %.2f", rows[row].lag, rows[row].fraction);
        double lag = (double)found.matches[0].lag_samples + found.matches[0].lag_fraction;
        ck_assert_double_eq_tol(lag, rows[row].lag + rows[row].fraction, 0.05);
        ck_assert_double_eq_tol(found.matches[0].offset_db, -12.0, 0.05);
        free(found.matches);
        free(planes[0]);
        free(planes[1]);
        free(voice);
    }
}
END_TEST

START_TEST(pair__drift_is_noticed)
{
    static const double rows[] = {0.0, 0.5, -3.0, 12.0};
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        struct lab_random random = {.state = 60 + row};
        size_t frames = 120 * RATE;
        double *voice = lab_voice(&random, frames, 0.8);
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        struct lab_pair pair = {.offset_db = -12.0,
                                .lag = 3,
                                .drift_ppm = rows[row],
                                .main_noise_dbfs = -90,
                                .safety_noise_dbfs = -75,
                                .bits = 24};
        lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
        struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
        ck_assert_msg(found.count == 1, "drift %.1f ppm", rows[row]);
        ck_assert_double_eq_tol(found.matches[0].drift_ppm, rows[row], 0.05);
        ck_assert_int_eq(found.matches[0].lag_samples, 3);
        ck_assert_double_eq_tol(found.matches[0].offset_db, -12.0, 0.05);
        free(found.matches);
        free(planes[0]);
        free(planes[1]);
        free(voice);
    }
}
END_TEST

/* A limiter on the main: 10:1 over -14 dBFS, 1 ms attack, 80 ms release. */
static void limit(float *samples, size_t frames)
{
    double envelope = 0.0, threshold = 0.2;
    for (size_t i = 0; i < frames; i++) {
        double magnitude = fabs((double)samples[i]);
        envelope += (magnitude - envelope) * (magnitude > envelope ? 1.0 / 48.0 : 1.0 / 3840.0);
        if (envelope > threshold)
            samples[i] = (float)((double)samples[i] * pow(envelope / threshold, -0.9));
    }
}

START_TEST(pair__limiter_shows_as_a_changing_offset)
{
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct lab_random random = {.state = seed * 7};
        size_t frames = 20 * RATE;
        double *voice = lab_voice(&random, frames, 0.95);
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        struct lab_pair pair = {.offset_db = -12.0, .main_noise_dbfs = -90, .safety_noise_dbfs = -80, .bits = 24};
        lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
        limit(planes[0], frames);
        struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
        if (found.count == 1)
            printf("limiter: offset %.2f spread %.2f range %.2f\n", found.matches[0].offset_db,
                   found.matches[0].offset_spread_db, found.matches[0].offset_range_db);
        ck_assert_msg(found.count == 1, "seed %llu", (unsigned long long)seed);
        ck_assert_double_gt(found.matches[0].offset_range_db, TP_PAIR_LEVEL_CHANGE_DB);
        free(found.matches);
        free(planes[0]);
        free(planes[1]);
        free(voice);
    }
}
END_TEST

/* Slow automatic gain on the safety: 3:1 over -46 dBFS, three seconds. */
static void ride_gain(float *samples, size_t frames)
{
    double envelope = 1e-3;
    for (size_t i = 0; i < frames; i++) {
        envelope += (fabs((double)samples[i]) - envelope) / (3.0 * RATE);
        if (envelope > 0.005)
            samples[i] = (float)((double)samples[i] * pow(envelope / 0.005, -0.67));
    }
}

START_TEST(pair__automatic_gain_shows_as_a_changing_offset)
{
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct lab_random random = {.state = seed * 13};
        size_t frames = 30 * RATE;
        double *voice = lab_voice(&random, frames, 0.8);
        float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
        struct lab_pair pair = {.offset_db = -12.0, .main_noise_dbfs = -90, .safety_noise_dbfs = -85, .bits = 24};
        lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
        ride_gain(planes[1], frames);
        struct found found = find(planes, 2, frames, RATE, lab_full_scale(24));
        ck_assert_msg(found.count == 1, "seed %llu", (unsigned long long)seed);
        printf("automatic gain: offset %.2f range %.2f\n", found.matches[0].offset_db,
               found.matches[0].offset_range_db);
        ck_assert_double_gt(found.matches[0].offset_range_db, TP_PAIR_LEVEL_CHANGE_DB);
        free(found.matches);
        free(planes[0]);
        free(planes[1]);
        free(voice);
    }
}
END_TEST

/* Ten actors with a microphone each on main and safety, every one faintly on all others; ten empty inputs and two that
 * are shorted. At any rate: excerpts are longer at the higher ones, and screened by blocks. */
START_TEST(pair__thirty_two_channels_are_sorted_out)
{
    static const uint32_t rates[] = {48000, 96000, 192000};
    struct lab_random random = {.state = 99};
    size_t frames = 10 * RATE;
    float *planes[32];
    double *voices[10];
    for (int c = 0; c < 32; c++)
        planes[c] = lab_zeros(frames, sizeof(float));
    for (int m = 0; m < 10; m++)
        voices[m] = lab_voice(&random, frames, 0.5);
    for (int m = 0; m < 10; m++)
        for (int other = 0; other < 10; other++)
            for (size_t i = 200; i < frames; i++)
                planes[m][i] += (float)((m == other ? 1.0 : 0.03) * voices[other][i - (m == other ? 0 : 200)]);
    for (int m = 0; m < 10; m++)
        for (size_t i = 0; i < frames; i++)
            planes[10 + m][i] = 0.2f * planes[m][i];
    for (int c = 0; c < 30; c++)
        lab_noise_add(planes[c], frames, c < 10 ? -90.0 : -80.0, &random);
    struct found found = find(planes, 32, frames, rates[_i], 1.0f);
    ck_assert_uint_eq(found.count, 10);
    for (uint32_t m = 0; m < 10; m++) {
        ck_assert_uint_eq(found.matches[m].main, m);
        ck_assert_uint_eq(found.matches[m].safety, m + 10);
        ck_assert_double_eq_tol(found.matches[m].offset_db, 20.0 * log10(0.2), 0.05);
    }
    free(found.matches);
    for (int m = 0; m < 10; m++)
        free(voices[m]);
    for (int c = 0; c < 32; c++)
        free(planes[c]);
}
END_TEST

/* Two microphones side by side in a room, each with its safety: near twins, and yet only the right ones pair. */
START_TEST(pair__room_stereo_with_its_safeties_pairs_crosswise)
{
    for (uint64_t seed = 1; seed <= 8; seed++) {
        struct lab_random random = {.state = seed * 19};
        size_t frames = 6 * RATE;
        double *voice = lab_voice(&random, frames, 0.7);
        float *planes[4];
        for (int c = 0; c < 4; c++)
            planes[c] = lab_zeros(frames, sizeof(float));
        for (int c = 0; c < 2; c++)
            through_room(voice, frames, 140.0 + c, 0.5, 0.1, 0.4, &random, planes[c]);
        for (int c = 0; c < 2; c++)
            for (size_t i = 0; i < frames; i++)
                planes[c + 2][i] = 0.3f * planes[c][i];
        for (int c = 0; c < 4; c++)
            lab_noise_add(planes[c], frames, c < 2 ? -88.0 : -80.0, &random);
        struct found found = find(planes, 4, frames, RATE, 1.0f);
        ck_assert_msg(found.count == 2, "seed %llu: %zu", (unsigned long long)seed, found.count);
        for (uint32_t p = 0; p < 2; p++) {
            ck_assert_uint_eq(found.matches[p].main, p);
            ck_assert_uint_eq(found.matches[p].safety, p + 2);
        }
        free(found.matches);
        for (int c = 0; c < 4; c++)
            free(planes[c]);
        free(voice);
    }
}
END_TEST

typedef const TTest *test_list[16];

static void add_case(Suite *suite, const char *name, const test_list tests)
{
    TCase *tcase = tcase_create(name);
    tcase_set_timeout(tcase, 300);
    for (size_t i = 0; tests[i] != NULL; i++)
        tcase_add_test(tcase, tests[i]);
    suite_add_tcase(suite, tcase);
}

int main(void)
{
    setvbuf(stdout, NULL, _IOLBF, 0);
    Suite *suite = suite_create("pair");
    add_case(suite, "pairs",
             (test_list){pair__real_voice_is_matched_exactly, pair__shallow_and_deep_offsets_are_matched,
                         pair__stereo_main_and_stereo_safety_pair_crosswise,
                         pair__copies_and_equal_levels_are_told_apart, pair__louder_second_channel_is_the_main,
                         pair__fractional_and_long_lags_are_measured, pair__drift_is_noticed});
    add_case(suite, "false pairs",
             (test_list){pair__two_microphones_in_one_room_are_none, pair__music_in_stereo_is_none,
                         pair__unrelated_channels_silence_and_hum_are_none, pair__a_mix_and_its_microphones_are_none});
    add_case(suite, "groups", (test_list){pair__room_stereo_with_its_safeties_pairs_crosswise});
    TCase *rates = tcase_create("groups at any rate");
    tcase_set_timeout(rates, 300);
    tcase_add_loop_test(rates, pair__thirty_two_channels_are_sorted_out, 0, 3);
    suite_add_tcase(suite, rates);
    add_case(suite, "limiter",
             (test_list){pair__limiter_shows_as_a_changing_offset, pair__automatic_gain_shows_as_a_changing_offset});
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
