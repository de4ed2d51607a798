/* SPDX-License-Identifier: MIT */
/*
 * `takeproof salvage` as a person runs it: exit statuses, words, JSON, originals untouched, and that the copies play in
 * FFmpeg, SoX and libsndfile with the very samples of the original.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 60000, PASS = 0, LISTEN = 1, FAIL = 2, NOT_DONE = 3 };

static char *scratch, *card, *out;
static struct run run;

static void setup(void)
{
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    out = scratch_format("%s/out", scratch);
    scratch_folder(card);
}

static void teardown(void)
{
    run_clear(&run);
    free(card);
    free(out);
    scratch_remove(scratch);
}

static char *in_card(const char *name)
{
    return scratch_format("%s/%s", card, name);
}

/* Salvages the files of the card (at most 8 words, ended by NULL, options among them) and holds that nothing on the
 * card changed. */
static void salvage(const char *const *words)
{
    const char *argv[16] = {run_takeproof(), "salvage", "-o", out};
    for (size_t i = 0; i < 8 && words[i] != NULL; i++)
        argv[4 + i] = words[i];
    uint64_t before = scratch_fingerprint(card);
    run_program(argv, card, NULL, 60, &run);
    ck_assert_msg(scratch_fingerprint(card) == before, "the card was changed");
}

static void put(const char *name, const struct wavgen *w)
{
    char *path = in_card(name);
    wavgen_write(w, path);
    free(path);
}

/* The samples of a file as 32-bit integers, by libsndfile. */
static int *read_samples(const char *path, sf_count_t *count)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_msg(file != NULL, "libsndfile does not open %s: %s", path, sf_strerror(NULL));
    int *samples = malloc((size_t)(info.frames * info.channels) * sizeof *samples);
    ck_assert_ptr_nonnull(samples);
    *count = sf_readf_int(file, samples, info.frames) * info.channels;
    sf_close(file);
    return samples;
}

static void play(const char *command, const char *path)
{
    char *line = scratch_format(command, path);
    ck_assert_msg(system(line) == 0, "%s", line);
    free(line);
}

/* The copy plays everywhere and holds the first `frames` frames of the honest file. */
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
static void expect_copy(const char *name, const struct wavgen *honest, sf_count_t frames)
{
    char *path = scratch_format("%s/%s", out, name), *whole = scratch_format("%s/honest.wav", scratch);
    sf_count_t got, wanted;
    wavgen_write(honest, whole);
    int *copied = read_samples(path, &got), *original = read_samples(whole, &wanted);
    ck_assert_int_eq(got, frames * (sf_count_t)honest->channels);
    ck_assert_int_le(got, wanted);
    ck_assert_mem_eq(copied, original, (size_t)got * sizeof *copied);
    play("ffmpeg -v error -xerror -i '%s' -f null - </dev/null", path);
    play("sox '%s' -n stat 2>/dev/null", path);
    free(copied);
    free(original);
    free(path);
    free(whole);
}
#pragma GCC diagnostic pop

START_TEST(salvage__interrupted_recording_is_an_assumption)
{
    struct wavgen honest = {.channels = 2, .frames = FRAMES}, broken = honest;
    broken.data_size = broken.riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
    put("T01.wav", &broken);
    salvage((const char *const[]){"T01.wav", NULL});
    ck_assert_int_eq(run.exit_status, LISTEN);
    ck_assert_str_eq(run.err, "");
    ck_assert_ptr_nonnull(strstr(run.out, "1.250 s of sound, 24-bit PCM, 2 channels, 48000 Hz"));
    ck_assert_ptr_nonnull(strstr(run.out, "the recording was interrupted"));
    ck_assert_ptr_nonnull(strstr(run.out, "which the header does not confirm"));
    expect_copy("T01-salvaged.wav", &honest, FRAMES);
}
END_TEST

START_TEST(salvage__cut_file_needs_no_assumption)
{
    struct wavgen honest = {.channels = 2, .frames = FRAMES}, cut = honest;
    cut.drop_tail = 6 * 1000 + 2;
    put("T02.wav", &cut);
    salvage((const char *const[]){"T02.wav", NULL});
    ck_assert_int_eq(run.exit_status, PASS);
    ck_assert_ptr_nonnull(strstr(run.out, "before its sound does"));
    expect_copy("T02-salvaged.wav", &honest, FRAMES - 1001);
}
END_TEST

