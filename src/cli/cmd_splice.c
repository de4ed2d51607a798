/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/progress.h"
#include "cli/sandbox.h"

#include <takeproof/splice.h>

struct splice_options {
    struct tp_cli_common common;
    const char *spec, *folder;
    bool replace, headroom, only_damaged, not_on_card;
};

static const struct tp_cli_option options_of_splice[] = {
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct splice_options, folder), NULL, 0,
     "write the tracks and splices.csv into DIR, which may not lie on the card (required)"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct splice_options, not_on_card), NULL, 0,
     TP_CLI_NOT_ON_CARD_HELP},
    {'s', "spec", "FILE", TP_CLI_FILE, offsetof(struct splice_options, spec), NULL, 0,
     "choose after this spec (default: the built-in one, see 'takeproof spec')"},
    {0, "headroom", NULL, TP_CLI_FLAG, offsetof(struct splice_options, headroom), NULL, 0,
     "where peaks would pass full scale, lower the whole track by whole dB and stay PCM, instead of writing 32-bit "
     "float"},
    {0, "only-damaged", NULL, TP_CLI_FLAG, offsetof(struct splice_options, only_damaged), NULL, 0,
     "write no track where the main is undamaged and used as recorded"},
    {0, "replace", NULL, TP_CLI_FLAG, offsetof(struct splice_options, replace), NULL, 0,
     "replace tracks of the same names in DIR; splices.csv keeps its rows of other takes in any case"},
};

/* Names come from a card: a control character must not reach the terminal. */
static void print_plain(FILE *out, const char *text)
{
    for (; *text != '\0'; text++)
        putc((unsigned char)*text < 0x20 || *text == 0x7F ? '?' : *text, out);
}

static void print_track(const struct tp_cli *cli, const struct tp_report *report, const struct tp_spliced_track *track)
{
    if (*track->name == '\0') {
        print_plain(cli->out, report->takes[track->take].id);
        fprintf(cli->out, ": no track: %s%s%s\n", track->why_not, *track->caution != '\0' ? "; " : "", track->caution);
        return;
    }
    fprintf(cli->out, "%s: ", track->name);
    switch (track->choice) {
    case TP_CHOICE_SPLICE:
        fprintf(cli->out, "main, with the safety over %zu span%s", track->span_count,
                track->span_count == 1 ? "" : "s");
        break;
    case TP_CHOICE_SAFETY: fputs("safety, raised to the main's level", cli->out); break;
    case TP_CHOICE_MAIN: fputs("main, as recorded", cli->out); break;
    case TP_CHOICE_NONE:
    case TP_CHOICE_SINGLE: break;
    }
    if (track->encoding == TP_ENCODING_FLOAT)
        fprintf(cli->out, "; %u-bit float%s", (unsigned)track->bit_depth,
                track->peak_dbfs > 0.0
                    ? ", peaks pass full scale: turn it down before making PCM of it, or use --headroom"
                    : "");
    if (track->lowered_db > 0.0)
        fprintf(cli->out, "; lowered by %.0f dB", track->lowered_db);
    if (*track->caution != '\0')
        fprintf(cli->out, "; %s", track->caution);
    fputs("\n", cli->out);
}

static const char *why_no_pair(const struct tp_report *report, const struct tp_take *take)
{
    bool missed = false;
    for (size_t i = 0; i < take->finding_count; i++)
        missed = missed || take->findings[i].code == TP_CODE_NOT_A_PAIR;
    return missed && tp_take_is_too_quiet(report, take)
               ? "too little sound to tell whether it holds a pair of main and safety"
               : "no pair of main and safety was found in it";
}

static bool has_pair(const struct tp_take *take)
{
    for (size_t s = 0; s < take->signal_count; s++)
        if (take->signals[s].pair != NULL)
            return true;
    return false;
}

/* In the order of the report, so that no take drops out of sight. */
static void print_takes(const struct tp_cli *cli, const struct tp_splice_result *result)
{
    const struct tp_report *report = result->report;
    for (size_t t = 0, i = 0; t < report->take_count; t++) {
        for (; i < result->track_count && result->tracks[i].take == t; i++)
            print_track(cli, report, &result->tracks[i]);
        if (has_pair(&report->takes[t]))
            continue;
        print_plain(cli->out, report->takes[t].id);
        fprintf(cli->out, ": no track: %s; use it as the report says\n", why_no_pair(report, &report->takes[t]));
    }
}

