/* SPDX-License-Identifier: MIT */
#include "support/pairlab.h"
#include "take/evidence.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define RATE 48000

static void push_in_blocks(struct tp_evidence *evidence, float *const *planes, uint32_t channels, size_t frames,
                           size_t block, bool with_sums)
{
    const float *at[8];
    struct tp_sums sums[8];
    for (size_t i = 0; i < frames; i += block) {
        size_t n = frames - i < block ? frames - i : block;
        for (uint32_t c = 0; c < channels; c++) {
            at[c] = planes[c] != NULL ? planes[c] + i : NULL;
            sums[c] = with_sums && at[c] != NULL ? tp_sums_of(at[c], n) : (struct tp_sums){0};
        }
        ck_assert(tp_evidence_push(evidence, at, n, with_sums ? sums : NULL));
    }
}

/* Every excerpt must be an honest copy of what was pushed, in time order, no stretch twice. */
static void check_excerpts(const struct tp_evidence *evidence, float *const *planes, uint32_t channels, size_t frames)
{
    size_t length = tp_evidence_excerpt_frames(evidence);
    for (size_t i = 0; i < tp_evidence_excerpt_count(evidence); i++) {
        struct tp_excerpt excerpt = tp_evidence_excerpt(evidence, i);
        ck_assert_uint_le(excerpt.start_frame + length, frames);
        if (i > 0)
            ck_assert_uint_gt(excerpt.start_frame, tp_evidence_excerpt(evidence, i - 1).start_frame);
        for (uint32_t c = 0; c < channels; c++)
            ck_assert_mem_eq(excerpt.channels[c], planes[c] + excerpt.start_frame, length * sizeof(float));
    }
}

START_TEST(evidence__does_not_depend_on_the_block_size)
{
    struct lab_random random = {.state = 11};
    size_t frames = 40 * RATE;
    float *planes[2] = {lab_zeros(frames, sizeof(float)), lab_zeros(frames, sizeof(float))};
    double *voice = lab_voice(&random, frames, 0.9);
    struct lab_pair pair = {.offset_db = -12, .main_noise_dbfs = -90, .safety_noise_dbfs = -80, .bits = 24};
    lab_pair_make(&pair, voice, frames, &random, planes[0], planes[1]);
    static const size_t blocks[] = {4096, 4096, 1, 7, 1000, 5000, 1 << 20};
    struct tp_evidence *first = NULL;
    for (size_t b = 0; b < sizeof blocks / sizeof *blocks; b++) {
        struct tp_evidence *evidence = tp_evidence_new(2, RATE);
        ck_assert_ptr_nonnull(evidence);
        push_in_blocks(evidence, planes, 2, frames, blocks[b], b % 2 != 0);
        check_excerpts(evidence, planes, 2, frames);
        ck_assert_uint_gt(tp_evidence_excerpt_count(evidence), 20);
        if (first == NULL) {
            first = evidence;
            continue;
        }
        ck_assert_uint_eq(tp_evidence_excerpt_count(evidence), tp_evidence_excerpt_count(first));
        for (size_t i = 0; i < tp_evidence_excerpt_count(first); i++)
            ck_assert_uint_eq(tp_evidence_excerpt(evidence, i).start_frame, tp_evidence_excerpt(first, i).start_frame);
        tp_evidence_free(evidence);
    }
    tp_evidence_free(first);
    free(voice);
    free(planes[0]);
    free(planes[1]);
}
END_TEST

