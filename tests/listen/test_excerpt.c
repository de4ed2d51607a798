/* SPDX-License-Identifier: MIT */
#include "listen/excerpt.h"

#include "base/num.h"
#include "listen/flac.h"
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

#define RATE 48000

/* Full-scale square, noise, silence, one full-scale sample: what could hurt. */
static float *loud(size_t frames, int kind)
{
    float *samples = calloc(frames + 1, sizeof *samples);
    uint32_t state = 7;
    for (size_t i = 0; i < frames; i++) {
        state = state * 1664525u + 1013904223u;
        float noise = (float)((double)state / 2147483648.0 - 1.0);
        samples[i] = kind == 0   ? (i / 50 % 2 ? 1.0f : -1.0f)
                     : kind == 1 ? noise
                     : kind == 2 ? 0.0f
                     : kind == 3 ? noise * 8.0f
                                 : noise * 0.01f;
    }
    if (kind == 4 && frames > 0)
        samples[frames / 2] = -1.0f;
    return samples;
}

START_TEST(excerpt__is_never_above_its_level_and_starts_softly)
{
    static const size_t lengths[] = {1, 2, 100, 4800, 3 * RATE};
    for (size_t k = 0; k < sizeof lengths / sizeof lengths[0]; k++) {
        float *samples = loud(lengths[k], _i);
        int16_t *safe = calloc(lengths[k] + 1, sizeof *safe);
        double gain_db = tp_excerpt_make_safe(samples, lengths[k], RATE, safe);
        ck_assert(gain_db <= 0.0);
        int limit = (int)floor(tp_lin_from_db(TP_EXCERPT_PEAK_MAX_DBFS) * 32768.0);
        for (size_t i = 0; i < lengths[k]; i++) {
            ck_assert_msg(abs(safe[i]) <= limit, "sample %zu is %d", i, safe[i]);
            if (i < RATE / 20) /* 50 ms in, at most an eighth of the level */
                ck_assert_int_le(abs(safe[i]), limit / 8 + 1);
        }
        free(samples);
        free(safe);
    }
}
END_TEST

START_TEST(excerpt__quiet_sound_is_not_changed)
{
    size_t frames = 2 * RATE;
    float *samples = calloc(frames, sizeof *samples);
    int16_t *safe = calloc(frames, sizeof *safe);
    for (size_t i = 0; i < frames; i++)
        samples[i] = (float)((int)(i % 4001) - 2000) / 32768.0f;
    ck_assert_double_eq(tp_excerpt_make_safe(samples, frames, RATE, safe), 0.0);
    for (size_t i = RATE / 2; i < frames - RATE / 5; i++)
        ck_assert_int_eq(safe[i], (int)(i % 4001) - 2000);
    free(samples);
    free(safe);
}
END_TEST

/* FFmpeg's decoder is the reference: the samples come back bit for bit, and the same input gives the same bytes. */
START_TEST(excerpt__flac_is_lossless_and_reproducible)
{
    size_t frames = RATE + 17, size, again_size, raw_size;
    int16_t *samples = calloc(frames, sizeof *samples);
    uint32_t state = 3;
    for (size_t i = 0; i < frames; i++) {
        state = state * 1664525u + 1013904223u;
        samples[i] = (int16_t)(state >> 16);
    }
    uint8_t *bytes = NULL, *again = NULL;
    ck_assert_int_eq(tp_flac_encode(samples, frames, RATE, &bytes, &size, NULL), TP_OK);
    ck_assert_int_eq(tp_flac_encode(samples, frames, RATE, &again, &again_size, NULL), TP_OK);
    ck_assert(size == again_size && memcmp(bytes, again, size) == 0);
    char *folder = scratch_new(), *flac = scratch_format("%s/a.flac", folder),
         *raw = scratch_format("%s/a.raw", folder);
    scratch_write(flac, bytes, size);
    const char *argv[] = {"ffmpeg", "-v", "error", "-i", flac, "-f", "s16le", raw, NULL};
    struct run run = {0};
    run_program(argv, NULL, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    char *back = scratch_read(raw, &raw_size);
    ck_assert_uint_eq(raw_size, frames * 2);
    ck_assert(memcmp(back, samples, raw_size) == 0);
    run_clear(&run);
    free(back);
    free(raw);
    free(flac);
    free(bytes);
    free(again);
    free(samples);
    scratch_remove(folder);
}
END_TEST

/* A take with a clipped spot at 5.0 s of 10 s, checked, with excerpts. `channels` of the main's file. */
static struct tp_report *clipped_take(const char *folder, size_t findings_max)
{
    size_t frames;
    double *sound = good_take_samples(11, 10.0, &frames);
    for (size_t i = 5 * RATE; i < 5 * RATE + 9600; i++)
        sound[2 * i] = fmax(-1.0, fmin(32767.0 / 32768.0, sound[2 * i] * 40.0));
    char *path = scratch_format("%s/T01.wav", folder);
    struct wavgen w = {.channels = 2, .frames = frames, .reals = sound};
    wavgen_write(&w, path);
    free(sound);
    struct tp_spec spec;
    struct tp_report *report = NULL;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_spec_init(&spec, NULL), TP_OK);
    struct tp_check_options options = {.sources = &folder, .source_count = 1, .spec = &spec};
    ck_assert_msg(tp_check(&options, &report, &error) == TP_OK, "%s", tp_error_text(&error));
    struct tp_excerpt_options excerpts = {.sources = &folder, .source_count = 1, .findings_max = findings_max};
    ck_assert_int_eq(tp_report_add_excerpts(report, &excerpts, &error), TP_OK);
    tp_spec_clear(&spec);
    free(path);
    return report;
}

