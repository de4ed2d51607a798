/* SPDX-License-Identifier: MIT */
#include "cli/opts.h"

#include <ctype.h>
#include <getopt.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/suggest.h>

#define OPTIONS_MAX 40
/* getopt_long's value of an option is its index plus this, clear of every letter. */
#define FIRST_VALUE 256

static const struct tp_cli_option common_options[] = {
    {'j', "jobs", "N", TP_CLI_COUNT, offsetof(struct tp_cli_common, jobs), NULL, 256,
     "work on N files at once (default: one for each processor)"},
    {0, "json", NULL, TP_CLI_FLAG, offsetof(struct tp_cli_common, json), NULL, 0,
     "print the result as JSON on standard output, and nothing else there"},
    {'q', "quiet", NULL, TP_CLI_FLAG, offsetof(struct tp_cli_common, quiet), NULL, 0,
     "print only what cannot be left out, and no progress"},
    {0, "colour", "WHEN", TP_CLI_WORD, offsetof(struct tp_cli_common, colour), "auto|always|never", 0,
     "colour the text: auto, always or never (default: auto, on a terminal where NO_COLOR is not set)"},
    {'h', "help", NULL, TP_CLI_FLAG, offsetof(struct tp_cli_common, help), NULL, 0, "print this help"},
    {'V', "version", NULL, TP_CLI_FLAG, offsetof(struct tp_cli_common, version), NULL, 0, "print the version"},
};
#define COMMON_COUNT (sizeof common_options / sizeof common_options[0])

const struct tp_cli_option *tp_cli_common_options(size_t *count)
{
    *count = COMMON_COUNT;
    return common_options;
}

const struct tp_cli_option *tp_cli_option_at(const struct tp_cli_command *command, size_t index)
{
    if (index < command->option_count)
        return &command->options[index];
    index -= command->option_count;
    return index < COMMON_COUNT ? &common_options[index] : NULL;
}

bool tp_cli_option_is_useful(const struct tp_cli_command *command, const struct tp_cli_option *option)
{
    return !(command->without_jobs && strcmp(option->name, "jobs") == 0) &&
           !(command->without_json && strcmp(option->name, "json") == 0);
}

static bool parse_count(const char *text, unsigned max, unsigned *out)
{
    unsigned value = 0;
    if (*text == '\0')
        return false;
    for (; *text != '\0'; text++) {
        if (!isdigit((unsigned char)*text) || value > max)
            return false;
        value = value * 10 + (unsigned)(*text - '0');
    }
    *out = value;
    return value >= 1 && value <= max;
}

static bool find_word(const char *words, const char *text, int *out)
{
    size_t length = strlen(text);
    for (int index = 0; words != NULL; index++) {
        const char *bar = strchr(words, '|');
        size_t word_length = bar != NULL ? (size_t)(bar - words) : strlen(words);
        if (word_length == length && memcmp(words, text, length) == 0) {
            *out = index;
            return true;
        }
        words = bar != NULL ? bar + 1 : NULL;
    }
    return false;
}

static bool set_value(const struct tp_cli *cli, const struct tp_cli_option *option, char *text, void *options)
{
    void *member = (char *)options + option->offset;
    switch (option->type) {
    case TP_CLI_FLAG: *(bool *)member = true; return true;
    case TP_CLI_TEXT:
    case TP_CLI_FILE:
    case TP_CLI_FOLDER:
        if (*text != '\0') {
            *(const char **)member = text;
            return true;
        }
        tp_cli_complain(cli, "--%s is empty: it takes %s", option->name, option->argument);
        return false;
    case TP_CLI_COUNT:
        if (parse_count(text, option->max, member))
            return true;
        tp_cli_complain(cli, "'%s' is no value for --%s: it takes 1 to %u", text, option->name, option->max);
        return false;
    case TP_CLI_WORD:
        if (find_word(option->words, text, member))
            return true;
        tp_cli_complain(cli, "'%s' is no value for --%s: it takes %s", text, option->name, option->words);
        return false;
    }
    return false;
}

