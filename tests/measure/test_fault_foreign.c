/* SPDX-License-Identifier: MIT */
/* Sectors of other bytes in a real voice and in noise: what stands out of the sound, from border to border, is found;
 * what begins or ends anywhere else is not. */
#include "base/observe.h"
#include "support/faultlab.h"
#include "support/real_voice.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, FRAMES = 2 * RATE, SECTOR = 512, CHANNEL = 1 };

static float samples[FRAMES];

static void make_noise(size_t from, size_t to, double peak_lin)
{
    for (size_t f = from; f < to; f++)
        samples[f] = (float)(peak_lin * wavgen_random(f));
}

static struct tp_observations measure(uint64_t audio_offset, uint32_t frame_bytes, size_t block)
{
    const struct faultlab_sound sound = {samples, FRAMES, RATE};
    return faultlab_faults_of(&sound, block, CHANNEL, audio_offset, frame_bytes, NULL);
}

/* Whether such a stretch was told; then `found` is it. */
static bool tells(uint64_t audio_offset, uint32_t frame_bytes, size_t block, struct tp_observation *found)
{
    struct tp_observations o = measure(audio_offset, frame_bytes, block);
    size_t count = 0;
    for (size_t i = 0; i < o.count; i++) {
        if (o.items[i].code != TP_CODE_CLICK || strstr(o.items[i].detail, "sector") == NULL)
            continue;
        count++;
        *found = o.items[i];
        found->detail = NULL;
    }
    /* The steps at its ends are no clicks of their own. */
    ck_assert_msg(count == 0 || tp_observations_count(&o, TP_CODE_CLICK) == 1, "%zu stretches, %zu clicks", count,
                  tp_observations_count(&o, TP_CODE_CLICK));
    tp_observations_clear(&o);
    return count > 0;
}

/* First frame that has a byte of this sector or of a later one. */
static size_t frame_at(size_t sector, size_t audio_offset, size_t frame_bytes)
{
    return (sector * SECTOR - audio_offset) / frame_bytes;
}

/* 24 bits, one channel: the bytes of the voice itself, of another place, one byte out of step. */
static void read_out_of_step(size_t sector, size_t count, size_t audio_offset)
{
    size_t size = FRAMES * 3;
    uint8_t *sound = calloc(size, 1), *damaged = malloc(size);
    for (size_t f = 0; f < FRAMES; f++) {
        uint32_t value = (uint32_t)(int32_t)lrintf(samples[f] * 8388607.0F);
        for (size_t i = 0; i < 3; i++)
            sound[3 * f + i] = (uint8_t)(value >> (8 * i));
    }
    memcpy(damaged, sound, size);
    size_t from = sector * SECTOR - audio_offset;
    memcpy(damaged + from, sound + from / 2 / 3 * 3 + from % 3 + 1, count * SECTOR);
    for (size_t f = 0; f < FRAMES; f++) {
        uint32_t value =
            (uint32_t)damaged[3 * f] << 8 | (uint32_t)damaged[3 * f + 1] << 16 | (uint32_t)damaged[3 * f + 2] << 24;
        samples[f] = (float)((double)(int32_t)value / 2147483648.0);
    }
    free(sound);
    free(damaged);
}

START_TEST(foreign__sectors_out_of_step_in_a_voice_are_found)
{
    static const size_t offsets[] = {44, 80, 654, 4096}, counts[] = {1, 2, 5, 32, 128};
    for (size_t o = 0; o < sizeof offsets / sizeof *offsets; o++) {
        for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
            struct real_voice voice;
            const char *why = "";
            ck_assert_msg(real_voice_load_long(FRAMES, 4800, &voice, &why), "%s", why);
            make_noise(0, FRAMES, 1e-4);
            for (size_t f = 0; f < FRAMES; f++)
                samples[f] += (float)(0.1 * voice.samples[f]);
            real_voice_clear(&voice);
            struct tp_observation found;
            ck_assert(!tells(offsets[o], 3, 4096, &found));
            size_t sector = 220 + 23 * i;
            read_out_of_step(sector, counts[i], offsets[o]);
            ck_assert_msg(tells(offsets[o], 3, 4096, &found), "%zu sectors, sound at %zu", counts[i], offsets[o]);
            ck_assert_uint_eq(found.channel, CHANNEL);
            ck_assert_double_ge(found.value, 18.0);
            ck_assert_double_eq_tol(found.start_s * RATE, (double)frame_at(sector, offsets[o], 3), 1e-6);
            ck_assert_double_eq_tol(found.end_s * RATE, (double)frame_at(sector + counts[i], offsets[o], 3), 1e-6);
        }
    }
}
END_TEST

