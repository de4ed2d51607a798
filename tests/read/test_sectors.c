/* SPDX-License-Identifier: MIT */
#include "read/sectors.h"

#include "base/observe.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Noise of -62 dBFS, 24 bit, one channel: a quiet room. The header is 44 bytes: sector 1 begins in the sound. */
enum { OFFSET = 44, FRAMES = 24000, FRAME = 3, SIZE = OFFSET + FRAMES * FRAME };

static uint8_t bytes[SIZE];

static void make_room(double level_lin)
{
    for (uint64_t f = 0; f < FRAMES; f++) {
        int32_t sample = (int32_t)(wavgen_random(f) * level_lin * 8388608.0);
        for (unsigned i = 0; i < 3; i++)
            bytes[OFFSET + f * FRAME + i] = (uint8_t)((uint32_t)sample >> (8 * i));
    }
}

/* What the tap finds when it gets `step` bytes at a time. */
static struct tp_observations found(size_t size, size_t step, uint32_t channels, uint32_t bits)
{
    struct tp_sectors sectors = {0};
    struct tp_tap tap = tp_sectors_tap(&sectors);
    for (size_t at = 0; at < size; at += step)
        tap.bytes(tap.user, bytes + at, step < size - at ? step : size - at);
    struct tp_file file = {.audio_offset = OFFSET,
                           .audio_bytes = size - OFFSET,
                           .channel_count = channels,
                           .bit_depth = bits,
                           .encoding = TP_ENCODING_PCM,
                           .sample_rate_hz = 48000};
    ck_assert(tp_sectors_observe(&sectors, &file));
    return file.observations;
}

static const size_t steps[] = {SIZE, 1, 511, 512, 1000, 4096};

static void must_find(size_t size, enum tp_code code, size_t start, size_t end)
{
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        struct tp_observations o = found(size, steps[i], 1, 24);
        ck_assert_uint_eq(o.count, 1);
        ck_assert_int_eq(o.items[0].code, code);
        ck_assert_uint_eq(o.items[0].channel, TP_NO_CHANNEL);
        ck_assert_double_eq_tol(o.items[0].start_s, (double)(start - OFFSET) / FRAME / 48000.0, 1e-9);
        ck_assert_double_eq_tol(o.items[0].end_s, (double)(end - OFFSET) / FRAME / 48000.0, 1e-9);
        tp_observations_clear(&o);
    }
}

static void must_find_nothing(size_t size, uint32_t channels, uint32_t bits)
{
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        struct tp_observations o = found(size, steps[i], channels, bits);
        ck_assert_uint_eq(o.count, 0);
        tp_observations_clear(&o);
    }
}

static const uint8_t lost_bytes[] = {0x00, 0xFF, 0xE5};

START_TEST(sectors__lost_ones_are_found)
{
    make_room(1e-3);
    bytes[4 * 512 - 1] = bytes[9 * 512] = 0x77; /* nothing alike beside it */
    memset(bytes + 4 * 512, lost_bytes[_i], 5 * 512);
    must_find(SIZE, TP_CODE_DROPOUT, 4 * 512, 9 * 512);
    /* The last whole sector, with a few bytes behind it. */
    make_room(1e-3);
    size_t last = SIZE / 512 * 512;
    bytes[last - 513] = bytes[last] = 0x77;
    memset(bytes + last - 512, lost_bytes[_i], 512);
    must_find(last + 10, TP_CODE_DROPOUT, last - 512, last);
}
END_TEST

START_TEST(sectors__silence_elsewhere_is_no_loss)
{
    make_room(1e-3);
    must_find_nothing(SIZE, 1, 24);
    memset(bytes + 4 * 512 - 20, 0, 5 * 512 + 20); /* begins before the border */
    bytes[9 * 512] = 0x77;
    must_find_nothing(SIZE, 1, 24);
    make_room(1e-3);
    bytes[4 * 512 - 1] = 0x77;
    memset(bytes + 4 * 512, 0, 5 * 512 + 20); /* ends behind it */
    must_find_nothing(SIZE, 1, 24);
    make_room(1e-3);
    memset(bytes + 4 * 512, 0, SIZE - 4 * 512); /* to the end: a tail, told elsewhere */
    must_find_nothing(SIZE, 1, 24);
    make_room(4.0 / 8388608.0); /* hardly any sound around it */
    memset(bytes + 4 * 512, 0, 5 * 512);
    must_find_nothing(SIZE, 1, 24);
}
END_TEST

