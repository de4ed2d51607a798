/* SPDX-License-Identifier: MIT */
/*
 * What other people's scripts rely on: exit statuses, keys of report.json, the report set, output that does not depend
 * on the number of threads, a source that is never written to.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char *const reports[] = {"report.html", "report.csv", "findings.csv", "report.json", "manifest.sha256"};
#define REPORT_COUNT (sizeof reports / sizeof reports[0])
static const char *const environment[] = {"SOURCE_DATE_EPOCH=1931385600", NULL};

static char *scratch, *card;

static void put_take(const char *name, const struct wavgen *as, uint64_t seed)
{
    size_t frames;
    double *sound = good_take_samples(seed, 4.0, &frames);
    struct wavgen w = *as;
    w.channels = 2;
    w.frames = frames;
    w.reals = sound;
    char *path = scratch_format("%s/%s", card, name);
    wavgen_write(&w, path);
    free(path);
    free(sound);
}

static void make_card(void)
{
    static const struct wavgen_bext bext = {.description = "Harbour Lights, scene 12A",
                                            .originator = "Example recorder",
                                            .date = "2031-03-14",
                                            .time = "10:00:00",
                                            .time_reference = UINT64_C(36000) * 48000,
                                            .version = 1,
                                            .history = "A=PCM,F=48000,W=24\r\n"};
    struct wavgen_ixml x = {.project = "Harbour Lights",
                            .scene = "12A",
                            .take = "1",
                            .timecode_rate = "25/1",
                            .timecode_flag = "NDF",
                            .track_count = 2,
                            .tracks = {{1, 1, "Main", NULL}, {2, 2, "Safety", NULL}}};
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    char *inner = scratch_format("%s/S01", card);
    scratch_folder(inner);
    free(inner);
    char *ixml = wavgen_ixml_text(&x);
    put_take("S01/12A-T01.wav", &(struct wavgen){.bext = &bext, .ixml = ixml}, 40);
    put_take("S01/12A-T02.wav", &(struct wavgen){.rate_hz = 44100}, 41);
    put_take("S01/12A-T03.WAV", &(struct wavgen){.container = WAVGEN_BW64}, 42);
    put_take("S01/12A-T04.wav", &(struct wavgen){.container = WAVGEN_RF64, .extensible = true}, 43);
    char *note = scratch_format("%s/notes.txt", card);
    scratch_write(note, "lunch at one\n", 13);
    free(note);
    free(ixml);
}

static void remove_card(void)
{
    scratch_remove(scratch);
    free(card);
}

/* Runs the program with up to ten words; the exit status. */
static int status_of(const char *const *words, struct run *run)
{
    const char *argv[12] = {run_takeproof()};
    for (size_t i = 0; words[i] && i < 10; i++)
        argv[1 + i] = words[i];
    run_program(argv, NULL, environment, 120, run);
    return run->exit_status;
}

static void expect_status(int expected, const char *const *words)
{
    struct run run;
    int status = status_of(words, &run);
    ck_assert_msg(status == expected, "'%s %s %s': status %d, not %d\n%s%s", words[0], words[1] ? words[1] : "",
                  words[1] && words[2] ? words[2] : "", status, expected, run.out, run.err);
    if (expected == 3) {
        ck_assert_msg(run.out_size == 0, "a job that was not done prints to stdout: %s", run.out);
        ck_assert_msg(run.err_size > 0, "a job that was not done says nothing");
    }
    run_clear(&run);
}

START_TEST(exit_status__follows_the_worst_verdict)
{
    char *good = scratch_format("%s/S01/12A-T01.wav", card), *bad = scratch_format("%s/S01/12A-T02.wav", card);
    char *low = scratch_format("%s/low.wav", scratch);
    size_t frames;
    double *sound = good_take_samples(44, 4.0, &frames);
    for (size_t i = 0; i < 2 * frames; i++)
        sound[i] *= 0.1;
    wavgen_write(&(struct wavgen){.channels = 2, .frames = frames, .reals = sound}, low);
    free(sound);
    expect_status(0, (const char *const[]){"check", good, NULL});
    expect_status(1, (const char *const[]){"check", low, NULL});
    expect_status(1, (const char *const[]){"check", good, low, NULL});
    expect_status(2, (const char *const[]){"check", low, bad, good, NULL});
    expect_status(2, (const char *const[]){"check", card, NULL});
    free(good);
    free(bad);
    free(low);
}
END_TEST

