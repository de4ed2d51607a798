/* SPDX-License-Identifier: MIT */
/* Clip runs and flat tops. What an overload looks like is made here at 16 times the rate and decimated, as a preamp and
 * a converter do it. */
#include "measure/channel_meter.h"

#include "support/overload.h"
#include "support/real_voice.h"
#include "support/tones.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double full_scale_16 = 32767.0 / 32768.0, full_scale_24 = TONES_FULL_SCALE_24;

static void measure_one(struct measured *m, const struct plane *plane, double full_scale_lin)
{
    const float *planes[1] = {plane->samples};
    measure_planes(m, 48000, planes, 1, 0, plane->frames, full_scale_lin, 4096);
}

static void put(struct plane *plane, size_t at, size_t frames, double level)
{
    for (size_t i = at; i < at + frames; i++)
        plane->samples[i] = (float)level;
}

/* design: 3 or more consecutive samples; +full scale and -full scale differ by one code. */
START_TEST(clip__runs_are_placed_and_counted)
{
    const struct {
        double full_scale_lin, positive, negative;
    } formats[] = {{127.0 / 128.0, 127.0 / 128.0, -1.0},
                   {full_scale_16, full_scale_16, -1.0},
                   {full_scale_24, full_scale_24, -1.0},
                   {2147483647.0 / 2147483648.0, 1.0, -1.0}, /* as a float: on full scale */
                   {1.0, 1.0, -1.0},
                   {1.0, 1.7, -1.7}};
    for (size_t f = 0; f < sizeof formats / sizeof *formats; f++) {
        struct plane plane = tones_noise(f, 0.5, 30001);
        put(&plane, 100, 3, formats[f].positive);
        put(&plane, 200, 2, formats[f].positive); /* too short */
        put(&plane, 300, 5, formats[f].negative);
        put(&plane, 12280, 50, formats[f].positive); /* over the edge of a chunk */
        put(&plane, 29998, 3, formats[f].negative);  /* to the very end */
        put(&plane, 20000, 2, formats[f].positive);
        put(&plane, 20002, 2, formats[f].negative); /* one run of both signs */
        struct measured m;
        measure_one(&m, &plane, formats[f].full_scale_lin);
        const struct tp_channel *channel = &m.channels[0];
        ck_assert_uint_eq(channel->clip_runs, 5);
        ck_assert_uint_eq(channel->clipped_samples, 3 + 5 + 50 + 4 + 3);
        ck_assert_uint_eq(channel->longest_clip_run, 50);
        ck_assert_uint_eq(channel->clip_count, 5);
        const struct tp_clip_run expected[5] = {{100, 3, 0}, {300, 5, 0}, {12280, 50, 0}, {20000, 4, 0}, {29998, 3, 0}};
        for (size_t i = 0; i < 5; i++) {
            ck_assert_uint_eq(channel->clips[i].start_frame, expected[i].start_frame);
            ck_assert_uint_eq(channel->clips[i].frames, expected[i].frames);
        }
        ck_assert_double_eq_tol(channel->clips[0].level_dbfs, 20.0 * log10(formats[f].positive), 1e-6);
        /* guards of 10 ms: the first two join, and are cut at the beginning */
        ck_assert_uint_eq(channel->damage.count, 4);
        ck_assert_uint_eq(channel->damage.items[0].start_frame, 0);
        ck_assert_uint_eq(channel->damage.items[0].end_frame, 305 + 480);
        ck_assert_uint_eq(channel->damage.items[3].end_frame, 30001);
        ck_assert_uint_eq(channel->flat_top_runs, 0);
        measured_clear(&m);
        plane_free(&plane);
    }
}
END_TEST

START_TEST(clip__one_code_under_full_scale_is_not_clipped)
{
    const struct {
        double full_scale_lin, code;
    } formats[] = {{full_scale_16, 1.0 / 32768.0}, {full_scale_24, 1.0 / 8388608.0}, {1.0, 1.0 / 16777216.0}};
    for (size_t f = 0; f < 3; f++) {
        struct plane plane = tones_noise(7, 0.5, 20000);
        put(&plane, 5000, 100, formats[f].full_scale_lin - formats[f].code);
        put(&plane, 6000, 100, -formats[f].full_scale_lin + formats[f].code);
        struct measured m;
        measure_one(&m, &plane, formats[f].full_scale_lin);
        ck_assert_uint_eq(m.channels[0].clip_runs, 0);
        ck_assert_uint_eq(m.channels[0].clipped_samples, 0);
        measured_clear(&m);
        plane_free(&plane);
    }
}
END_TEST

