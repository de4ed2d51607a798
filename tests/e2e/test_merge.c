/* SPDX-License-Identifier: MIT */
/*
 * Twenty cards, each checked by itself under GNU parallel, merged: the same bytes as one check of all twenty. The cards
 * hold what crosses them: equal contents, one name for two recordings, equal ids, a card without sound, a broken file.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CARDS 20

static const char *const environment[] = {"SOURCE_DATE_EPOCH=1931385600", "LC_ALL=C", NULL};

static char *scratch;

static void put(int card, const char *name, uint64_t seed, double seconds)
{
    char *path = scratch_format("%s/cards/C%02d/%s", scratch, card, name);
    good_take_write(path, seed, seconds);
    free(path);
}

/* A take whose main clips in three places, so that there is something to hear. */
static void put_loud(int card)
{
    size_t frames;
    double *sound = good_take_samples((uint64_t)card + 500, 9.0, &frames);
    for (size_t i = 0; i < frames; i++)
        if (i / 9600 % 14 == (size_t)card % 5)
            sound[2 * i] = fmax(-1.0, fmin(32767.0 / 32768.0, sound[2 * i] * 12.0));
    char *path = scratch_format("%s/cards/C%02d/loud.wav", scratch, card);
    struct wavgen w = {.channels = 2, .frames = frames, .reals = sound};
    wavgen_write(&w, path);
    free(path);
    free(sound);
}

/* One part of a recording that ran on from card to card, or of which no card has all. */
static void put_part(int card, const char *name, const char *family, uint32_t total, uint32_t index)
{
    char *path = scratch_format("%s/cards/C%02d/%s", scratch, card, name);
    struct wavgen_ixml ixml = {.family_uid = family, .total_files = total, .file_index = index};
    char *text = wavgen_ixml_text(&ixml);
    size_t frames;
    double *sound = good_take_samples((uint64_t)card + 700 + index, 2.3, &frames);
    wavgen_write(&(struct wavgen){.channels = 2, .frames = frames, .reals = sound, .ixml = text}, path);
    free(sound);
    free(text);
    free(path);
}

static void make_card(int card)
{
    char *folder = scratch_format("%s/cards/C%02d/day", scratch, card);
    char *name = scratch_format("day/C%02d_T01.wav", card);
    scratch_folder(folder);
    /* Lengths with a long fraction, so that sums of rounded and of exact seconds differ. */
    if (card != 9)
        put(card, name, (uint64_t)card + 1, 2.0 + card * 0.01037);
    if (card == 4 || card == 5)
        put(card, "SHARED.wav", (uint64_t)card + 100, 2.1);
    if (card == 2 || card == 6 || card == 13)
        put_loud(card);
    if (card == 14 || card == 15)
        put_part(card, card == 14 ? "L_0001.wav" : "L_0002.wav", "whole", 2, (uint32_t)card - 13);
    if (card == 16 || card == 17)
        put_part(card, card == 16 ? "M_0001.wav" : "M_0002.wav", "lost", 3, (uint32_t)card - 15);
    if (card == 12)
        put(card, "C12_T01.wav", 300, 2.2);
    free(folder);
    free(name);
}

static void make_cards(void)
{
    scratch = scratch_new();
    for (int card = 0; card < CARDS; card++)
        make_card(card);
    char *from = scratch_format("%s/cards/C03/day/C03_T01.wav", scratch);
    char *to = scratch_format("%s/cards/C07/copy.wav", scratch);
    scratch_copy(from, to);
    free(from);
    free(to);
    char *notes = scratch_format("%s/cards/C09/notes.txt", scratch);
    scratch_write(notes, "no sound here\n", 14);
    free(notes);
    char *broken = scratch_format("%s/cards/C11/broken.wav", scratch);
    scratch_write(broken, "RIFF\x24\0\0\0WAVE", 12);
    free(broken);
}

/* One shell line in the scratch folder; $T is the program. */
static void shell(const char *line, struct run *run)
{
    char *command = scratch_format("T='%s'; %s", run_takeproof(), line);
    const char *argv[] = {"bash", "-c", command, NULL};
    run_program(argv, scratch, environment, 300, run);
    free(command);
}

