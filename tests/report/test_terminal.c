/* SPDX-License-Identifier: MIT */
#include "report/terminal.h"

#include "support/sample_report.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static char *summary(struct tp_report *report, struct tp_text_options options)
{
    char *bytes = NULL;
    size_t size;
    FILE *out = open_memstream(&bytes, &size);
    ck_assert_int_eq(tp_report_write_text(report, &options, out, NULL), TP_OK);
    ck_assert_int_eq(fclose(out), 0);
    tp_report_free(report);
    return bytes;
}

static const struct {
    const char *text, *shown;
} texts[] = {
    {"plain", "plain"},
    {"\x1b[2J\x1b]0;title\x07", "\\x1b[2J\\x1b]0;title\\x07"},
    {"a\nb\rc\td", "a\\x0ab\\x0dc\\x09d"},
    {"\x7f", "\\x7f"},
    {"\xc2\x9b"
     "31m",
     "\\x9b31m"}, /* C1 CSI in UTF-8 */
    {"\x9b"
     "31m",
     "\\x9b31m"},                              /* the bare byte */
    {"\xe2\x80\xaegnp.exe", "\\u202egnp.exe"}, /* right-to-left override */
    {"\xe2\x81\xa6x\xe2\x81\xa9", "\\u2066x\\u2069"},
    {"\xe2\x80\xa8", "\\u2028"},
    {"\xef\xbb\xbf", "\\ufeff"},
    {"caf\xc3\xa9 \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d", "caf\xc3\xa9 \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d"},
    {"\xc3", "\\xc3"},
    {"", ""},
};

START_TEST(terminal__text_does_nothing_but_show)
{
    struct tp_text out = {0};
    tp_terminal_text(&out, texts[_i].text, 100);
    ck_assert_str_eq(out.length > 0 ? out.bytes : "", texts[_i].shown);
    tp_text_clear(&out);
}
END_TEST

START_TEST(terminal__long_text_is_cut)
{
    struct tp_text out = {0};
    tp_terminal_text(&out, "0123456789", 4);
    ck_assert_str_eq(out.bytes, "0123...");
    tp_text_clear(&out);
}
END_TEST

static const unsigned widths[] = {24, 32, 40, 63, 64, 80, 132};

/* Every line fits, and no byte could act on a terminal. */
static void fits(struct tp_report *report, unsigned columns)
{
    struct tp_text_options options = {.columns = columns, .report_path = "out/report.html"};
    char *text = summary(report, options);
    size_t lines = 0;
    for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n"), lines++) {
        ck_assert_msg(tp_utf8_columns(line) <= columns, "%u columns: '%s'", columns, line);
        for (const char *at = line; *at != '\0'; at++)
            ck_assert_msg((unsigned char)*at >= 0x20 && *at != 0x7f, "%u columns: '%s'", columns, line);
    }
    ck_assert_uint_gt(lines, 15);
    free(text);
}

START_TEST(terminal__every_line_fits_the_window)
{
    fits(sample_report(), widths[_i]);
    fits(sample_report_offloaded(false), widths[_i]);
    fits(sample_report_hostile("\x1b[31m\xff a rather long text with many words in it, and\na line break"), widths[_i]);
    fits(sample_report_hostile("0123456789012345678901234567890123456789012345678901234567890123456789"), widths[_i]);
}
END_TEST

static char *first_line(struct tp_report *report)
{
    struct tp_text_options options = {.columns = 200};
    char *text = summary(report, options);
    *strchr(text, '\n') = '\0';
    return text;
}

START_TEST(terminal__the_first_line_says_whether_the_card_may_be_wiped)
{
    char *line = first_line(sample_report());
    ck_assert_str_eq(line, "Do not wipe this card: 3 of 10 takes fail, 2 must be heard.");
    free(line);
    line = first_line(sample_report_pass());
    ck_assert_str_eq(line, "Every take passes. Do not wipe this card before two copies are verified.");
    free(line);
    line = first_line(sample_report_empty());
    ck_assert_str_eq(line, "Do not wipe this card: no take was found.");
    free(line);
}
END_TEST

/* After an offload the copies decide about the card, and the takes have a line of their own. */
START_TEST(terminal__an_offload_decides_about_the_card)
{
    struct tp_text_options quiet = {.quiet = true, .columns = 200}, told = {.quiet = true, .offloaded = true};
    char *text = summary(sample_report_offloaded(true), quiet);
    ck_assert_str_eq(text, "The card may be wiped: each of its 14 files has at least 2 verified copies.\n"
                           "Note: 'raid' and 'shuttle' are on one file system: if that disk fails, both copies are "
                           "gone.\n3 of 10 takes fail, 2 must be heard.\n");
    free(text);
    text = summary(sample_report_offloaded(false), quiet);
    ck_assert_str_eq(text, "Do not wipe this card: 2 of 14 files have fewer than 2 verified copies; the first is "
                           "'notes: day 1.txt': it differs from the card at byte 0: it was left alone.\n"
                           "3 of 10 takes fail, 2 must be heard.\n");
    free(text);
    text = summary(sample_report_offloaded(true), told);
    ck_assert_str_eq(text, "3 of 10 takes fail, 2 must be heard.\n");
    free(text);
    struct tp_text_options whole = {.columns = 300};
    text = summary(sample_report_offloaded(true), whole);
    ck_assert_ptr_nonnull(strstr(text, "shuttle: 14 of 14 files verified (4 copied, 10 there already), read back"));
    ck_assert_ptr_null(strstr(text, "takeproof offload"));
    free(text);
    text = summary(sample_report_offloaded(false), whole);
    ck_assert_ptr_nonnull(strstr(text, "run takeproof offload again"));
    ck_assert_ptr_null(strstr(text, "may be wiped"));
    free(text);
}
END_TEST

