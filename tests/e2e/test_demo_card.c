/* SPDX-License-Identifier: MIT */
/*
 * The demonstration card through the whole program: every take as the maker of the card says it is, no finding more,
 * no finding less. The maker knows because it built the faults in.
 */
#include "support/checked.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static char *scratch, *card;
static struct run maker;
static struct checked checked;

static void make_card(void)
{
    const char *build = getenv("TAKEPROOF_BUILD");
    char *program = scratch_format("%s/tests/demo/demo_card", build ? build : "build/release");
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    run_program((const char *const[]){program, card, NULL}, NULL, NULL, 120, &maker);
    ck_assert_msg(maker.exit_status == 0, "'%s' gave %d: %s", program, maker.exit_status, maker.err);
    free(program);
    char *spec = scratch_format("%s/spec.ini", card);
    checked_json(&checked, (const char *const[]){card, "--spec", spec, NULL});
    free(spec);
}

static void remove_card(void)
{
    checked_clear(&checked);
    run_clear(&maker);
    scratch_remove(scratch);
    free(card);
}

struct expected {
    char *files, *verdict, *use, *must, *may, *words;
};

static int read_expected(char *line, struct expected *e)
{
    char **fields[] = {&e->files, &e->verdict, &e->use, &e->must, &e->may, &e->words};
    for (size_t i = 0; i < 6; i++) {
        *fields[i] = strsep(&line, "\t");
        if (!*fields[i])
            return 0;
    }
    return 1;
}

static int is_word_of(const char *word, const char *words)
{
    size_t length = strlen(word);
    for (const char *at = strstr(words, word); at; at = strstr(at + 1, word))
        if ((at == words || at[-1] == ' ') && (at[length] == ' ' || at[length] == '\0'))
            return 1;
    return 0;
}

static void expect_no_other_finding(const json_t *take, const struct expected *e)
{
    size_t i;
    json_t *finding;
    json_array_foreach(json_object_get(take, "findings"), i, finding)
    {
        const char *code = checked_text(finding, "code");
        int known = strcmp(checked_text(finding, "severity"), "note") == 0 || is_word_of(code, e->must) ||
                    is_word_of(code, e->may);
        ck_assert_msg(known, "%s (%s): false alarm %s: %s", e->files, e->words, code, checked_text(finding, "message"));
    }
}

static void expect_take(const struct expected *e)
{
    char *files = strdup(e->files), *rest = files, *path = strsep(&rest, " ");
    json_t *take = checked_take(&checked, path);
    ck_assert_msg(take != NULL, "no take holds '%s'", path);
    if (rest)
        ck_assert_msg(take == checked_take(&checked, rest), "'%s' and '%s' are not one take", path, rest);
    char *found = checked_findings_text(take);
    ck_assert_msg(strcmp(checked_text(take, "verdict"), e->verdict) == 0, "%s (%s): verdict %s, not %s%s", e->files,
                  e->words, checked_text(take, "verdict"), e->verdict, found);
    const json_t *use = json_object_get(take, "use");
    ck_assert_msg(strcmp(checked_text(use, "choice"), e->use) == 0, "%s (%s): use %s, not %s (%s)%s", e->files,
                  e->words, checked_text(use, "choice"), e->use, checked_text(use, "reason"), found);
    if (strcmp(e->must, "-") != 0)
        ck_assert_msg(checked_finding(take, e->must, "listen") != NULL, "%s (%s): %s not found, but%s", e->files,
                      e->words, e->must, found);
    expect_no_other_finding(take, e);
    free(found);
    free(files);
}

#define TAKE_COUNT 15

START_TEST(demo_card__each_take_is_what_it_was_made_to_be)
{
    char *lines = strdup(maker.out), *rest = lines, *line = NULL;
    for (int i = 0; i <= _i; i++)
        line = strsep(&rest, "\n");
    struct expected e;
    ck_assert_msg(line && read_expected(line, &e), "line %d of the maker: '%s'", _i, line ? line : "");
    expect_take(&e);
    free(lines);
}
END_TEST

START_TEST(demo_card__takes_are_as_many_as_were_made)
{
    size_t lines = 0;
    for (const char *at = maker.out; (at = strchr(at, '\n')); at++)
        lines++;
    ck_assert_uint_eq(lines, TAKE_COUNT);
    ck_assert_uint_eq(json_array_size(json_object_get(checked.report, "takes")), TAKE_COUNT);
    ck_assert_msg(checked.run.exit_status == 2, "exit status %d: %s", checked.run.exit_status, checked.run.err);
}
END_TEST

START_TEST(demo_card__nothing_is_skipped_in_silence)
{
    static const char *const others[] = {"S01/._12A-T01.wav", "S01/notes.txt", ".Trashes/old.wav", "spec.ini"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        const json_t *other = checked_other(&checked, others[i]);
        if (!other && i == 2) /* a hidden folder may be listed as one entry */
            other = checked_other(&checked, ".Trashes");
        ck_assert_msg(other != NULL, "'%s' is not under others", others[i]);
        ck_assert_msg(*checked_text(other, "why") != '\0', "'%s' is under others without a reason", others[i]);
    }
}
END_TEST

START_TEST(demo_card__metadata_reaches_the_report)
{
    const json_t *take = checked_take(&checked, "S01/12A-T02.wav");
    ck_assert_str_eq(checked_text(take, "scene"), "12A");
    ck_assert_str_eq(checked_text(take, "take"), "2");
    ck_assert(json_is_true(json_object_get(take, "circled")));
    ck_assert_str_eq(checked_text(take, "start_timecode"), "10:07:40:00");
    ck_assert_str_eq(checked_text(json_object_get(checked.report, "production"), "title"), "Harbour Lights");
    const json_t *channels = json_object_get(checked_file(&checked, "S01/12A-T02.wav"), "channels");
    ck_assert_str_eq(checked_text(json_array_get(channels, 0), "name"), "Main");
    ck_assert_str_eq(checked_text(json_array_get(channels, 1), "name"), "Safety");
    const json_t *pair = json_object_get(take, "pair");
    ck_assert_double_eq_tol(checked_number(pair, "offset_db"), -12.0, 0.1);
    ck_assert_double_eq(checked_number(pair, "lag_samples"), 0.0);
    ck_assert_str_eq(checked_text(pair, "polarity"), "same");
}
END_TEST

START_TEST(demo_card__interrupted_recording_is_measured_to_its_end)
{
    /* 19 s at 48,000 Hz were written before the power went. */
    ck_assert_double_eq(checked_number(checked_file(&checked, "S01/15-T01.wav"), "frames"), 19.0 * 48000.0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo card");
    TCase *card_case = tcase_create("card");
    tcase_add_unchecked_fixture(card_case, make_card, remove_card);
    tcase_set_timeout(card_case, 60);
    tcase_add_loop_test(card_case, demo_card__each_take_is_what_it_was_made_to_be, 0, TAKE_COUNT);
    tcase_add_test(card_case, demo_card__takes_are_as_many_as_were_made);
    tcase_add_test(card_case, demo_card__nothing_is_skipped_in_silence);
    tcase_add_test(card_case, demo_card__metadata_reaches_the_report);
    tcase_add_test(card_case, demo_card__interrupted_recording_is_measured_to_its_end);
    suite_add_tcase(suite, card_case);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
