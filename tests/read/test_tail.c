/* SPDX-License-Identifier: MIT */
#include "read/tail.h"

#include "base/observe.h"
#include "read/riff.h"
#include "result.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

/* Noise until byte `end` of the file, zeros after. */
struct cut {
    uint64_t end_byte, audio_offset;
    uint32_t frame_bytes;
};
static double noise_then_zeros(const void *user, uint64_t frame, unsigned channel)
{
    const struct cut *cut = user;
    if (cut->audio_offset + (frame + 1) * cut->frame_bytes > cut->end_byte)
        return 0.0;
    /* Never a sample whose bytes are all zero. */
    double sample = wavgen_random(frame * 8 + channel) * 0.25;
    return sample >= 0 ? sample + 0.1 : sample - 0.1;
}

/* Milliseconds of lost tail, or -1. */
static double lost_ms(const struct wavgen *w)
{
    char *folder = scratch_new();
    char *path = scratch_format("%s/x.wav", folder);
    wavgen_write(w, path);
    struct tp_tail tail = {0};
    struct tp_tap tap = tp_tail_tap(&tail);
    struct tp_file file = {0};
    struct tp_stream *stream;
    struct tp_riff *riff;
    bool has_audio;
    ck_assert_int_eq(tp_stream_open(&stream, path, &tap, 1, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_new(&riff, stream, &file, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_walk_to_audio(riff, &has_audio, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_walk_rest(riff, NULL), TP_OK);
    ck_assert_uint_eq(file.observations.count, 0);
    ck_assert(tp_tail_observe(&tail, &file));
    double lost = -1.0;
    if (file.observations.count > 0) {
        ck_assert_int_eq(file.observations.items[0].code, TP_CODE_TRUNCATED);
        lost = (file.observations.items[0].end_s - file.observations.items[0].start_s) * 1000.0;
    }
    tp_riff_free(riff);
    tp_stream_close(stream);
    tp_file_clear(&file);
    free(path);
    scratch_remove(folder);
    return lost;
}

static struct wavgen make(struct cut *cut, uint64_t end_byte, uint32_t channels)
{
    struct wavgen w = {.channels = channels, .frames = 48000, .sound = noise_then_zeros, .sound_user = cut};
    *cut = (struct cut){.end_byte = end_byte, .audio_offset = wavgen_audio_offset(&w), .frame_bytes = channels * 3};
    return w;
}

START_TEST(tail__blocks_never_written_are_found)
{
    struct cut cut;
    for (uint32_t channels = 1; channels <= 4; channels++) {
        struct wavgen w = make(&cut, 4096 * 20, channels);
        double expected = (48000.0 - (double)((4096 * 20 - cut.audio_offset) / (3 * channels))) / 48.0;
        ck_assert_double_eq_tol(lost_ms(&w), expected, 0.05);
    }
}
END_TEST

START_TEST(tail__chunks_behind_do_not_hide_it)
{
    struct cut cut;
    struct wavgen w = make(&cut, 4096 * 20, 2);
    w.ixml = "<BWFXML></BWFXML>";
    w.ixml_padding = 60000;
    w.metadata_after_data = true;
    ck_assert_double_gt(lost_ms(&w), 500.0);
}
END_TEST

START_TEST(tail__other_silence_is_no_loss)
{
    struct cut cut;
    struct wavgen w = make(&cut, 4096 * 20 + 1000, 2); /* not at a block */
    ck_assert_double_eq(lost_ms(&w), -1.0);
    w = make(&cut, UINT64_MAX, 2); /* no zeros */
    ck_assert_double_eq(lost_ms(&w), -1.0);
    w = make(&cut, 44 + 48000 * 6 - 3000, 2); /* too short */
    ck_assert_double_eq(lost_ms(&w), -1.0);
    w = make(&cut, 0, 2); /* all zero: a silent channel, said elsewhere */
    ck_assert_double_eq(lost_ms(&w), -1.0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("tail");
    TCase *tcase = tcase_create("tail");
    tcase_add_test(tcase, tail__blocks_never_written_are_found);
    tcase_add_test(tcase, tail__chunks_behind_do_not_hide_it);
    tcase_add_test(tcase, tail__other_silence_is_no_loss);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
