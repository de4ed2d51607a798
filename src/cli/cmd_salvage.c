/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/progress.h"
#include "cli/sandbox.h"

#include <stdlib.h>
#include <string.h>
#include <takeproof/salvage.h>

struct salvage_options {
    struct tp_cli_common common;
    const char *folder;
    unsigned bits, channels, rate;
    bool is_float, keep_tail, not_on_card;
};

/* What became of the files so far; one place an operand in each list. */
struct salvaged {
    struct tp_salvage_outcome *outcomes;
    struct tp_salvage_result **results;
    char **problems;
    size_t count;
};

static const struct tp_cli_option options_of_salvage[] = {
    {'o', "output", "DIR", TP_CLI_FOLDER, offsetof(struct salvage_options, folder), NULL, 0,
     "write NAME-salvaged.wav into DIR, which may not lie on the card of the recording (required)"},
    {0, "bits", "N", TP_CLI_COUNT, offsetof(struct salvage_options, bits), NULL, 64,
     "bits of a sample, where the file does not tell (default: guessed from the sound)"},
    {0, "channels", "N", TP_CLI_COUNT, offsetof(struct salvage_options, channels), NULL, 65535,
     "number of channels, where the file does not tell (default: guessed)"},
    {0, "rate", "HZ", TP_CLI_COUNT, offsetof(struct salvage_options, rate), NULL, 768000,
     "sample rate, where the file does not tell (default: 48000)"},
    {0, "float", NULL, TP_CLI_FLAG, offsetof(struct salvage_options, is_float), NULL, 0,
     "the samples are floating point; with --bits and --channels"},
    {0, "keep-tail", NULL, TP_CLI_FLAG, offsetof(struct salvage_options, keep_tail), NULL, 0,
     "keep zeros and random bytes at the end that were never recorded"},
    {0, "not-on-card", NULL, TP_CLI_FLAG, offsetof(struct salvage_options, not_on_card), NULL, 0,
     "DIR does not lie on a card, though it is below the folder of the recording or on the same removable disk"},
};

/* Names come from a card: a control character must not reach the terminal. */
static void print_plain(FILE *out, const char *text)
{
    for (; *text != '\0'; text++)
        putc((unsigned char)*text < 0x20 || *text == 0x7F ? '?' : *text, out);
}

static void print_line(FILE *out, const char *text)
{
    fputs("  ", out);
    print_plain(out, text);
    fputs("\n", out);
}

static void print_outcome(FILE *out, const struct tp_salvage_outcome *outcome)
{
    const struct tp_salvage_result *result = outcome->result;
    print_plain(out, outcome->path);
    if (result->written == NULL) {
        fputs(": the file is whole, nothing to salvage; no copy was made.\n", out);
        return;
    }
    fprintf(out, ": %.3f s of sound, %u-bit %s, %u channel%s, %u Hz, written to ", result->duration_s,
            (unsigned)result->format.bit_depth, result->format.encoding == TP_ENCODING_FLOAT ? "float" : "PCM",
            (unsigned)result->format.channel_count, result->format.channel_count == 1 ? "" : "s",
            (unsigned)result->format.sample_rate_hz);
    print_plain(out, result->written);
    fputs("\n", out);
    for (size_t i = 0; i < result->finding_count; i++)
        print_line(out, result->findings[i].message);
    for (size_t i = 0; i < result->note_count; i++)
        print_line(out, result->notes[i]);
}

static enum tp_cli_exit worse(enum tp_cli_exit a, enum tp_cli_exit b)
{
    return a > b ? a : b;
}

static struct tp_salvage_format given_format(const struct salvage_options *options)
{
    bool is_whole = options->bits != 0 && options->channels != 0;
    return (struct tp_salvage_format){.encoding = options->is_float ? TP_ENCODING_FLOAT
                                                  : is_whole        ? TP_ENCODING_PCM
                                                                    : TP_ENCODING_NONE,
                                      .bit_depth = options->bits,
                                      .channel_count = options->channels,
                                      .sample_rate_hz = options->rate};
}

