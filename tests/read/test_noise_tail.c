/* SPDX-License-Identifier: MIT */
/* Random bytes behind a recording, of every sample format; and sound that must never be taken for them. */
#include "read/noise_tail.h"

#include "base/observe.h"
#include "read/riff.h"
#include "result.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 150000, JUNK = 400000 };

static uint64_t mixed(uint64_t x)
{
    x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
    x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
    return x ^ (x >> 31);
}

/* Where the noise begins in the file by the tap, or -1. `junk` random bytes are put behind the bytes of the file. */
static int64_t noise_start(const struct wavgen *w, size_t junk, struct tp_file *file, size_t *sound_end)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    size_t size;
    uint8_t *bytes = wavgen_bytes(w, &size);
    bytes = realloc(bytes, size + junk);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < junk; i++)
        bytes[size + i] = (uint8_t)mixed(i + 77);
    scratch_write(path, bytes, size + junk);
    struct tp_noise_tail tail = {0};
    struct tp_tap tap = tp_noise_tail_tap(&tail);
    struct tp_stream *stream;
    struct tp_riff *riff;
    bool has_audio;
    *file = (struct tp_file){0};
    ck_assert_int_eq(tp_stream_open(&stream, path, &tap, 1, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_new(&riff, stream, file, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_walk_to_audio(riff, &has_audio, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_walk_rest(riff, NULL), TP_OK);
    tp_observations_clear(&file->observations);
    ck_assert(tp_noise_tail_observe(&tail, file));
    uint64_t start = tp_noise_tail_start(&tail, file);
    int64_t found = start < file->audio_offset + file->audio_bytes ? (int64_t)start : -1;
    ck_assert_int_eq(found >= 0, file->observations.count == 1);
    *sound_end = size;
    tp_riff_free(riff);
    tp_stream_close(stream);
    free(bytes);
    free(path);
    scratch_remove(folder);
    return found;
}

static const struct wavgen_tone loud = {.hz = 311.0, .peak = 0.99};
static const double noise_peak = 0.99;

#define OPEN_END .data_size = WAVGEN_LIE(0), .riff_size = WAVGEN_LIE(0)
static const struct wavgen interrupted[] = {
    {.frames = FRAMES, .channels = 2, OPEN_END},
    {.frames = FRAMES, .channels = 2, .sample = WAVGEN_PCM16, OPEN_END},
    {.frames = FRAMES, .sample = WAVGEN_PCM32, OPEN_END},
    {.frames = FRAMES, .sample = WAVGEN_FLOAT32, OPEN_END},
    {.frames = FRAMES, .channels = 2, .sound = wavgen_sine, .sound_user = &loud, OPEN_END},
    {.frames = FRAMES, .channels = 2, .data_size = WAVGEN_LIE(6000)},
};

START_TEST(noise_tail__is_found_behind_a_recording)
{
    struct tp_file file;
    size_t sound_end;
    int64_t start = noise_start(&interrupted[_i], JUNK, &file, &sound_end);
    ck_assert_msg(start >= 0, "row %d: not found", _i);
    ck_assert_int_ge(start, (int64_t)sound_end - 16);
    ck_assert_int_le(start, (int64_t)(sound_end + TP_NOISE_BLOCK + 16));
    ck_assert_int_eq(file.observations.items[0].code, TP_CODE_UNFINISHED_HEADER);
    tp_file_clear(&file);
}
END_TEST

/* Without random bytes behind it nothing is found; nor where the header confirms the length. */
static const struct wavgen sound[] = {
    {.frames = FRAMES, .channels = 2, .sound = wavgen_sine, .sound_user = &loud, OPEN_END},
    {.frames = FRAMES, .channels = 2, .sample = WAVGEN_PCM16, .sound = wavgen_sine, .sound_user = &loud, OPEN_END},
    {.frames = FRAMES, .sample = WAVGEN_FLOAT32, .sound = wavgen_noise, .sound_user = &noise_peak, OPEN_END},
    {.frames = FRAMES, .sample = WAVGEN_FLOAT64, .sound = wavgen_noise, .sound_user = &noise_peak, OPEN_END},
    {.frames = FRAMES, .sound = wavgen_silence, OPEN_END},
    {.frames = FRAMES, .channels = 2, .sound = wavgen_noise, .sound_user = &noise_peak},
    {.frames = FRAMES, .channels = 2, .sample = WAVGEN_PCM16, .sound = wavgen_noise, .sound_user = &noise_peak},
};

START_TEST(noise_tail__sound_is_not_taken_for_it)
{
    struct tp_file file;
    size_t sound_end;
    ck_assert_msg(noise_start(&sound[_i], 0, &file, &sound_end) == -1, "row %d", _i);
    ck_assert_uint_gt(file.audio_bytes, 0);
    tp_file_clear(&file);
}
END_TEST

START_TEST(noise_tail__a_short_rest_is_left_alone)
{
    struct tp_file file;
    size_t sound_end;
    ck_assert_int_eq(noise_start(&interrupted[0], 100000, &file, &sound_end), -1);
    tp_file_clear(&file);
}
END_TEST

/* Random bytes, more and more of which are drawn from a few values: on both sides of every limit. */
START_TEST(noise_tail__the_same_however_the_bytes_come)
{
    static const struct {
        uint8_t first, mask;
        uint32_t most; /* of 65536, in the last block; half of it is about the limit */
    } drawn_from[] = {{0xFC, 0x07, 6600}, {0xE0, 0x3F, 18000}, {0x38, 0x87, 9000}, {0x80, 0x01, 3000}, {0x30, 0, 2000}};
    enum { BLOCKS = 64, SIZE = BLOCKS * (int)TP_NOISE_BLOCK };
    uint8_t *bytes = malloc(SIZE);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < SIZE; i++) {
        uint64_t random = mixed(i + 1);
        bytes[i] = (uint8_t)random;
        if ((random >> 8 & 0xFFFF) < drawn_from[_i].most * (i / TP_NOISE_BLOCK) / BLOCKS)
            bytes[i] = (uint8_t)(drawn_from[_i].first + (bytes[i] & drawn_from[_i].mask));
    }
    struct tp_noise_tail whole = {0}, pieces = {0};
    tp_noise_tail_tap(&whole).bytes(&whole, bytes, SIZE);
    for (size_t at = 0; at < SIZE; at += 1000)
        tp_noise_tail_tap(&pieces).bytes(&pieces, bytes + at, SIZE - at < 1000 ? SIZE - at : 1000);
    ck_assert_uint_eq(whole.position, pieces.position);
    ck_assert_uint_eq(whole.run_count, pieces.run_count);
    ck_assert_mem_eq(whole.runs, pieces.runs, sizeof whole.runs);
    ck_assert_mem_eq(&whole.open, &pieces.open, sizeof whole.open);
    ck_assert_uint_gt(whole.run_count, 0);
    free(bytes);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("noise_tail");
    TCase *tcase = tcase_create("core");
    tcase_set_timeout(tcase, 60);
    tcase_add_loop_test(tcase, noise_tail__is_found_behind_a_recording, 0,
                        (int)(sizeof interrupted / sizeof interrupted[0]));
    tcase_add_loop_test(tcase, noise_tail__sound_is_not_taken_for_it, 0, (int)(sizeof sound / sizeof sound[0]));
    tcase_add_test(tcase, noise_tail__a_short_rest_is_left_alone);
    tcase_add_loop_test(tcase, noise_tail__the_same_however_the_bytes_come, 0, 5);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
