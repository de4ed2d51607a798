/* SPDX-License-Identifier: MIT */
/* Options from a table: parsing (through getopt_long) and help. */
#ifndef TP_CLI_OPTS_H
#define TP_CLI_OPTS_H

#include "cli/cli.h"

/* The options that every command takes. */
const struct tp_cli_option *tp_cli_common_options(size_t *count);

/* Option `index` of a command: its own first, then the common ones. NULL after the last. */
const struct tp_cli_option *tp_cli_option_at(const struct tp_cli_command *command, size_t index);

/* Whether the option does something for this command. All common ones are taken everywhere, so that scripts need not
 * know which command has use for them; those without are not in the help, the manual and the completion. */
bool tp_cli_option_is_useful(const struct tp_cli_command *command, const struct tp_cli_option *option);

/* argv[0] is the name of the command. Fills `options` (zeroed, command->options_size bytes) and moves the operands to
 * the front of *operands, which points into argv. With --help or --version the operands are not checked. False after
 * complaining on stderr. */
bool tp_cli_parse(const struct tp_cli *cli, const struct tp_cli_command *command, int argc, char **argv, void *options,
                  char ***operands, size_t *count);

void tp_cli_print_usage(const struct tp_cli_command *command, FILE *out);
void tp_cli_print_help(const struct tp_cli_command *command, FILE *out);

/* Prints text broken at spaces, at most `columns` wide; following lines are indented by `indent`, the first starts at
 * column `column`. Ends the line. Columns count UTF-8 code points. */
void tp_cli_print_wrapped(FILE *out, const char *text, unsigned column, unsigned indent, unsigned columns);

#define TP_CLI_HELP_COLUMNS 80
#define TP_CLI_HELP_SUMMARY "print the help of takeproof, or of one command"

#endif
