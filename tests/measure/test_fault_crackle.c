/* SPDX-License-Identifier: MIT */
/* Bursts as of a bad contact in a real voice and in noise: what is white and abrupt at both ends is found; what dies
 * away, as struck things do, or is no noise, is not. */
#include "base/observe.h"
#include "support/faultlab.h"
#include "support/real_voice.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, FRAMES = 4 * RATE, PLACES = 8 };

static float samples[FRAMES];

static size_t place_of(size_t i)
{
    return 20000 + i * 21000 + (size_t)(9000.0 * fabs(wavgen_random(i + 5)));
}

static void make_room(uint64_t seed)
{
    for (size_t f = 0; f < FRAMES; f++)
        samples[f] = (float)(1e-3 * wavgen_random(seed * FRAMES + f));
}

static void make_voice(void)
{
    struct real_voice voice;
    const char *why = "";
    ck_assert_msg(real_voice_load_long(FRAMES, 4800, &voice, &why), "%s", why);
    make_room(3);
    for (size_t f = 0; f < FRAMES; f++)
        samples[f] = (float)(0.03 * voice.samples[f] + 0.1 * (double)samples[f]);
    real_voice_clear(&voice);
}

static void make_burst(size_t at, size_t frames, double peak_lin)
{
    for (size_t f = at; f < at + frames; f++)
        samples[f] = (float)(peak_lin * wavgen_random(7777777 + f));
}

static struct tp_observations measure(uint32_t rate_hz, size_t block)
{
    return faultlab_faults_of(&(struct faultlab_sound){samples, FRAMES, rate_hz}, block, 0, 0, 0, NULL);
}

static bool is_crackle(const struct tp_observation *o)
{
    return o->code == TP_CODE_CLICK && strstr(o->detail, "crackle") != NULL;
}

static size_t count_crackles(uint32_t rate_hz)
{
    struct tp_observations o = measure(rate_hz, 4096);
    size_t count = 0;
    for (size_t i = 0; i < o.count; i++)
        count += is_crackle(&o.items[i]);
    tp_observations_clear(&o);
    return count;
}

/* Which bursts were found; whatever was, is one of them, to three frames, and nothing else is told there. */
static size_t count_found(size_t frames)
{
    struct tp_observations o = measure(RATE, 4096);
    size_t found = 0;
    for (size_t p = 0; p < PLACES; p++) {
        double start = (double)place_of(p), end = start + (double)frames;
        size_t here = 0;
        for (size_t i = 0; i < o.count; i++) {
            const struct tp_observation *told = &o.items[i];
            if (told->start_s * RATE > end + 100.0 || told->end_s * RATE < start - 100.0)
                continue;
            here++;
            if (!is_crackle(told))
                continue;
            found++;
            ck_assert_double_eq_tol(told->start_s * RATE, start, 3.001);
            ck_assert_double_eq_tol(told->end_s * RATE, end, 3.001);
            ck_assert_double_ge(told->value, told->limit);
        }
        ck_assert_uint_le(here, 1);
    }
    for (size_t i = 0; i < o.count; i++)
        found += is_crackle(&o.items[i]) ? 100 : 0;
    tp_observations_clear(&o);
    ck_assert_uint_eq(found % 100, found / 100); /* none at any other place */
    return found % 100;
}

/* -8 dBFS peak. Of single ones a few may end too softly by chance. */
START_TEST(crackle__bursts_are_found)
{
    static const size_t lengths[] = {12, 30, 40, 100, 200, 480, 1000, 1900};
    for (int kind = 0; kind < 2; kind++)
        for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
            if (kind == 0)
                make_room(i);
            else
                make_voice();
            ck_assert_uint_eq(count_crackles(RATE), 0);
            for (size_t p = 0; p < PLACES; p++)
                make_burst(place_of(p), lengths[i], 0.4);
            size_t found = count_found(lengths[i]);
            ck_assert_msg(found >= PLACES - 2, "%s: %zu of %d bursts of %zu", kind == 0 ? "room" : "voice", found,
                          PLACES, lengths[i]);
        }
}
END_TEST

