/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/progress.h"
#include "cli/sandbox.h"

#include <stdlib.h>
#include <sys/stat.h>
#include <takeproof/compare.h>
#include <unistd.h>

struct compare_options {
    struct tp_cli_common common;
    const char *spec, *folder;
    bool measure, not_on_card, replace;
};

static const struct tp_cli_option options_of_compare[] = {
    {'m', "measure", NULL, TP_CLI_FLAG, offsetof(struct compare_options, measure), NULL, 0,
     "then check and measure the recordings of FOLDER too"},
    {'s', "spec", "FILE", TP_CLI_FILE, offsetof(struct compare_options, spec), NULL, 0,
     "the spec for --measure (default: the built-in one)"},
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct compare_options, folder), NULL, 0,
     "write compare.txt and compare.json into DIR, which may not lie inside FOLDER; with --measure the report set too"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct compare_options, not_on_card), NULL, 0,
     "DIR does not lie on a card, though it looks so: it is on the same removable disk as FOLDER"},
    {0, "replace", NULL, TP_CLI_FLAG, offsetof(struct compare_options, replace), NULL, 0, TP_CLI_REPLACE_HELP},
};

static enum tp_cli_exit exit_of(const struct tp_comparison *comparison)
{
    if (!comparison->all_there)
        return TP_CLI_FAIL;
    return comparison->equal ? TP_CLI_PASS : TP_CLI_LISTEN;
}

static enum tp_cli_exit worse(enum tp_cli_exit a, enum tp_cli_exit b)
{
    return a > b ? a : b;
}

static enum tp_status measure(struct tp_cli *cli, const struct compare_options *options, const char *folder,
                              const struct tp_spec *spec, struct tp_report **report, struct tp_error *error)
{
    int64_t made_s;
    if (!tp_cli_made(&made_s))
        return tp_error_set(error, TP_ERR_USAGE, 0, "SOURCE_DATE_EPOCH is not a number of seconds");
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    const struct tp_check_options check = {.sources = &folder,
                                           .source_count = 1,
                                           .spec = spec,
                                           .jobs = options->common.jobs,
                                           .made_s = made_s,
                                           .progress = tp_cli_progress_show,
                                           .progress_user = &progress,
                                           .cancel = tp_cli_cancel_flag()};
    enum tp_status status = tp_check(&check, report, error);
    tp_cli_progress_end(&progress);
    return status;
}

static struct tp_output_options output_of(const struct compare_options *options, char **operands)
{
    return (struct tp_output_options){.kind = options->measure ? TP_OUTPUT_REPORTS : TP_OUTPUT_COMPARISON,
                                      .directory = options->folder,
                                      .sources = (const char *const *)&operands[1],
                                      .source_count = 1,
                                      .not_on_card = options->not_on_card,
                                      .replace = options->replace};
}

static enum tp_status write_set(const struct tp_output_options *output, const struct tp_comparison *comparison,
                                const struct tp_report *report, struct tp_error *error)
{
    enum tp_status status = tp_output_clear(output, error);
    if (status == TP_OK && report != NULL)
        status = tp_report_write_set(report, output->directory, error);
    return status == TP_OK ? tp_comparison_write_set(comparison, output->directory, error) : status;
}

static bool is_kind(const char *path, mode_t kind)
{
    struct stat status;
    return stat(path, &status) == 0 && (status.st_mode & S_IFMT) == kind;
}

static bool holds_list(const char *folder)
{
    static const char *const names[] = {"report.json",    "offload.json",  "manifest.sha256",
                                        "manifest.xxh64", "manifest.xxh3", "ascmhl"};
    bool holds = false;
    for (size_t i = 0; i < sizeof names / sizeof names[0] && !holds; i++) {
        char *path = NULL;
        if (asprintf(&path, "%s/%s", folder, names[i]) < 0)
            return false;
        holds = access(path, F_OK) == 0;
        free(path);
    }
    return holds;
}

/* LIST is a file or a folder with one, FOLDER holds the copies: the other way round is told by looking. */
static void hint_at_order(const struct tp_cli *cli, char **operands)
{
    if (is_kind(operands[0], S_IFDIR) && !holds_list(operands[0]) &&
        (is_kind(operands[1], S_IFREG) || (is_kind(operands[1], S_IFDIR) && holds_list(operands[1]))))
        tp_cli_complain(cli, "the list comes first, then the folder: takeproof compare '%s' '%s'", operands[1],
                        operands[0]);
}