START_TEST(exit_status__is_3_when_the_job_cannot_be_done)
{
    char *gone = scratch_format("%s/not-there", scratch), *inside = scratch_format("%s/S01/reports", card);
    char *occupied = scratch_format("%s/notes.txt/reports", card);
    expect_status(3, (const char *const[]){"check", NULL});
    expect_status(3, (const char *const[]){"check", gone, NULL});
    expect_status(3, (const char *const[]){"check", card, gone, NULL});
    expect_status(3, (const char *const[]){"check", "--no-such-option", card, NULL});
    expect_status(3, (const char *const[]){"no-such-command", card, NULL});
    expect_status(3, (const char *const[]){"check", card, "--jobs", "none", NULL});
    expect_status(3, (const char *const[]){"check", card, "--spec", gone, NULL});
    expect_status(3, (const char *const[]){"check", card, "--log", gone, NULL});
    expect_status(3, (const char *const[]){"check", card, "-o", inside, NULL});
    expect_status(3, (const char *const[]){"check", card, "-o", occupied, NULL});
    struct stat info;
    ck_assert_msg(stat(inside, &info) != 0, "a report folder was made inside the source");
    free(gone);
    free(inside);
    free(occupied);
}
END_TEST

static const struct {
    const char *text, *line;
} bad_specs[] = {
    {"[format]\nsample_rate_hz = fast\n", "2"},
    {"[format]\nno_such_key = 1\n", "2"},
    {"\n\n[no_such_section]\nx = 1\n", ""},
    {"[level]\n\nworking_level_min_dbfs = -10\nworking_level_max_dbfs = -20\n", ""},
    {"[format]\nbit_depth = 23.5\n", "2"},
    {"[level]\ntrue_peak_max_dbtp = nan\n", "2"},
    {"sample_rate_hz = 48000\n", "1"},
    {"[format\n", "1"},
};

START_TEST(spec__an_error_names_file_and_line)
{
    char *path = scratch_format("%s/day.ini", scratch);
    scratch_write(path, bad_specs[_i].text, strlen(bad_specs[_i].text));
    struct run run;
    int status = status_of((const char *const[]){"check", card, "--spec", path, NULL}, &run);
    ck_assert_msg(status == 3, "'%s' gave status %d", bad_specs[_i].text, status);
    ck_assert_msg(strstr(run.err, "day.ini") != NULL, "no file name: %s", run.err);
    ck_assert_msg(strstr(run.err, bad_specs[_i].line) != NULL, "no line: %s", run.err);
    run_clear(&run);
    free(path);
}
END_TEST

