/* SPDX-License-Identifier: MIT */
/*
 * A day as a whole, through the program: the set's notes, names by a pattern, and recordings that the recorder split by
 * size. Every expectation follows from how the card was made.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, FRAMES = 96000 };

static char *scratch, *card;
static struct checked day;

static void setup(void)
{
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    scratch_folder(card);
}

static void teardown(void)
{
    checked_clear(&day);
    free(card);
    scratch_remove(scratch);
}

static void put(const char *name, const struct wavgen *w)
{
    char *path = scratch_format("%s/%s", card, name);
    wavgen_write(w, path);
    free(path);
}

/* Noise that differs from file to file, so that no two are the same recording. */
static double noise(const void *user, uint64_t frame, unsigned channel)
{
    return 0.1 * wavgen_random(*(const uint64_t *)user * 1000003u + frame * 7u + channel);
}

static void put_take(const char *name, uint64_t seed, uint64_t start, const char *ixml)
{
    const struct wavgen_bext bext = {.date = "2033-03-14", .time = "10:20:00", .time_reference = start};
    put(name, &(struct wavgen){
                  .channels = 2, .frames = FRAMES, .sound = noise, .sound_user = &seed, .bext = &bext, .ixml = ixml});
}

static char *write_text(const char *name, const char *text)
{
    char *path = scratch_format("%s/%s", scratch, name);
    scratch_write(path, text, strlen(text));
    return path;
}

/* Of the set, or of a take; NULL when there is none. `words` must stand in the message. */
static json_t *find(json_t *owner, const char *code, const char *words)
{
    size_t i;
    json_t *finding;
    json_array_foreach(json_object_get(owner, "findings"), i, finding)
    {
        if (strcmp(checked_text(finding, "code"), code) == 0 && strstr(checked_text(finding, "message"), words) != NULL)
            return finding;
    }
    return NULL;
}

static size_t count_findings(json_t *owner, const char *code)
{
    size_t i, count = 0;
    json_t *finding;
    json_array_foreach(json_object_get(owner, "findings"), i, finding) count +=
        strcmp(checked_text(finding, "code"), code) == 0;
    return count;
}

static json_t *take_of(const char *path)
{
    json_t *take = checked_take(&day, path);
    ck_assert_msg(take != NULL, "no take holds %s", path);
    return take;
}

/* ---- notes ---- */

#define AT(h, m, s) ((((h)*60ull + (m)) * 60ull + (s)) * RATE)

static void check_with_notes(const char *text)
{
    put_take("T001.wav", 1, AT(10, 20, 0), NULL);
    put_take("T002.wav", 2, AT(10, 24, 30), NULL);
    put_take("T003.wav", 3, AT(10, 30, 0), NULL);
    char *notes = write_text("day.csv", text);
    checked_json(&day, (const char *const[]){card, "--log", notes, NULL});
    free(notes);
}

START_TEST(notes__are_merged_and_compared_with_the_card)
{
    check_with_notes("Notes;Take;FILE;scene;good;start\r\n"
                     "\"boom; \"\"wide\"\"\";1;T001.wav;12A;good;10:20\r\n"
                     "boat horn;2;t002;12A;NG;11:00:00\r\n"
                     "lost;4;T004.wav;12A;;\r\n");
    json_t *first = take_of("T001.wav"), *second = take_of("T002.wav");
    ck_assert_str_eq(checked_text(first, "scene"), "12A");
    ck_assert_str_eq(checked_text(first, "take"), "1");
    ck_assert_ptr_eq(json_object_get(first, "circled"), json_true());
    ck_assert_ptr_nonnull(strstr(checked_text(first, "notes"), "boom; \"wide\""));
    ck_assert_ptr_eq(json_object_get(second, "circled"), json_false());
    ck_assert_ptr_nonnull(strstr(checked_text(second, "notes"), "boat horn"));
    json_t *missing = find(day.report, "log-without-file", "line 4");
    ck_assert_ptr_nonnull(missing);
    ck_assert_ptr_nonnull(strstr(checked_text(missing, "message"), "'T004.wav'"));
    ck_assert_str_eq(checked_text(missing, "severity"), "fail");
    ck_assert_ptr_nonnull(find(day.report, "file-not-in-log", "'T003'"));
    ck_assert_uint_eq(count_findings(day.report, "log-without-file"), 1);
    ck_assert_uint_eq(count_findings(day.report, "file-not-in-log"), 1);
    ck_assert_ptr_nonnull(find(day.report, "metadata-conflict", "starts at 11:00:00"));
    ck_assert_uint_eq(count_findings(day.report, "metadata-conflict"), 1);
    ck_assert_int_eq(day.run.exit_status, 2);
}
END_TEST

