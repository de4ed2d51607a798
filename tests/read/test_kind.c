/* SPDX-License-Identifier: MIT */
#include "read/kind.h"

#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

/* Real files, as FFmpeg and SoX write them. */
static const struct {
    const char *command; /* writes to the file `x` */
    const char *words;   /* NULL: says nothing */
} rows[] = {
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f mp3 x", "MP3"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -id3v2_version 0 -write_xing 0 -f mp3 x", "MP3"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f flac x", "FLAC"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -c:a flac -f ogg x", "Ogg"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f caf x", "CAF"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f aiff x", "AIFF"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f w64 x", "Wave64"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f au x", "AU"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f mov x", "MP4 or MOV"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -c:a pcm_s16le -f matroska x", "Matroska"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -c:a wavpack -f wv x", "WavPack"},
    {"sox -n -r 48000 -B -t wav x synth 1 sine 997", "RIFX"},
    {"echo text | gzip -c > x", "gzip"},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f wav x", NULL},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f s16le x", NULL},
    {"ffmpeg -v error -f lavfi -i sine=duration=1 -f wav -rf64 always x", NULL},
};

START_TEST(kind__real_files_are_told)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x", folder);
    char *command = scratch_format("cd '%s' && %s", folder, rows[_i].command);
    ck_assert_msg(system(command) == 0, "%s", command);
    size_t size;
    char *bytes = scratch_read(path, &size);
    const char *kind = tp_kind_of((const uint8_t *)bytes, size < TP_KIND_BYTES ? size : TP_KIND_BYTES);
    if (rows[_i].words == NULL)
        ck_assert_msg(kind == NULL, "%s: %s", rows[_i].command, kind);
    else
        ck_assert_msg(kind != NULL && strstr(kind, rows[_i].words) != NULL, "%s: %s", rows[_i].command,
                      kind != NULL ? kind : "?");
    free(bytes);
    free(command);
    free(path);
    scratch_remove(folder);
}
END_TEST

/* A WAV and an RF64 as FFmpeg writes them are of the family, all else in the table is not. */
START_TEST(kind__wav_is_told_by_its_first_bytes)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x", folder);
    char *command = scratch_format("cd '%s' && %s", folder, rows[_i].command);
    ck_assert_msg(system(command) == 0, "%s", command);
    size_t size;
    char *bytes = scratch_read(path, &size);
    bool is_wav = strstr(rows[_i].command, "-f wav") != NULL;
    ck_assert_int_eq(tp_kind_is_wav((const uint8_t *)bytes, size < TP_KIND_BYTES ? size : TP_KIND_BYTES), is_wav);
    ck_assert(!tp_kind_is_wav((const uint8_t *)bytes, 11));
    free(bytes);
    free(command);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(kind__few_bytes_say_nothing)
{
    ck_assert_ptr_null(tp_kind_of((const uint8_t *)"", 0));
    ck_assert_ptr_null(tp_kind_of((const uint8_t *)"fLa", 3));
    ck_assert_ptr_null(tp_kind_of((const uint8_t *)"\xFF\xFF\xFF\xFF", 4));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("kind");
    TCase *tcase = tcase_create("kind");
    tcase_set_timeout(tcase, 30);
    tcase_add_loop_test(tcase, kind__real_files_are_told, 0, (int)(sizeof rows / sizeof rows[0]));
    tcase_add_loop_test(tcase, kind__wav_is_told_by_its_first_bytes, 0, (int)(sizeof rows / sizeof rows[0]));
    tcase_add_test(tcase, kind__few_bytes_say_nothing);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
