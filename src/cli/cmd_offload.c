/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/excerpts.h"
#include "cli/progress.h"
#include "cli/sandbox.h"

#include <takeproof/offload.h>

#include <stdlib.h>

struct offload_options {
    struct tp_cli_common common;
    const char *spec, *log, *folder, *excerpts;
    unsigned copies;
    bool set_aside, no_history, not_on_card, replace;
};

static const struct tp_cli_option options_of_offload[] = {
    {'s', "spec", "FILE", TP_CLI_FILE, offsetof(struct offload_options, spec), NULL, 0,
     "check against this spec (default: the built-in one, see 'takeproof spec')"},
    {'l', "log", "FILE", TP_CLI_FILE, offsetof(struct offload_options, log), NULL, 0,
     "compare with the set's notes, a CSV file"},
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct offload_options, folder), NULL, 0,
     "write the report set, offload.json and a manifest of every file into DIR, which may not lie on the card"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct offload_options, not_on_card), NULL, 0,
     "DIR does not lie on a card, though it looks so: it is on the same removable disk"},
    {0, "replace", NULL, TP_CLI_FLAG, offsetof(struct offload_options, replace), NULL, 0, TP_CLI_REPLACE_HELP},
    {0, "excerpts", "N", TP_CLI_TEXT, offsetof(struct offload_options, excerpts), NULL, 0,
     "put sound of the N worst spots into the reports, or none (default: 40 with -o)"},
    {'n', "copies", "N", TP_CLI_COUNT, offsetof(struct offload_options, copies), NULL, TP_DESTINATIONS_MAX,
     "verified copies wanted before the card may be wiped (default: 2)"},
    {0, "set-aside", NULL, TP_CLI_FLAG, offsetof(struct offload_options, set_aside), NULL, 0,
     "rename a differing file at a destination to NAME.differs and copy the card's; without this it is left alone and "
     "the card's file is not copied there"},
    {0, "no-history", NULL, TP_CLI_FLAG, offsetof(struct offload_options, no_history), NULL, 0,
     "do not add to the ASC MHL history (the folder ascmhl) of the destinations"},
};

static enum tp_cli_exit complain_of_offload(const struct tp_cli *cli, const struct tp_cli_progress *progress,
                                            struct tp_error *error)
{
    if (error->status != TP_ERR_CANCELLED)
        return tp_cli_complain_error(cli, error);
    char done[100];
    tp_cli_progress_words(progress, done, sizeof done);
    tp_error_clear(error);
    return tp_cli_complain(cli, "stopped on request: %s\nDo NOT wipe the card. Run the same command again to go on.",
                           done);
}

static enum tp_status write_text(struct tp_cli *cli, const struct offload_options *options,
                                 const struct tp_report *report, const struct tp_offload_result *result,
                                 struct tp_error *error)
{
    char *html = NULL;
    if (options->folder != NULL && asprintf(&html, "%s/report.html", options->folder) < 0)
        html = NULL;
    struct tp_text_options text = {.colour = tp_cli_colour_wanted(cli, &options->common),
                                   .quiet = options->common.quiet,
                                   .columns = tp_cli_columns(cli->out),
                                   .spec_name = tp_cli_spec_name(options->spec),
                                   .offloaded = true,
                                   .report_path = html};
    enum tp_status status = tp_report_write_text(report, &text, cli->out, error);
    if (!options->common.quiet)
        fputc('\n', cli->out);
    tp_offload_write_text(result, options->common.quiet, cli->out);
    free(html);
    return status;
}

static enum tp_status write_json(struct tp_cli *cli, const struct tp_report *report,
                                 const struct tp_offload_result *result, struct tp_error *error)
{
    fputs("{\"offload\":\n", cli->out);
    enum tp_status status = tp_offload_write_json(result, cli->out, error);
    fputs(",\"report\":\n", cli->out);
    if (status == TP_OK)
        status = tp_report_write_json(report, cli->out, error);
    fputs("}\n", cli->out);
    return status;
}

static enum tp_cli_exit write_results(struct tp_cli *cli, const struct offload_options *options,
                                      const struct tp_output_options *output, const struct tp_report *report,
                                      const struct tp_offload_result *result)
{
    struct tp_error error = {0};
    bool is_done = result->complete && result->may_be_wiped;
    enum tp_cli_exit outcome = is_done ? (enum tp_cli_exit)report->verdict : TP_CLI_NOT_DONE;
    for (size_t i = 0; i < result->destination_count; i++)
        if (result->destinations[i].history_message != NULL)
            outcome = TP_CLI_NOT_DONE;
    /* The set's own manifest holds the recordings alone; the offload's replaces it. */
    if (options->folder != NULL &&
        (tp_output_clear(output, &error) != TP_OK || tp_report_write_set(report, options->folder, &error) != TP_OK ||
         tp_offload_write_set(result, options->folder, &error) != TP_OK))
        outcome = tp_cli_complain_error(cli, &error);
    enum tp_status status = options->common.json ? write_json(cli, report, result, &error)
                                                 : write_text(cli, options, report, result, &error);
    if (status != TP_OK)
        outcome = tp_cli_complain_error(cli, &error);
    return outcome;
}

