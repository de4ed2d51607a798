/* SPDX-License-Identifier: MIT */
#include "report/csv.h"

#include "judge/rules.h"
#include "support/cards.h"
#include "support/sample_report.h"
#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static char *cell(const char *text)
{
    char *bytes = NULL;
    size_t size;
    struct tp_csv csv = {.out = open_memstream(&bytes, &size)};
    tp_csv_text(&csv, text);
    ck_assert_int_eq(fclose(csv.out), 0);
    return bytes;
}

static const struct {
    const char *text, *written, *source;
} cells[] = {
    {"plain", "plain", "RFC 4180, 2.4"},
    {" spaces are data ", " spaces are data ", "RFC 4180, 2.4"},
    {"a,b", "\"a,b\"", "RFC 4180, 2.6"},
    {"a\"b", "\"a\"\"b\"", "RFC 4180, 2.7"},
    {"a\r\nb", "\"a\r\nb\"", "RFC 4180, 2.6"},
    {"=1+1", "'=1+1", "OWASP, CSV injection"},
    {"+1", "'+1", "OWASP, CSV injection"},
    {"-1", "'-1", "OWASP, CSV injection"},
    {"@SUM(A1)", "'@SUM(A1)", "OWASP, CSV injection"},
    {"\t=1", "'\t=1", "OWASP, CSV injection"},
    {"\r=1", "\"'\r=1\"", "OWASP, CSV injection"},
    {"\n=1", "\"'\n=1\"", "OWASP, CSV injection"},
    {"  =1", "'  =1", "our own: a program may trim"},
    {"\xEF\xBC\x9D"
     "1",
     "'\xEF\xBC\x9D"
     "1",
     "OWASP, CSV injection: full-width forms"},
    {"a=1", "a=1", "only the first character counts"},
    {"=HYPERLINK(\"x\",\"y\")", "\"'=HYPERLINK(\"\"x\"\",\"\"y\"\")\"", "both rules"},
    {"\x1b[31m", "\xE2\x90\x9B[31m", "our own: control pictures"},
    {"\x7f", "\xE2\x90\xA1", "our own: control pictures"},
    {"", "", "RFC 4180, 2.4"},
};

START_TEST(csv__text_is_quoted_and_guarded)
{
    char *written = cell(cells[_i].text);
    ck_assert_msg(strcmp(written, cells[_i].written) == 0, "%s: %s", cells[_i].source, written);
    free(written);
}
END_TEST

static void write_both(const struct tp_report *report, const char *folder)
{
    char *takes = scratch_format("%s/report.csv", folder), *findings = scratch_format("%s/findings.csv", folder);
    FILE *out = fopen(takes, "wb");
    ck_assert_int_eq(tp_report_write_csv(report, out, NULL), TP_OK);
    ck_assert_int_eq(fclose(out), 0);
    out = fopen(findings, "wb");
    ck_assert_int_eq(tp_report_write_findings_csv(report, out, NULL), TP_OK);
    ck_assert_int_eq(fclose(out), 0);
    free(takes);
    free(findings);
}

/* Read by Python's csv module in strict mode, and written again by it with the same dialect: the same bytes but for
 * quotes that it sees no need for. */
static const char reader[] =
    "import csv,io,sys\n"
    "rows=0\n"
    "for name in sys.argv[1:]:\n"
    "    raw=open(name,encoding='utf-8',newline='').read()\n"
    "    assert raw.endswith('\\r\\n'), name\n"
    "    read=list(csv.reader(io.StringIO(raw,newline=''),strict=True))\n"
    "    assert len({len(r) for r in read})==1, (name,{len(r) for r in read})\n"
    "    assert len(set(read[0]))==len(read[0]), name\n"
    "    text=io.StringIO(newline='')\n"
    "    csv.writer(text).writerows(read)\n"
    "    assert text.getvalue()==raw, (name,text.getvalue(),raw)\n"
    "    for r in read[1:]:\n"
    "        for key,value in zip(read[0],r):\n"
    "            number=key.split('_')[-1] in ('dbfs','dbtp','lufs','s','db','runs','channel','samples') or key in "
    "('value','limit')\n"
    "            if number and value: float(value)\n"
    "            if not number: assert value.lstrip(' ')[:1] not in ('=','+','-','@','\\t','\\r','\\n'), (key,value)\n"
    "    rows+=len(read)-1\n"
    "print(rows)\n";

static void read_back(struct tp_report *report, const char *rows)
{
    char *folder = scratch_new();
    write_both(report, folder);
    tp_report_free(report);
    const char *argv[] = {"python3", "-c", reader, "report.csv", "findings.csv", NULL};
    struct run run = {0};
    run_program(argv, folder, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    ck_assert_str_eq(run.out, rows);
    run_clear(&run);
    scratch_remove(folder);
}

START_TEST(csv__python_reads_back_what_was_written)
{
    read_back(sample_report(), "22\n");
    read_back(sample_report_empty(), "0\n");
    read_back(sample_report_hostile("=cmd|' /C calc'!A0"), "22\n");
    read_back(sample_report_hostile("\"quoted\",\r\n-2\x1b[2J\xff\xe2\x80\xae"), "22\n");
}
END_TEST

/* Findings of the set name scene and take where they are known: of the file, or of the take that is missing. */
START_TEST(csv__findings_of_the_set_have_scene_and_take)
{
    const struct card_take takes[] = {
        {.path = "12A-1.wav", .start = CARD_AT(10, 0, 0), .seconds = 60, .scene = "12A", .take = "1"},
        {.path = "12A-4.wav", .start = CARD_AT(10, 5, 0), .seconds = 60, .scene = "12A", .take = "4"},
        {.path = "12A-6.wav", .start = CARD_AT(10, 7, 0), .seconds = 60, .scene = "12A", .take = "6"},
        {.path = "12A-6b.wav", .start = CARD_AT(10, 9, 0), .seconds = 60, .scene = "12A", .take = "6"},
        {.path = "T001.wav", .start = CARD_AT(11, 0, 0), .seconds = 60},
        {.path = "T003.wav", .start = CARD_AT(11, 5, 0), .seconds = 60}};
    struct tp_report *report = card_report(takes, 6, 1);
    ck_assert_int_eq(tp_rules_judge_set(report, NULL), TP_OK);
    char *folder = scratch_new(), *path = scratch_format("%s/findings.csv", folder);
    write_both(report, folder);
    size_t size;
    char *table = scratch_read(path, &size);
    ck_assert_msg(strstr(table, ",,12A,2 to 3,listen,missing-take,") != NULL, "%s", table);
    ck_assert_msg(strstr(table, ",,12A,5,listen,missing-take,") != NULL, "%s", table);
    ck_assert_msg(strstr(table, ",12A-6b,12A,6,listen,duplicate-name,") != NULL, "%s", table);
    ck_assert_msg(strstr(table, ",,,,listen,missing-take,") != NULL, "%s", table);
    free(table);
    free(path);
    scratch_remove(folder);
    tp_report_free(report);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("csv");
    TCase *tests = tcase_create("csv");
    tcase_set_timeout(tests, 60);
    tcase_add_loop_test(tests, csv__text_is_quoted_and_guarded, 0, sizeof cells / sizeof cells[0]);
    tcase_add_test(tests, csv__python_reads_back_what_was_written);
    tcase_add_test(tests, csv__findings_of_the_set_have_scene_and_take);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
