/* SPDX-License-Identifier: MIT */
/*
 * A day as a whole, through the program: the set's notes, names by a pattern, and recordings that the recorder split by
 * size. Every expectation follows from how the card was made.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdio.h>
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
    ck_assert_msg(find(day.report, "missing-take", "Number 8 is missing") != NULL, "number 8 is not missed");
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
    ck_assert_double_eq(checked_number(take, "part_count"), 3);
    ck_assert_str_eq(checked_text(take, "id"), "T010");
    ck_assert_str_eq(checked_text(take, "start_timecode"), "10:00:00:00");
    ck_assert_str_eq(checked_text(take, "end_timecode"), "10:00:06:00");
    ck_assert_ptr_null(find(take, "segment-gap", ""));
}
END_TEST

/* The signals of a take as "PART:FILE/CHANNEL …". */
static char *signals_of(json_t *take)
{
    char *text = scratch_format("%s", "");
    size_t i;
    json_t *signal;
    json_array_foreach(json_object_get(take, "signals"), i, signal)
    {
        json_t *use = json_object_get(signal, "use");
        char *longer = scratch_format("%s%s%d:%s/%d", text, i > 0 ? " " : "", (int)checked_number(signal, "part"),
                                      checked_text(use, "file"), (int)checked_number(use, "channel"));
        free(text);
        text = longer;
    }
    return text;
}

START_TEST(segments__tracks_stand_side_by_side)
{
    put_take("T010_1.wav", 31, AT(10, 0, 0), NULL);
    put_take("T010_2.wav", 32, AT(10, 0, 0) + FRAMES, NULL);
    checked_source(&day, card);
    char *signals = signals_of(take_of("T010_1.wav"));
    ck_assert_str_eq(signals, "1:T010_1.wav/1 2:T010_2.wav/1 1:T010_1.wav/2 2:T010_2.wav/2");
    free(signals);
    struct run run;
    const char *const argv[] = {run_takeproof(), "check", card, NULL};
    run_program(argv, NULL, NULL, 60, &run);
    ck_assert_msg(strstr(run.out, "channel 1, in both parts") != NULL, "%s", run.out);
    run_clear(&run);
}
END_TEST

/* A pair split in two: a pair in each part, one track in words, and the report reads back the same. */
START_TEST(segments__a_pair_stays_a_pair)
{
    enum { SECONDS = 12, PART = SECONDS / 2 * RATE };
    size_t frames;
    double *samples = good_take_samples(7, SECONDS, &frames);
    struct wavgen_bext bext = {.date = "2033-03-14", .time = "10:20:00", .time_reference = AT(10, 20, 0)};
    struct wavgen w = {.channels = 2, .frames = PART, .reals = samples, .bext = &bext};
    put("A_0007.wav", &w);
    bext.time_reference += PART;
    w.reals = samples + 2 * PART;
    put("A_0008.wav", &w);
    free(samples);
    checked_source(&day, card);
    json_t *take = take_of("A_0007.wav");
    ck_assert_ptr_eq(take, take_of("A_0008.wav"));
    ck_assert_str_eq(checked_text(take, "id"), "A_0007");
    ck_assert_uint_eq(json_array_size(json_object_get(take, "signals")), 2);
    for (size_t i = 0; i < 2; i++) {
        json_t *signal = json_array_get(json_object_get(take, "signals"), i);
        ck_assert(json_is_object(json_object_get(signal, "pair")));
        ck_assert_str_eq(checked_text(json_object_get(signal, "use"), "choice"), "main");
    }
    ck_assert_ptr_null(find(day.report, "missing-take", ""));
    char *reports = scratch_format("%s/reports", scratch), *again = scratch_format("%s/again", scratch);
    char *json = scratch_format("%s/report.json", reports);
    struct run run;
    run_program((const char *const[]){run_takeproof(), "check", card, "-o", reports, NULL}, NULL, NULL, 60, &run);
    ck_assert_msg(strstr(run.out, "main, channel 1, in both parts") != NULL, "%s", run.out);
    run_clear(&run);
    run_program((const char *const[]){run_takeproof(), "report", json, "-o", again, NULL}, NULL, NULL, 60, &run);
    ck_assert_int_le(run.exit_status, 2);
    char *first_path = scratch_format("%s/report.html", reports),
         *second_path = scratch_format("%s/report.html", again);
    size_t first_size, second_size;
    char *first = scratch_read(first_path, &first_size), *second = scratch_read(second_path, &second_size);
    ck_assert(first != NULL && second != NULL && first_size == second_size && memcmp(first, second, first_size) == 0);
    ck_assert_ptr_nonnull(strstr(first, "Part 2 of 2, <bdi>A_0008.wav</bdi>"));
    run_clear(&run);
    free(first);
    free(second);
    free(first_path);
    free(second_path);
    free(reports);
    free(again);
    free(json);
}
END_TEST