/* The copies are proven by now: what stops the excerpts must not take that away. */
static void add_excerpts(const struct tp_cli *cli, const struct tp_check_options *check, size_t count,
                         struct tp_report *report)
{
    const struct tp_excerpt_options excerpts = {
        .sources = check->sources, .source_count = check->source_count, .findings_max = count, .cancel = check->cancel};
    struct tp_error error = {0};
    if (tp_report_add_excerpts(report, &excerpts, &error) != TP_OK)
        tp_cli_complain(cli, "the report has no sound excerpts: %s", tp_error_text(&error));
    tp_error_clear(&error);
}

static enum tp_cli_exit offload(struct tp_cli *cli, const struct offload_options *options, char **operands,
                                size_t count, const struct tp_spec *spec, int64_t made_s)
{
    size_t excerpt_count;
    if (!tp_cli_excerpts_read(options->excerpts, options->folder != NULL ? TP_EXCERPT_FINDINGS_DEFAULT : 0,
                              &excerpt_count))
        return tp_cli_complain(cli, "--excerpts wants a number up to 10000, or none");
    struct tp_error error = {0};
    const struct tp_output_options output = {.directory = options->folder,
                                             .sources = (const char *const *)operands,
                                             .source_count = 1,
                                             .not_on_card = options->not_on_card,
                                             .replace = options->replace};
    if (options->folder != NULL && tp_output_check(&output, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    tp_cli_cancel_catch();
    const char *writable[TP_DESTINATIONS_MAX + 1] = {options->folder};
    for (size_t i = 1; i < count; i++)
        writable[i] = operands[i];
    tp_cli_write_only_below(writable, count);
    struct tp_check_options check = {.sources = (const char *const *)operands,
                                     .source_count = 1,
                                     .spec = spec,
                                     .jobs = options->common.jobs,
                                     .made_s = made_s,
                                     .log_path = options->log,
                                     .progress = tp_cli_progress_show,
                                     .progress_user = &progress,
                                     .cancel = tp_cli_cancel_flag()};
    struct tp_offload_options copying = {.check = &check,
                                         .destinations = (const char *const *)operands + 1,
                                         .destination_count = count - 1,
                                         .copies = options->copies,
                                         .set_aside = options->set_aside,
                                         .directory = options->folder,
                                         .no_history = options->no_history};
    struct tp_report *report = NULL;
    struct tp_offload_result *result = NULL;
    enum tp_status status = tp_offload(&copying, &report, &result, &error);
    if (status == TP_OK && excerpt_count > 0)
        add_excerpts(cli, &check, excerpt_count, report);
    tp_cli_progress_end(&progress);
    enum tp_cli_exit outcome = status == TP_OK ? write_results(cli, options, &output, report, result)
                                               : complain_of_offload(cli, &progress, &error);
    tp_report_free(report);
    tp_offload_result_free(result);
    return outcome;
}

static enum tp_cli_exit run_offload(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct offload_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec;
    int64_t made_s;
    if (!tp_cli_made(&made_s))
        return tp_cli_complain(cli, "SOURCE_DATE_EPOCH is not a number of seconds");
    enum tp_status status =
        options->spec != NULL ? tp_spec_read_file(&spec, options->spec, &error) : tp_spec_init(&spec, &error);
    if (status != TP_OK)
        return tp_cli_complain_error(cli, &error);
    enum tp_cli_exit outcome = offload(cli, options, operands, count, &spec, made_s);
    tp_spec_clear(&spec);
    return outcome;
}

const struct tp_cli_command tp_cli_offload = {
    .name = "offload",
    .operands = "CARD DEST...",
    .summary = "copy a card to one or more folders, verified, and check it in the same read",
    .description =
        "Copies everything below CARD, sound or not, with folders and times, to each DEST, and checks the recordings "
        "in the same single read. Each copy is flushed, read back from the medium and compared before it gets its "
        "name. An existing file is never replaced; what is proven already is not copied again. The last line says "
        "whether the card may be wiped. The exit status is 3 unless it may and every file is proven at every DEST; "
        "else it is that of the check: a card whose takes fail may still be wiped once it is copied.",
    .options = options_of_offload,
    .option_count = sizeof options_of_offload / sizeof options_of_offload[0],
    .options_size = sizeof(struct offload_options),
    .operands_min = 2,
    .operands_max = TP_DESTINATIONS_MAX + 1,
    .run = run_offload,
};