/* "3 tracks written to 'clean'; 2 pairs need none; 1 pair without a clean track; 4 takes without a pair." */
static void print_sum(const struct tp_cli *cli, const char *folder, const struct tp_splice_result *result,
                      size_t missing)
{
    size_t unneeded = 0, without = 0;
    for (size_t i = 0; i < result->track_count; i++)
        unneeded += result->tracks[i].choice == TP_CHOICE_MAIN && *result->tracks[i].name == '\0';
    for (size_t t = 0; t < result->report->take_count; t++)
        without += !has_pair(&result->report->takes[t]);
    if (result->track_count == 0)
        fputs("No pair of main and safety was found: no track was written", cli->out);
    else
        fprintf(cli->out, "%zu track%s written to '%s'", result->written, result->written == 1 ? "" : "s", folder);
    if (unneeded > 0)
        fprintf(cli->out, "; %zu pair%s none", unneeded, unneeded == 1 ? " needs" : "s need");
    if (result->track_count > 0)
        fprintf(cli->out, "; %zu pair%s without a clean track", missing, missing == 1 ? "" : "s");
    if (without > 0)
        fprintf(cli->out, "; %zu take%s without a pair", without, without == 1 ? "" : "s");
    fputs(".\n", cli->out);
}

static enum tp_cli_exit print_result(struct tp_cli *cli, const struct splice_options *options,
                                     const struct tp_splice_result *result)
{
    struct tp_error error = {0};
    size_t missing = 0;
    for (size_t i = 0; i < result->track_count; i++)
        missing += result->tracks[i].choice == TP_CHOICE_NONE;
    if (options->common.json) {
        if (tp_splice_write_json(result, cli->out, &error) != TP_OK)
            return tp_cli_complain_error(cli, &error);
    } else {
        if (!options->common.quiet)
            print_takes(cli, result);
        print_sum(cli, options->folder, result, missing);
    }
    return result->track_count == 0 || missing > 0 ? TP_CLI_FAIL : TP_CLI_PASS;
}

static enum tp_status check_and_splice(const struct splice_options *options, struct tp_check_options *check,
                                       struct tp_report **report, struct tp_splice_result **result,
                                       struct tp_error *error)
{
    enum tp_status status = tp_check(check, report, error);
    if (status != TP_OK)
        return status;
    struct tp_splice_options splice = {.report = *report,
                                       .sources = check->sources,
                                       .source_count = check->source_count,
                                       .directory = options->folder,
                                       .not_on_card = options->not_on_card,
                                       .replace = options->replace,
                                       .headroom = options->headroom,
                                       .only_damaged = options->only_damaged,
                                       .progress = check->progress,
                                       .progress_user = check->progress_user,
                                       .cancel = check->cancel};
    return tp_splice_write(&splice, result, error);
}

static enum tp_cli_exit run_splice(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct splice_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec;
    int64_t made_s;
    if (options->folder == NULL)
        return tp_cli_complain(cli, "where to? name a folder with -o DIR");
    if (!tp_cli_made(&made_s))
        return tp_cli_complain(cli, "SOURCE_DATE_EPOCH is not a number of seconds");
    const struct tp_output_options output = {.kind = TP_OUTPUT_TRACKS,
                                             .directory = options->folder,
                                             .sources = (const char *const *)operands,
                                             .source_count = count,
                                             .not_on_card = options->not_on_card};
    if (tp_output_check(&output, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_write_only_below((const char *const[]){options->folder}, 1);
    if ((options->spec != NULL ? tp_spec_read_file(&spec, options->spec, &error) : tp_spec_init(&spec, &error)) !=
        TP_OK)
        return tp_cli_complain_error(cli, &error);
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    tp_cli_cancel_catch();
    struct tp_check_options check = {.sources = (const char *const *)operands,
                                     .source_count = count,
                                     .spec = &spec,
                                     .jobs = options->common.jobs,
                                     .made_s = made_s,
                                     .progress = tp_cli_progress_show,
                                     .progress_user = &progress,
                                     .cancel = tp_cli_cancel_flag()};
    struct tp_report *report = NULL;
    struct tp_splice_result *result = NULL;
    enum tp_status status = check_and_splice(options, &check, &report, &result, &error);
    tp_cli_progress_end(&progress);
    enum tp_cli_exit outcome =
        status == TP_OK ? print_result(cli, options, result) : tp_cli_complain_error(cli, &error);
    tp_splice_result_free(result);
    tp_report_free(report);
    tp_spec_clear(&spec);
    return outcome;
}

const struct tp_cli_command tp_cli_splice = {
    .name = "splice",
    .operands = "SOURCE...",
    .summary = "write the clean track of each main and safety pair",
    .description =
        "Checks the recordings, then writes for each pair one track: the main, with the level-matched safety over its "
        "damaged spans, crossfaded inside 10 ms before and behind. Everywhere else the samples are the main's own, to "
        "the bit. A track is as long as the main and starts at the same timecode. A list of all splices goes into "
        "splices.csv. Sources are opened read-only and never written to.",
    .options = options_of_splice,
    .option_count = sizeof options_of_splice / sizeof options_of_splice[0],
    .options_size = sizeof(struct splice_options),
    .operands_min = 1,
    .operands_max = 10000,
    .run = run_splice,
};
