/* SPDX-License-Identifier: MIT */
/*
 * A source that nobody tidied: names with every kind of byte, links that lead back, pipes, devices, entries that may
 * not be read. Everything is accounted for, nothing hangs, and no name breaks out of a report.
 */
#include "support/checked.h"

#include <check.h>
#include <pwd.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

static const char *const odd_names[] = {
    "a b.wav",
    "two\nlines.wav",
    "quo\"te's.wav",
    "=1+2.wav",
    "+1.wav",
    "@sum.wav",
    "-dash.wav",
    "<script>x.wav",
    "semi;colon,comma.wav",
    "per%s%n.wav",
    "tab\there.wav",
    "back\\slash.wav",
    "\xC3\xBC-\xE2\x82\xAC.wav",
    "\xFF\xFE-raw.wav",
    "cut\xE2\x82.wav",
    "esc\x1b[31m.wav",
    "carriage\r.wav",
    "&amp;.wav",
    "x..wav.WaV",
    "~.bwf",
};
#define ODD_COUNT (sizeof odd_names / sizeof odd_names[0])

static char *scratch, *card, *reports;
static struct run run;
static json_t *report;

static char *inside(const char *name)
{
    return scratch_format("%s/%s", card, name);
}

static void put(const char *name, const char *from)
{
    char *path = inside(name);
    scratch_copy(from, path);
    free(path);
}

static void put_socket(const char *name)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    char *path = inside(name);
    int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    strncpy(address.sun_path, path, sizeof address.sun_path - 1);
    ck_assert_int_eq(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    close(fd);
    free(path);
}

static void put_special_entries(void)
{
    char *pipe_path = inside("pipe.wav"), *loop = inside("folder/loop"), *dangling = inside("gone.wav");
    char *itself = inside("self.wav"), *link = inside("link.wav"), *device = inside("device.wav");
    ck_assert_int_eq(mkfifo(pipe_path, 0666), 0);
    ck_assert_int_eq(symlink("..", loop), 0);
    ck_assert_int_eq(symlink("nowhere.wav", dangling), 0);
    ck_assert_int_eq(symlink("self.wav", itself), 0);
    ck_assert_int_eq(symlink("folder/inner.wav", link), 0);
    ck_assert_int_eq(symlink("/dev/zero", device), 0);
    put_socket("socket.wav");
    free(pipe_path);
    free(loop);
    free(dangling);
    free(itself);
    free(link);
    free(device);
}

static void make_card(void)
{
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    reports = scratch_format("%s/reports", scratch);
    char *good = scratch_format("%s/good.wav", scratch), *folder = inside("folder"), *named = inside("dir.wav");
    scratch_folder(folder);
    scratch_folder(named);
    good_take_write(good, 40, 3.0);
    for (size_t i = 0; i < ODD_COUNT; i++)
        put(odd_names[i], good);
    put("folder/inner.wav", good);
    put("dir.wav/in.wav", good);
    put("._a b.wav", good);
    put(".hidden.wav", good);
    put("song.mp3", good);
    put_special_entries();
    free(good);
    free(folder);
    free(named);
    const char *const argv[] = {run_takeproof(), "check", card, "-o", reports, NULL};
    run_program(argv, NULL, (const char *const[]){"SOURCE_DATE_EPOCH=1931385600", NULL}, 60, &run);
    char *json = scratch_format("%s/report.json", reports);
    report = json_load_file(json, 0, NULL);
    free(json);
    ck_assert_msg(report != NULL, "no report, status %d: %s", run.exit_status, run.err);
}

static void remove_card(void)
{
    json_decref(report);
    run_clear(&run);
    scratch_remove(scratch);
    free(card);
    free(reports);
}

static char *report_text(const char *name)
{
    char *path = scratch_format("%s/%s", reports, name), *text = scratch_read(path, NULL);
    ck_assert_msg(text != NULL, "no %s", name);
    free(path);
    return text;
}

static char *hex_of(const char *name)
{
    char *hex = scratch_format("%*s", (int)strlen(name) * 2, "");
    for (size_t i = 0; name[i]; i++)
        sprintf(hex + 2 * i, "%02x", (unsigned)(unsigned char)name[i]);
    return hex;
}

/* By path, or by path_hex where the name is no UTF-8 and cannot be in JSON as it is. */
static const json_t *entry_named(const char *list, const char *name)
{
    char *hex = hex_of(name);
    const json_t *found = NULL;
    size_t i;
    json_t *entry;
    json_array_foreach(json_object_get(report, list), i,
                       entry) if (strcmp(checked_text(entry, "path"), name) == 0 ||
                                  strcasecmp(checked_text(entry, "path_hex"), hex) == 0) found = entry;
    free(hex);
    return found;
}

START_TEST(names__every_odd_name_is_a_file_of_the_report)
{
    for (size_t i = 0; i < ODD_COUNT; i++) {
        const json_t *file = entry_named("files", odd_names[i]);
        ck_assert_msg(file != NULL, "'%s' is not among the files", odd_names[i]);
        ck_assert_double_eq(checked_number(file, "frames"), 3.0 * 48000.0);
    }
    ck_assert_ptr_nonnull(entry_named("files", "folder/inner.wav"));
    ck_assert_ptr_nonnull(entry_named("files", "dir.wav/in.wav"));
    ck_assert_ptr_nonnull(entry_named("files", "link.wav"));
}
END_TEST

START_TEST(names__not_utf8_is_given_in_hex_beside_it)
{
    const json_t *file = entry_named("files", "\xFF\xFE-raw.wav");
    ck_assert_str_eq(checked_text(file, "path"), "\xEF\xBF\xBD\xEF\xBF\xBD-raw.wav");
    ck_assert_ptr_null(json_object_get(entry_named("files", "a b.wav"), "path_hex"));
}
END_TEST