/* Every key of the contract; "[]" steps into the first element. A null value is a value. */
static const char *const keys[] = {
    "format",
    "version",
    "made",
    "source",
    "production.title",
    "production.recordist",
    "production.roll",
    "production.date",
    "spec.sample_rate_hz",
    "spec.bit_depth",
    "spec.encoding",
    "spec.container",
    "spec.working_level_min_dbfs",
    "spec.working_level_max_dbfs",
    "spec.true_peak_max_dbtp",
    "spec.safety_below_min_db",
    "spec.safety_below_max_db",
    "spec.duration_min_s",
    "spec.low_cut",
    "summary.files",
    "summary.takes",
    "summary.pass",
    "summary.listen",
    "summary.fail",
    "summary.duration_s",
    "summary.bytes",
    "takes[].id",
    "takes[].scene",
    "takes[].take",
    "takes[].circled",
    "takes[].no_good",
    "takes[].notes",
    "takes[].verdict",
    "takes[].files",
    "takes[].start_timecode",
    "takes[].timecode_rate",
    "takes[].duration_s",
    "takes[].use.choice",
    "takes[].use.file",
    "takes[].use.channel",
    "takes[].use.reason",
    "takes[].pair.main.file",
    "takes[].pair.main.channel",
    "takes[].pair.safety.file",
    "takes[].pair.safety.channel",
    "takes[].pair.offset_db",
    "takes[].pair.lag_samples",
    "takes[].pair.polarity",
    "takes[].pair.correlation",
    "takes[].pair.splices",
    "takes[].findings",
    "files[].path",
    "files[].bytes",
    "files[].hashes.sha256",
    "files[].hashes.xxh64",
    "files[].hashes.xxh3",
    "files[].container",
    "files[].encoding",
    "files[].bit_depth",
    "files[].valid_bits",
    "files[].effective_bits",
    "files[].sample_rate_hz",
    "files[].channel_count",
    "files[].frames",
    "files[].duration_s",
    "files[].bext",
    "files[].ixml",
    "files[].verdict",
    "files[].programme.integrated_lufs",
    "files[].programme.momentary_max_lufs",
    "files[].programme.short_term_max_lufs",
    "files[].programme.loudness_range_lu",
    "files[].programme.true_peak_max_dbtp",
    "files[].programme.sample_peak_max_dbfs",
    "files[].channels[].channel",
    "files[].channels[].name",
    "files[].channels[].sample_peak_dbfs",
    "files[].channels[].true_peak_dbtp",
    "files[].channels[].integrated_lufs",
    "files[].channels[].momentary_max_lufs",
    "files[].channels[].short_term_max_lufs",
    "files[].channels[].rms_dbfs",
    "files[].channels[].dc_offset",
    "files[].channels[].noise_floor_dbfs",
    "files[].channels[].working_level_dbfs",
    "files[].channels[].clip_runs",
    "files[].channels[].clipped_samples",
    "files[].channels[].longest_clip_run",
    "files[].channels[].clips",
    "others[].path",
    "others[].bytes",
    "others[].why",
};

static const json_t *step(const json_t *at, char *word)
{
    size_t length = strlen(word);
    bool list = length > 2 && strcmp(word + length - 2, "[]") == 0;
    if (list)
        word[length - 2] = '\0';
    at = json_object_get(at, word);
    return list ? json_array_get(at, 0) : at;
}

START_TEST(report_json__has_every_key_of_the_contract)
{
    struct checked checked;
    checked_source(&checked, card);
    ck_assert_msg(checked.report != NULL, "no JSON: %s", checked.run.err);
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        char *copy = strdup(keys[i]), *rest = copy, *word;
        const json_t *at = checked.report;
        while (at && (word = strsep(&rest, ".")))
            at = step(at, word);
        ck_assert_msg(at != NULL, "no '%s'", keys[i]);
        free(copy);
    }
    ck_assert_int_eq((int)checked_number(checked.report, "format"), 1);
    const json_t *take = checked_take(&checked, "S01/12A-T02.wav");
    const json_t *finding = checked_finding(take, "wrong-sample-rate", "fail");
    ck_assert_ptr_nonnull(finding);
    static const char *const finding_keys[] = {"code",  "severity", "file",  "channel", "start_s",
                                               "end_s", "value",    "limit", "message"};
    for (size_t i = 0; i < sizeof finding_keys / sizeof finding_keys[0]; i++)
        ck_assert_msg(json_object_get(finding, finding_keys[i]) != NULL, "no '%s' in a finding", finding_keys[i]);
    ck_assert_double_eq(checked_number(finding, "value"), 44100.0);
    ck_assert_double_eq(checked_number(finding, "limit"), 48000.0);
    ck_assert_str_eq(checked_text(finding, "file"), "S01/12A-T02.wav");
    checked_clear(&checked);
}
END_TEST

START_TEST(report_json__says_what_the_files_are)
{
    struct checked checked;
    checked_source(&checked, card);
    const json_t *bw64 = checked_file(&checked, "S01/12A-T03.WAV"), *rf64 = checked_file(&checked, "S01/12A-T04.wav");
    ck_assert_str_eq(checked_text(bw64, "container"), "bw64");
    ck_assert_str_eq(checked_text(rf64, "container"), "rf64");
    ck_assert_str_eq(checked_text(checked_file(&checked, "S01/12A-T01.wav"), "container"), "wav");
    ck_assert_str_eq(checked_text(rf64, "encoding"), "pcm");
    ck_assert_double_eq(checked_number(rf64, "frames"), 4.0 * 48000.0);
    ck_assert_double_eq(checked_number(rf64, "effective_bits"), 24.0);
    ck_assert_str_eq(checked_text(checked.report, "made"), "2031-03-16T00:00:00Z");
    checked_clear(&checked);
}
END_TEST

