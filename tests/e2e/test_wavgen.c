/* SPDX-License-Identifier: MIT */
/*
 * The fixture builder against readers that others wrote: what it says is an honest file is one to libsndfile 1.2 and to
 * FFmpeg's ffprobe. A builder that is wrong would make every other test agree with the wrong thing.
 */
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <jansson.h>
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

#define FRAMES 1001 /* odd, so that 8-bit and 24-bit mono need the pad byte */

static const struct {
    enum wavgen_sample sample;
    int subformat;
    double step; /* the largest difference that rounding explains */
} samples[] = {
    {WAVGEN_PCM8, SF_FORMAT_PCM_U8, 0x1p-8},    {WAVGEN_PCM16, SF_FORMAT_PCM_16, 0x1p-16},
    {WAVGEN_PCM24, SF_FORMAT_PCM_24, 0x1p-24},  {WAVGEN_PCM32, SF_FORMAT_PCM_32, 0x1p-32},
    {WAVGEN_FLOAT32, SF_FORMAT_FLOAT, 0x1p-24}, {WAVGEN_FLOAT64, SF_FORMAT_DOUBLE, 0.0},
};
#define SAMPLE_COUNT (sizeof samples / sizeof samples[0])

static char *scratch, *path;

static void setup(void)
{
    scratch = scratch_new();
    path = scratch_format("%s/x.wav", scratch);
}

static void teardown(void)
{
    scratch_remove(scratch);
    free(path);
}

static void expect_samples(SNDFILE *file, unsigned channels, double step)
{
    static const double peak = 0.7;
    double *read = malloc(sizeof *read * FRAMES * channels);
    ck_assert_int_eq(sf_readf_double(file, read, FRAMES), FRAMES);
    for (uint64_t n = 0; n < FRAMES; n++)
        for (unsigned c = 0; c < channels; c++)
            ck_assert_double_eq_tol(read[n * channels + c], wavgen_noise(&peak, n, c), step + 1e-16);
    free(read);
}

START_TEST(wavgen__libsndfile_reads_every_format)
{
    static const double peak = 0.7;
    for (int extensible = 0; extensible < 2; extensible++) {
        for (unsigned channels = 1; channels <= 3; channels++) {
            struct wavgen w = {.sample = samples[_i].sample,
                               .extensible = extensible,
                               .channels = channels,
                               .frames = FRAMES,
                               .sound = wavgen_noise,
                               .sound_user = &peak,
                               .rate_hz = 96000};
            wavgen_write(&w, path);
            SF_INFO info = {0};
            SNDFILE *file = sf_open(path, SFM_READ, &info);
            ck_assert_msg(file != NULL, "%s", sf_strerror(NULL));
            ck_assert_int_eq(info.format & SF_FORMAT_SUBMASK, samples[_i].subformat);
            ck_assert_int_eq(info.format & SF_FORMAT_TYPEMASK, extensible ? SF_FORMAT_WAVEX : SF_FORMAT_WAV);
            ck_assert_int_eq(info.samplerate, 96000);
            ck_assert_int_eq(info.channels, (int)channels);
            ck_assert_int_eq(info.frames, FRAMES);
            expect_samples(file, channels, samples[_i].step);
            sf_close(file);
        }
    }
}
END_TEST

START_TEST(wavgen__libsndfile_reads_bext_cues_and_rf64)
{
    static const struct wavgen_bext bext = {
        .description = "Harbour Lights",
        .originator = "Example recorder",
        .date = "2031-03-14",
        .time = "10:00:00",
        .time_reference = UINT64_C(5000000000),
        .version = 1,
        .history = "A=PCM,F=48000,W=24,T=a\r\n" /* even: libsndfile 1.2 forgets the pad byte in an RF64 */};
    static const struct wavgen_cue cues[] = {{1, 100, "slate"}, {2, 900, NULL}};
    static const double peak = 0.7;
    struct wavgen w = {.frames = FRAMES,
                       .bext = &bext,
                       .cues = cues,
                       .cue_count = 2,
                       .sound = wavgen_noise,
                       .sound_user = &peak,
                       .container = _i ? WAVGEN_RF64 : WAVGEN_RIFF};
    wavgen_write(&w, path);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_msg(file != NULL, "%s", sf_strerror(NULL));
    ck_assert_int_eq(info.format & SF_FORMAT_TYPEMASK, _i ? SF_FORMAT_RF64 : SF_FORMAT_WAV);
    ck_assert_int_eq(info.frames, FRAMES);
    SF_BROADCAST_INFO read;
    ck_assert_int_eq(sf_command(file, SFC_GET_BROADCAST_INFO, &read, sizeof read), SF_TRUE);
    ck_assert_int_eq(strncmp(read.description, "Harbour Lights", 15), 0);
    ck_assert_int_eq(strncmp(read.origination_time, "10:00:00", 8), 0);
    ck_assert_uint_eq(read.time_reference_low, 705032704u); /* 5,000,000,000 = 1 x 2^32 + 705,032,704 */
    ck_assert_uint_eq(read.time_reference_high, 1);
    ck_assert_int_eq(read.version, 1);
    uint32_t cue_count = 0;
    if (!_i) { /* libsndfile does not parse the cues of an RF64 */
        ck_assert_int_eq(sf_command(file, SFC_GET_CUE_COUNT, &cue_count, sizeof cue_count), SF_TRUE);
        ck_assert_uint_eq(cue_count, 2);
    }
    expect_samples(file, 1, 0x1p-24);
    sf_close(file);
}
END_TEST