START_TEST(terminal__listen_alone_is_not_yet)
{
    struct tp_report *report = sample_report_pass();
    report->verdict = report->takes[1].verdict = TP_VERDICT_LISTEN;
    report->summary.listen = 1;
    report->summary.pass = 1;
    char *line = first_line(report);
    ck_assert_str_eq(line, "Do not wipe this card yet: 1 of 2 takes must be heard.");
    free(line);
}
END_TEST

START_TEST(terminal__a_bad_set_of_good_takes_is_not_a_pass)
{
    struct tp_report *report = sample_report_pass();
    report->verdict = TP_VERDICT_FAIL;
    char *line = first_line(report);
    ck_assert_str_eq(line, "Do not wipe this card: something is wrong with the set as a whole.");
    free(line);
}
END_TEST

typedef enum tp_status writer(const struct tp_report *report, FILE *out, struct tp_error *error);

static char *written(writer *write, const struct tp_report *report)
{
    char *bytes = NULL;
    size_t size;
    FILE *out = open_memstream(&bytes, &size);
    ck_assert_int_eq(write(report, out, NULL), TP_OK);
    ck_assert_int_eq(fclose(out), 0);
    return bytes;
}

/* What the set calls no good is said in every report for people and spreadsheets; "not circled" is another thing. */
START_TEST(terminal__no_good_is_told_everywhere)
{
    for (int no_good = 0; no_good <= 1; no_good++) {
        struct tp_report *report = sample_report_pass();
        struct tp_text_options wide = {.columns = 200};
        report->takes[0].circled = 0;
        report->takes[0].no_good = no_good;
        char *page = written(tp_report_write_html, report), *rows = written(tp_report_write_csv, report);
        ck_assert_int_eq(strstr(page, "<b>No good.</b>") != NULL, no_good);
        ck_assert_int_eq(strstr(page, "<dt>Marked</dt><dd><bdi>no good") != NULL, no_good);
        ck_assert_int_eq(strstr(rows, ",no good,") != NULL, no_good);
        char *text = summary(report, wide);
        ck_assert_int_eq(strstr(text, ", no good ") != NULL, no_good);
        free(page);
        free(rows);
        free(text);
    }
}
END_TEST

/* Two recordings of one scene and take: each line says which it is of. */
START_TEST(terminal__clashing_takes_are_told_apart)
{
    struct tp_report *report = sample_report_pass();
    struct tp_text_options wide = {.columns = 200};
    char *clash = written(tp_report_write_html, report);
    ck_assert_ptr_null(strstr(clash, "<small><bdi>"));
    free(clash);
    free(report->takes[1].scene);
    free(report->takes[1].take);
    report->takes[1].scene = strdup(report->takes[0].scene);
    report->takes[1].take = strdup(report->takes[0].take);
    struct tp_text cell = {0}, title = {0};
    tp_text_format(&cell, "<small><bdi>%s</bdi></small></th>", report->files[report->takes[1].files[0]].path);
    tp_text_format(&title, "%s take %s '%s'", report->takes[1].scene, report->takes[1].take,
                   report->files[report->takes[1].files[0]].path);
    clash = written(tp_report_write_html, report);
    ck_assert_ptr_nonnull(strstr(clash, cell.bytes));
    free(clash);
    clash = summary(report, wide);
    ck_assert_ptr_nonnull(strstr(clash, title.bytes));
    free(clash);
    tp_text_clear(&cell);
    tp_text_clear(&title);
}
END_TEST

START_TEST(terminal__quiet_is_one_line)
{
    struct tp_text_options options = {.quiet = true, .columns = 80};
    char *text = summary(sample_report(), options);
    ck_assert_ptr_eq(strchr(text, '\n'), text + strlen(text) - 1);
    free(text);
}
END_TEST

/* Colour adds escapes and changes nothing else. */
START_TEST(terminal__without_colour_the_words_are_the_same)
{
    struct tp_text_options plain = {0}, coloured = {.colour = true};
    char *without = summary(sample_report(), plain);
    char *with = summary(sample_report(), coloured);
    char *to = with;
    size_t escapes = 0;
    for (const char *from = with; *from != '\0'; from++) {
        if (*from != '\033') {
            *to++ = *from;
            continue;
        }
        escapes++;
        from = strchr(from, 'm');
    }
    *to = '\0';
    ck_assert_uint_gt(escapes, 10);
    ck_assert_ptr_null(strchr(without, '\033'));
    ck_assert_str_eq(with, without);
    free(without);
    free(with);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("terminal");
    TCase *tests = tcase_create("terminal");
    tcase_add_loop_test(tests, terminal__text_does_nothing_but_show, 0, sizeof texts / sizeof texts[0]);
    tcase_add_test(tests, terminal__long_text_is_cut);
    tcase_add_loop_test(tests, terminal__every_line_fits_the_window, 0, sizeof widths / sizeof widths[0]);
    tcase_add_test(tests, terminal__the_first_line_says_whether_the_card_may_be_wiped);
    tcase_add_test(tests, terminal__an_offload_decides_about_the_card);
    tcase_add_test(tests, terminal__listen_alone_is_not_yet);
    tcase_add_test(tests, terminal__a_bad_set_of_good_takes_is_not_a_pass);
    tcase_add_test(tests, terminal__no_good_is_told_everywhere);
    tcase_add_test(tests, terminal__clashing_takes_are_told_apart);
    tcase_add_test(tests, terminal__quiet_is_one_line);
    tcase_add_test(tests, terminal__without_colour_the_words_are_the_same);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