/* What getopt_long wants, made from the table. */
struct getopt_tables {
    char letters[2 * OPTIONS_MAX + 2];
    struct option names[OPTIONS_MAX + 1];
};

static void make_tables(const struct tp_cli_command *command, struct getopt_tables *tables)
{
    char *letter = tables->letters;
    *letter++ = ':'; /* a missing argument is told apart from an unknown option */
    const struct tp_cli_option *option;
    for (size_t i = 0; i < OPTIONS_MAX && (option = tp_cli_option_at(command, i)) != NULL; i++) {
        bool takes_value = option->type != TP_CLI_FLAG;
        tables->names[i] = (struct option){.name = option->name,
                                           .has_arg = takes_value ? required_argument : no_argument,
                                           .val = FIRST_VALUE + (int)i};
        if (option->letter != 0) {
            *letter++ = option->letter;
            if (takes_value)
                *letter++ = ':';
        }
    }
}

static const struct tp_cli_option *find_option(const struct tp_cli_command *command, int value)
{
    if (value >= FIRST_VALUE)
        return tp_cli_option_at(command, (size_t)(value - FIRST_VALUE));
    const struct tp_cli_option *option;
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++) {
        if (option->letter == value)
            return option;
    }
    return NULL;
}

/* The command that does have this option; NULL when none has. */
static const struct tp_cli_command *owner_of(const char *name)
{
    for (size_t c = 0; tp_cli_commands[c] != NULL; c++)
        for (size_t i = 0; i < tp_cli_commands[c]->option_count; i++)
            if (strcmp(tp_cli_commands[c]->options[i].name, name) == 0)
                return tp_cli_commands[c];
    return NULL;
}

/* `name` is what was typed behind the dashes, without a value. */
static void complain_unknown_name(const struct tp_cli *cli, const char *name)
{
    const char *command = cli->command->name;
    struct tp_suggestion near = {.word = name};
    const struct tp_cli_option *option, *begun[2] = {NULL};
    size_t begun_count = 0;
    for (size_t i = 0; (option = tp_cli_option_at(cli->command, i)) != NULL; i++) {
        tp_suggest(&near, option->name);
        if (*name != '\0' && strncmp(option->name, name, strlen(name)) == 0 && begun_count++ < 2)
            begun[begun_count - 1] = option;
    }
    const struct tp_cli_command *owner = owner_of(name);
    if (begun_count > 1)
        tp_cli_complain(cli, "'--%s' could be --%s or --%s%s: write it out", name, begun[0]->name, begun[1]->name,
                        begun_count > 2 ? " or another" : "");
    else if (owner != NULL)
        tp_cli_complain(cli, "there is no option '--%s' here: it belongs to 'takeproof %s'; see 'takeproof %s --help'",
                        name, owner->name, command);
    else if (near.name != NULL)
        tp_cli_complain(cli, "there is no option '--%s'; did you mean '--%s'? See 'takeproof %s --help'", name,
                        near.name, command);
    else
        tp_cli_complain(cli, "there is no option '--%s'; see 'takeproof %s --help'", name, command);
}

static void complain_unknown(const struct tp_cli *cli, int value, int letter, const char *word)
{
    const char *command = cli->command->name;
    if (value == ':' && letter >= FIRST_VALUE)
        tp_cli_complain(cli, "'%s' needs a value; see 'takeproof %s --help'", word, command);
    else if (value == ':')
        tp_cli_complain(cli, "'-%c' needs a value; see 'takeproof %s --help'", letter, command);
    else if (letter >= FIRST_VALUE)
        tp_cli_complain(cli, "'--%s' takes no value, but '%s' gives it one",
                        tp_cli_option_at(cli->command, (size_t)(letter - FIRST_VALUE))->name, word);
    else if (letter > 0)
        tp_cli_complain(cli, "there is no option '-%c'; see 'takeproof %s --help'", letter, command);
    else {
        char name[64];
        size_t length = strcspn(word + 2, "=");
        length = length < sizeof name ? length : sizeof name - 1;
        memcpy(name, word + 2, length);
        name[length] = '\0';
        complain_unknown_name(cli, name);
    }
}

