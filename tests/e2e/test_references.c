/* SPDX-License-Identifier: MIT */
/*
 * Our numbers beside those of tools that others wrote, on the same files: FFmpeg 5.1 (filters ebur128 and astats), SoX
 * 14.4.2 (stats), coreutils (sha256sum), xxHash (xxhsum). Each tolerance: what the tool prints is rounded (0.1 or
 * 0.01), and where two right methods differ the reason stands beside it.
 */
#include "support/checked.h"
#include "support/real_voice.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define AES17_DB 3.0103 /* a full-scale sine reads 0 dBFS; FFmpeg and SoX print plain RMS */

static char *scratch, *card;
static struct checked checked;

static const char *const names[] = {"voice-24.wav", "voice-16.wav",   "voice-96k-float.wav",
                                    "pair.wav",     "pair-44100.wav", "loud.wav"};
#define FILE_COUNT (sizeof names / sizeof names[0])

static char *inside(const char *name)
{
    return scratch_format("%s/%s", card, name);
}

static void put(const char *name, const struct wavgen *w)
{
    char *path = inside(name);
    wavgen_write(w, path);
    free(path);
}

static void put_voices(void)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load_long(20 * 48000, 12000, &voice, &why), "%s", why);
    put("voice-24.wav", &(struct wavgen){.frames = voice.frames, .reals = voice.samples});
    put("voice-16.wav", &(struct wavgen){.frames = voice.frames, .reals = voice.samples, .sample = WAVGEN_PCM16});
    put("voice-96k-float.wav",
        &(struct wavgen){.frames = voice.frames, .reals = voice.samples, .sample = WAVGEN_FLOAT32, .rate_hz = 96000});
    for (size_t n = 0; n < voice.frames; n++)
        voice.samples[n] = fmax(-0.9, fmin(0.97, voice.samples[n] * 4.0 + 0.003));
    put("loud.wav", &(struct wavgen){.frames = voice.frames, .reals = voice.samples});
    real_voice_clear(&voice);
}

static void make_card(void)
{
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    scratch_folder(card);
    put_voices();
    size_t frames;
    double *pair = good_take_samples(40, 20.0, &frames);
    put("pair.wav", &(struct wavgen){.channels = 2, .frames = frames, .reals = pair});
    put("pair-44100.wav", &(struct wavgen){.channels = 2, .frames = frames, .reals = pair, .rate_hz = 44100});
    free(pair);
    checked_source(&checked, card);
    ck_assert_msg(checked.report != NULL, "%s", checked.run.err);
}

static void remove_card(void)
{
    checked_clear(&checked);
    scratch_remove(scratch);
    free(card);
}

/* A tool that is not there fails the test: what was not compared must not look compared. */
static char *output_of(const char *const *argv)
{
    struct run run;
    run_program(argv, NULL, (const char *const[]){"LC_ALL=C", NULL}, 60, &run);
    ck_assert_msg(run.exit_status == 0, "'%s' gave %d (not installed? see 'make deps'): %s", argv[0], run.exit_status,
                  run.err);
    char *all = scratch_format("%s%s", run.out, run.err);
    run_clear(&run);
    return all;
}

static char *ffmpeg(const char *name, const char *filter)
{
    char *path = inside(name);
    char *all = output_of((const char *const[]){"ffmpeg", "-hide_banner", "-nostats", "-i", path, "-af", filter, "-f",
                                                "null", "-", NULL});
    free(path);
    return all;
}

/* The number behind the first `label` after `after`; NaN for "-inf", and when the label is not there. */
static double number_after(const char *text, const char *after, const char *label)
{
    const char *at = strstr(text, after);
    at = at ? strstr(at, label) : NULL;
    ck_assert_msg(at != NULL, "no '%s' behind '%s' in: %s", label, after, text);
    char *end;
    double number = strtod(at + strlen(label), &end);
    return end == at + strlen(label) || isinf(number) ? (double)NAN : number;
}