/* Noise of this many dB over the noise around, between two frames. */
static void make_stretch(size_t start, size_t end, double over_db)
{
    make_noise(0, FRAMES, 1e-3);
    make_noise(start, end, 1e-3 * pow(10.0, over_db / 20.0));
}

START_TEST(foreign__sizes_and_places)
{
    static const uint32_t frame_bytes[] = {2, 3, 4, 6, 8, 12, 16, 18, 24, 32};
    for (size_t i = 0; i < sizeof frame_bytes / sizeof *frame_bytes; i++) {
        uint32_t size = frame_bytes[i];
        size_t least = (64 * size + SECTOR - 1) / SECTOR; /* sectors */
        size_t most = 70000 * size / SECTOR;
        for (size_t count = least; count <= most; count = count * 3 + 1) {
            size_t sector = 20000 * size / SECTOR;
            size_t start = frame_at(sector, 44, size), end = frame_at(sector + count, 44, size);
            struct tp_observation found, again;
            make_stretch(start, end, 30.0);
            ck_assert_msg(tells(44, size, 4096, &found), "%zu sectors, %u bytes a frame", count, size);
            ck_assert_double_eq_tol(found.start_s * RATE, (double)start, 1.0001);
            ck_assert_double_eq_tol(found.end_s * RATE, (double)end, 1.0001);
            ck_assert(tells(44, size, 7, &again));
            ck_assert_mem_eq(&found, &again, sizeof found);
        }
    }
}
END_TEST

START_TEST(foreign__what_is_something_else_is_not_told)
{
    size_t start = frame_at(250, 44, 6), end = frame_at(260, 44, 6);
    struct tp_observation found;
    make_stretch(start, end, 24.0);
    ck_assert(tells(44, 6, 4096, &found));
    ck_assert(!tells(44, 0, 4096, &found));  /* the place is not known */
    ck_assert(!tells(44, 36, 4096, &found)); /* sectors begin everywhere */
    ck_assert(!tells(44 + 100, 6, 4096, &found));
    make_stretch(start, end, 12.0); /* not much louder */
    ck_assert(!tells(44, 6, 4096, &found));
    make_stretch(start + 9, end, 24.0); /* one end is at no border */
    ck_assert(!tells(44, 6, 4096, &found));
    make_stretch(start, end - 9, 24.0);
    ck_assert(!tells(44, 6, 4096, &found));
    make_stretch(start, end, 24.0); /* breaks off inside */
    make_noise(start + 300, start + 500, 1e-3);
    ck_assert(!tells(44, 6, 4096, &found));
    make_stretch(start, end, 24.0); /* between digital silence */
    memset(samples, 0, start * sizeof *samples);
    memset(samples + end, 0, (FRAMES - end) * sizeof *samples);
    ck_assert(!tells(44, 6, 4096, &found));
    make_stretch(start, end, 24.0); /* dies away, as sound does */
    for (size_t f = start; f < end; f++)
        samples[f] *= (float)pow(10.0, -24.0 / 20.0 * (double)(f - start) / (double)(end - start));
    ck_assert(!tells(44, 6, 4096, &found));
    for (size_t f = start; f < end; f++) /* a whistle */
        samples[f] = (float)(0.05 * sin(0.13 * (double)(f - start)));
    ck_assert(!tells(44, 6, 4096, &found));
}
END_TEST

/* The largest floats, whose differences are beyond all numbers. */
START_TEST(foreign__extreme_numbers_do_no_harm)
{
    struct tp_observation found;
    make_stretch(frame_at(250, 44, 4), frame_at(260, 44, 4), 24.0);
    for (size_t f = frame_at(250, 44, 4); f < frame_at(260, 44, 4); f++)
        samples[f] = f % 2 != 0 ? 3e38F : -3e38F;
    if (tells(44, 4, 4096, &found))
        ck_assert(isfinite(found.value));
    for (size_t f = 0; f < FRAMES; f++)
        samples[f] = f % 2 != 0 ? 3e38F : -3e38F;
    ck_assert(!tells(44, 4, 4096, &found));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("fault_foreign");
    TCase *tests = tcase_create("fault_foreign");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, foreign__sectors_out_of_step_in_a_voice_are_found);
    tcase_add_test(tests, foreign__sizes_and_places);
    tcase_add_test(tests, foreign__what_is_something_else_is_not_told);
    tcase_add_test(tests, foreign__extreme_numbers_do_no_harm);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed > 0 || ran == 0;
}