static void write_set(const char *folder, const char *jobs)
{
    struct run run;
    ck_assert_int_eq(status_of((const char *const[]){"check", card, "-o", folder, "--jobs", jobs, NULL}, &run), 2);
    run_clear(&run);
}

START_TEST(report_set__does_not_depend_on_the_number_of_threads)
{
    static const char *const jobs[] = {"1", "2", "4", "1"};
    char *folders[4];
    for (size_t j = 0; j < 4; j++) {
        folders[j] = scratch_format("%s/set-%zu", scratch, j);
        write_set(folders[j], jobs[j]);
        for (size_t i = 0; i < REPORT_COUNT; i++) {
            char *first = scratch_format("%s/%s", folders[0], reports[i]),
                 *this = scratch_format("%s/%s", folders[j], reports[i]);
            size_t first_size, size;
            char *first_bytes = scratch_read(first, &first_size), *bytes = scratch_read(this, &size);
            ck_assert_msg(bytes != NULL && size > 0, "no %s", reports[i]);
            ck_assert_msg(size == first_size && memcmp(bytes, first_bytes, size) == 0, "%s differs with --jobs %s",
                          reports[i], jobs[j]);
            free(first_bytes);
            free(bytes);
            free(first);
            free(this);
        }
    }
    for (size_t j = 0; j < 4; j++)
        free(folders[j]);
}
END_TEST

static size_t entries_of(const char *folder)
{
    size_t count = 0;
    DIR *entries = opendir(folder);
    ck_assert_ptr_nonnull(entries);
    for (struct dirent *entry; (entry = readdir(entries));)
        count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
    closedir(entries);
    return count;
}

START_TEST(report_set__is_whole_and_leaves_nothing_behind)
{
    char *folder = scratch_format("%s/deep/er/set", scratch), *json = scratch_format("%s/report.json", folder);
    write_set(folder, "2");
    write_set(folder, "2"); /* an earlier set is replaced */
    ck_assert_uint_eq(entries_of(folder), REPORT_COUNT);
    struct checked checked;
    checked_source(&checked, card);
    size_t size;
    char *bytes = scratch_read(json, &size);
    ck_assert_msg(size == checked.run.out_size && memcmp(bytes, checked.run.out, size) == 0,
                  "report.json and --json differ");
    checked_clear(&checked);
    free(bytes);
    free(json);
    free(folder);
}
END_TEST