/* The sound of an excerpt is that of the file: the same samples as SoX cuts and scales, within one step. */
START_TEST(excerpt__main_and_safety_are_cut_at_the_spot)
{
    char *folder = scratch_new();
    struct tp_report *report = clipped_take(folder, 10);
    ck_assert_uint_eq(report->excerpt_count, 2);
    for (uint32_t c = 0; c < 2; c++) {
        const struct tp_sound_excerpt *e = &report->excerpts[c];
        ck_assert_uint_eq(e->channel, c);
        const struct tp_finding *finding = &report->takes[0].findings[e->finding];
        ck_assert_double_ge(finding->start_s, 4.9); /* raised from 5.0 s to 5.2 s */
        ck_assert_double_le(finding->start_s, 5.21);
        ck_assert_double_eq_tol(e->start_s, finding->start_s - 1.0, 0.001);
        ck_assert_double_ge(e->end_s, finding->end_s + 0.99);
        ck_assert_double_le(e->end_s - e->start_s, TP_EXCERPT_SECONDS_MAX + 0.001);
        char *flac = scratch_format("%s/e.flac", folder), *cut = scratch_format("%s/cut.raw", folder);
        char *mine = scratch_format("%s/mine.raw", folder);
        scratch_write(flac, e->bytes, e->size);
        size_t first = (size_t)llround(e->start_s * RATE), count = (size_t)llround((e->end_s - e->start_s) * RATE);
        char *command = scratch_format(
            "ffmpeg -v error -y -i e.flac -f f32le mine.raw && sox T01.wav -e float -b 32 -r 48000 -t raw "
            "cut.raw remix %u trim %zus %zus vol %.12f",
            c + 1, first, count, tp_lin_from_db(e->gain_db));
        const char *argv[] = {"bash", "-c", command, NULL};
        struct run run = {0};
        run_program(argv, folder, NULL, 0, &run);
        ck_assert_msg(run.exit_status == 0, "%s", run.err);
        size_t mine_size, cut_size;
        float *a = (float *)(void *)scratch_read(mine, &mine_size), *b = (float *)(void *)scratch_read(cut, &cut_size);
        ck_assert_uint_eq(mine_size, cut_size);
        for (size_t i = RATE / 2; i < count - RATE / 5; i++) /* between the fades */
            ck_assert_msg(fabsf(a[i] - b[i]) < 1.1f / 32768.0f, "channel %u sample %zu: %f %f", c + 1, i, (double)a[i],
                          (double)b[i]);
        run_clear(&run);
        free(a);
        free(b);
        free(command);
        free(flac);
        free(cut);
        free(mine);
    }
    tp_report_free(report);
    scratch_remove(folder);
}
END_TEST

START_TEST(excerpt__a_file_that_is_gone_gives_none)
{
    char *folder = scratch_new();
    struct tp_report *report = clipped_take(folder, 10);
    char *path = scratch_format("%s/T01.wav", folder);
    scratch_write(path, "RIFF", 4); /* cut short behind our back */
    const char *source = folder;
    struct tp_excerpt_options again = {.sources = &source, .source_count = 1, .findings_max = 10};
    ck_assert_int_eq(tp_report_add_excerpts(report, &again, NULL), TP_OK);
    ck_assert_uint_eq(report->excerpt_count, 0);
    tp_report_free(report);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(excerpt__the_budget_of_spots_holds)
{
    char *folder = scratch_new();
    struct tp_report *report = clipped_take(folder, 0);
    ck_assert_uint_eq(report->excerpt_count, 0);
    tp_report_free(report);
    scratch_remove(folder);
    folder = scratch_new();
    report = clipped_take(folder, 10);
    ck_assert_int_eq(tp_report_limit_excerpts(report, 1, NULL), TP_OK);
    ck_assert_uint_eq(report->excerpt_count, 2);
    ck_assert_int_eq(tp_report_limit_excerpts(report, 0, NULL), TP_OK);
    ck_assert_uint_eq(report->excerpt_count, 0);
    tp_report_free(report);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("excerpt");
    TCase *tests = tcase_create("excerpt");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, excerpt__is_never_above_its_level_and_starts_softly, 0, 5);
    tcase_add_test(tests, excerpt__quiet_sound_is_not_changed);
    tcase_add_test(tests, excerpt__flac_is_lossless_and_reproducible);
    tcase_add_test(tests, excerpt__main_and_safety_are_cut_at_the_spot);
    tcase_add_test(tests, excerpt__a_file_that_is_gone_gives_none);
    tcase_add_test(tests, excerpt__the_budget_of_spots_holds);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
