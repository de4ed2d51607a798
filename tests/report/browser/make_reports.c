/* SPDX-License-Identifier: MIT */
/* make_reports DIR: writes the pages that the browser tests open. */
#include "support/sample_report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static void write_page(const char *folder, const char *name, struct tp_report *report)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/%s.html", folder, name);
    FILE *out = fopen(path, "wb");
    if (out == NULL) {
        perror(path);
        exit(1);
    }
    struct tp_error error = {0};
    if (tp_report_write_html(report, out, &error) != TP_OK) {
        fprintf(stderr, "%s: %s\n", path, tp_error_text(&error));
        exit(1);
    }
    if (fclose(out) != 0) {
        perror(path);
        exit(1);
    }
    tp_report_free(report);
}

/* 64 KB without a single place to break a line. */
static char *long_text(void)
{
    size_t length = (size_t)64 << 10;
    char *text = malloc(length + 1);
    if (text == NULL)
        exit(1);
    memset(text, 'W', length);
    text[length] = '\0';
    return text;
}

int main(int argc, char **argv)
{
    static const struct {
        const char *name, *text;
    } hostile[] = {
        {"hostile_markup",
         "<img src=x onerror=\"pwned=1\"><script>pwned=1</script>\"'><b>&amp;</b>--></style></title>]]>"},
        {"hostile_script", "</script><script>pwned=1</script>"},
        {"hostile_link", "javascript:pwned=1//\" autofocus onfocus=\"pwned=1"},
        {"hostile_formula", "=HYPERLINK(\"http://example.invalid/\",\"x\")"},
        {"hostile_escapes", "\x1b[2J\x1b]0;x\x07\x01\x7f\t\r\n end"},
        {"hostile_direction", "\xe2\x80\xae"
                              "drawkcab\xe2\x80\xac \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d \xd8\xb3\xd9\x84\xd8\xa7\xd9\x85"},
        {"hostile_bytes", "\xff\xfe\xc3(\xed\xa0\x80\xf5\x80\x80\x80 end \xef\xbf\xbf"},
        {"hostile_percent", "%s%n%x{{7*7}}${7*7}`id`"},
    };
    if (argc != 2)
        return 2;
    write_page(argv[1], "sample", sample_report());
    write_page(argv[1], "offloaded", sample_report_offloaded(true));
    write_page(argv[1], "not_offloaded", sample_report_offloaded(false));
    write_page(argv[1], "pass", sample_report_pass());
    write_page(argv[1], "empty", sample_report_empty());
    write_page(argv[1], "large", sample_report_large(500));
    for (size_t i = 0; i < sizeof hostile / sizeof hostile[0]; i++)
        write_page(argv[1], hostile[i].name, sample_report_hostile(hostile[i].text));
    char *text = long_text();
    write_page(argv[1], "hostile_long", sample_report_hostile(text));
    free(text);
    return 0;
}
