/* SPDX-License-Identifier: MIT */
/* Names as recordists give them: common practice, no source. Functions: the iXML specification's list. */
#include "base/track_name.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *name, *function, *base;
    bool is_mix, is_safety, is_main;
    char side;
} names[] = {
    {"Boom", "", "boom", false, false, false, 0},
    {"Boom Safety", "", "boom", false, true, false, 0},
    {"BOOM_SAFETY", "", "boom", false, true, false, 0},
    {"BoomSafety", "", "boom", false, true, false, 0},
    {"Boom -12dB", "", "boom", false, true, false, 0},
    {"Boom -12", "", "boom", false, true, false, 0},
    {"Boom 2", "", "boom2", false, false, false, 0},
    {"Boom Hi", "", "boom", false, false, true, 0},
    {"Boom Lo", "", "boom", false, true, false, 0},
    {"main", "", "", false, false, true, 0},
    {"Mix", "", "", true, false, false, 0},
    {"MixL", "", "", true, false, false, 'l'},
    {"MIXR", "", "", true, false, false, 'r'},
    {"Mix R", "", "", true, false, false, 'r'},
    {"mix_left", "", "", true, false, false, 'l'},
    {"Mix2", "", "", true, false, false, 0},
    {"Mix Safety", "", "", true, true, false, 0},
    {"Mixon", "", "mixon", false, false, false, 0},
    {"Remix Artist", "", "remixartist", false, false, false, 0},
    {"L", "", "", false, false, false, 'l'},
    {"Boom R", "", "boom", false, false, false, 'r'},
    {"Tr1", "L-MIX", "tr1", true, false, false, 'l'},
    {"Tr1", "MIX", "tr1", true, false, false, 0},
    {"Tr1", "RIGHT", "tr1", false, false, false, 'r'},
    {"", "", "", false, false, false, 0},
    {NULL, NULL, "", false, false, false, 0},
    {"-12", "", "12", false, false, false, 0},
    {"\xC3\x84na Safety", "", "\xC3\x84na", false, true, false, 0},
    {"a name of more bytes than are kept of any name, and then a safety", "",
     "anameofmorebytesthanarekeptofanynameandthena", false, true, false, 0},
};

START_TEST(track_name__words_are_read)
{
    struct tp_track track;
    tp_track_read(names[_i].name, names[_i].function, &track);
    const char *shown = names[_i].name != NULL ? names[_i].name : "(none)";
    ck_assert_msg(strcmp(track.base, names[_i].base) == 0, "%s: %s", shown, track.base);
    ck_assert_msg(track.is_mix == names[_i].is_mix && track.is_safety == names[_i].is_safety &&
                      track.is_main == names[_i].is_main && track.side == names[_i].side,
                  "%s: mix %d, safety %d, main %d, side %d", shown, track.is_mix, track.is_safety, track.is_main,
                  track.side);
}
END_TEST

static const struct {
    const char *a, *b;
    bool is_pair, is_stranger;
} two[] = {
    {"Boom", "Boom Safety", true, false},
    {"Boom Safety", "Boom", true, false},
    {"Main", "Safety", true, false},
    {"Mix", "Mix Safety", true, false},
    {"Boom", "MixL", false, false},
    {"Boom", "Ana Safety", false, true},
    {"Boom Safety", "Ana Safety", false, true},
    {"Boom", "Ana", false, false},
    {"Boom", "Safety", false, false}, /* of what, it does not say */
    {"Safety", "", false, false},
    {"", "", false, false},
    {"MixL", "Safety", false, false},
};

START_TEST(track_name__pairs_and_strangers)
{
    struct tp_track a, b;
    tp_track_read(two[_i].a, "", &a);
    tp_track_read(two[_i].b, "", &b);
    ck_assert_msg(tp_track_is_pair(&a, &b) == two[_i].is_pair, "%s, %s", two[_i].a, two[_i].b);
    ck_assert_msg(tp_track_is_stranger(&a, &b) == two[_i].is_stranger, "%s, %s", two[_i].a, two[_i].b);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("track name");
    TCase *all = tcase_create("all");
    tcase_add_loop_test(all, track_name__words_are_read, 0, (int)(sizeof names / sizeof names[0]));
    tcase_add_loop_test(all, track_name__pairs_and_strangers, 0, (int)(sizeof two / sizeof two[0]));
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