/* Two pairs of microphones, the second speaking only in 2 of 120 seconds: its words must be among the excerpts. */
START_TEST(evidence__keeps_a_microphone_that_speaks_seldom)
{
    struct lab_random random = {.state = 5};
    size_t frames = 120 * RATE;
    float *planes[4];
    for (int c = 0; c < 4; c++)
        planes[c] = lab_zeros(frames, sizeof(float));
    double *often = lab_voice(&random, frames, 0.8), *seldom = lab_voice(&random, frames, 0.4);
    for (size_t i = 0; i < frames; i++) {
        bool speaks = i / RATE == 31 || i / RATE == 77;
        planes[0][i] = speaks ? 0.0f : (float)often[i];
        planes[1][i] = 0.2f * planes[0][i];
        planes[2][i] = speaks ? (float)seldom[i] : 0.0f;
        planes[3][i] = 0.2f * planes[2][i];
    }
    struct tp_evidence *evidence = tp_evidence_new(4, RATE);
    push_in_blocks(evidence, planes, 4, frames, 4096, true);
    check_excerpts(evidence, planes, 4, frames);
    size_t first = 0, second = 0;
    for (size_t i = 0; i < tp_evidence_excerpt_count(evidence); i++) {
        double energy_first = 0.0, energy_second = 0.0;
        struct tp_excerpt excerpt = tp_evidence_excerpt(evidence, i);
        for (size_t n = 0; n < tp_evidence_excerpt_frames(evidence); n++) {
            energy_first += (double)excerpt.channels[0][n] * (double)excerpt.channels[0][n];
            energy_second += (double)excerpt.channels[2][n] * (double)excerpt.channels[2][n];
        }
        first += energy_first > 1.0;
        second += energy_second > 1.0;
    }
    ck_assert_uint_ge(first, 20);
    ck_assert_uint_ge(second, 2);
    tp_evidence_free(evidence);
    for (int c = 0; c < 4; c++)
        free(planes[c]);
    free(often);
    free(seldom);
}
END_TEST

START_TEST(evidence__ended_file_is_silence_and_short_file_is_filled_up)
{
    float ones[3000];
    for (size_t i = 0; i < 3000; i++)
        ones[i] = 0.5f;
    struct tp_evidence *evidence = tp_evidence_new(2, RATE);
    ck_assert_uint_eq(tp_evidence_excerpt_count(evidence), 0);
    const float *planes[2] = {ones, NULL};
    ck_assert(tp_evidence_push(evidence, planes, 3000, NULL));
    ck_assert_uint_eq(tp_evidence_excerpt_count(evidence), 1);
    struct tp_excerpt excerpt = tp_evidence_excerpt(evidence, 0);
    ck_assert_float_eq(excerpt.channels[0][2999], 0.5f);
    ck_assert_float_eq(excerpt.channels[0][3000], 0.0f);
    ck_assert_float_eq(excerpt.channels[1][0], 0.0f);
    ck_assert(tp_evidence_push(evidence, planes, 3000, NULL));
    ck_assert_uint_eq(tp_evidence_excerpt_count(evidence), 1);
    ck_assert_float_eq(tp_evidence_excerpt(evidence, 0).channels[0][4095], 0.5f);
    tp_evidence_free(evidence);
    ck_assert_ptr_null(tp_evidence_new(0, RATE));
}
END_TEST

START_TEST(evidence__is_bounded_for_many_channels)
{
    static const uint32_t channels[] = {1, 2, 8, 32, 64};
    for (size_t i = 0; i < sizeof channels / sizeof *channels; i++) {
        const float **planes = lab_zeros(channels[i], sizeof *planes);
        float *block = lab_zeros(4096, sizeof *block);
        struct lab_random random = {.state = i};
        lab_noise_add(block, 4096, -20.0, &random);
        for (uint32_t c = 0; c < channels[i]; c++)
            planes[c] = block;
        struct tp_evidence *evidence = tp_evidence_new(channels[i], RATE);
        ck_assert_ptr_nonnull(evidence);
        for (int push = 0; push < 300; push++)
            ck_assert(tp_evidence_push(evidence, planes, 4096, NULL));
        size_t bytes = tp_evidence_excerpt_count(evidence) * 4096 * channels[i] * sizeof(float);
        ck_assert_uint_ge(tp_evidence_excerpt_count(evidence), 4);
        ck_assert_uint_le(bytes, TP_EVIDENCE_BYTES_MAX);
        tp_evidence_free(evidence);
        free(planes);
        free(block);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("evidence");
    TCase *tcase = tcase_create("evidence");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, evidence__does_not_depend_on_the_block_size);
    tcase_add_test(tcase, evidence__keeps_a_microphone_that_speaks_seldom);
    tcase_add_test(tcase, evidence__ended_file_is_silence_and_short_file_is_filled_up);
    tcase_add_test(tcase, evidence__is_bounded_for_many_channels);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
