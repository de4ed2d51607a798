/* SPDX-License-Identifier: MIT */
/*
 * Real speech through the whole program: ALSA's sample recordings as they are, and pairs made from them with known
 * offset, lag and polarity, clean and damaged.
 */
#include "support/checked.h"
#include "support/real_voice.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LAG_ROOM 64

static char *scratch;
static struct real_voice voice, other_voice;

static void load(void)
{
    const char *why;
    scratch = scratch_new();
    ck_assert_msg(real_voice_load_long(9 * 48000, 14400, &voice, &why), "%s", why);
    ck_assert_msg(real_voice_load(4, &other_voice, &why), "%s", why);
}

static void unload(void)
{
    real_voice_clear(&voice);
    real_voice_clear(&other_voice);
    scratch_remove(scratch);
}

START_TEST(real_voice__recordings_of_16_bit_fail_for_that_alone_of_format)
{
    struct checked checked;
    checked_source(&checked, REAL_VOICE_FOLDER);
    ck_assert_msg(checked.report != NULL, "%s", checked.run.err);
    ck_assert_int_eq(checked.run.exit_status, 2);
    for (size_t i = 0; i < REAL_VOICE_COUNT; i++) {
        const char *name = real_voice_name(i);
        const json_t *take = checked_take(&checked, name), *file = checked_file(&checked, name);
        ck_assert_msg(take && file, "no '%s'", name);
        ck_assert_msg(checked_finding(take, "wrong-bit-depth", "fail") != NULL, "%s: no wrong-bit-depth", name);
        size_t k;
        json_t *finding;
        json_array_foreach(json_object_get(take, "findings"), k, finding)
            ck_assert_msg(strcmp(checked_text(finding, "severity"), "fail") != 0 ||
                              strcmp(checked_text(finding, "code"), "wrong-bit-depth") == 0,
                          "%s fails for %s: %s", name, checked_text(finding, "code"), checked_text(finding, "message"));
        const json_t *channel = json_array_get(json_object_get(file, "channels"), 0);
        ck_assert_double_eq(checked_number(channel, "clipped_samples"), 0.0);
        ck_assert_double_eq(checked_number(channel, "clip_runs"), 0.0);
        ck_assert_msg(!isnan(checked_number(channel, "integrated_lufs")), "%s: no loudness", name);
        ck_assert_msg(!isnan(checked_number(channel, "working_level_dbfs")), "%s: no working level", name);
        ck_assert_double_eq(checked_number(file, "effective_bits"), 16.0);
    }
    checked_clear(&checked);
}
END_TEST

/* How a pair is made: samples of the main = voice x gain; of the safety = the same `below_db` lower, `lag` later. */
struct pair {
    const char *name;
    double gain_db, below_db;
    int lag;
    bool inverted, main_dead, safety_dead, unrelated;
    const char *use;
    int channel; /* to use, 1-based; 0 = none */
    const char *must;
};

static double hiss(uint64_t n, unsigned channel)
{
    return 3e-6 * wavgen_random(n * 2 + channel + 900);
}

static double room(int64_t n)
{
    return 5e-4 * wavgen_random((uint64_t)(n + LAG_ROOM));
}

static double heard(int64_t n)
{
    double x = n >= 0 && n < (int64_t)voice.frames ? voice.samples[n] : 0.0;
    return x + room(n);
}

static double safety_of(const struct pair *p, int64_t n)
{
    if (p->safety_dead)
        return 0.0;
    double gain = pow(10.0, (p->gain_db - p->below_db) / 20.0) * (p->inverted ? -1.0 : 1.0);
    if (p->unrelated)
        return gain * (other_voice.samples[(uint64_t)n % other_voice.frames] + room(n + 7777777)) +
               hiss((uint64_t)n, 1);
    return gain * heard(n - p->lag) + hiss((uint64_t)n, 1);
}