START_TEST(salvage__lost_header_is_guessed_or_given)
{
    /* Noise: leading zeros would be taken for reserved space. */
    struct wavgen honest = {.channels = 2, .frames = FRAMES, .sound = wavgen_noise, .sound_user = &(double){0.1}};
    size_t size;
    uint8_t *bytes = wavgen_bytes(&honest, &size);
    char *path = in_card("T03.wav");
    scratch_write(path, bytes + wavgen_audio_offset(&honest), size - wavgen_audio_offset(&honest));
    salvage((const char *const[]){"T03.wav", "--bits", "24", "--channels", "2", "--rate", "44100", NULL});
    ck_assert_int_eq(run.exit_status, LISTEN);
    ck_assert_ptr_nonnull(strstr(run.out, "24-bit PCM, 2 channels, 44100 Hz"));
    ck_assert_ptr_nonnull(strstr(run.out, "The header is gone; sound was taken from byte"));
    expect_copy("T03-salvaged.wav", &honest, FRAMES);
    free(path);
    free(bytes);
}
END_TEST

START_TEST(salvage__healthy_file_gives_no_copy)
{
    put("T04.wav", &(struct wavgen){.channels = 2, .frames = FRAMES});
    salvage((const char *const[]){"T04.wav", NULL});
    ck_assert_int_eq(run.exit_status, PASS);
    ck_assert_ptr_nonnull(strstr(run.out, "T04.wav: the file is whole, nothing to salvage; no copy was made."));
    char *path = scratch_format("%s/T04-salvaged.wav", out);
    size_t size;
    ck_assert_ptr_null(scratch_read(path, &size));
    free(path);
}
END_TEST

START_TEST(salvage__what_cannot_be_salvaged)
{
    char *empty = in_card("empty.wav"), *zeros = in_card("zeros.wav");
    scratch_write(empty, "", 0);
    scratch_write(zeros, (const char[4096]){0}, 4096);
    put("header.wav", &(struct wavgen){.channels = 2});
    salvage((const char *const[]){"empty.wav", "zeros.wav", "header.wav", NULL});
    ck_assert_int_eq(run.exit_status, FAIL);
    ck_assert_str_eq(run.out, "");
    ck_assert_ptr_nonnull(strstr(run.err, "'empty.wav' is empty"));
    ck_assert_ptr_nonnull(strstr(run.err, "'zeros.wav' holds nothing but zeros"));
    ck_assert_ptr_nonnull(strstr(run.err, "'header.wav' holds no sound"));
    free(empty);
    free(zeros);
}
END_TEST

START_TEST(salvage__what_could_not_be_done)
{
    struct wavgen cut = {.channels = 2, .frames = FRAMES, .drop_tail = 600};
    put("T05.wav", &cut);
    salvage((const char *const[]){"T05.wav", "missing.wav", NULL});
    ck_assert_int_eq(run.exit_status, NOT_DONE);
    ck_assert_ptr_nonnull(strstr(run.err, "missing.wav"));
    ck_assert_msg(strstr(run.out, "T05-salvaged.wav") != NULL, "the other file was not salvaged");
    run_clear(&run);
    salvage((const char *const[]){"T05.wav", NULL});
    ck_assert_int_eq(run.exit_status, NOT_DONE);
    ck_assert_ptr_nonnull(strstr(run.err, "is there already"));
    run_clear(&run);
    salvage((const char *const[]){"T05.wav", "-o", ".", NULL});
    ck_assert_int_eq(run.exit_status, NOT_DONE);
    ck_assert_ptr_nonnull(strstr(run.err, "the folder of the recording itself"));
    run_clear(&run);
    salvage((const char *const[]){"T05.wav", "--bits", "17", NULL});
    ck_assert_int_eq(run.exit_status, NOT_DONE);
    ck_assert_ptr_nonnull(strstr(run.err, "no sound has such a format"));
}
END_TEST

START_TEST(salvage__json_has_all_outcomes)
{
    struct wavgen cut = {.channels = 2, .frames = FRAMES, .drop_tail = 600}, open_ended = {.frames = FRAMES};
    char *empty = in_card("empty.wav");
    open_ended.data_size = (struct wavgen_lie)WAVGEN_LIE(UINT32_MAX);
    open_ended.riff_size = open_ended.data_size;
    scratch_write(empty, "", 0);
    put("cut\xFF.wav", &cut);
    put("open.wav", &open_ended);
    put("good.wav", &(struct wavgen){.frames = FRAMES});
    salvage((const char *const[]){"cut\xFF.wav", "open.wav", "good.wav", "empty.wav", "--json", NULL});
    ck_assert_int_eq(run.exit_status, FAIL);
    json_t *root = json_loads(run.out, 0, NULL);
    ck_assert_msg(root != NULL, "%s", run.out);
    static const char *const outcomes[] = {"salvaged", "salvaged", "healthy", "failed"};
    json_t *files = json_object_get(root, "files");
    ck_assert_uint_eq(json_array_size(files), 4);
    for (size_t i = 0; i < 4; i++)
        ck_assert_str_eq(checked_text(json_array_get(files, i), "outcome"), outcomes[i]);
    json_t *first = json_array_get(files, 0), *second = json_array_get(files, 1);
    ck_assert_str_eq(checked_text(first, "path_hex"), "637574ff2e776176");
    ck_assert_ptr_eq(json_object_get(first, "listen"), json_false());
    ck_assert_ptr_eq(json_object_get(second, "listen"), json_true());
    ck_assert_double_eq(checked_number(first, "frames"), FRAMES - 100);
    ck_assert_str_eq(checked_text(json_array_get(json_object_get(first, "findings"), 0), "code"), "truncated");
    ck_assert_str_eq(checked_text(json_array_get(json_object_get(second, "findings"), 0), "code"), "unfinished-header");
    ck_assert_uint_eq(json_array_size(json_object_get(second, "notes")), 1);
    ck_assert_ptr_nonnull(strstr(checked_text(json_array_get(files, 3), "problem"), "empty"));
    json_decref(root);
    free(empty);
}
END_TEST

