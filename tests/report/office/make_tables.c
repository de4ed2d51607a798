/* SPDX-License-Identifier: MIT */
/* make_tables DIR: writes the tables that an office suite opens: NAME-report.csv and NAME-findings.csv of each report.
 */
#include "support/sample_report.h"

#include <stdio.h>
#include <stdlib.h>
#include <takeproof/takeproof.h>

typedef enum tp_status write_table(const struct tp_report *report, FILE *out, struct tp_error *error);

static void write_file(const char *folder, const char *name, const char *table, const struct tp_report *report,
                       write_table *write)
{
    char path[4096];
    struct tp_error error = {0};
    snprintf(path, sizeof path, "%s/%s-%s.csv", folder, name, table);
    FILE *out = fopen(path, "wb");
    if (out == NULL || write(report, out, &error) != TP_OK || fclose(out) != 0) {
        perror(path);
        exit(1);
    }
}

static void write_tables(const char *folder, const char *name, struct tp_report *report)
{
    write_file(folder, name, "report", report, tp_report_write_csv);
    write_file(folder, name, "findings", report, tp_report_write_findings_csv);
    tp_report_free(report);
}

int main(int argc, char **argv)
{
    /* Every text of the report is the one given here. "odd": by itself a spreadsheet takes these for numbers and dates.
     */
    static const struct {
        const char *name, *text;
    } texts[] = {
        {"hostile-sum", "=1+1"},
        {"hostile-plus", "+1+1"},
        {"hostile-minus", "-1+1"},
        {"hostile-at", "@SUM(1,1)"},
        {"hostile-space", "  =1+1"},
        {"hostile-tab", "\t=1+1"},
        {"hostile-line", "\r\n=1+1"},
        {"hostile-inner-line", "a\n=1+1\r\n=2+2"},
        {"hostile-wide", "\xEF\xBC\x9D"
                         "1+1"},
        {"hostile-link", "=HYPERLINK(\"http://example.invalid/\",\"x\")"},
        {"hostile-command", "=cmd|' /C calc'!A0"},
        {"hostile-quotes", "a\"=1+1\",\"=2+2"},
        {"hostile-comma", "a,=1+1,b;=2+2\t=3+3"},
        {"hostile-apostrophe", "'=1+1"},
        {"hostile-matrix", "{=1+1}"},
        {"hostile-bytes", "\xff\xfe=1+1 \xc3\xa9\xe6\x97\xa5\xf0\x9f\x8e\xa4"},
        {"hostile-markup", "<table><tr><td>=1+1</td></tr></table>"},
        {"odd-zero", "007"},
        {"odd-power", "12E3"},
        {"odd-fraction", "1/2"},
        {"odd-date", "2026-05-04"},
        {"odd-time", "10:02"},
        {"odd-truth", "TRUE"},
    };
    if (argc != 2)
        return 2;
    write_tables(argv[1], "sample", sample_report());
    write_tables(argv[1], "pass", sample_report_pass());
    write_tables(argv[1], "empty", sample_report_empty());
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        write_tables(argv[1], texts[i].name, sample_report_hostile(texts[i].text));
    return 0;
}