#define FAMILY(uid) "<BWFXML><FILE_SET><FAMILY_UID>" uid "</FAMILY_UID></FILE_SET></BWFXML>"

/* Samples from the end of the first part to the start of the second, what iXML says, and what must come of it. */
static const struct {
    int64_t gap;
    const char *first_ixml, *second_ixml;
    bool joined;
    const char *words;
} breaks[] = {
    {480, FAMILY("h1"), FAMILY("h1"), true, "480 samples (0.0100 s) are missing"},
    {-96, FAMILY("h1"), FAMILY("h1"), true, "96 samples (0.0020 s) overlap"},
    {480, FAMILY("h1"), FAMILY("h2"), false, NULL},
    {480, NULL, NULL, false, NULL},
    {2 * RATE, FAMILY("h1"), FAMILY("h1"), false, NULL},
    {0, NULL, NULL, true, NULL},
};

START_TEST(segments__gap_and_overlap_are_told_in_samples)
{
    put_take("T020.wav", 41, AT(10, 0, 0), breaks[_i].first_ixml);
    put_take("T021.wav", 42, (uint64_t)((int64_t)AT(10, 0, 0) + FRAMES + breaks[_i].gap), breaks[_i].second_ixml);
    checked_source(&day, card);
    json_t *take = take_of("T020.wav");
    ck_assert_int_eq(take == take_of("T021.wav"), breaks[_i].joined);
    json_t *finding = find(take, "segment-gap", breaks[_i].words != NULL ? breaks[_i].words : "");
    ck_assert_int_eq(finding != NULL, breaks[_i].words != NULL);
    if (finding == NULL)
        return;
    ck_assert_str_eq(checked_text(finding, "file"), "T021.wav");
    ck_assert_str_eq(checked_text(finding, "severity"), "listen");
    ck_assert_double_eq_tol(checked_number(finding, "value"), (double)breaks[_i].gap / RATE, 1e-6);
    ck_assert_int_eq(day.run.exit_status == 0, 0);
}
END_TEST

/* ---- parts that are lost ---- */

/* What the card holds of a recording of `total` parts of equal length, as a bit each. */
static const struct {
    unsigned total, here;
    const char *words; /* NULL: nothing is missing */
} lost[] = {
    {1, 1, NULL},
    {2, 3, NULL},
    {2, 1, "Part 2 of 2 of this recording is not here; by the name of the others it would be '13-T01_0002.wav'."},
    {2, 2, "Part 1 of 2 of this recording is not here; by the name of the others it would be '13-T01_0001.wav'."},
    {3, 5, "Part 2 of 3 of this recording is not here; by the name of the others it would be '13-T01_0002.wav'."},
};

START_TEST(parts__a_take_of_which_one_is_missing_does_not_pass)
{
    char name[40];
    for (unsigned i = 0; i < lost[_i].total; i++) {
        struct wavgen_ixml ixml = {
            .scene = "13", .take = "1", .family_uid = "f1", .total_files = lost[_i].total, .file_index = i + 1};
        char *text = wavgen_ixml_text(&ixml);
        snprintf(name, sizeof name, lost[_i].total > 1 ? "13-T01_%04u.wav" : "13-T01.wav", i + 1);
        if (lost[_i].here >> i & 1)
            put_take(name, 60 + i, AT(10, 0, 0) + i * FRAMES, text);
        free(text);
    }
    char *spec = write_text("day.ini", "[names]\npattern = {scene}-T{take}\n");
    checked_json(&day, (const char *const[]){card, "--spec", spec, NULL});
    free(spec);
    ck_assert_uint_eq(json_array_size(json_object_get(day.report, "takes")), 1);
    json_t *take = json_array_get(json_object_get(day.report, "takes"), 0);
    ck_assert_ptr_null(find(take, "name-off-pattern", ""));
    ck_assert_ptr_null(find(day.report, "duplicate-name", ""));
    ck_assert_ptr_null(find(day.report, "missing-take", ""));
    json_t *finding = find(take, "segment-gap", lost[_i].words != NULL ? lost[_i].words : "");
    ck_assert_int_eq(finding != NULL, lost[_i].words != NULL);
    if (finding != NULL)
        ck_assert_str_eq(checked_text(finding, "severity"), "listen");
}
END_TEST

