/* SPDX-License-Identifier: MIT */
/* Checks the files or folders named and prints the verdict of each take. */
#include <takeproof/takeproof.h>
#include <time.h>

int main(int argc, char **argv)
{
    struct tp_error error = {0};
    struct tp_spec spec;
    struct tp_report *report = NULL;
    int exit_status = 3;
    if (tp_spec_init(&spec, &error) != TP_OK)
        goto failed;
    struct tp_check_options options = {.sources = (const char *const *)(argv + 1),
                                       .source_count = (size_t)argc - 1,
                                       .spec = &spec,
                                       .made_s = time(NULL)};
    if (tp_check(&options, &report, &error) == TP_OK) {
        for (size_t i = 0; i < report->take_count; i++)
            printf("%s: %s\n", report->takes[i].id, tp_verdict_name(report->takes[i].verdict));
        exit_status = (int)report->verdict;
    }
    tp_report_free(report);
    tp_spec_clear(&spec);
failed:
    if (exit_status == 3)
        fprintf(stderr, "verdict: %s\n", tp_error_text(&error));
    tp_error_clear(&error);
    return exit_status;
}