/* With the hiss of a preamp, which keeps neighbouring samples apart as in any recording; the largest sample at `top`.
 */
static struct plane voice_with_hiss(size_t index, double top)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load(index, &voice, &why), "%s", why);
    struct plane plane = plane_new(voice.frames);
    double largest = 0.0;
    for (size_t i = 0; i < voice.frames; i++)
        largest = fmax(largest, fabs(voice.samples[i]));
    for (size_t i = 0; i < voice.frames; i++)
        plane.samples[i] = (float)(top * (voice.samples[i] / largest + overload_hiss(i, 1e-4)));
    real_voice_clear(&voice);
    return plane;
}

/* A voice that only float can hold: nothing of it is lost, and nothing may be spliced over. Cut off at a level, it is
 * damaged as in any format. `level`: of the largest sample. */
START_TEST(clip__float_beyond_full_scale_is_whole_until_it_is_cut_off)
{
    static const double levels_db[] = {1.0, 3.0, 6.0, 20.0};
    for (size_t l = 0; l < 4; l++) {
        struct plane plane = voice_with_hiss((size_t)_i, pow(10.0, levels_db[l] / 20.0));
        struct measured m;
        measure_one(&m, &plane, 1.0);
        const struct tp_channel *whole = &m.channels[0];
        ck_assert_msg(whole->whole_clip_runs == whole->clip_runs && whole->damage.count == 0,
                      "%s at %+.0f dB: %llu of %llu runs are whole", real_voice_name((size_t)_i), levels_db[l],
                      (unsigned long long)whole->whole_clip_runs, (unsigned long long)whole->clip_runs);
        uint64_t beyond = whole->clip_runs;
        measured_clear(&m);
        /* The same, cut off in front of the converter at full scale or 1 dB under the top, whichever is higher. */
        float ceiling = fmaxf(1.0f, (float)pow(10.0, (levels_db[l] - 1.0) / 20.0));
        for (size_t i = 0; i < plane.frames; i++)
            plane.samples[i] = fmaxf(-ceiling, fminf(ceiling, plane.samples[i]));
        measure_one(&m, &plane, 1.0);
        ck_assert_msg(m.channels[0].clip_runs > m.channels[0].whole_clip_runs || beyond == 0, "%s cut off at %.2f",
                      real_voice_name((size_t)_i), (double)ceiling);
        measured_clear(&m);
        plane_free(&plane);
    }
    /* Overloaded before a converter whose low-pass rounds the edges, the ceiling at +3 dBFS. */
    struct plane plane = overload_voice((size_t)_i, 2.0, 0.7);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] *= 2.0f;
    struct measured m;
    measure_one(&m, &plane, 1.0);
    ck_assert_msg(m.channels[0].clip_runs > m.channels[0].whole_clip_runs, "%s: all %llu runs are called whole",
                  real_voice_name((size_t)_i), (unsigned long long)m.channels[0].clip_runs);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* Bytes that were no float before one of them was lost: numbers of any size, all finite. */