START_TEST(salvage__zeros_never_recorded_are_left_out_or_kept)
{
    /* Sound up to a block of the card, then zeros to the end. */
    struct wavgen honest = {.channels = 2, .frames = FRAMES, .sound = wavgen_noise, .sound_user = &(double){0.1}};
    size_t size, audio = wavgen_audio_offset(&honest);
    uint8_t *bytes = wavgen_bytes(&honest, &size);
    size_t block = size / 2 / 512 * 512;
    memset(bytes + block, 0, size - block);
    char *path = in_card("T06.wav");
    scratch_write(path, bytes, size);
    salvage((const char *const[]){"T06.wav", NULL});
    ck_assert_int_eq(run.exit_status, LISTEN);
    ck_assert_ptr_nonnull(strstr(run.out, "bytes of zeros at the end, never recorded, were left out."));
    expect_copy("T06-salvaged.wav", &honest, (sf_count_t)((block - audio) / 6));
    run_clear(&run);
    salvage((const char *const[]){"T06.wav", "--keep-tail", "--json", "-o", "../kept", NULL});
    json_t *root = json_loads(run.out, 0, NULL);
    ck_assert_double_eq(checked_number(json_array_get(json_object_get(root, "files"), 0), "frames"), FRAMES);
    json_decref(root);
    free(path);
    free(bytes);
}
END_TEST

/* Behind the recording the card holds a part of a file of another format: FLAC, made by FFmpeg. */
START_TEST(salvage__what_the_card_held_before_is_left_out)
{
    struct wavgen honest = {.channels = 2, .frames = FRAMES, .sound = wavgen_noise, .sound_user = &(double){0.3}};
    struct wavgen broken = honest;
    broken.data_size = broken.riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
    size_t size, junk_size;
    uint8_t *bytes = wavgen_bytes(&broken, &size);
    char *junk_path = scratch_format("%s/junk", scratch), *path = in_card("T07.wav");
    char *command = scratch_format(
        "ffmpeg -v error -f lavfi -i anoisesrc=d=10:c=pink:seed=1 -f flac - </dev/null | tail -c 600000 >'%s'",
        junk_path);
    ck_assert_int_eq(system(command), 0);
    char *junk = scratch_read(junk_path, &junk_size);
    ck_assert_uint_eq(junk_size, 600000);
    bytes = realloc(bytes, size + junk_size);
    memcpy(bytes + size, junk, junk_size);
    scratch_write(path, bytes, size + junk_size);
    salvage((const char *const[]){"T07.wav", NULL});
    ck_assert_int_eq(run.exit_status, LISTEN);
    ck_assert_msg(strstr(run.out, "random and no sound; they were left out") != NULL, "%s", run.out);
    char *copy = scratch_format("%s/T07-salvaged.wav", out);
    sf_count_t got;
    free(read_samples(copy, &got));
    /* At the edge, less than two sectors of either. */
    ck_assert_int_ge(got / 2, FRAMES - 1024 / 6);
    ck_assert_int_le(got / 2, FRAMES + 1024 / 6);
    free(copy);
    free(command);
    free(junk);
    free(junk_path);
    free(path);
    free(bytes);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("rescue");
    TCase *tcase = tcase_create("salvage");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_test(tcase, salvage__interrupted_recording_is_an_assumption);
    tcase_add_test(tcase, salvage__cut_file_needs_no_assumption);
    tcase_add_test(tcase, salvage__lost_header_is_guessed_or_given);
    tcase_add_test(tcase, salvage__healthy_file_gives_no_copy);
    tcase_add_test(tcase, salvage__what_cannot_be_salvaged);
    tcase_add_test(tcase, salvage__what_could_not_be_done);
    tcase_add_test(tcase, salvage__json_has_all_outcomes);
    tcase_add_test(tcase, salvage__zeros_never_recorded_are_left_out_or_kept);
    tcase_add_test(tcase, salvage__what_the_card_held_before_is_left_out);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