static void check_and_merge(void)
{
    struct run run = {0};
    shell("ls -d cards/C* | parallel --will-cite --jobs 2 --plain \"$T check --json {} >{/}.json; test \\$? -le 2\"",
          &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    run_clear(&run);
    shell("\"$T\" check --json cards/C* >one.json; test $? = 2 && \"$T\" report --json C??.json >merged.json; test $? "
          "= 2 && grep -vx '\"merged\": true,' merged.json >unmarked.json && ! cmp -s merged.json unmarked.json",
          &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    run_clear(&run);
}

START_TEST(merge__equals_the_single_run)
{
    size_t one_size, merged_size;
    char *one_path = scratch_format("%s/one.json", scratch), *merged_path = scratch_format("%s/unmarked.json", scratch);
    char *one = scratch_read(one_path, &one_size), *merged = scratch_read(merged_path, &merged_size);
    ck_assert_ptr_nonnull(one);
    ck_assert_ptr_nonnull(merged);
    size_t at = 0;
    while (at < one_size && at < merged_size && one[at] == merged[at])
        at++;
    ck_assert_msg(one_size == merged_size && at == one_size, "differ at byte %zu:\n%.80s\n%.80s", at,
                  one + (at > 40 ? at - 40 : 0), merged + (at > 40 ? at - 40 : 0));
    free(one);
    free(merged);
    free(one_path);
    free(merged_path);
}
END_TEST

/* How many findings of the set have this code. */
static size_t count_findings(const json_t *report, const char *code)
{
    size_t index, count = 0;
    json_t *finding;
    json_array_foreach(json_object_get(report, "findings"), index, finding) count +=
        strcmp(checked_text(finding, "code"), code) == 0;
    return count;
}

START_TEST(merge__sees_across_the_cards)
{
    char *path = scratch_format("%s/merged.json", scratch);
    json_t *report = json_load_file(path, 0, NULL);
    ck_assert_ptr_nonnull(report);
    json_t *summary = json_object_get(report, "summary");
    ck_assert_int_eq(json_integer_value(json_object_get(summary, "files")), CARDS - 1 + 2 + 3 + 1 + 1 + 1 + 4);
    ck_assert_uint_eq(json_array_size(json_object_get(report, "sources")), CARDS);
    ck_assert_uint_eq(count_findings(report, "duplicate-content"), 1);
    ck_assert_uint_eq(count_findings(report, "duplicate-name"), 3); /* SHARED, loud; C12_T01 in two folders */
    ck_assert_uint_eq(count_findings(report, "missing-take"), 1);   /* C09 */
    /* Ids stay unique. */
    json_t *takes = json_object_get(report, "takes"), *ids = json_object(), *take;
    size_t index;
    json_array_foreach(takes, index, take) json_object_set(ids, checked_text(take, "id"), take);
    ck_assert_uint_eq(json_object_size(ids), json_array_size(takes));
    ck_assert_ptr_nonnull(json_object_get(ids, "SHARED (2)"));
    json_decref(ids);
    json_decref(report);
    free(path);
}
END_TEST

/* Each of the four cards alone lacks a part. */
START_TEST(merge__finds_the_parts_on_the_other_cards)
{
    static const char *const names[] = {"C14.json", "C16.json", "merged.json"};
    size_t told[3] = {0}, of_three = 0;
    for (size_t n = 0; n < 3; n++) {
        char *path = scratch_format("%s/%s", scratch, names[n]);
        json_t *report = json_load_file(path, 0, NULL), *take, *finding;
        size_t t, f;
        ck_assert_ptr_nonnull(report);
        json_array_foreach(json_object_get(report, "takes"), t, take)
            json_array_foreach(json_object_get(take, "findings"), f, finding)
        {
            bool is_part = strcmp(checked_text(finding, "code"), "segment-gap") == 0;
            told[n] += is_part;
            of_three += is_part && n == 2 &&
                        strstr(checked_text(finding, "message"), "Part 3 of 3 of this recording is not here") != NULL;
        }
        json_decref(report);
        free(path);
    }
    ck_assert_uint_eq(told[0], 1);
    ck_assert_uint_eq(told[1], 1);
    ck_assert_uint_eq(told[2], 2);
    ck_assert_uint_eq(of_three, 2);
}
END_TEST

START_TEST(merge__merging_merged_reports_is_the_same)
{
    struct run run = {0};
    shell("\"$T\" report --json C0?.json >a.json; \"$T\" report --json C1?.json >b.json; \"$T\" report --json a.json "
          "b.json "
          ">ab.json; cmp ab.json merged.json",
          &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    run_clear(&run);
}
END_TEST

/* Whatever the budget, each card alone cuts at least what one run over all would cut of it. */
START_TEST(merge__keeps_the_excerpts_of_the_single_run)
{
    struct run run = {0};
    shell("for n in none 1 2 4 40; do \"$T\" check --json --excerpts $n cards/C02 cards/C06 cards/C13 >one-$n.json; "
          "for c in 02 06 13; do \"$T\" check --json --excerpts $n cards/C$c >e$c.json; done; "
          "\"$T\" report --json --excerpts $n e02.json e06.json e13.json >merged-$n.json; "
          "grep -vx '\"merged\": true,' merged-$n.json | cmp one-$n.json - || exit 1; grep -c '\"sound\"' "
          "merged-$n.json; done; true",
          &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    /* None without a budget, and never fewer with a larger one. */
    int last = 0, count = 0, length = 0, lines = 0;
    for (const char *at = run.out; sscanf(at, "%d%n", &count, &length) == 1; at += length, lines++) {
        ck_assert_msg(lines == 0 ? count == 0 : count > 0 && count >= last, "%s", run.out);
        last = count;
    }
    ck_assert_int_eq(lines, 5);
    run_clear(&run);
}
END_TEST

/* Each card keeps its own spec and the verdicts by it, whichever comes first, and so does the merged report when it is
 * rendered again and merged with a third. */
static size_t wrong_rates_in(const json_t *report)
{
    const json_t *take, *finding;
    size_t count = 0, t, f;
    json_array_foreach(json_object_get(report, "takes"), t, take)
        json_array_foreach(json_object_get(take, "findings"), f, finding) count +=
        strcmp(json_string_value(json_object_get(finding, "code")), "wrong-sample-rate") == 0;
    return count;
}

START_TEST(merge__cards_of_different_specs_keep_them)
{
    static const char *const orders[] = {"other.json C01.json", "C01.json other.json"};
    struct run run = {0};
    char *command = scratch_format("printf '[format]\\nsample_rate_hz = 96000\\n' >other.ini; \"$T\" check --json -s "
                                   "other.ini cards/C00 >other.json; \"$T\" report --json %s >both.json; "
                                   "\"$T\" report --json both.json | cmp both.json - && cat both.json",
                                   orders[_i]);
    shell(command, &run);
    free(command);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    json_t *both = json_loads(run.out, 0, NULL);
    const json_t *specs = json_object_get(both, "source_specs");
    ck_assert_uint_eq(json_array_size(specs), 2);
    for (int s = 0; s < 2; s++)
        ck_assert_int_eq(json_integer_value(json_object_get(json_array_get(specs, (size_t)s), "sample_rate_hz")),
                         s == _i ? 96000 : 48000);
    char *path = scratch_format("%s/other.json", scratch);
    json_t *other = json_load_file(path, 0, NULL);
    ck_assert_uint_gt(wrong_rates_in(other), 0);
    ck_assert_uint_eq(wrong_rates_in(both), wrong_rates_in(other));
    json_decref(other);
    json_decref(both);
    free(path);
    run_clear(&run);
}
END_TEST

START_TEST(merge__rendering_again_changes_nothing)
{
    struct run run = {0};
    shell("\"$T\" check -q cards/C03 cards/C07 -o live; \"$T\" report -q live/report.json -o again; diff -r live again",
          &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    run_clear(&run);
}
END_TEST

static void prepare(void)
{
    make_cards();
    check_and_merge();
}

static void finish(void)
{
    scratch_remove(scratch);
}

int main(void)
{
    Suite *suite = suite_create("merge");
    TCase *tests = tcase_create("merge");
    tcase_set_timeout(tests, 300);
    tcase_add_unchecked_fixture(tests, prepare, finish);
    tcase_add_test(tests, merge__equals_the_single_run);
    tcase_add_test(tests, merge__sees_across_the_cards);
    tcase_add_test(tests, merge__finds_the_parts_on_the_other_cards);
    tcase_add_test(tests, merge__merging_merged_reports_is_the_same);
    tcase_add_test(tests, merge__keeps_the_excerpts_of_the_single_run);
    tcase_add_loop_test(tests, merge__cards_of_different_specs_keep_them, 0, 2);
    tcase_add_test(tests, merge__rendering_again_changes_nothing);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
