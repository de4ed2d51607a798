/* SPDX-License-Identifier: MIT */
/*
 * The invented speech behaves like speech where it matters to us: crest factor, pauses, no DC. Real recordings go
 * through the same measurement beside it, so that the limits are those of voices and not of the synthesiser. 12 to 20
 * dB between peak and RMS of speech: common practice, no source.
 */
#include "support/real_voice.h"
#include "support/voice.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

#define BLOCK 2400 /* 50 ms at 48,000 Hz */

struct shape {
    double crest_db;    /* peak over the RMS of the blocks less than 30 dB under the loudest */
    double pause_share; /* blocks 30 dB and more under the loudest */
    double dc;
};

static double block_power(const double *x)
{
    double sum = 0.0;
    for (size_t n = 0; n < BLOCK; n++)
        sum += x[n] * x[n];
    return sum / BLOCK;
}

static struct shape shape_of(const double *x, size_t frames)
{
    double peak = 0.0, sum = 0.0, loudest = 0.0, active = 0.0;
    size_t blocks = frames / BLOCK, actives = 0;
    for (size_t n = 0; n < frames; n++) {
        peak = fmax(peak, fabs(x[n]));
        sum += x[n];
    }
    for (size_t b = 0; b < blocks; b++)
        loudest = fmax(loudest, block_power(x + b * BLOCK));
    for (size_t b = 0; b < blocks; b++) {
        double power = block_power(x + b * BLOCK);
        if (power > loudest * 1e-3) {
            active += power;
            actives++;
        }
    }
    return (struct shape){.crest_db = 20.0 * log10(peak) - 10.0 * log10(active / (double)actives),
                          .pause_share = 1.0 - (double)actives / (double)blocks,
                          .dc = sum / (double)frames};
}

static void expect_speech(const char *what, int number, const double *x, size_t frames)
{
    struct shape shape = shape_of(x, frames);
    ck_assert_msg(shape.crest_db >= 12.0 && shape.crest_db <= 20.0, "%s %d: crest %.1f dB", what, number,
                  shape.crest_db);
    ck_assert_msg(shape.pause_share >= 0.02 && shape.pause_share <= 0.6, "%s %d: %.0f %% pauses", what, number,
                  100.0 * shape.pause_share);
    ck_assert_msg(fabs(shape.dc) < 1e-3, "%s %d: DC %g", what, number, shape.dc);
}

START_TEST(voice__is_uneven_like_speech)
{
    size_t frames = 20 * 48000;
    double *x = malloc(sizeof *x * frames);
    struct voice_line line = {.start_s = 0.5, .length_s = 19.0, .speaker = (unsigned)_i % 3};
    struct voice_script script = {
        .seed = 100 + (uint64_t)_i, .level_dbfs = -20.0, .room_dbfs = -64.0, .lines = &line, .line_count = 1};
    voice_render(&script, x, frames);
    expect_speech("invented voice", _i, x, frames);
    free(x);
}
END_TEST

START_TEST(voice__real_recordings_are_no_different)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load_long(10 * 48000, 9600, &voice, &why), "%s", why);
    expect_speech("recordings", 0, voice.samples, voice.frames);
    real_voice_clear(&voice);
}
END_TEST

START_TEST(voice__is_the_same_every_time)
{
    static double first[48000], second[48000];
    struct voice_line line = {.start_s = 0.1, .length_s = 0.9};
    struct voice_script script = {.seed = 7, .level_dbfs = -20.0, .room_dbfs = -64.0, .lines = &line, .line_count = 1};
    voice_render(&script, first, 48000);
    voice_render(&script, second, 48000);
    ck_assert_mem_eq(first, second, sizeof first);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("voice");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 30);
    tcase_add_loop_test(all, voice__is_uneven_like_speech, 0, 9);
    tcase_add_test(all, voice__real_recordings_are_no_different);
    tcase_add_test(all, voice__is_the_same_every_time);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