/* coreutils reads the manifest from the source folder, as a receiver would. */
START_TEST(manifest__is_accepted_by_sha256sum)
{
    char *folder = scratch_format("%s/for-sums", scratch), *manifest = scratch_format("%s/manifest.sha256", folder);
    write_set(folder, "2");
    struct run run;
    run_program((const char *const[]){"sha256sum", "--check", "--strict", manifest, NULL}, card, NULL, 60, &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    size_t lines = 0;
    for (const char *at = run.out; (at = strchr(at, '\n')); at++)
        lines++;
    ck_assert_uint_ge(lines, 4);
    run_clear(&run);
    free(manifest);
    free(folder);
}
END_TEST

START_TEST(report_csv__has_a_header_and_a_row_for_each_take)
{
    char *folder = scratch_format("%s/for-csv", scratch), *path = scratch_format("%s/report.csv", folder);
    write_set(folder, "1");
    char *csv = scratch_read(path, NULL);
    size_t rows = 0;
    bool quoted = false;
    for (const char *at = csv; *at; at++) {
        quoted ^= *at == '"';
        rows += *at == '\n' && !quoted;
    }
    ck_assert_uint_eq(rows, 1 + 4);
    ck_assert_msg(strstr(csv, "12A") != NULL && strstr(csv, "wrong-sample-rate") != NULL, "%s", csv);
    free(csv);
    free(path);
    free(folder);
}
END_TEST

/* HTML that stands alone: nothing is fetched. */
START_TEST(report_html__refers_to_nothing_outside)
{
    char *folder = scratch_format("%s/for-html", scratch), *path = scratch_format("%s/report.html", folder);
    write_set(folder, "1");
    char *html = scratch_read(path, NULL);
    static const char *const outside[] = {"src=\"http", "href=\"http", "url(http", "@import",
                                          "src=\"//",   "<link",       "<iframe"};
    for (size_t i = 0; i < sizeof outside / sizeof outside[0]; i++)
        ck_assert_msg(strstr(html, outside[i]) == NULL, "'%s' in the report", outside[i]);
    ck_assert_ptr_nonnull(strstr(html, "<svg"));
    ck_assert_ptr_nonnull(strstr(html, "12A"));
    free(html);
    free(path);
    free(folder);
}
END_TEST

START_TEST(source__is_never_written_to)
{
    char *folder = scratch_format("%s/apart", scratch);
    uint64_t before = scratch_fingerprint(card);
    write_set(folder, "2");
    struct checked checked;
    checked_source(&checked, card);
    checked_clear(&checked);
    ck_assert_uint_eq(scratch_fingerprint(card), before);
    free(folder);
}
END_TEST

START_TEST(several_sources__are_one_report_with_a_manifest_each)
{
    char *second = scratch_format("%s/second", scratch), *path = scratch_format("%s/x.wav", second);
    char *folder = scratch_format("%s/both", scratch), *sums = scratch_format("%s/manifest-2.sha256", folder);
    scratch_folder(second);
    good_take_write(path, 45, 4.0);
    struct run run;
    ck_assert_int_eq(status_of((const char *const[]){"check", second, card, "-o", folder, NULL}, &run), 2);
    run_clear(&run);
    run_program((const char *const[]){"sha256sum", "--check", "--strict", sums, NULL}, card, NULL, 60, &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    run_clear(&run);
    struct checked checked;
    checked_json(&checked, (const char *const[]){second, card, NULL});
    ck_assert_uint_eq(json_array_size(json_object_get(checked.report, "takes")), 5);
    ck_assert_ptr_nonnull(checked_take(&checked, "x.wav"));
    ck_assert_ptr_nonnull(checked_take(&checked, "S01/12A-T01.wav"));
    checked_clear(&checked);
    free(sums);
    free(folder);
    free(path);
    free(second);
}
END_TEST

START_TEST(output__a_full_disk_is_not_done)
{
    const char *command = "\"$0\" check \"$1\" --json >/dev/full";
    struct run run;
    run_program((const char *const[]){"sh", "-c", command, run_takeproof(), card, NULL}, NULL, environment, 60, &run);
    ck_assert_int_eq(run.exit_status, 3);
    run_clear(&run);
}
END_TEST

START_TEST(empty_folder__is_no_pass)
{
    char *empty = scratch_format("%s/empty", scratch);
    scratch_folder(empty);
    expect_status(2, (const char *const[]){"check", empty, NULL});
    free(empty);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("contract");
    TCase *all = tcase_create("all");
    tcase_add_unchecked_fixture(all, make_card, remove_card);
    tcase_set_timeout(all, 60);
    tcase_add_test(all, exit_status__follows_the_worst_verdict);
    tcase_add_test(all, exit_status__is_3_when_the_job_cannot_be_done);
    tcase_add_loop_test(all, spec__an_error_names_file_and_line, 0, (int)(sizeof bad_specs / sizeof bad_specs[0]));
    tcase_add_test(all, report_json__has_every_key_of_the_contract);
    tcase_add_test(all, report_json__says_what_the_files_are);
    tcase_add_test(all, report_set__does_not_depend_on_the_number_of_threads);
    tcase_add_test(all, report_set__is_whole_and_leaves_nothing_behind);
    tcase_add_test(all, manifest__is_accepted_by_sha256sum);
    tcase_add_test(all, report_csv__has_a_header_and_a_row_for_each_take);
    tcase_add_test(all, report_html__refers_to_nothing_outside);
    tcase_add_test(all, source__is_never_written_to);
    tcase_add_test(all, several_sources__are_one_report_with_a_manifest_each);
    tcase_add_test(all, output__a_full_disk_is_not_done);
    tcase_add_test(all, empty_folder__is_no_pass);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
