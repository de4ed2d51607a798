/* SPDX-License-Identifier: MIT */
#include "cli/cli.h"
#include "cli/excerpts.h"
#include "cli/sandbox.h"

#include <stdlib.h>

struct report_options {
    struct tp_cli_common common;
    const char *folder, *excerpts;
    bool not_on_card, replace;
};

static const struct tp_cli_option options_of_report[] = {
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct report_options, folder), NULL, 0,
     "write the report set into DIR, which may not lie on the card"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct report_options, not_on_card), NULL, 0,
     TP_CLI_NOT_ON_CARD_HELP},
    {0, "replace", NULL, TP_CLI_FLAG, offsetof(struct report_options, replace), NULL, 0, TP_CLI_REPLACE_HELP},
    {0, "excerpts", "N", TP_CLI_TEXT, offsetof(struct report_options, excerpts), NULL, 0,
     "keep the sound of the N worst spots that the reports hold, or none (default: 40)"},
};

/* Reads all, then merges; *report is set only on TP_OK. */
static enum tp_status read_reports(char **paths, size_t count, struct tp_report **report, struct tp_error *error)
{
    struct tp_report **reports = calloc(count, sizeof(struct tp_report *));
    if (reports == NULL)
        return TP_ERR_MEMORY;
    enum tp_status status = TP_OK;
    size_t read = 0;
    while (status == TP_OK && read < count) {
        status = tp_report_read_json(paths[read], &reports[read], error);
        read += status == TP_OK;
    }
    if (status == TP_OK && count == 1)
        *report = reports[0];
    else if (status == TP_OK)
        status = tp_report_merge(reports, count, report, error);
    else
        while (read > 0)
            tp_report_free(reports[--read]);
    free(reports);
    return status;
}

static enum tp_status write_set(const struct report_options *options, const struct tp_report *report,
                                struct tp_error *error)
{
    const struct tp_output_options output = {.directory = options->folder,
                                             .sources = (const char *const *)report->sources,
                                             .source_count = report->source_count,
                                             .report = report,
                                             .not_on_card = options->not_on_card,
                                             .replace = options->replace};
    enum tp_status status = tp_output_check(&output, error);
    if (status == TP_OK)
        status = tp_output_clear(&output, error);
    return status == TP_OK ? tp_report_write_set(report, options->folder, error) : status;
}

static enum tp_cli_exit write_reports(struct tp_cli *cli, const struct report_options *options,
                                      const struct tp_report *report)
{
    struct tp_error error = {0};
    enum tp_cli_exit result = (enum tp_cli_exit)report->verdict;
    char *html = NULL;
    if (options->folder != NULL) {
        if (write_set(options, report, &error) != TP_OK)
            result = tp_cli_complain_error(cli, &error);
        else if (asprintf(&html, "%s/report.html", options->folder) < 0)
            html = NULL;
    }
    if (options->common.json) {
        if (tp_report_write_json(report, cli->out, &error) != TP_OK)
            result = tp_cli_complain_error(cli, &error);
    } else {
        struct tp_text_options text = {.colour = tp_cli_colour_wanted(cli, &options->common),
                                       .quiet = options->common.quiet,
                                       .columns = tp_cli_columns(cli->out),
                                       .report_path = html};
        if (tp_report_write_text(report, &text, cli->out, &error) != TP_OK)
            result = tp_cli_complain_error(cli, &error);
    }
    free(html);
    return result;
}

static enum tp_cli_exit run_report(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct report_options *options = given;
    struct tp_error error = {0};
    struct tp_report *report = NULL;
    size_t excerpt_count;
    if (!tp_cli_excerpts_read(options->excerpts, TP_EXCERPT_FINDINGS_DEFAULT, &excerpt_count))
        return tp_cli_complain(cli, "--excerpts wants a number up to 10000, or none");
    tp_cli_write_only_below((const char *const[]){options->folder}, 1);
    if (read_reports(operands, count, &report, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    enum tp_cli_exit result = tp_report_limit_excerpts(report, excerpt_count, &error) == TP_OK
                                  ? write_reports(cli, options, report)
                                  : tp_cli_complain_error(cli, &error);
    tp_report_free(report);
    return result;
}

const struct tp_cli_command tp_cli_report = {
    .name = "report",
    .operands = "JSON...",
    .summary = "write the reports again from report.json, or merge several into one",
    .description =
        "Reads report.json files that earlier checks wrote. One is written again in every form; several, of other "
        "cards, days or machines, become one report as if all had been checked in one run: totals, clashes of names "
        "and equal contents across the cards are judged anew. Cards that were checked against different specs keep "
        "their own. The recordings themselves are not needed.",
    .options = options_of_report,
    .option_count = sizeof options_of_report / sizeof options_of_report[0],
    .options_size = sizeof(struct report_options),
    .operands_min = 1,
    .operands_max = 10000,
    .without_jobs = true,
    .run = run_report,
};