START_TEST(crackle__does_not_depend_on_the_blocks)
{
    make_room(1);
    for (size_t p = 0; p < PLACES; p++)
        make_burst(place_of(p), 30 << p % 6, 0.4);
    struct tp_observations a = measure(RATE, 4096), b = measure(RATE, 7);
    ck_assert_uint_ge(a.count, PLACES - 2);
    ck_assert_uint_eq(a.count, b.count);
    for (size_t i = 0; i < a.count; i++)
        ck_assert(a.items[i].start_s == b.items[i].start_s && a.items[i].end_s == b.items[i].end_s);
    tp_observations_clear(&a);
    tp_observations_clear(&b);
}
END_TEST

/* A clap of sticks or a cup put down: begins as abruptly, of all colours, and dies away, fast or slowly. */
START_TEST(crackle__what_dies_away_is_none)
{
    static const double decays_frames[] = {6, 8, 12, 20, 40, 80, 200, 500, 2000};
    for (size_t i = 0; i < sizeof decays_frames / sizeof *decays_frames; i++)
        for (uint64_t seed = 0; seed < 6; seed++) {
            make_room(seed);
            for (size_t p = 0; p < PLACES; p++)
                for (size_t f = 0; f < 12000 && place_of(p) + f < FRAMES; f++)
                    samples[place_of(p) + f] += (float)(0.7 * exp(-(double)f / decays_frames[i]) *
                                                        wavgen_random(seed * 1000003 + p * 12000 + f));
            ck_assert_msg(count_crackles(RATE) == 0, "dies away in %g frames", decays_frames[i]);
        }
}
END_TEST

START_TEST(crackle__what_is_something_else_is_not_told)
{
    make_room(2);
    for (size_t p = 0; p < PLACES; p++)
        make_burst(place_of(p), 200, 0.4);
    ck_assert_uint_ge(count_crackles(RATE), PLACES - 1);
    ck_assert_uint_eq(count_crackles(16000), 0); /* a voice's own noises are white there */
    make_room(2);
    for (size_t p = 0; p < PLACES; p++)
        make_burst(place_of(p), 200, 0.008); /* not much louder */
    ck_assert_uint_eq(count_crackles(RATE), 0);
    make_room(2);
    for (size_t p = 0; p < PLACES; p++)
        make_burst(place_of(p), 4000, 0.4); /* longer than a crackle */
    ck_assert_uint_eq(count_crackles(RATE), 0);
    make_room(2);
    for (size_t p = 0; p < PLACES; p++)
        for (size_t f = 0; f < 1000; f++) /* a whistle cut off */
            samples[place_of(p) + f] = (float)(0.3 * sin(0.3 * (double)f));
    ck_assert_uint_eq(count_crackles(RATE), 0);
    memset(samples, 0, sizeof samples); /* in digital silence anything would stand out */
    for (size_t p = 0; p < PLACES; p++)
        make_burst(place_of(p), 200, 0.4);
    ck_assert_uint_eq(count_crackles(RATE), 0);
    for (size_t f = 0; f < FRAMES; f++) /* the largest floats, whose differences are beyond all numbers */
        samples[f] = f / 200 % 30 == 0 ? (f % 2 != 0 ? 3e38F : -3e38F) : (float)wavgen_random(f);
    ck_assert_uint_eq(count_crackles(RATE), 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("fault_crackle");
    TCase *tests = tcase_create("fault_crackle");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, crackle__bursts_are_found);
    tcase_add_test(tests, crackle__does_not_depend_on_the_blocks);
    tcase_add_test(tests, crackle__what_dies_away_is_none);
    tcase_add_test(tests, crackle__what_is_something_else_is_not_told);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed > 0 || ran == 0;
}
