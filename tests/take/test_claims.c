/* SPDX-License-Identifier: MIT */
/* Matches as the signal gives them, and which of them stand. Common practice, no source. */
#include "take/claims.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define CHANNELS 6

static struct tp_channel levels[CHANNELS];
static struct tp_pair_channel channels[CHANNELS];
static struct tp_span span = {1000, 2000};
static struct tp_claims claims;
static struct tp_pair_match *matches;
static size_t count;

static void set_up(void)
{
    memset(levels, 0, sizeof levels);
    claims = (struct tp_claims){.items = calloc(32, sizeof *claims.items), .capacity = 32};
    matches = NULL;
    count = 0;
    for (uint32_t c = 0; c < CHANNELS; c++)
        channels[c] = (struct tp_pair_channel){.channel = c, .levels = &levels[c], .frames = 48000};
}

static void tear_down(void)
{
    free(claims.items);
    free(matches);
}

static void name(const char *const *names)
{
    for (uint32_t c = 0; c < CHANNELS && names[c] != NULL; c++)
        tp_track_read(names[c], "", &channels[c].track);
}

static void damage(uint32_t channel)
{
    levels[channel].damage = (struct tp_spans){.items = &span, .count = 1};
}

static struct tp_pair_match *claim(uint32_t main, uint32_t safety, double offset_db)
{
    claims.items[claims.count] = (struct tp_claim){
        .match = {
            .main = main, .safety = safety, .offset_db = offset_db, .drift_ppm = (double)NAN, .correlation = 1.0}};
    return &claims.items[claims.count++].match;
}

static void settle(uint32_t channel_count)
{
    struct tp_spec spec = {.safety_below_min_db = 6, .safety_below_max_db = 20, .lag_max_samples = 1};
    ck_assert(tp_claims_settle(&claims, channels, channel_count, &spec, &matches, &count));
}

static void expect(size_t index, uint32_t main, uint32_t safety, bool kin)
{
    ck_assert_uint_lt(index, count);
    ck_assert_msg(matches[index].main == main && matches[index].safety == safety && matches[index].kin == kin,
                  "%zu: main %u, safety %u, kin %d", index, matches[index].main, matches[index].safety,
                  matches[index].kin);
}

/* 0: a mix, 1: the main, 2: the safety; all three alike. */
static void claim_all(double mix_db)
{
    claim(1, 0, mix_db);
    claim(1, 2, -12.0);
    claim(0, 2, -12.0 - mix_db);
}

START_TEST(claims__names_tell)
{
    static const char *const names[] = {"Mix", "Boom", "Boom Safety", "Cal", NULL};
    static const double mixes[] = {-3.0, -6.0, -8.0};
    name(names);
    claim_all(mixes[_i]);
    settle(4);
    ck_assert_uint_eq(count, 2);
    expect(0, 1, 2, false);
    expect(1, 1, 0, true);
}
END_TEST

START_TEST(claims__without_names_the_track_behind_is_the_safety)
{
    claim_all(-6.0);
    settle(4);
    expect(0, 1, 2, false);
    expect(1, 1, 0, true);
}
END_TEST

START_TEST(claims__what_covers_goes_first)
{
    static const char *const names[] = {"Mix", "Boom", "Boom Safety", "Cal", NULL};
    name(names);
    damage(1);
    damage(2);
    claim_all(-6.0);
    settle(4);
    expect(0, 1, 0, false);
    expect(1, 1, 2, true);
}
END_TEST

/* Another microphone hears the same voice later: it is no help for what the names tell. */
START_TEST(claims__a_late_match_covers_nothing_that_was_meant)
{
    static const char *const names[] = {"Boom", "Boom Safety", "Ana", "Cal", NULL};
    name(names);
    damage(0);
    damage(1);
    claim(0, 1, -12.0);
    claim(0, 2, -7.0)->lag_samples = 140;
    settle(4);
    ck_assert_uint_eq(count, 1);
    expect(0, 0, 1, false);
}
END_TEST