static void expect_near(const char *name, const char *what, double ours, double theirs, double below, double above)
{
    ck_assert_msg(ours >= theirs - below && ours <= theirs + above, "%s: %s %.4f, the reference %.4f", name, what, ours,
                  theirs);
}

/* FFmpeg prints 0.1: 0.05 of rounding and the 0.05 that remain of a tolerance of 0.1 LU. */
START_TEST(ffmpeg__programme_loudness_and_peaks)
{
    const char *name = names[_i];
    char *text = ffmpeg(name, "ebur128=peak=sample+true:framelog=verbose");
    const json_t *programme = json_object_get(checked_file(&checked, name), "programme");
    expect_near(name, "integrated", checked_number(programme, "integrated_lufs"), number_after(text, "Summary:", "I:"),
                0.1, 0.1);
    /* One short-term value a second there or ten here: EBU Tech 3342 allows 1 LU. */
    expect_near(name, "range", checked_number(programme, "loudness_range_lu"), number_after(text, "Summary:", "LRA:"),
                1.0, 1.0);
    expect_near(name, "sample peak", checked_number(programme, "sample_peak_max_dbfs"),
                number_after(text, "Sample peak:", "Peak:"), 0.051, 0.051);
    /* Two interpolation filters: the limits of EBU Tech 3341 and the rounding. */
    expect_near(name, "true peak", checked_number(programme, "true_peak_max_dbtp"),
                number_after(text, "True peak:", "Peak:"), 0.45, 0.25);
    free(text);
}
END_TEST

/* Each channel as a mono programme. FFmpeg's pan takes it out untouched. */
START_TEST(ffmpeg__loudness_of_each_channel)
{
    const char *name = names[_i];
    const json_t *channels = json_object_get(checked_file(&checked, name), "channels");
    for (size_t c = 0; c < json_array_size(channels); c++) {
        char *filter = scratch_format("pan=mono|c0=c%zu,ebur128=framelog=verbose", c), *text = ffmpeg(name, filter);
        expect_near(name, "channel integrated", checked_number(json_array_get(channels, c), "integrated_lufs"),
                    number_after(text, "Summary:", "I:"), 0.1, 0.1);
        free(filter);
        free(text);
    }
    ck_assert_uint_gt(json_array_size(channels), 0);
}
END_TEST

/* FFmpeg's true peak of each channel. */
START_TEST(ffmpeg__true_peak_of_each_channel)
{
    const char *name = names[_i];
    const json_t *channels = json_object_get(checked_file(&checked, name), "channels");
    for (size_t c = 0; c < json_array_size(channels); c++) {
        char *filter = scratch_format("pan=mono|c0=c%zu,ebur128=peak=true:framelog=verbose", c),
             *text = ffmpeg(name, filter);
        const json_t *channel = json_array_get(channels, c);
        expect_near(name, "true peak", checked_number(channel, "true_peak_dbtp"),
                    number_after(text, "True peak:", "Peak:"), 0.45, 0.25);
        ck_assert_double_ge(checked_number(channel, "true_peak_dbtp"), checked_number(channel, "sample_peak_dbfs"));
        free(filter);
        free(text);
    }
}
END_TEST

/* astats prints six decimals; ours are rounded to 0.01. Our RMS has DC removed and AES17's 3.01 dB added. */
START_TEST(ffmpeg__statistics_of_each_channel)
{
    const char *name = names[_i];
    char *text = ffmpeg(name, "astats");
    const json_t *channels = json_object_get(checked_file(&checked, name), "channels");
    for (size_t c = 0; c < json_array_size(channels); c++) {
        char *head = scratch_format("Channel: %zu", c + 1);
        const json_t *channel = json_array_get(channels, c);
        double dc = number_after(text, head, "DC offset:"), rms_db = number_after(text, head, "RMS level dB:");
        double without_dc_db = 10.0 * log10(pow(10.0, rms_db / 10.0) - dc * dc);
        expect_near(name, "sample peak", checked_number(channel, "sample_peak_dbfs"),
                    number_after(text, head, "Peak level dB:"), 0.01, 0.01);
        expect_near(name, "RMS", checked_number(channel, "rms_dbfs"), without_dc_db + AES17_DB, 0.02, 0.02);
        expect_near(name, "DC", checked_number(channel, "dc_offset"), dc, 2e-6, 2e-6);
        free(head);
    }
    free(text);
}
END_TEST