START_TEST(notes__stand_in_the_reports_for_people)
{
    put_take("T001.wav", 1, AT(10, 20, 0), NULL);
    char *notes = write_text("day.csv", "file,scene,take,notes\nT001.wav,12A,1,boat <horn>\nT009.wav,,,gone\n");
    char *reports = scratch_format("%s/reports", scratch);
    const char *const argv[] = {run_takeproof(), "check", card, "--log", notes, "-o", reports, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 60, &run);
    ck_assert_int_eq(run.exit_status, 2);
    ck_assert_msg(strstr(run.out, "T009.wav") != NULL, "%s", run.out);
    char *page_path = scratch_format("%s/report.html", reports), *csv_path = scratch_format("%s/report.csv", reports);
    size_t size;
    char *page = scratch_read(page_path, &size), *csv = scratch_read(csv_path, &size);
    ck_assert_msg(page != NULL && strstr(page, "boat &lt;horn&gt;") != NULL, "the page does not show the notes");
    ck_assert_ptr_nonnull(strstr(page, "T009.wav"));
    ck_assert_msg(csv != NULL && strstr(csv, "boat <horn>") != NULL, "report.csv does not hold the notes");
    free(page);
    free(csv);
    free(page_path);
    free(csv_path);
    run_clear(&run);
    free(notes);
    free(reports);
}
END_TEST

START_TEST(notes__match_by_scene_and_take_without_a_file_column)
{
    static const char ixml[] = "<BWFXML><SCENE>7</SCENE><TAKE>03</TAKE></BWFXML>";
    put_take("A_0001.wav", 5, AT(9, 0, 0), ixml);
    char *notes = write_text("day.csv", "take\tscene\tremarks\nT3\t7\tplane\n");
    checked_json(&day, (const char *const[]){card, "--log", notes, NULL});
    ck_assert_str_eq(checked_text(take_of("A_0001.wav"), "notes"), "plane");
    ck_assert_uint_eq(count_findings(day.report, "log-without-file"), 0);
    ck_assert_uint_eq(count_findings(day.report, "file-not-in-log"), 0);
    free(notes);
}
END_TEST

START_TEST(notes__that_list_all_give_no_finding)
{
    check_with_notes("scene,take,file,good,notes,start\n12A,1,T001.wav,good,,10:20:00\n12A,2,T002.wav,ng,,10:24:30\n"
                     "12A,3,T003.wav,,,10:30:00\n");
    ck_assert_ptr_null(find(day.report, "log-without-file", ""));
    ck_assert_ptr_null(find(day.report, "file-not-in-log", ""));
    ck_assert_ptr_null(find(day.report, "metadata-conflict", ""));
}
END_TEST

static const struct {
    const char *text, *words;
} bad_notes[] = {
    {"", "line 1"},
    {"when,what\n1,2\n", "line 1"},
    {"file,notes\nT001.wav,good\nT002.wav,\"never closed\n", "line 3"},
};

START_TEST(notes__that_cannot_be_read_end_the_check)
{
    check_with_notes(bad_notes[_i].text);
    ck_assert_int_eq(day.run.exit_status, 3);
    ck_assert_str_eq(day.run.out, "");
    ck_assert_ptr_nonnull(strstr(day.run.err, "day.csv'"));
    ck_assert_msg(strstr(day.run.err, bad_notes[_i].words) != NULL, "%s", day.run.err);
}
END_TEST

START_TEST(notes__the_template_is_a_good_log)
{
    const char *const argv[] = {run_takeproof(), "spec", "--log", NULL};
    struct run run;
    run_program(argv, NULL, NULL, 60, &run);
    ck_assert_int_eq(run.exit_status, 0);
    check_with_notes(run.out);
    run_clear(&run);
    ck_assert_uint_eq(count_findings(day.report, "log-without-file"), 0);
    ck_assert_uint_eq(count_findings(day.report, "file-not-in-log"), 1);
}
END_TEST

/* ---- names ---- */