static void write_pair(const char *folder, const struct pair *p)
{
    double *both = malloc(sizeof *both * voice.frames * 2);
    ck_assert_ptr_nonnull(both);
    for (size_t n = 0; n < voice.frames; n++) {
        double main = pow(10.0, p->gain_db / 20.0) * heard((int64_t)n) + hiss(n, 0);
        both[2 * n] = p->main_dead ? 0.0 : main;
        both[2 * n + 1] = safety_of(p, (int64_t)n);
    }
    char *path = scratch_format("%s/%s.wav", folder, p->name);
    wavgen_write(&(struct wavgen){.channels = 2, .frames = voice.frames, .reals = both}, path);
    free(path);
    free(both);
}

static json_t *check_pair(const struct pair *p, struct checked *checked, char **folder)
{
    *folder = scratch_format("%s/%s", scratch, p->name);
    scratch_folder(*folder);
    write_pair(*folder, p);
    checked_source(checked, *folder);
    ck_assert_msg(checked->report != NULL, "%s: %s", p->name, checked->run.err);
    json_t *take = json_array_get(json_object_get(checked->report, "takes"), 0);
    ck_assert_ptr_nonnull(take);
    return take;
}

static const struct pair clean_pairs[] = {
    {"lag 0, 12 under", -4, 12, 0, .use = "main", .channel = 1},
    {"lag 1, 12 under", -4, 12, 1, .use = "main", .channel = 1},
    {"lag -1, 12 under", -4, 12, -1, .use = "main", .channel = 1},
    {"lag 48, 6 under", -4, 6, 48, .use = "main", .channel = 1},
    {"lag -48, 6 under", -4, 6, -48, .use = "main", .channel = 1},
    {"lag 17, 20 under", -4, 20, 17, .use = "main", .channel = 1},
    {"lag -33, 20 under", -4, 20, -33, .use = "main", .channel = 1},
    {"lag 5, 8.7 under", -4, 8.7, 5, .use = "main", .channel = 1},
    {"lag -2, 15.3 under, inverted", -4, 15.3, -2, .inverted = true, .use = "main", .channel = 1},
    {"lag 0, 10 under, inverted", -4, 10, 0, .inverted = true, .use = "main", .channel = 1},
};

START_TEST(real_voice__offset_and_lag_of_a_clean_pair)
{
    const struct pair *p = &clean_pairs[_i];
    struct checked checked;
    char *folder;
    const json_t *take = check_pair(p, &checked, &folder), *pair = json_object_get(take, "pair");
    ck_assert_msg(json_is_object(pair), "%s: no pair", p->name);
    double offset_db = checked_number(pair, "offset_db");
    ck_assert_msg(fabs(offset_db + p->below_db) <= 0.1, "%s: offset %f dB", p->name, offset_db);
    ck_assert_msg((int)checked_number(pair, "lag_samples") == p->lag, "%s: lag %f", p->name,
                  checked_number(pair, "lag_samples"));
    ck_assert_str_eq(checked_text(pair, "polarity"), p->inverted ? "inverted" : "same");
    const json_t *use = json_object_get(take, "use");
    ck_assert_msg(strcmp(checked_text(use, "choice"), "main") == 0, "%s: use %s", p->name, checked_text(use, "choice"));
    ck_assert_int_eq((int)checked_number(use, "channel"), 1);
    /* A lag beyond one sample is to be said, one within is not. */
    ck_assert_int_eq(checked_finding(take, "pair-lag", "listen") != NULL, abs(p->lag) > 1);
    ck_assert_int_eq(checked_finding(take, "pair-polarity", "listen") != NULL, p->inverted);
    ck_assert_ptr_null(checked_finding(take, "pair-offset", "listen"));
    checked_clear(&checked);
    free(folder);
}
END_TEST

/* ALSA's voices peak at -6 dBFS: +10 dB clips the loud syllables of the main, +26 dB those of a safety 12 dB under it.
 */