/* Whole files may not carry a number that the pattern does not name. */
START_TEST(parts__a_number_behind_a_whole_take_is_off_the_pattern)
{
    put_take("13-T01_0001.wav", 60, AT(10, 0, 0), NULL);
    put_take("13-T02_0001.wav", 61, AT(10, 5, 0), NULL);
    put_take("13-T02_0002.wav", 62, AT(10, 5, 0) + FRAMES, NULL);
    char *spec = write_text("day.ini", "[names]\npattern = {scene}-T{take}\n");
    checked_json(&day, (const char *const[]){card, "--spec", spec, NULL});
    free(spec);
    ck_assert_ptr_nonnull(find(take_of("13-T01_0001.wav"), "name-off-pattern", ""));
    json_t *split = take_of("13-T02_0001.wav");
    ck_assert_ptr_eq(split, take_of("13-T02_0002.wav"));
    ck_assert_ptr_null(find(split, "name-off-pattern", ""));
    ck_assert_str_eq(checked_text(split, "scene"), "13");
    ck_assert_str_eq(checked_text(split, "take"), "02");
}
END_TEST

START_TEST(names__a_renamed_file_is_a_note)
{
    static const char ixml[] = "<BWFXML><SCENE>13</SCENE><TAKE>3</TAKE><HISTORY><ORIGINAL_FILENAME>13-T03.WAV</"
                               "ORIGINAL_FILENAME></HISTORY></BWFXML>";
    put_take("boom best.wav", 60, AT(10, 0, 0), ixml);
    put_take("13-T03_1.wav", 61, AT(10, 5, 0), ixml);
    checked_source(&day, card);
    json_t *finding = find(take_of("boom best.wav"), "metadata-conflict", "recorded as '13-T03.WAV'");
    ck_assert_ptr_nonnull(finding);
    ck_assert_str_eq(checked_text(finding, "severity"), "note");
    ck_assert_ptr_null(find(take_of("13-T03_1.wav"), "metadata-conflict", ""));
}
END_TEST

START_TEST(segments__a_mono_recording_in_two_parts_is_no_failed_pair)
{
    uint64_t seed = 51;
    struct wavgen_bext bext = {.time_reference = AT(10, 0, 0)};
    struct wavgen w = {.frames = FRAMES, .sound = noise, .sound_user = &seed, .bext = &bext};
    put("T030.wav", &w);
    seed = 52;
    bext.time_reference += FRAMES;
    put("T031.wav", &w);
    checked_source(&day, card);
    ck_assert_ptr_eq(take_of("T030.wav"), take_of("T031.wav"));
    ck_assert_ptr_null(find(take_of("T030.wav"), "not-a-pair", ""));
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
    tcase_add_test(segments, segments__tracks_stand_side_by_side);
    tcase_add_test(segments, segments__a_pair_stays_a_pair);
    tcase_add_loop_test(segments, parts__a_take_of_which_one_is_missing_does_not_pass, 0,
                        (int)(sizeof lost / sizeof lost[0]));
    tcase_add_test(segments, parts__a_number_behind_a_whole_take_is_off_the_pattern);
    tcase_add_test(names, names__a_renamed_file_is_a_note);
    tcase_add_loop_test(segments, segments__gap_and_overlap_are_told_in_samples, 0, 6);
    tcase_add_test(segments, segments__a_mono_recording_in_two_parts_is_no_failed_pair);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