/* SoX prints the columns Overall, Left, Right; a mono file has one column. It reads no 32-bit float beyond 1.0 alike,
 * so only PCM is compared. */
START_TEST(sox__statistics_of_each_channel)
{
    const char *name = names[_i];
    if (strstr(name, "float"))
        return;
    const json_t *channels = json_object_get(checked_file(&checked, name), "channels");
    for (size_t c = 0; c < json_array_size(channels); c++) {
        char *path = inside(name), *number = scratch_format("%zu", c + 1);
        char *text = output_of((const char *const[]){"sox", path, "-n", "remix", number, "stats", NULL});
        const json_t *channel = json_array_get(channels, c);
        double dc = number_after(text, "DC offset", "DC offset"),
               rms_db = number_after(text, "RMS lev dB", "RMS lev dB");
        expect_near(name, "sample peak", checked_number(channel, "sample_peak_dbfs"),
                    number_after(text, "Pk lev dB", "Pk lev dB"), 0.0151, 0.0151);
        expect_near(name, "RMS", checked_number(channel, "rms_dbfs"),
                    10.0 * log10(pow(10.0, rms_db / 10.0) - dc * dc) + AES17_DB, 0.02, 0.02);
        free(text);
        free(path);
        free(number);
    }
}
END_TEST

static void expect_hash(const char *tool, const char *key)
{
    for (size_t i = 0; i < FILE_COUNT; i++) {
        char *path = inside(names[i]), *line = output_of((const char *const[]){tool, path, NULL});
        const char *ours = checked_text(json_object_get(checked_file(&checked, names[i]), "hashes"), key);
        ck_assert_uint_ge(strlen(ours), 16);
        ck_assert_msg(strncmp(line, ours, strlen(ours)) == 0, "%s of %s: %s, not %s", key, names[i], ours, line);
        free(path);
        free(line);
    }
}

START_TEST(coreutils__sha256)
{
    expect_hash("sha256sum", "sha256");
}
END_TEST

START_TEST(xxhash__xxh64)
{
    expect_hash("xxhsum", "xxh64");
}
END_TEST

/* The file that was cut at 0.97 and -0.9 of full scale: no sample is at full scale, but the tops are flat. */
START_TEST(flat_tops__below_full_scale_are_no_clips)
{
    const json_t *channel = json_array_get(json_object_get(checked_file(&checked, "loud.wav"), "channels"), 0);
    ck_assert_double_eq(checked_number(channel, "clip_runs"), 0.0);
    ck_assert_ptr_nonnull(checked_finding(checked_take(&checked, "loud.wav"), "flat-topped", "listen"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("references");
    TCase *all = tcase_create("all");
    tcase_add_unchecked_fixture(all, make_card, remove_card);
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, ffmpeg__programme_loudness_and_peaks, 0, (int)FILE_COUNT);
    tcase_add_loop_test(all, ffmpeg__loudness_of_each_channel, 0, (int)FILE_COUNT);
    tcase_add_loop_test(all, ffmpeg__true_peak_of_each_channel, 0, (int)FILE_COUNT);
    tcase_add_loop_test(all, ffmpeg__statistics_of_each_channel, 0, (int)FILE_COUNT);
    tcase_add_loop_test(all, sox__statistics_of_each_channel, 0, (int)FILE_COUNT);
    tcase_add_test(all, coreutils__sha256);
    tcase_add_test(all, xxhash__xxh64);
    tcase_add_test(all, flat_tops__below_full_scale_are_no_clips);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