/* The words of a failure are told on stderr at once, and kept for the JSON. */
static enum tp_cli_exit salvage_one(struct tp_cli *cli, const struct salvage_options *options, const char *path,
                                    struct salvaged *all, struct tp_cli_progress *progress)
{
    struct tp_error error = {0};
    struct tp_salvage_result *result = NULL;
    struct tp_salvage_options salvage = {.path = path,
                                         .directory = options->folder,
                                         .format = given_format(options),
                                         .keep_tail = options->keep_tail,
                                         .not_on_card = options->not_on_card,
                                         .progress = tp_cli_progress_show,
                                         .progress_user = progress,
                                         .cancel = tp_cli_cancel_flag()};
    enum tp_status status = tp_salvage(&salvage, &result, &error);
    tp_cli_progress_end(progress);
    size_t at = all->count++;
    all->results[at] = result;
    all->problems[at] = status != TP_OK ? strdup(tp_error_text(&error)) : NULL;
    all->outcomes[at] = (struct tp_salvage_outcome){path, result, all->problems[at]};
    if (status == TP_OK)
        return result->listen && result->written != NULL ? TP_CLI_LISTEN : TP_CLI_PASS;
    tp_cli_complain_error(cli, &error);
    return status == TP_ERR_FORMAT ? TP_CLI_FAIL : TP_CLI_NOT_DONE;
}

static enum tp_cli_exit salvage_all(struct tp_cli *cli, const struct salvage_options *options, char **paths,
                                    struct salvaged *all, size_t count)
{
    enum tp_cli_exit outcome = TP_CLI_PASS;
    struct tp_cli_progress progress;
    tp_cli_progress_init(&progress, cli, &options->common);
    tp_cli_cancel_catch();
    tp_cli_write_only_below((const char *const[]){options->folder}, 1);
    for (size_t i = 0; i < count && *tp_cli_cancel_flag() == 0; i++) {
        outcome = worse(outcome, salvage_one(cli, options, paths[i], all, &progress));
        if (!options->common.json && !options->common.quiet && all->results[i] != NULL)
            print_outcome(cli->out, &all->outcomes[i]);
    }
    return all->count == count ? outcome : TP_CLI_NOT_DONE;
}

static enum tp_cli_exit run_salvage(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct salvage_options *options = given;
    struct tp_error error = {0};
    if (options->folder == NULL)
        return tp_cli_complain(cli, "where to? name a folder with -o DIR");
    if (options->is_float && (options->bits == 0 || options->channels == 0))
        return tp_cli_complain(cli, "--float goes with --bits and --channels");
    struct salvaged all = {.outcomes = calloc(count, sizeof *all.outcomes),
                           .results = calloc(count, sizeof *all.results),
                           .problems = calloc(count, sizeof *all.problems)};
    enum tp_cli_exit outcome = TP_CLI_NOT_DONE;
    if (all.outcomes == NULL || all.results == NULL || all.problems == NULL)
        tp_cli_complain(cli, "not enough memory");
    else
        outcome = salvage_all(cli, options, operands, &all, count);
    if (options->common.json && all.count == count &&
        tp_salvage_write_json(all.outcomes, count, cli->out, &error) != TP_OK)
        outcome = tp_cli_complain_error(cli, &error);
    for (size_t i = 0; i < all.count; i++) {
        tp_salvage_result_free(all.results[i]);
        free(all.problems[i]);
    }
    free(all.outcomes);
    free(all.results);
    free(all.problems);
    return outcome;
}

const struct tp_cli_command tp_cli_salvage = {
    .name = "salvage",
    .operands = "FILE...",
    .summary = "write a playable copy of an interrupted or damaged recording",
    .description =
        "Looks for the sound in recordings that broke off, lie about their size or lost their header, and writes each "
        "as a new file with the right sizes: every whole frame bit for bit, with the undamaged bext, iXML, cue and "
        "LIST chunks. Says what was wrong, what it assumed and what was left out. The originals are opened read-only "
        "and never written to. A file whose sound has nothing wrong gives no copy.",
    .options = options_of_salvage,
    .option_count = sizeof options_of_salvage / sizeof options_of_salvage[0],
    .options_size = sizeof(struct salvage_options),
    .operands_min = 1,
    .operands_max = 10000,
    .without_jobs = true,
    .run = run_salvage,
};