START_TEST(entries__what_is_no_recording_is_listed_with_a_reason)
{
    static const char *const others[] = {"pipe.wav",  "socket.wav",  "gone.wav", "self.wav",  "folder/loop",
                                         "._a b.wav", ".hidden.wav", "song.mp3", "device.wav"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        const json_t *other = entry_named("others", others[i]);
        ck_assert_msg(other != NULL, "'%s' is not under others", others[i]);
        ck_assert_msg(*checked_text(other, "why") != '\0', "'%s' has no reason", others[i]);
        ck_assert_msg(entry_named("files", others[i]) == NULL, "'%s' is a file too", others[i]);
    }
}
END_TEST

START_TEST(names__no_control_character_reaches_the_terminal)
{
    for (size_t i = 0; i < run.out_size; i++) {
        unsigned char c = (unsigned char)run.out[i];
        ck_assert_msg((c >= 0x20 && c != 0x7F) || c == '\n', "byte %02x at %zu", c, i);
    }
}
END_TEST

START_TEST(names__html_is_not_injected)
{
    char *html = report_text("report.html");
    ck_assert_ptr_null(strstr(html, "<script>x"));
    ck_assert_ptr_nonnull(strstr(html, "&lt;script&gt;x"));
    ck_assert_ptr_nonnull(strstr(html, "&amp;amp;"));
    free(html);
}
END_TEST

/* RFC 4180 fields; a spreadsheet must not take one for a formula. Returns where the next field begins. */
static const char *expect_plain_field(const char *at)
{
    bool quoted = *at == '"';
    at += quoted;
    if (!quoted && at[0] == '\r' && at[1] == '\n')
        return at + 2;
    bool number = *at == '-' && strchr("0123456789.", at[1]);
    ck_assert_msg(!*at || !strchr("=+@\t\r", *at), "a field begins like a formula: %.30s", at);
    ck_assert_msg(*at != '-' || number, "a field begins like a formula: %.30s", at);
    while (*at && (quoted || (*at != ',' && *at != '\n'))) {
        if (*at == '"' && at[1] == '"')
            at++;
        else if (*at == '"')
            quoted = false;
        at++;
    }
    return *at ? at + 1 : at;
}

START_TEST(names__csv_is_not_injected)
{
    static const char *const tables[] = {"report.csv", "findings.csv"};
    for (size_t i = 0; i < 2; i++) {
        char *csv = report_text(tables[i]);
        for (const char *at = csv; *at;)
            at = expect_plain_field(at);
        free(csv);
    }
}
END_TEST

START_TEST(names__manifest_is_accepted_by_sha256sum)
{
    char *manifest = scratch_format("%s/manifest.sha256", reports);
    struct run sums;
    run_program((const char *const[]){"sha256sum", "--check", "--strict", manifest, NULL}, card, NULL, 60, &sums);
    ck_assert_msg(sums.exit_status == 0, "%s%s", sums.out, sums.err);
    run_clear(&sums);
    free(manifest);
}
END_TEST

/* As root nothing is unreadable, so the program then runs as nobody (setpriv of util-linux). */
START_TEST(entries__unreadable_ones_fail_and_the_rest_is_complete)
{
    char *folder = scratch_format("%s/locked", scratch), *closed = scratch_format("%s/closed", folder);
    char *good = scratch_format("%s/a.wav", folder), *bad = scratch_format("%s/b.wav", folder);
    char *program = scratch_format("%s/takeproof", scratch);
    scratch_folder(closed);
    good_take_write(good, 40, 3.0);
    scratch_copy(good, bad);
    scratch_copy(run_takeproof(), program);
    chmod(program, 0755);
    chmod(scratch, 0755);
    chmod(bad, 0);
    chmod(closed, 0);
    struct checked checked = {.report = NULL};
    const char *const plain[] = {program, "check", "--json", folder, NULL};
    const char *const as_nobody[] = {
        "setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", program, "check", "--json", folder, NULL};
    run_program(geteuid() == 0 ? as_nobody : plain, NULL, NULL, 60, &checked.run);
    checked.report = json_loads(checked.run.out, 0, NULL);
    ck_assert_msg(checked.report != NULL, "status %d: %s", checked.run.exit_status, checked.run.err);
    ck_assert_int_eq(checked.run.exit_status, 2);
    const json_t *good_take = checked_take(&checked, "a.wav"), *bad_take = checked_take(&checked, "b.wav");
    ck_assert_str_eq(checked_text(good_take, "verdict"), "pass");
    ck_assert_msg(checked_finding(bad_take, "unreadable", "fail") != NULL, "b.wav: not unreadable");
    ck_assert_msg(checked_other(&checked, "closed") != NULL, "the closed folder is not listed");
    checked_clear(&checked);
    chmod(closed, 0755);
    free(folder);
    free(closed);
    free(good);
    free(bad);
    free(program);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("names");
    TCase *all = tcase_create("odd entries");
    tcase_add_unchecked_fixture(all, make_card, remove_card);
    tcase_set_timeout(all, 30);
    tcase_add_test(all, names__every_odd_name_is_a_file_of_the_report);
    tcase_add_test(all, names__not_utf8_is_given_in_hex_beside_it);
    tcase_add_test(all, entries__what_is_no_recording_is_listed_with_a_reason);
    tcase_add_test(all, names__no_control_character_reaches_the_terminal);
    tcase_add_test(all, names__html_is_not_injected);
    tcase_add_test(all, names__csv_is_not_injected);
    tcase_add_test(all, names__manifest_is_accepted_by_sha256sum);
    tcase_add_test(all, entries__unreadable_ones_fail_and_the_rest_is_complete);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || ran == 0 ? 1 : 0;
}