static const struct pair choices[] = {
    {"main clipped", 10, 12, 0, .use = "splice safety", .channel = -1, .must = "safety-needed"},
    {"main clipped, lag 20", 10, 12, 20, .use = "splice safety", .channel = -1, .must = "safety-needed"},
    {"both clipped", 26, 12, 0, .use = "none", .channel = 0, .must = "both-clipped"},
    {"main dead", -4, 12, 0, .main_dead = true, .use = "safety single", .channel = 2, .must = "main-silent"},
    {"safety dead", -4, 12, 0, .safety_dead = true, .use = "main single", .channel = 1, .must = "safety-silent"},
    {"unrelated", -4, 6, 0, .unrelated = true, .use = "single", .channel = 1},
};

START_TEST(real_voice__choice)
{
    const struct pair *p = &choices[_i];
    struct checked checked;
    char *folder;
    const json_t *take = check_pair(p, &checked, &folder), *use = json_object_get(take, "use");
    char *found = checked_findings_text(take);
    const char *choice = checked_text(use, "choice");
    ck_assert_msg(*choice && strstr(p->use, choice), "%s: use %s: %s%s", p->name, choice, checked_text(use, "reason"),
                  found);
    if (p->must)
        ck_assert_msg(checked_finding(take, p->must, "listen") != NULL, "%s: no %s, but%s", p->name, p->must, found);
    if (p->channel > 0)
        ck_assert_msg((int)checked_number(use, "channel") == p->channel, "%s: channel %f", p->name,
                      checked_number(use, "channel"));
    if (p->channel == 0)
        ck_assert_msg(json_is_null(json_object_get(use, "channel")), "%s: a channel to use", p->name);
    ck_assert_msg(strcmp(choice, "none") != 0 || checked.run.exit_status == 2, "%s: status %d", p->name,
                  checked.run.exit_status);
    if (p->unrelated)
        ck_assert_msg(json_is_null(json_object_get(take, "pair")), "%s: a pair", p->name);
    ck_assert_msg(!p->must || checked.run.exit_status >= 1, "%s passes", p->name);
    free(found);
    checked_clear(&checked);
    free(folder);
}
END_TEST

/* Every clipped sample of the main lies inside a splice: what the report says to cover is what is damaged. */
START_TEST(real_voice__splices_cover_all_clipped_samples)
{
    struct checked checked;
    char *folder;
    const json_t *take = check_pair(&choices[0], &checked, &folder);
    const json_t *splices = json_object_get(json_object_get(take, "pair"), "splices");
    size_t clipped = 0, run = 0;
    ck_assert_uint_gt(json_array_size(splices), 0);
    for (size_t n = 0; n < voice.frames; n++) {
        double x = pow(10.0, choices[0].gain_db / 20.0) * heard((int64_t)n) + hiss(n, 0);
        run = fabs(x) >= 1.0 ? run + 1 : 0;
        if (run < 3)
            continue;
        double time_s = (double)n / 48000.0;
        bool covered = false;
        size_t i;
        json_t *splice;
        json_array_foreach(splices, i, splice) covered =
            covered || (checked_number(splice, "start_s") <= time_s && time_s <= checked_number(splice, "end_s"));
        ck_assert_msg(covered, "the clipped sample at %f s is in no splice", time_s);
        clipped++;
    }
    ck_assert_uint_gt(clipped, 10);
    checked_clear(&checked);
    free(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("real voice");
    TCase *all = tcase_create("all");
    tcase_add_unchecked_fixture(all, load, unload);
    tcase_set_timeout(all, 30);
    tcase_add_test(all, real_voice__recordings_of_16_bit_fail_for_that_alone_of_format);
    tcase_add_loop_test(all, real_voice__offset_and_lag_of_a_clean_pair, 0,
                        (int)(sizeof clean_pairs / sizeof clean_pairs[0]));
    tcase_add_loop_test(all, real_voice__choice, 0, (int)(sizeof choices / sizeof choices[0]));
    tcase_add_test(all, real_voice__splices_cover_all_clipped_samples);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
