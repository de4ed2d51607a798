/* SPDX-License-Identifier: MIT */
/* Holds the important rows of the tables that `make fault-tables` prints. */
#include "base/observe.h"
#include "support/faultlab.h"
#include "support/real_voice.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TRIALS 3

START_TEST(fault__every_seeded_fault_of_a_sure_size_is_found)
{
    const struct faultlab_fault *fault = &faultlab_faults[_i];
    struct faultlab_sound base = fault->in_dialogue ? faultlab_dialogue(-20.0, -65.0, 3, 20.0) : faultlab_voices();
    struct faultlab_sound trial = base;
    trial.samples = faultlab_must(malloc(base.frames * sizeof(float)));
    struct faultlab_seeder seeder = {(uint32_t)_i + 100};
    for (int t = 0; t < TRIALS; t++) {
        memcpy(trial.samples, base.samples, base.frames * sizeof(float));
        size_t at = (size_t)((0.15 + 0.6 * faultlab_chance(&seeder)) * (double)base.frames);
        fault->seed(&trial, at, fault->sure, &seeder);
        faultlab_quantise(&trial, 24);
        struct tp_observations o = faultlab_measure(&trial, NULL);
        ck_assert_msg(faultlab_found(&o, fault, (double)at / trial.rate_hz), "%s of %g %s at %.4f s is missed",
                      fault->name, fault->sure, fault->unit, (double)at / trial.rate_hz);
        tp_observations_clear(&o);
    }
    free(trial.samples);
    free(base.samples);
}
END_TEST

static void expect_none(const struct faultlab_sound *sound, const char *name)
{
    struct tp_observations o = faultlab_measure(sound, NULL);
    ck_assert_msg(o.count == 0, "%s: %s", name, o.count > 0 && o.items[0].detail ? o.items[0].detail : "");
    tp_observations_clear(&o);
}

START_TEST(fault__clean_voices_and_dialogue_raise_nothing)
{
    for (size_t i = 0; i < REAL_VOICE_COUNT; i++) {
        struct real_voice voice;
        const char *why = "";
        ck_assert_msg(real_voice_load(i, &voice, &why), "%s", why);
        struct faultlab_sound sound = {faultlab_must(malloc(voice.frames * sizeof(float))), voice.frames, 48000};
        for (size_t f = 0; f < voice.frames; f++)
            sound.samples[f] = (float)voice.samples[f];
        expect_none(&sound, voice.name);
        free(sound.samples);
        real_voice_clear(&voice);
    }
    static const double levels_dbfs[] = {-20.0, -40.0};
    for (size_t i = 0; i < 2; i++) {
        struct faultlab_sound sound = faultlab_dialogue(levels_dbfs[i], -70.0, 40 + i, 90.0);
        faultlab_quantise(&sound, i == 0 ? 24 : 16);
        expect_none(&sound, "generated dialogue");
        free(sound.samples);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("fault_seeded");
    TCase *tests = tcase_create("fault_seeded");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, fault__every_seeded_fault_of_a_sure_size_is_found, 0, (int)faultlab_fault_count);
    tcase_add_test(tests, fault__clean_voices_and_dialogue_raise_nothing);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed > 0 || ran == 0;
}
