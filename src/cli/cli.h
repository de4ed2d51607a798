/* SPDX-License-Identifier: MIT */
/*
 * What the commands share: the context, the shape of a command and of an option, exit statuses.
 *
 * A command is one file, cmd_<name>.c, that defines `const struct tp_cli_command tp_cli_<name>`, and one row in
 * TP_CLI_COMMANDS below. Its option table gives the parser, --help, the shell completion and the check against the
 * manual. stdout carries the result and nothing else; everything said to a person about the run goes to stderr.
 */
#ifndef TP_CLI_CLI_H
#define TP_CLI_CLI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <takeproof/takeproof.h>

/* X(name): in the order of the help. */
#define TP_CLI_COMMANDS(X)                                                                                             \
    X(check)                                                                                                           \
    X(offload)                                                                                                         \
    X(compare)                                                                                                         \
    X(linecheck)                                                                                                       \
    X(splice)                                                                                                          \
    X(salvage)                                                                                                         \
    X(spec)                                                                                                            \
    X(report)                                                                                                          \
    X(explain)                                                                                                         \
    X(completion)

/* Scripts rely on these values. */
enum tp_cli_exit {
    TP_CLI_PASS = 0,    /* all pass, or the command has nothing to judge */
    TP_CLI_LISTEN = 1,  /* something to listen to */
    TP_CLI_FAIL = 2,    /* something fails */
    TP_CLI_NOT_DONE = 3 /* wrong usage, unreadable source, cannot write, stopped */
};

enum tp_cli_type {
    TP_CLI_FLAG,   /* bool */
    TP_CLI_TEXT,   /* const char * */
    TP_CLI_FILE,   /* const char *: the name of a file */
    TP_CLI_FOLDER, /* const char *: the name of a folder */
    TP_CLI_COUNT,  /* unsigned, 1 … max */
    TP_CLI_WORD    /* int: index into `words` */
};

struct tp_cli_option {
    char letter;          /* 0 = none */
    const char *name;     /* without the dashes */
    const char *argument; /* as the help shows it: "FILE"; NULL for a flag */
    enum tp_cli_type type;
    size_t offset;     /* of the member in the command's options */
    const char *words; /* TP_CLI_WORD: "auto|always|never" */
    unsigned max;      /* TP_CLI_COUNT */
    const char *help;  /* no capital, no full stop */
};

/* Options of several commands, for the folder of the reports (see tp_output_check()). */
#define TP_CLI_REPLACE_HELP "replace the reports in DIR though they tell of other recordings"
#define TP_CLI_NOT_ON_CARD_HELP                                                                                        \
    "DIR does not lie on a card, though it looks so: below the folder of a recording, or on the same removable disk"

enum tp_cli_colour { TP_CLI_COLOUR_AUTO = 0, TP_CLI_COLOUR_ALWAYS = 1, TP_CLI_COLOUR_NEVER = 2 };

/* What every command takes; the first member of each command's options. */
struct tp_cli_common {
    bool help, version, json, quiet;
    unsigned jobs; /* 0 = one for each processor */
    int colour;    /* enum tp_cli_colour */
};

struct tp_cli {
    FILE *out, *err;
    const struct tp_cli_command *command; /* the one that runs; NULL before it is known */
};

/* What an operand is, for the completion of the shells. */
enum tp_cli_operand { TP_CLI_OPERAND_FILE = 0, TP_CLI_OPERAND_CODE, TP_CLI_OPERAND_WORD };

struct tp_cli_command {
    const char *name;
    const char *operands; /* "SOURCE..." */
    enum tp_cli_operand operand;
    const char *operand_words;           /* TP_CLI_OPERAND_WORD: "bash|zsh|fish" */
    const char *summary;                 /* one line, no capital, no full stop */
    const char *description;             /* a paragraph */
    const struct tp_cli_option *options; /* besides the common ones */
    size_t option_count;
    size_t options_size; /* of the struct whose first member is tp_cli_common; it starts zeroed */
    size_t operands_min, operands_max;
    bool without_jobs, without_json; /* taken and of no use: not in its help */
    enum tp_cli_exit (*run)(struct tp_cli *cli, const void *options, char **operands, size_t count);
};

#define TP_CLI_DECLARE(name) extern const struct tp_cli_command tp_cli_##name;
TP_CLI_COMMANDS(TP_CLI_DECLARE)
#undef TP_CLI_DECLARE

/* The commands in the order of the help; ends with NULL. */
extern const struct tp_cli_command *const tp_cli_commands[];
const struct tp_cli_command *tp_cli_command_find(const char *name); /* NULL when there is none */

/* Picks the command and runs it. argv as in main(). */
enum tp_cli_exit tp_cli_run(struct tp_cli *cli, int argc, char **argv);
/* Flushes stdout: a result that could not be written is TP_CLI_NOT_DONE. */
enum tp_cli_exit tp_cli_finish(struct tp_cli *cli, enum tp_cli_exit result);

/* "takeproof check: …" on stderr, each line of the message its own; returns TP_CLI_NOT_DONE. */
enum tp_cli_exit tp_cli_complain(const struct tp_cli *cli, const char *format, ...) TP_PRINTF(2, 3);
/* The same with the words of the error, which is cleared. */
enum tp_cli_exit tp_cli_complain_error(const struct tp_cli *cli, struct tp_error *error);

/* Whether to colour stdout, how wide it is (columns), and the time to stamp reports with (SOURCE_DATE_EPOCH or now). */
bool tp_cli_colour_wanted(const struct tp_cli *cli, const struct tp_cli_common *common);
unsigned tp_cli_columns(FILE *stream);
/* The spec in the file, or the built-in one when path is NULL. */
enum tp_status tp_cli_read_spec(struct tp_spec *spec, const char *path, struct tp_error *error) TP_MUST_USE;
/* What that spec is called on the terminal: its path, or how to see the built-in one. */
const char *tp_cli_spec_name(const char *path);
/* False when SOURCE_DATE_EPOCH is not a number. */
bool tp_cli_made(int64_t *made_s);

#endif