START_TEST(names__the_pattern_gives_scene_and_take)
{
    put_take("12A_T03.wav", 11, AT(9, 0, 0), NULL);
    put_take("12A_T05.wav", 12, AT(9, 5, 0), NULL);
    put_take("boat.wav", 13, AT(9, 10, 0), NULL);
    char *spec = write_text("day.ini", "[names]\npattern = {scene}_T{take}\n");
    checked_json(&day, (const char *const[]){card, "--spec", spec, NULL});
    json_t *take = take_of("12A_T03.wav");
    ck_assert_str_eq(checked_text(take, "scene"), "12A");
    ck_assert_str_eq(checked_text(take, "take"), "03");
    ck_assert_ptr_null(checked_finding(take, "name-off-pattern", "note"));
    ck_assert_ptr_nonnull(checked_finding(take_of("boat.wav"), "name-off-pattern", "fail"));
    ck_assert_msg(find(day.report, "missing-take", "4") != NULL, "take 4 of 12A is not missed");
    free(spec);
}
END_TEST

START_TEST(names__tracks_dates_and_numbers)
{
    put_take("330314-12A-0007-1.wav", 21, AT(9, 0, 0), NULL);
    put_take("330314-12A-0009-1.wav", 22, AT(9, 5, 0), NULL);
    put_take("3303-12A-0010-1.wav", 23, AT(9, 10, 0), NULL);
    char *spec = write_text("day.ini", "[names]\npattern = {date}-{scene}-{n}-{track}\n");
    checked_json(&day, (const char *const[]){card, "--spec", spec, NULL});
    ck_assert_str_eq(checked_text(take_of("330314-12A-0007-1.wav"), "scene"), "12A");
    ck_assert_ptr_null(checked_finding(take_of("330314-12A-0007-1.wav"), "name-off-pattern", "note"));
    ck_assert_msg(checked_finding(take_of("3303-12A-0010-1.wav"), "name-off-pattern", "fail") != NULL,
                  "four digits passed for a date");
    ck_assert_msg(find(day.report, "missing-take", "0008") != NULL, "number 8 is not missed");
    free(spec);
}
END_TEST

START_TEST(names__an_unknown_word_is_an_error_of_the_spec)
{
    put_take("a.wav", 1, 0, NULL);
    char *spec = write_text("day.ini", "[names]\n\npattern = {scene}_{slate}\n");
    checked_json(&day, (const char *const[]){card, "--spec", spec, NULL});
    ck_assert_int_eq(day.run.exit_status, 3);
    ck_assert_msg(strstr(day.run.err, "day.ini' line 3") != NULL || strstr(day.run.err, "day.ini:3") != NULL, "%s",
                  day.run.err);
    free(spec);
}
END_TEST

/* ---- recordings split by size ---- */

START_TEST(segments__exact_parts_are_one_take)
{
    put_take("T010_1.wav", 31, AT(10, 0, 0), NULL);
    put_take("T010_2.wav", 32, AT(10, 0, 0) + FRAMES, NULL);
    put_take("T010_3.wav", 33, AT(10, 0, 0) + 2 * FRAMES, NULL);
    put_take("T011.wav", 34, AT(10, 5, 0), NULL);
    checked_source(&day, card);
    ck_assert_uint_eq(json_array_size(json_object_get(day.report, "takes")), 2);
    json_t *take = take_of("T010_1.wav");
    ck_assert_ptr_eq(take, take_of("T010_3.wav"));
    ck_assert_uint_eq(json_array_size(json_object_get(take, "files")), 3);
    ck_assert_double_eq_tol(checked_number(take, "duration_s"), 3.0 * FRAMES / RATE, 1e-9);
    ck_assert_ptr_null(find(take, "segment-gap", ""));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("day");
    TCase *notes = tcase_create("notes"), *names = tcase_create("names"), *segments = tcase_create("segments");
    TCase *const cases[] = {notes, names, segments};
    for (size_t i = 0; i < 3; i++) {
        tcase_set_timeout(cases[i], 60);
        tcase_add_checked_fixture(cases[i], setup, teardown);
        suite_add_tcase(suite, cases[i]);
    }
    tcase_add_test(notes, notes__are_merged_and_compared_with_the_card);
    tcase_add_test(notes, notes__stand_in_the_reports_for_people);
    tcase_add_test(notes, notes__match_by_scene_and_take_without_a_file_column);
    tcase_add_test(notes, notes__that_list_all_give_no_finding);
    tcase_add_loop_test(notes, notes__that_cannot_be_read_end_the_check, 0, 3);
    tcase_add_test(notes, notes__the_template_is_a_good_log);
    tcase_add_test(names, names__the_pattern_gives_scene_and_take);
    tcase_add_test(names, names__tracks_dates_and_numbers);
    tcase_add_test(names, names__an_unknown_word_is_an_error_of_the_spec);
    tcase_add_test(segments, segments__exact_parts_are_one_take);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
