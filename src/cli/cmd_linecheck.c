/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"
#include "cli/cli.h"
#include "cli/sandbox.h"

#include <takeproof/linecheck.h>

struct linecheck_options {
    struct tp_cli_common common;
    const char *spec;
};

static const struct tp_cli_option options_of_linecheck[] = {
    {'s', "spec", "FILE", TP_CLI_FILE, offsetof(struct linecheck_options, spec), NULL, 0,
     "check against this spec (default: the built-in one, see 'takeproof spec')"},
};

static enum tp_cli_exit run_linecheck(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct linecheck_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec;
    struct tp_linecheck *line = NULL;
    tp_cli_write_only_below(NULL, 0);
    if (tp_cli_read_spec(&spec, options->spec, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_cancel_catch();
    struct tp_check_options check = {.sources = (const char *const *)operands,
                                     .source_count = count,
                                     .spec = &spec,
                                     .jobs = options->common.jobs,
                                     .cancel = tp_cli_cancel_flag()};
    enum tp_status status = tp_linecheck(&check, &line, &error);
    if (status == TP_OK && options->common.json)
        status = tp_linecheck_write_json(line, cli->out, &error);
    else if (status == TP_OK)
        status = tp_linecheck_write_text(line, options->common.quiet, cli->out, &error);
    enum tp_cli_exit result = status == TP_OK ? (enum tp_cli_exit)line->verdict : tp_cli_complain_error(cli, &error);
    tp_linecheck_free(line);
    tp_spec_clear(&spec);
    return result;
}

const struct tp_cli_command tp_cli_linecheck = {
    .name = "linecheck",
    .operands = "FILE",
    .summary = "before the first take: is a test recording right?",
    .description =
        "Takes a test recording of some seconds, a quiet stretch and then normal speech, and says what must be done "
        "first, then how each channel is: format, whether anything is connected, speech level and how far to move "
        "the gain, room for a shout, whether the safety follows, polarity, noise, hum, rumble and faults. The verdict "
        "is ready, adjust or not ready, with one action a line.",
    .options = options_of_linecheck,
    .option_count = sizeof options_of_linecheck / sizeof options_of_linecheck[0],
    .options_size = sizeof(struct linecheck_options),
    .operands_min = 1,
    .operands_max = 1,
    .run = run_linecheck,
};