/* libsndfile 1.2 knows no BW64; FFmpeg does. */
START_TEST(wavgen__ffprobe_reads_the_containers)
{
    static const enum wavgen_container containers[] = {WAVGEN_RIFF, WAVGEN_RF64, WAVGEN_BW64};
    wavgen_write(&(struct wavgen){.channels = 2, .frames = FRAMES, .container = containers[_i]}, path);
    struct run run;
    run_program((const char *const[]){"ffprobe", "-v", "error", "-of", "json", "-show_streams", path, NULL}, NULL, NULL,
                30, &run);
    ck_assert_msg(run.exit_status == 0, "ffprobe gave %d (not installed?): %s", run.exit_status, run.err);
    json_t *probe = json_loads(run.out, 0, NULL);
    const json_t *stream = json_array_get(json_object_get(probe, "streams"), 0);
    ck_assert_str_eq(json_string_value(json_object_get(stream, "codec_name")), "pcm_s24le");
    ck_assert_int_eq((int)json_integer_value(json_object_get(stream, "channels")), 2);
    ck_assert_int_eq((int)json_integer_value(json_object_get(stream, "duration_ts")), FRAMES);
    json_decref(probe);
    run_clear(&run);
}
END_TEST

START_TEST(wavgen__a_repeated_file_is_as_long_as_it_says)
{
    struct wavgen w = {.frames = FRAMES, .container = _i ? WAVGEN_RF64 : WAVGEN_RIFF};
    wavgen_write_repeated(&w, 7, path);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_ptr_nonnull(file);
    ck_assert_int_eq(info.frames, 7 * FRAMES);
    sf_close(file);
}
END_TEST

/* xmllint of libxml2 takes the XML for well formed. */
START_TEST(wavgen__ixml_is_well_formed)
{
    struct wavgen_ixml x = {.project = "Harbour <Lights> & \"Co\"",
                            .scene = "12A",
                            .take = "1",
                            .circled = "TRUE",
                            .timecode_rate = "25/1",
                            .has_timestamp = true,
                            .timestamp_samples = UINT64_C(5000000000),
                            .file_sample_rate = 48000,
                            .family_uid = "x",
                            .total_files = 2,
                            .file_index = 1,
                            .track_count = 2,
                            .tracks = {{1, 1, "Main", NULL}, {2, 2, "Safety", NULL}}};
    char *text = wavgen_ixml_text(&x);
    scratch_write(path, text, strlen(text));
    struct run run;
    run_program((const char *const[]){"xmllint", "--noout", path, NULL}, NULL, NULL, 30, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    ck_assert_ptr_nonnull(strstr(text, "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>705032704<"));
    run_clear(&run);
    free(text);
}
END_TEST

START_TEST(wavgen__lies_change_what_they_name_and_nothing_else)
{
    size_t honest_size, size;
    struct wavgen w = {.frames = FRAMES};
    uint8_t *honest = wavgen_bytes(&w, &honest_size);
    w.data_size = (struct wavgen_lie)WAVGEN_LIE(0x01020304);
    uint8_t *lying = wavgen_bytes(&w, &size);
    ck_assert_uint_eq(size, honest_size);
    size_t at = wavgen_audio_offset(&w) - 4;
    ck_assert_mem_eq(lying + at, "\4\3\2\1", 4);
    memcpy(lying + at, honest + at, 4);
    ck_assert_mem_eq(lying, honest, size);
    free(lying);
    w.data_size = (struct wavgen_lie){.on = false};
    w.truncate_at = (struct wavgen_lie)WAVGEN_LIE(100);
    lying = wavgen_bytes(&w, &size);
    ck_assert_uint_eq(size, 100);
    ck_assert_mem_eq(lying, honest, size);
    free(lying);
    free(honest);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("wavgen");
    TCase *all = tcase_create("all");
    tcase_add_checked_fixture(all, setup, teardown);
    tcase_set_timeout(all, 30);
    tcase_add_loop_test(all, wavgen__libsndfile_reads_every_format, 0, (int)SAMPLE_COUNT);
    tcase_add_loop_test(all, wavgen__libsndfile_reads_bext_cues_and_rf64, 0, 2);
    tcase_add_loop_test(all, wavgen__ffprobe_reads_the_containers, 0, 3);
    tcase_add_loop_test(all, wavgen__a_repeated_file_is_as_long_as_it_says, 0, 2);
    tcase_add_test(all, wavgen__ixml_is_well_formed);
    tcase_add_test(all, wavgen__lies_change_what_they_name_and_nothing_else);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