START_TEST(clip__numbers_beyond_any_sound_are_damage)
{
    struct plane plane = tones_noise(1, 0.1, 48000);
    for (size_t i = 20000; i < 20400; i++)
        plane.samples[i] = (float)(wavgen_random(i) * pow(10.0, 5.0 + 30.0 * fabs(wavgen_random(i + 1))));
    struct measured m;
    measure_one(&m, &plane, 1.0);
    ck_assert_uint_gt(m.channels[0].clip_runs, 0);
    ck_assert_uint_eq(m.channels[0].whole_clip_runs, 0);
    ck_assert_uint_gt(m.channels[0].damage.count, 0);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* 16-bit sound in a 24-bit file: +32767/32768 is its full scale, which only the end of the file can tell. */
START_TEST(clip__padded_bits_have_their_own_full_scale)
{
    struct plane plane = plane_new(40000);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = (float)(nearbyint(0.4 * wavgen_random(i) * 32768.0) / 32768.0);
    put(&plane, 1000, 10, full_scale_16);
    put(&plane, 30000, 4, -1.0);
    const float *planes[1] = {plane.samples};
    for (int padded = 0; padded < 2; padded++) {
        struct tp_channel_meter *meter = tp_channel_meter_new(48000, full_scale_24);
        struct measured m = {.channel_count = 1};
        ck_assert_ptr_nonnull(meter);
        tp_channel_meter_push(meter, planes[0], plane.frames);
        ck_assert(
            tp_channel_meter_finish(meter, padded ? full_scale_16 : full_scale_24, 0, &m.channels[0], &m.observations));
        ck_assert_uint_eq(m.channels[0].clip_runs, padded ? 2 : 1);
        ck_assert_uint_eq(m.channels[0].clipped_samples, padded ? 14 : 4);
        tp_channel_meter_free(meter);
        measured_clear(&m);
    }
    plane_free(&plane);
}
END_TEST

START_TEST(clip__counts_go_on_past_the_list)
{
    struct plane plane = plane_new(400000);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = i % 40 < 5 ? (float)full_scale_24 : -0.25f;
    put(&plane, 200000, 30, full_scale_24);
    struct measured m;
    measure_one(&m, &plane, full_scale_24);
    ck_assert_uint_eq(m.channels[0].clip_runs, 10000 - 0);
    ck_assert_uint_eq(m.channels[0].clip_count, TP_CLIPS_MAX);
    ck_assert_uint_eq(m.channels[0].longest_clip_run, 30);
    bool listed = false;
    for (size_t i = 0; i < m.channels[0].clip_count; i++)
        listed = listed || m.channels[0].clips[i].start_frame == 200000;
    ck_assert(listed);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* A crest between samples over 0 dBTP without any sample at full scale: EBU Tech 3341 case 19. */
START_TEST(clip__inter_sample_over_is_not_a_clip)
{
    struct plane plane = tones_sine(48000, 4, 45.0, 1.41, 1.0, 0.01);
    struct measured m;
    measure_one(&m, &plane, full_scale_24);
    ck_assert_uint_eq(m.channels[0].clip_runs, 0);
    ck_assert_double_gt(m.channels[0].true_peak_dbtp, 2.6);
    ck_assert_double_lt(m.channels[0].sample_peak_dbfs, 0.0);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* --- flat tops --- */

START_TEST(flat_top__overloaded_voice_is_found)
{
    const double ceilings_db[] = {-3.0, -12.0};
    for (size_t c = 0; c < 2; c++) {
        struct plane plane = overload_voice((size_t)_i, 4.0, pow(10.0, ceilings_db[c] / 20.0));
        struct measured m;
        measure_one(&m, &plane, full_scale_24);
        ck_assert_uint_eq(m.channels[0].clip_runs, 0);
        ck_assert_msg(m.channels[0].flat_top_runs >= 3, "%s, ceiling %.0f dBFS: %llu flat tops",
                      real_voice_name((size_t)_i), ceilings_db[c], (unsigned long long)m.channels[0].flat_top_runs);
        ck_assert_double_eq_tol(m.channels[0].flat_tops[0].level_dbfs, ceilings_db[c], 0.3);
        ck_assert_uint_gt(m.channels[0].damage.count, 0);
        measured_clear(&m);
        plane_free(&plane);
    }
}
END_TEST

static uint64_t flat_tops_of(const struct plane *plane, double full_scale_lin)
{
    struct measured m;
    measure_one(&m, plane, full_scale_lin);
    uint64_t runs = m.channels[0].flat_top_runs;
    measured_clear(&m);
    return runs;
}

/* Recordings as they are, and at every gain that keeps them under full scale. */
START_TEST(flat_top__real_voices_are_left_alone)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load((size_t)_i, &voice, &why), "%s", why);
    struct plane plane = plane_new(voice.frames);
    for (int step = 0; step < 5; step++) {
        for (size_t i = 0; i < plane.frames; i++)
            plane.samples[i] = (float)(nearbyint(voice.samples[i] * pow(0.5, step) * 32768.0) / 32768.0);
        ck_assert_uint_eq(flat_tops_of(&plane, full_scale_16), 0);
    }
    plane_free(&plane);
    real_voice_clear(&voice);
}
END_TEST

/* Tones of every pitch and level, as 16 and 24 bit: crests of slow or low tones are staircases of equal samples. */
START_TEST(flat_top__tones_are_left_alone)
{
    const double hz[] = {20, 50, 100, 333, 440, 1000, 3000, 6000, 8000, 12000};
    for (size_t h = 0; h < sizeof hz / sizeof *hz; h++)
        for (int level_db = -1; level_db > -70; level_db -= 6) {
            struct plane plane = tones_sine(48000, 48000.0 / hz[h], 17.0, pow(10.0, level_db / 20.0), 0.5, 0.0);
            ck_assert_msg(flat_tops_of(&plane, full_scale_24) == 0, "%.0f Hz at %d dBFS", hz[h], level_db);
            for (size_t i = 0; i < plane.frames; i++)
                plane.samples[i] = nearbyintf(plane.samples[i] * 32768.0f) / 32768.0f;
            ck_assert_msg(flat_tops_of(&plane, full_scale_16) == 0, "%.0f Hz at %d dBFS, 16 bit", hz[h], level_db);
            plane_free(&plane);
        }
}
END_TEST

/* A voice whose crests are broad but rounded, each of another height. */
START_TEST(flat_top__square_ish_voice_is_left_alone)
{
    struct plane plane = plane_new(96000);
    for (size_t i = 0; i < plane.frames; i++) {
        double t = (double)i / 48000.0, level = 0.5 + 0.1 * sin(2.0 * t) + 0.02 * sin(31.0 * t);
        plane.samples[i] =
            (float)tones_round24(level * tanh(2.5 * sin(6.2831853 * 140.0 * t)) + overload_hiss(i, 1e-4));
    }
    ck_assert_uint_eq(flat_tops_of(&plane, full_scale_24), 0);
    /* and of one height: a soft saturation that still curves */
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = (float)tones_round24(0.5 * tanh(1.5 * sin(6.2831853 * 140.0 * (double)i / 48000.0)));
    ck_assert_uint_eq(flat_tops_of(&plane, full_scale_24), 0);
    plane_free(&plane);
}
END_TEST

/* A peak limiter: the gain falls at once so that no sample passes the ceiling, and recovers over 50 ms. Crests touch
 * the ceiling again and again, but they stay round. */
START_TEST(flat_top__limited_voice_is_left_alone)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load((size_t)_i, &voice, &why), "%s", why);
    enum { AHEAD = 48 };
    struct plane plane = plane_new(voice.frames - AHEAD);
    double gain = 1.0, ceiling = pow(10.0, -3.0 / 20.0);
    for (size_t i = 0; i < plane.frames; i++) {
        double need = 1.0;
        for (size_t k = 0; k < AHEAD; k++)
            need = fmin(need, ceiling / fmax(ceiling, 6.0 * fabs(voice.samples[i + k])));
        gain = need < gain ? fmax(need, gain - gain / AHEAD * 4.0) : fmin(need, gain + 1.0 / 2400.0);
        gain = fmin(gain, ceiling / fmax(ceiling, 6.0 * fabs(voice.samples[i])));
        plane.samples[i] = (float)tones_round24(6.0 * gain * voice.samples[i]);
    }
    ck_assert_uint_eq(flat_tops_of(&plane, full_scale_24), 0);
    plane_free(&plane);
    real_voice_clear(&voice);
}
END_TEST