static enum tp_status write_json(struct tp_cli *cli, const struct tp_comparison *comparison,
                                 const struct tp_report *report, struct tp_error *error)
{
    if (report == NULL)
        return tp_comparison_write_json(comparison, cli->out, error);
    fputs("{\"comparison\":\n", cli->out);
    enum tp_status status = tp_comparison_write_json(comparison, cli->out, error);
    fputs(",\"report\":\n", cli->out);
    if (status == TP_OK)
        status = tp_report_write_json(report, cli->out, error);
    fputs("}\n", cli->out);
    return status;
}

static enum tp_status write_results(struct tp_cli *cli, const struct compare_options *options,
                                    const struct tp_comparison *comparison, const struct tp_report *report,
                                    struct tp_error *error)
{
    if (options->common.json)
        return write_json(cli, comparison, report, error);
    enum tp_status status = TP_OK;
    if (report != NULL) {
        const struct tp_text_options text = {.colour = tp_cli_colour_wanted(cli, &options->common),
                                             .quiet = options->common.quiet,
                                             .columns = tp_cli_columns(cli->out),
                                             .spec_name = tp_cli_spec_name(options->spec),
                                             .offloaded = true};
        status = tp_report_write_text(report, &text, cli->out, error);
        if (!options->common.quiet)
            fputc('\n', cli->out);
    }
    tp_comparison_write_text(comparison, options->common.quiet, cli->out);
    return status;
}

static enum tp_cli_exit compare(struct tp_cli *cli, const struct compare_options *options, char **operands,
                                const struct tp_spec *spec)
{
    struct tp_error error = {0};
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    const struct tp_compare_options comparing = {.expected = operands[0],
                                                 .folder = operands[1],
                                                 .progress = tp_cli_progress_show,
                                                 .progress_user = &progress,
                                                 .cancel = tp_cli_cancel_flag()};
    const struct tp_output_options output = output_of(options, operands);
    struct tp_comparison *comparison = NULL;
    struct tp_report *report = NULL;
    enum tp_status status = tp_compare(&comparing, &comparison, &error);
    tp_cli_progress_end(&progress);
    enum tp_cli_exit outcome = status == TP_OK ? exit_of(comparison) : TP_CLI_NOT_DONE;
    if (status == TP_OK && options->measure) {
        status = measure(cli, options, operands[1], spec, &report, &error);
        if (status == TP_OK)
            status = tp_report_add_comparison(report, comparison, &error);
        if (status == TP_OK)
            outcome = worse(outcome, (enum tp_cli_exit)report->verdict);
    }
    if (status == TP_OK && options->folder != NULL)
        status = write_set(&output, comparison, report, &error);
    if (status == TP_OK)
        status = write_results(cli, options, comparison, report, &error);
    if (status != TP_OK)
        outcome = tp_cli_complain_error(cli, &error);
    if (comparison == NULL)
        hint_at_order(cli, operands);
    tp_comparison_free(comparison);
    tp_report_free(report);
    return outcome;
}

static enum tp_cli_exit run_compare(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    (void)count;
    const struct compare_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec;
    if (options->spec != NULL && !options->measure)
        return tp_cli_complain(cli, "--spec goes with --measure");
    const struct tp_output_options output = output_of(options, operands);
    if (options->folder != NULL && tp_output_check(&output, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_write_only_below((const char *const[]){options->folder}, 1);
    enum tp_status status =
        options->spec != NULL ? tp_spec_read_file(&spec, options->spec, &error) : tp_spec_init(&spec, &error);
    if (status != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_cancel_catch();
    enum tp_cli_exit outcome = compare(cli, options, operands, &spec);
    tp_spec_clear(&spec);
    return outcome;
}

const struct tp_cli_command tp_cli_compare = {
    .name = "compare",
    .operands = "LIST FOLDER",
    .summary = "in the edit bay: is this folder what left the set?",
    .description = "Compares every file below FOLDER by its content with LIST: a report.json, an offload.json, a "
                   "manifest.sha256 (.xxh64, .xxh3), a "
                   "manifest or folder of an ASC MHL history, or a folder that holds such a history or a "
                   "manifest. Tells what is missing, "
                   "changed, extra and "
                   "renamed. The exit status is 0 when all is the same, 1 when something is only renamed, extra or "
                   "listed without a "
                   "hash, 2 when something is missing, changed or unreadable.",
    .options = options_of_compare,
    .option_count = sizeof options_of_compare / sizeof options_of_compare[0],
    .options_size = sizeof(struct compare_options),
    .operands_min = 2,
    .operands_max = 2,
    .run = run_compare,
};