static bool check_operands(const struct tp_cli *cli, const struct tp_cli_command *command, size_t count)
{
    if (count < command->operands_min)
        tp_cli_complain(cli, "something is missing: takeproof %s %s; see 'takeproof %s --help'", command->name,
                        command->operands, command->name);
    else if (count > command->operands_max)
        tp_cli_complain(cli, "too much is given: takeproof %s %s; see 'takeproof %s --help'", command->name,
                        command->operands, command->name);
    return count >= command->operands_min && count <= command->operands_max;
}

bool tp_cli_parse(const struct tp_cli *cli, const struct tp_cli_command *command, int argc, char **argv, void *options,
                  char ***operands, size_t *count)
{
    struct getopt_tables tables = {0};
    make_tables(command, &tables);
    opterr = 0;
    int value;
    while ((value = getopt_long(argc, argv, tables.letters, tables.names, NULL)) != -1) {
        const struct tp_cli_option *option = value == '?' || value == ':' ? NULL : find_option(command, value);
        if (option == NULL) {
            complain_unknown(cli, value, optopt, argv[optind - 1]);
            return false;
        }
        if (!set_value(cli, option, optarg, options))
            return false;
    }
    *operands = argv + optind;
    *count = (size_t)(argc - optind);
    const struct tp_cli_common *common = options;
    return common->help || common->version || check_operands(cli, command, *count);
}

void tp_cli_print_usage(const struct tp_cli_command *command, FILE *out)
{
    fprintf(out, "Usage: takeproof %s [OPTION...]%s%s\n", command->name, *command->operands != '\0' ? " " : "",
            command->operands);
}

static unsigned columns_of(const char *text, size_t length)
{
    unsigned columns = 0;
    for (size_t i = 0; i < length; i++)
        columns += ((unsigned char)text[i] & 0xC0) != 0x80;
    return columns;
}

void tp_cli_print_wrapped(FILE *out, const char *text, unsigned column, unsigned indent, unsigned columns)
{
    bool line_has_word = false;
    while (*text != '\0') {
        size_t length = strcspn(text, " ");
        unsigned width = columns_of(text, length);
        if (line_has_word && column + 1 + width > columns) {
            fprintf(out, "\n%*s", (int)indent, "");
            column = indent;
            line_has_word = false;
        }
        fprintf(out, "%s%.*s", line_has_word ? " " : "", (int)length, text);
        column += width + line_has_word;
        line_has_word = true;
        text += length;
        text += strspn(text, " ");
    }
    fputc('\n', out);
}

static void print_option(const struct tp_cli_option *option, FILE *out)
{
    const unsigned help_column = 24;
    int used = option->letter != 0 ? fprintf(out, "  -%c, --%s", option->letter, option->name)
                                   : fprintf(out, "      --%s", option->name);
    if (option->argument != NULL)
        used += fprintf(out, " %s", option->argument);
    if (used < 0 || (unsigned)used + 2 > help_column) {
        fputc('\n', out);
        used = 0;
    }
    fprintf(out, "%*s", (int)help_column - used, "");
    tp_cli_print_wrapped(out, option->help, help_column, help_column, TP_CLI_HELP_COLUMNS);
}

void tp_cli_print_help(const struct tp_cli_command *command, FILE *out)
{
    tp_cli_print_usage(command, out);
    fputc('\n', out);
    tp_cli_print_wrapped(out, command->description, 0, 0, TP_CLI_HELP_COLUMNS);
    fputs("\nOptions:\n", out);
    const struct tp_cli_option *option;
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++)
        if (tp_cli_option_is_useful(command, option))
            print_option(option, out);
    fprintf(out, "\nMore: man takeproof-%s\n", command->name);
}