START_TEST(sectors__written_twice_through_a_sample_is_found)
{
    static const size_t counts[] = {1, 2, 5, 7, 16, 64}; /* 512 · 3 = 512 frames: threes are whole frames */
    size_t count = counts[_i];
    make_room(1e-3);
    memmove(bytes + (3 + count) * 512, bytes + 3 * 512, count * 512);
    must_find(SIZE, TP_CODE_REPEATED_BLOCK, (3 + count) * 512, (3 + 2 * count) * 512);
    /* Up to the end. */
    must_find((3 + 2 * count) * 512 + 100, TP_CODE_REPEATED_BLOCK, (3 + count) * 512, (3 + 2 * count) * 512);
}
END_TEST

/* 512 samples of 24 bits are three sectors. */
START_TEST(sectors__a_block_written_twice_is_found)
{
    make_room(1e-3);
    memmove(bytes + 6 * 512, bytes + 3 * 512, 3 * 512);
    must_find(SIZE, TP_CODE_REPEATED_BLOCK, 6 * 512, 9 * 512);
}
END_TEST

START_TEST(sectors__the_bytes_of_another_place_are_found)
{
    static const size_t counts[] = {1, 3, 5, 20};
    make_room(1e-3);
    memcpy(bytes + 100 * 512, bytes + 10 * 512, counts[_i] * 512);
    must_find(SIZE, TP_CODE_REPEATED_BLOCK, 100 * 512, (100 + counts[_i]) * 512);
}
END_TEST

/* Few values a sample, or many in one channel of four, which has every fourth sample only: no two sectors are the same,
 * though sums over their samples often are. */
START_TEST(sectors__quiet_sound_is_no_other_place)
{
    static uint8_t sound[8 << 20];
    static const double levels[] = {6.0, 9.0, 15.0, 1000.0};
    uint32_t channels = _i == 3 ? 4 : 1;
    memset(sound, 0, sizeof sound);
    for (size_t frame = 0; frame < sizeof sound / (2 * channels); frame++) {
        /* near enough to a bell curve, as room tone is */
        double sum = 0.0;
        for (uint64_t k = 0; k < 3; k++)
            sum += wavgen_random(3 * frame + k);
        int16_t sample = (int16_t)lrint(sum / 3.0 * levels[_i]);
        memcpy(sound + 2 * channels * (frame + 1) - 2, &sample, sizeof sample);
    }
    struct tp_sectors *sectors = calloc(1, sizeof *sectors);
    ck_assert_ptr_nonnull(sectors);
    struct tp_tap tap = tp_sectors_tap(sectors);
    tap.bytes(tap.user, sound, sizeof sound);
    ck_assert_uint_eq(sectors->far.count, 0);
    ck_assert_uint_eq(sectors->twice.count, 0);
    free(sectors);
}
END_TEST

/* 120 Hz is 400 samples or 1200 bytes, and so 75 sectors: the tone ends before it could repeat as a whole. */
START_TEST(sectors__a_tone_is_no_other_place)
{
    make_room(1e-3);
    for (size_t frame = 0; OFFSET + frame * FRAME < 120 * 512; frame++) {
        int32_t sample = (int32_t)(800000.0 * sin(2.0 * 3.14159265358979323846 * (double)(frame % 400) / 400.0));
        for (unsigned i = 0; i < 3; i++)
            bytes[OFFSET + frame * FRAME + i] = (uint8_t)((uint32_t)sample >> (8 * i));
    }
    must_find_nothing(SIZE, 1, 24);
}
END_TEST

/* 440 Hz on half of the channels, longer than until it repeats in whole sectors; the others
 * differ. */