START_TEST(claims__a_mix_is_a_safety_in_need_only)
{
    static const char *const names[] = {"Mix", "Boom", "Cal", NULL};
    name(names);
    claim(1, 0, -6.0);
    settle(3);
    ck_assert_uint_eq(count, 1);
    expect(0, 1, 0, true);
}
END_TEST

START_TEST(claims__a_damaged_microphone_takes_its_mix)
{
    static const char *const names[] = {"Mix", "Boom", "Cal", NULL};
    name(names);
    damage(1);
    claim(1, 0, -6.0);
    settle(3);
    ck_assert_uint_eq(count, 1);
    expect(0, 1, 0, false);
}
END_TEST

START_TEST(claims__a_late_mix_is_of_another_microphone)
{
    static const char *const names[] = {"Mix", "Ana", "Cal", NULL};
    name(names);
    damage(1);
    claim(1, 0, -6.0)->lag_samples = -140;
    settle(3);
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(claims__two_tracks_are_the_pair_they_can_be)
{
    static const char *const names[] = {"MixL", "MixR", NULL};
    name(names);
    claim(0, 1, -12.0);
    settle(2);
    expect(0, 0, 1, false);
}
END_TEST

START_TEST(claims__copies_come_once_and_last)
{
    static const char *const names[] = {"MixL", "MixR", "Boom", "Boom Safety", "Cal", NULL};
    name(names);
    for (uint32_t a = 0; a < 3; a++) {
        for (uint32_t b = a + 1; b < 3; b++)
            claim(a, b, 0.0)->copy = true;
        claim(a, 3, -12.0);
    }
    settle(5);
    ck_assert_uint_eq(count, 3);
    expect(0, 0, 1, false);
    ck_assert(matches[0].copy);
    expect(1, 2, 3, false);
    expect(2, 2, 0, true);
}
END_TEST

START_TEST(claims__a_named_safety_that_is_a_copy_stays_one)
{
    static const char *const names[] = {"Mix", "Boom", "Boom Safety", "Cal", NULL};
    name(names);
    claim(1, 0, -6.0);
    claim(1, 2, 0.0)->copy = true;
    claim(2, 0, -6.0);
    settle(4);
    expect(0, 1, 2, false);
    ck_assert(matches[0].copy);
}
END_TEST

/* No order in which the claims come changes what stands. */
START_TEST(claims__order_does_not_matter)
{
    static const char *const names[] = {"Mix", "Boom", "Boom Safety", "Cal", NULL};
    static const int orders[6][3] = {{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}};
    name(names);
    claim_all(-6.0);
    struct tp_claim kept[3];
    memcpy(kept, claims.items, sizeof kept);
    for (int i = 0; i < 3; i++)
        claims.items[i] = kept[orders[_i][i]];
    settle(4);
    ck_assert_uint_eq(count, 2);
    expect(0, 1, 2, false);
    expect(1, 1, 0, true);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("claims");
    TCase *all = tcase_create("all");
    tcase_add_checked_fixture(all, set_up, tear_down);
    tcase_add_loop_test(all, claims__names_tell, 0, 3);
    tcase_add_test(all, claims__without_names_the_track_behind_is_the_safety);
    tcase_add_test(all, claims__what_covers_goes_first);
    tcase_add_test(all, claims__a_late_match_covers_nothing_that_was_meant);
    tcase_add_test(all, claims__a_mix_is_a_safety_in_need_only);
    tcase_add_test(all, claims__a_damaged_microphone_takes_its_mix);
    tcase_add_test(all, claims__a_late_mix_is_of_another_microphone);
    tcase_add_test(all, claims__two_tracks_are_the_pair_they_can_be);
    tcase_add_test(all, claims__copies_come_once_and_last);
    tcase_add_test(all, claims__a_named_safety_that_is_a_copy_stays_one);
    tcase_add_loop_test(all, claims__order_does_not_matter, 0, 6);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
