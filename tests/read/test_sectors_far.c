/* SPDX-License-Identifier: MIT */
#include "read/sectors_far.h"

#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { OFFSET = 44 };
#define PI 3.14159265358979323846

static const struct format {
    enum tp_encoding encoding;
    uint32_t bits, channels;
} formats[] = {{TP_ENCODING_PCM, 8, 1},    {TP_ENCODING_PCM, 16, 1},   {TP_ENCODING_PCM, 16, 2},
               {TP_ENCODING_PCM, 24, 1},   {TP_ENCODING_PCM, 24, 8},   {TP_ENCODING_PCM, 32, 2},
               {TP_ENCODING_FLOAT, 32, 1}, {TP_ENCODING_FLOAT, 32, 6}, {TP_ENCODING_FLOAT, 64, 2}};
enum { FORMATS = sizeof formats / sizeof *formats };

static void put(uint8_t *bytes, double sample, const struct format *format)
{
    if (format->encoding == TP_ENCODING_FLOAT && format->bits == 32) {
        float value = (float)sample;
        memcpy(bytes, &value, sizeof value);
    } else if (format->encoding == TP_ENCODING_FLOAT) {
        memcpy(bytes, &sample, sizeof sample);
    } else {
        int64_t value = (int64_t)lrint(ldexp(sample, (int)format->bits - 1)) + (format->bits == 8 ? 128 : 0);
        for (uint32_t i = 0; i < format->bits / 8; i++)
            bytes[i] = (uint8_t)(value >> (8 * i));
    }
}

/* Sector 5 of a file that begins with the sound's first frame at OFFSET. A third of full scale. */
static struct tp_sector_far_run run_of(const struct format *format, double (*sound)(uint64_t frame, uint32_t channel))
{
    struct tp_sector_far_run run = {.start = 5, .end = 9, .lag = 4};
    size_t sample_bytes = format->bits / 8, frame_bytes = sample_bytes * format->channels;
    for (uint64_t at = OFFSET, frame = 0; at < 7 * 512; frame++)
        for (uint32_t channel = 0; channel < format->channels; channel++, at += sample_bytes) {
            uint8_t sample[8];
            put(sample, sound(frame, channel) / 3.0, format);
            for (size_t i = 0; i < sample_bytes; i++)
                if (at + i >= 5 * 512 && at + i < 6 * 512)
                    run.bytes[at + i - 5 * 512] = sample[i];
        }
    ck_assert_uint_gt(frame_bytes, 0);
    return run;
}

static struct tp_file file_of(const struct format *format)
{
    return (struct tp_file){.audio_offset = OFFSET,
                            .audio_bytes = 100 * 512,
                            .encoding = format->encoding,
                            .bit_depth = format->bits,
                            .channel_count = format->channels,
                            .sample_rate_hz = 48000};
}

static double noise(uint64_t frame, uint32_t channel)
{
    return wavgen_random(frame * 64 + channel);
}

static double tone(uint64_t frame, uint32_t channel)
{
    return channel == 1 ? 0.0 : sin(2.0 * PI * 440.0 * (double)frame / 48000.0);
}

/* A room as microphones hear it: mostly below 500 Hz, 60 dB below full scale. */
static double rumble(uint64_t frame, uint32_t channel)
{
    double sum = 0.0;
    for (uint64_t i = 0; i < 96; i++)
        sum += wavgen_random((frame + i) * 64 + channel);
    return 0.003 * sum / 96.0;
}

START_TEST(sectors_far__sound_is_damage_and_a_tone_is_not)
{
    struct tp_file file = file_of(&formats[_i]);
    struct tp_sector_far_run run = run_of(&formats[_i], noise);
    ck_assert(tp_sectors_far_is_damage(&run, &file));
    run = run_of(&formats[_i], tone);
    ck_assert(!tp_sectors_far_is_damage(&run, &file));
    if (formats[_i].bits >= 24) {
        run = run_of(&formats[_i], rumble);
        ck_assert(tp_sectors_far_is_damage(&run, &file));
    }
}
END_TEST

START_TEST(sectors_far__what_goes_on_repeats_by_itself)
{
    struct tp_file file = file_of(&formats[3]);
    struct tp_sector_far_run run = run_of(&formats[3], noise);
    run.end = run.start + run.lag + 1;
    ck_assert(!tp_sectors_far_is_damage(&run, &file));
    run.lag = 10000;
    run.end = run.start + 5000;
    ck_assert(!tp_sectors_far_is_damage(&run, &file));
}
END_TEST

START_TEST(sectors_far__a_slot_gives_its_latest_sector)
{
    static struct tp_sectors_far far;
    uint64_t key = UINT64_C(0xC123456789ABCDEF), other = key ^ UINT64_C(1) << 40, apart = key ^ UINT64_C(1) << 60;
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 10, key), 0);
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 17, apart), 0);
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 20, key), 10);
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 26, key), 6);
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 30, other), 0); /* takes the slot */
    ck_assert_uint_eq(tp_sectors_far_lag(&far, 40, key), 0);
    ck_assert_uint_eq(tp_sectors_far_lag(&far, (UINT64_C(1) << 24) + 5, key), (1 << 24) + 5 - 40);
}
END_TEST

START_TEST(sectors_far__runs_bridge_a_gap_and_are_bounded)
{
    static struct tp_sectors_far far;
    uint8_t sector[512] = {7};
    tp_sectors_far_take(&far, 100, 50, sector);
    tp_sectors_far_take(&far, 101, 50, sector);
    tp_sectors_far_take(&far, 105, 50, sector);
    ck_assert_uint_eq(far.count, 1);
    ck_assert_uint_eq(far.items[0].end, 106);
    ck_assert_int_eq(far.items[0].bytes[0], 7);
    tp_sectors_far_take(&far, 106, 51, sector);
    tp_sectors_far_take(&far, 120, 51, sector);
    ck_assert_uint_eq(far.count, 3);
    for (uint64_t number = 200; number < 1000; number += 10)
        tp_sectors_far_take(&far, number, 51, sector);
    ck_assert_uint_eq(far.count, TP_SECTOR_FAR_MAX);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("sectors_far");
    TCase *tcase = tcase_create("sectors_far");
    tcase_add_loop_test(tcase, sectors_far__sound_is_damage_and_a_tone_is_not, 0, FORMATS);
    tcase_add_test(tcase, sectors_far__what_goes_on_repeats_by_itself);
    tcase_add_test(tcase, sectors_far__a_slot_gives_its_latest_sector);
    tcase_add_test(tcase, sectors_far__runs_bridge_a_gap_and_are_bounded);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