START_TEST(sectors__a_tone_beside_sound_is_no_other_place)
{
    enum { CHANNELS = 8, TURN = 1200 };
    static uint8_t sound[8 * TURN * CHANNELS * 4];
    size_t width = 2 + (size_t)_i / 2; /* bytes a sample */
    for (size_t frame = 0; frame < 8 * TURN; frame++) {
        for (size_t c = 0; c < CHANNELS; c++) {
            double noise = 3e5 * wavgen_random(frame * CHANNELS + c);
            double tone = 9e6 * sin(2.0 * 3.14159265358979323846 * 11.0 * (double)(frame % TURN) / TURN);
            bool sounds = (c < CHANNELS / 2) == (_i % 2 == 0) && frame >= TURN && frame < 7 * TURN;
            uint32_t sample = (uint32_t)(int32_t)lrint((sounds ? tone : noise) * 64.0);
            for (size_t i = 0; i < width; i++)
                sound[(frame * CHANNELS + c) * width + i] = (uint8_t)(sample >> 8 * (4 - width + i));
        }
    }
    struct tp_sectors *sectors = calloc(1, sizeof *sectors);
    ck_assert_ptr_nonnull(sectors);
    struct tp_tap tap = tp_sectors_tap(sectors);
    tap.bytes(tap.user, sound, 8 * TURN * CHANNELS * width);
    ck_assert_uint_eq(sectors->far.count, 0);
    ck_assert_uint_eq(sectors->twice.count, 0);
    free(sectors);
}
END_TEST

/* A pure tone of 1 kHz in 16 bits repeats every 96 bytes, and so every three sectors. */
START_TEST(sectors__tones_are_no_repeats)
{
    static const size_t lengths[] = {SIZE, 20000, 9 * 512, 7 * 512 + 100};
    make_room(1e-3);
    for (size_t at = OFFSET; at + 1 < OFFSET + lengths[_i] && at + 1 < SIZE; at += 2) {
        int32_t sample =
            (int32_t)(8000.0 * sin(2.0 * 3.14159265358979323846 * (double)((at - OFFSET) / 2 % 48) / 48.0));
        bytes[at] = (uint8_t)((uint32_t)sample & 0xFF);
        bytes[at + 1] = (uint8_t)((uint32_t)sample >> 8);
    }
    must_find_nothing(SIZE, 1, 16);
}
END_TEST

/* Bytes of a generated sound repeat for ever, at a distance that is no multiple of the frame when the header lies. */
START_TEST(sectors__endless_repeats_are_no_damage)
{
    make_room(1e-3);
    for (size_t at = 8 * 512; at < 40 * 512; at += 512)
        memcpy(bytes + at, bytes + 7 * 512, 512);
    must_find_nothing(SIZE, 1, 24);
}
END_TEST

START_TEST(sectors__what_a_channel_tells_is_not_told_again)
{
    make_room(1e-3);
    bytes[4 * 512 - 1] = bytes[9 * 512] = 0x77;
    memset(bytes + 4 * 512, 0, 5 * 512);
    struct tp_sectors sectors = {0};
    struct tp_tap tap = tp_sectors_tap(&sectors);
    tap.bytes(tap.user, bytes, SIZE);
    struct tp_file file = {.audio_offset = OFFSET,
                           .audio_bytes = SIZE - OFFSET,
                           .channel_count = 1,
                           .bit_depth = 24,
                           .encoding = TP_ENCODING_PCM,
                           .sample_rate_hz = 48000};
    ck_assert(tp_observe(&file.observations, TP_CODE_DROPOUT, 0, 0.02, 0.025, 5.0, 0.7, NULL));
    ck_assert(tp_sectors_observe(&sectors, &file));
    ck_assert_uint_eq(file.observations.count, 1);
    tp_observations_clear(&file.observations);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("sectors");
    TCase *tcase = tcase_create("sectors");
    tcase_add_loop_test(tcase, sectors__lost_ones_are_found, 0, sizeof lost_bytes);
    tcase_add_test(tcase, sectors__silence_elsewhere_is_no_loss);
    tcase_add_loop_test(tcase, sectors__written_twice_through_a_sample_is_found, 0, 6);
    tcase_add_test(tcase, sectors__a_block_written_twice_is_found);
    tcase_add_loop_test(tcase, sectors__the_bytes_of_another_place_are_found, 0, 4);
    tcase_add_loop_test(tcase, sectors__quiet_sound_is_no_other_place, 0, 4);
    tcase_add_test(tcase, sectors__a_tone_is_no_other_place);
    tcase_add_loop_test(tcase, sectors__a_tone_beside_sound_is_no_other_place, 0, 6);
    tcase_add_loop_test(tcase, sectors__tones_are_no_repeats, 0, 4);
    tcase_add_test(tcase, sectors__endless_repeats_are_no_damage);
    tcase_add_test(tcase, sectors__what_a_channel_tells_is_not_told_again);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
