/* SPDX-License-Identifier: MIT */
/*
 * The second opinion, through a whole check: it agrees on healthy files of every kind, it says so where libsndfile
 * makes something else of the header, and a difference is never less than something to listen to.
 */
#include "support/scratch.h"
#include "support/wavgen.h"

#include "pipeline/opinion.h"

#include "base/observe.h"
#include "result.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

enum { FRAMES = 48000 };

static char *scratch, *path;
static struct tp_report *report;

static void setup(void)
{
    scratch = scratch_new();
    path = scratch_format("%s/x.wav", scratch);
}

static void teardown(void)
{
    tp_report_free(report);
    report = NULL;
    free(path);
    scratch_remove(scratch);
}

static void check_file(const struct wavgen *w)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    const char *source = path;
    wavgen_write(w, path);
    ck_assert_int_eq(tp_spec_init(&spec, &error), TP_OK);
    struct tp_check_options options = {
        .sources = &source, .source_count = 1, .spec = &spec, .jobs = 1, .second_opinion = true};
    ck_assert_msg(tp_check(&options, &report, &error) == TP_OK, "%s", tp_error_text(&error));
    tp_spec_clear(&spec);
    ck_assert_uint_eq(report->take_count, 1);
}

/* The n-th finding of the code; NULL when there are fewer. */
static const struct tp_finding *opinion(size_t n)
{
    const struct tp_take *take = &report->takes[0];
    for (size_t i = 0; i < take->finding_count; i++)
        if (take->findings[i].code == TP_CODE_SECOND_OPINION && n-- == 0)
            return &take->findings[i];
    return NULL;
}

static const struct wavgen_bext bext = {.description = "x", .time_reference = 172800000};
static const char ixml[] = "<BWFXML><SCENE>1</SCENE></BWFXML>";

#define SOUND .frames = FRAMES
static const struct wavgen healthy[] = {
    {SOUND},
    {SOUND, .channels = 2, .sample = WAVGEN_PCM16},
    {SOUND, .channels = 3, .sample = WAVGEN_PCM32},
    {.frames = FRAMES + 1, .sample = WAVGEN_PCM8},
    {SOUND, .channels = 2, .sample = WAVGEN_FLOAT32},
    {SOUND, .sample = WAVGEN_FLOAT64},
    {SOUND, .sample = WAVGEN_PCM32, .extensible = true, .valid_bits = 24, .pad_bits = 8},
    {SOUND, .channels = 2, .extensible = true, .channel_mask = 3},
    {SOUND, .channels = 2, .container = WAVGEN_RF64},
    {SOUND, .channels = 2, .bext = &bext, .ixml = ixml},
    {SOUND, .channels = 2, .bext = &bext, .ixml = ixml, .metadata_after_data = true},
    {SOUND, .rate_hz = 96000, .junk_reservation = true},
};

START_TEST(opinion__agrees_on_healthy_files)
{
    check_file(&healthy[_i]);
    ck_assert_ptr_nonnull(opinion(0));
    ck_assert_msg(opinion(0)->severity == TP_NOTE && opinion(1) == NULL, "%s", opinion(0)->message);
    ck_assert_msg(strstr(opinion(0)->message, "agrees: libsndfile reads the same header and samples") != NULL, "%s",
                  opinion(0)->message);
    ck_assert_double_le(opinion(0)->value, opinion(0)->limit);
}
END_TEST

/* Damage that libsndfile 1.2 passes over without a word. */
static const struct {
    struct wavgen file;
    const char *words;
} mended[] = {
    /* The size in the header is stale: libsndfile believes it. */
    {{SOUND, .data_size = WAVGEN_LIE(3000)}, "libsndfile finds 1000 frames of sound, here they are 48000"},
    {{SOUND, .data_size = WAVGEN_LIE(0), .riff_size = WAVGEN_LIE(0)}, "here they are 48000"},
};

START_TEST(opinion__a_header_read_otherwise_is_told)
{
    check_file(&mended[_i].file);
    ck_assert_msg(opinion(0) != NULL, "nothing is said");
    ck_assert_msg(strstr(opinion(0)->message, mended[_i].words) != NULL, "%s", opinion(0)->message);
    ck_assert_int_eq(opinion(0)->severity, TP_LISTEN);
    ck_assert_int_ne(report->verdict, TP_VERDICT_PASS);
}
END_TEST

/* Our own figure made wrong: what is observed must not look like an agreement, which is a limit. */
START_TEST(opinion__a_wrong_figure_is_no_agreement)
{
    check_file(&(struct wavgen){SOUND});
    struct tp_file *file = &report->files[0];
    struct tp_opinion *again = tp_opinion_new(file, NULL);
    ck_assert_ptr_nonnull(again);
    size_t size;
    struct wavgen w = {SOUND};
    uint8_t *bytes = wavgen_bytes(&w, &size);
    static const float wrong[1000];
    const float *planes[] = {wrong};
    for (size_t i = 0; i < FRAMES; i += 1000)
        ck_assert(tp_opinion_push(again, bytes + wavgen_audio_offset(&w) + 3 * i, 1000, planes, NULL));
    file->channels[0].sample_peak_dbfs -= 1.0;
    tp_observations_clear(&file->observations);
    ck_assert(tp_opinion_finish(again, path, file));
    ck_assert_uint_eq(file->observations.count, 2);
    ck_assert_ptr_nonnull(strstr(file->observations.items[0].detail, "sample peak is -21.000 here, and -20.000 by"));
    ck_assert_ptr_nonnull(strstr(file->observations.items[1].detail, "reads other samples"));
    for (size_t i = 0; i < 2; i++)
        ck_assert(!tp_exists(file->observations.items[i].limit));
    tp_opinion_free(again);
    free(bytes);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("opinion");
    TCase *tcase = tcase_create("check");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_loop_test(tcase, opinion__agrees_on_healthy_files, 0, (int)(sizeof healthy / sizeof healthy[0]));
    tcase_add_loop_test(tcase, opinion__a_header_read_otherwise_is_told, 0, (int)(sizeof mended / sizeof mended[0]));
    tcase_add_test(tcase, opinion__a_wrong_figure_is_no_agreement);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
