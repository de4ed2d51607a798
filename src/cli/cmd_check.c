/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/excerpts.h"
#include "cli/progress.h"
#include "cli/sandbox.h"

#include <stdlib.h>

struct check_options {
    struct tp_cli_common common;
    const char *spec, *log, *folder, *excerpts;
    int hash; /* enum tp_hashes */
    bool second_opinion, not_on_card, replace;
};

static const struct tp_cli_option options_of_check[] = {
    {'s', "spec", "FILE", TP_CLI_FILE, offsetof(struct check_options, spec), NULL, 0,
     "check against this spec (default: the built-in one, see 'takeproof spec')"},
    {'l', "log", "FILE", TP_CLI_FILE, offsetof(struct check_options, log), NULL, 0,
     "compare with the set's notes, a CSV file"},
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct check_options, folder), NULL, 0,
     "write the report set into DIR, which may not lie on the card"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct check_options, not_on_card), NULL, 0,
     TP_CLI_NOT_ON_CARD_HELP},
    {0, "replace", NULL, TP_CLI_FLAG, offsetof(struct check_options, replace), NULL, 0, TP_CLI_REPLACE_HELP},
    {0, "excerpts", "N", TP_CLI_TEXT, offsetof(struct check_options, excerpts), NULL, 0,
     "put sound of the N worst spots into the reports, or none (default: 40 with -o)"},
    {0, "hash", "WHICH", TP_CLI_WORD, offsetof(struct check_options, hash), "both|xxh64|xxh3", 0,
     "compute SHA-256 and XXH64 of every file (both, the default), or only xxh64 or xxh3, which are faster"},
    {0, "second-opinion", NULL, TP_CLI_FLAG, offsetof(struct check_options, second_opinion), NULL, 0,
     "measure everything again through the reference libraries alone and report differences"},
};

static enum tp_cli_exit complain_of_check(const struct tp_cli *cli, const struct tp_cli_progress *progress,
                                          struct tp_error *error)
{
    if (error->status != TP_ERR_CANCELLED)
        return tp_cli_complain_error(cli, error);
    char done[100];
    tp_cli_progress_words(progress, done, sizeof done);
    tp_error_clear(error);
    return tp_cli_complain(cli, "stopped on request: %s, no report was written", done);
}

static enum tp_cli_exit write_results(struct tp_cli *cli, const struct check_options *options,
                                      const struct tp_output_options *output, const struct tp_report *report)
{
    struct tp_error error = {0};
    enum tp_cli_exit result = (enum tp_cli_exit)report->verdict;
    char *html = NULL;
    if (options->folder != NULL) {
        if (tp_output_clear(output, &error) != TP_OK || tp_report_write_set(report, options->folder, &error) != TP_OK)
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
                                       .spec_name = tp_cli_spec_name(options->spec),
                                       .report_path = html};
        if (tp_report_write_text(report, &text, cli->out, &error) != TP_OK)
            result = tp_cli_complain_error(cli, &error);
    }
    free(html);
    return result;
}

static enum tp_cli_exit run_check(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct check_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec;
    int64_t made_s;
    if (!tp_cli_made(&made_s))
        return tp_cli_complain(cli, "SOURCE_DATE_EPOCH is not a number of seconds");
    size_t excerpt_count;
    if (!tp_cli_excerpts_read(options->excerpts, options->folder != NULL ? TP_EXCERPT_FINDINGS_DEFAULT : 0,
                              &excerpt_count))
        return tp_cli_complain(cli, "--excerpts wants a number up to 10000, or none");
    const struct tp_output_options output = {.directory = options->folder,
                                             .sources = (const char *const *)operands,
                                             .source_count = count,
                                             .not_on_card = options->not_on_card,
                                             .replace = options->replace};
    if (options->folder != NULL && tp_output_check(&output, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_write_only_below((const char *const[]){options->folder}, 1);
    if (tp_cli_read_spec(&spec, options->spec, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    tp_cli_cancel_catch();
    struct tp_check_options check = {.sources = (const char *const *)operands,
                                     .source_count = count,
                                     .spec = &spec,
                                     .jobs = options->common.jobs,
                                     .hashes = (enum tp_hashes)options->hash,
                                     .made_s = made_s,
                                     .log_path = options->log,
                                     .second_opinion = options->second_opinion,
                                     .progress = tp_cli_progress_show,
                                     .progress_user = &progress,
                                     .cancel = tp_cli_cancel_flag()};
    struct tp_excerpt_options excerpts = {
        .sources = check.sources, .source_count = count, .findings_max = excerpt_count, .cancel = check.cancel};
    struct tp_report *report = NULL;
    enum tp_status status = tp_check(&check, &report, &error);
    if (status == TP_OK && excerpt_count > 0)
        status = tp_report_add_excerpts(report, &excerpts, &error);
    tp_cli_progress_end(&progress);
    enum tp_cli_exit result =
        status == TP_OK ? write_results(cli, options, &output, report) : complain_of_check(cli, &progress, &error);
    tp_report_free(report);
    tp_spec_clear(&spec);
    return result;
}

const struct tp_cli_command tp_cli_check = {
    .name = "check",
    .operands = "SOURCE...",
    .summary = "check recordings, choose the clean channel, write the reports",
    .description =
        "Scans cards, folders or files, checks every recording against the spec, measures it, finds main and "
        "safety pairs, says which channel of each take to use, and prints the verdict: problems first. Sources "
        "are opened read-only and never written to.",
    .options = options_of_check,
    .option_count = sizeof options_of_check / sizeof options_of_check[0],
    .options_size = sizeof(struct check_options),
    .operands_min = 1,
    .operands_max = 10000,
    .run = run_check,
};