START_TEST(flat_top__noise_is_left_alone)
{
    for (uint64_t seed = 0; seed < 8; seed++) {
        struct plane plane = tones_noise(seed, pow(10.0, -(double)seed / 4.0), 480000);
        ck_assert_uint_eq(flat_tops_of(&plane, full_scale_24), 0);
        plane_free(&plane);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("clip");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, clip__runs_are_placed_and_counted);
    tcase_add_test(tcase, clip__one_code_under_full_scale_is_not_clipped);
    tcase_add_test(tcase, clip__padded_bits_have_their_own_full_scale);
    tcase_add_test(tcase, clip__counts_go_on_past_the_list);
    tcase_add_test(tcase, clip__inter_sample_over_is_not_a_clip);
    tcase_add_loop_test(tcase, clip__float_beyond_full_scale_is_whole_until_it_is_cut_off, 0, REAL_VOICE_COUNT);
    tcase_add_test(tcase, clip__numbers_beyond_any_sound_are_damage);
    tcase_add_loop_test(tcase, flat_top__overloaded_voice_is_found, 0, REAL_VOICE_COUNT);
    tcase_add_loop_test(tcase, flat_top__real_voices_are_left_alone, 0, REAL_VOICE_COUNT);
    tcase_add_test(tcase, flat_top__tones_are_left_alone);
    tcase_add_test(tcase, flat_top__square_ish_voice_is_left_alone);
    tcase_add_loop_test(tcase, flat_top__limited_voice_is_left_alone, 0, REAL_VOICE_COUNT);
    tcase_add_test(tcase, flat_top__noise_is_left_alone);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 12;
    srunner_free(runner);
    return failed ? 1 : 0;
}
