/* SPDX-License-Identifier: MIT */
/* Completion scripts for the shells, printed from the same tables as the help. */
#include "cli/cli.h"
#include "cli/opts.h"

#include <string.h>

/* Prints `text` with each character of `special` preceded by `escape`. */
static void print_escaped(const char *text, const char *special, const char *escape, FILE *out)
{
    for (; *text != '\0'; text++)
        fprintf(out, "%s%c", strchr(special, *text) != NULL ? escape : "", *text);
}

/* "a|b" as "a b". */
static void print_words(const char *words, FILE *out)
{
    for (; *words != '\0'; words++)
        fputc(*words == '|' ? ' ' : *words, out);
}

static void print_codes(FILE *out)
{
    for (size_t i = 0; i < TP_CODE_COUNT; i++)
        fprintf(out, "%s%s", i > 0 ? " " : "", tp_finding_info((enum tp_code)i)->name);
}

static void print_operand_words(const struct tp_cli_command *command, FILE *out)
{
    if (command->operand == TP_CLI_OPERAND_CODE)
        print_codes(out);
    else if (command->operand == TP_CLI_OPERAND_WORD)
        print_words(command->operand_words, out);
}

static void print_command_names(FILE *out)
{
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        fprintf(out, "%s%s", i > 0 ? " " : "", tp_cli_commands[i]->name);
}

/* --- bash --- */

/* Completions of the value of an option, as a case of the word before. */
static void print_bash_value(const struct tp_cli_option *option, FILE *out)
{
    if (option->type == TP_CLI_FLAG)
        return;
    fprintf(out, "        --%s", option->name);
    if (option->letter != 0)
        fprintf(out, "|-%c", option->letter);
    if (option->type == TP_CLI_WORD) {
        fputs(") words='", out);
        print_words(option->words, out);
        fputs("' ;;\n", out);
    } else {
        fprintf(out, ") kind=%s ;;\n",
                option->type == TP_CLI_FILE     ? "file"
                : option->type == TP_CLI_FOLDER ? "folder"
                                                : "none");
    }
}

static void print_bash_command(const struct tp_cli_command *command, FILE *out)
{
    const struct tp_cli_option *option;
    size_t shown = 0;
    fprintf(out, "    %s)\n        options='", command->name);
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++)
        if (tp_cli_option_is_useful(command, option))
            fprintf(out, "%s--%s", shown++ > 0 ? " " : "", option->name);
    fputs("'\n        operands='", out);
    print_operand_words(command, out);
    fputs("'\n        case $previous in\n", out);
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++)
        print_bash_value(option, out);
    fputs("        esac ;;\n", out);
}

static void print_bash(FILE *out)
{
    fputs("# bash completion for takeproof\n"
          "_takeproof() {\n"
          "    local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD-1]}\n"
          "    local options='' operands='' words='' kind=''\n"
          "    COMPREPLY=()\n"
          "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
          "        COMPREPLY=($(compgen -W '",
          out);
    print_command_names(out);
    fputs(" help --help --version' -- \"$current\"))\n"
          "        return\n"
          "    fi\n"
          "    case ${COMP_WORDS[1]} in\n",
          out);
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        print_bash_command(tp_cli_commands[i], out);
    fputs("    help) operands='", out);
    print_command_names(out);
    fputs("' ;;\n"
          "    esac\n"
          "    local IFS=$'\\n'\n"
          "    if [ \"$kind\" = none ]; then\n"
          "        return\n"
          "    elif [ \"$kind\" = folder ]; then\n"
          "        COMPREPLY=($(compgen -d -- \"$current\"))\n"
          "    elif [ -n \"$words\" ]; then\n"
          "        COMPREPLY=($(compgen -W \"${words// /$IFS}\" -- \"$current\"))\n"
          "    elif [ -z \"$kind\" ] && [ \"${current:0:1}\" = - ]; then\n"
          "        COMPREPLY=($(compgen -W \"${options// /$IFS}\" -- \"$current\"))\n"
          "    elif [ -z \"$kind\" ] && [ -n \"$operands\" ]; then\n"
          "        COMPREPLY=($(compgen -W \"${operands// /$IFS}\" -- \"$current\"))\n"
          "    else\n"
          "        COMPREPLY=($(compgen -f -- \"$current\"))\n"
          "    fi\n"
          "    [ -n \"$words$operands\" ] || compopt -o filenames 2>/dev/null\n"
          "}\n"
          "complete -F _takeproof takeproof\n",
          out);
}

/* --- zsh --- */

static void print_zsh_option(const struct tp_cli_option *option, FILE *out)
{
    const char *const special = "'[]:\\";
    bool takes_value = option->type != TP_CLI_FLAG;
    fputs(" \\\n            ", out);
    if (option->letter != 0)
        fprintf(out, "'(-%c --%s)'{-%c%s,--%s%s}'[", option->letter, option->name, option->letter,
                takes_value ? "+" : "", option->name, takes_value ? "=" : "");
    else
        fprintf(out, "'--%s%s[", option->name, takes_value ? "=" : "");
    for (const char *at = option->help; *at != '\0'; at++) {
        if (*at == '\'')
            fputs("'\\''", out);
        else
            fprintf(out, "%s%c", strchr(special, *at) != NULL ? "\\" : "", *at);
    }
    fputc(']', out);
    if (takes_value)
        fprintf(out, ":%s:", option->argument);
    if (option->type == TP_CLI_FILE)
        fputs("_files", out);
    else if (option->type == TP_CLI_FOLDER)
        fputs("_files -/", out);
    else if (option->type == TP_CLI_WORD) {
        fputc('(', out);
        print_words(option->words, out);
        fputc(')', out);
    }
    fputc('\'', out);
}

static void print_zsh_command(const struct tp_cli_command *command, FILE *out)
{
    const struct tp_cli_option *option;
    fprintf(out, "    %s)\n        _arguments -s -S", command->name);
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++)
        if (tp_cli_option_is_useful(command, option))
            print_zsh_option(option, out);
    if (command->operands_max > 0) {
        fputs(" \\\n            '*:argument:", out);
        fputs(command->operand == TP_CLI_OPERAND_FILE ? "_files" : "(", out);
        print_operand_words(command, out);
        fputs(command->operand == TP_CLI_OPERAND_FILE ? "'" : ")'", out);
    }
    fputs(" ;;\n", out);
}

static void print_zsh(FILE *out)
{
    fputs("#compdef takeproof\n"
          "local curcontext=$curcontext state line\n"
          "local -a commands\n"
          "commands=(\n",
          out);
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++) {
        fprintf(out, "    '%s:", tp_cli_commands[i]->name);
        print_escaped(tp_cli_commands[i]->summary, ":\\", "\\", out);
        fputs("'\n", out);
    }
    fputs("    'help:" TP_CLI_HELP_SUMMARY "'\n)\n"
          "_arguments -C '1:command:->command' '*::argument:->argument'\n"
          "case $state in\n"
          "command) _describe command commands ;;\n"
          "argument)\n"
          "    case $words[1] in\n",
          out);
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        print_zsh_command(tp_cli_commands[i], out);
    fputs("    esac ;;\nesac\n", out);
}

/* --- fish --- */

static void print_fish_option(const char *command, const struct tp_cli_option *option, FILE *out)
{
    fprintf(out, "complete -c takeproof -n '__fish_seen_subcommand_from %s'", command);
    if (option->letter != 0)
        fprintf(out, " -s %c", option->letter);
    fprintf(out, " -l %s", option->name);
    if (option->type == TP_CLI_FILE)
        fputs(" -r -F", out);
    else if (option->type == TP_CLI_FOLDER)
        fputs(" -x -a '(__fish_complete_directories)'", out);
    else if (option->type == TP_CLI_WORD) {
        fputs(" -x -a '", out);
        print_words(option->words, out);
        fputc('\'', out);
    } else if (option->type != TP_CLI_FLAG)
        fputs(" -x", out);
    fputs(" -d '", out);
    print_escaped(option->help, "'\\", "\\", out);
    fputs("'\n", out);
}

static void print_fish_command(const struct tp_cli_command *command, FILE *out)
{
    const struct tp_cli_option *option;
    fprintf(out, "complete -c takeproof -n __fish_use_subcommand -a %s -d '", command->name);
    print_escaped(command->summary, "'\\", "\\", out);
    fputs("'\n", out);
    for (size_t i = 0; (option = tp_cli_option_at(command, i)) != NULL; i++)
        if (tp_cli_option_is_useful(command, option))
            print_fish_option(command->name, option, out);
    if (command->operands_max == 0)
        return;
    fprintf(out, "complete -c takeproof -n '__fish_seen_subcommand_from %s'", command->name);
    fputs(command->operand == TP_CLI_OPERAND_FILE ? " -F" : " -a '", out);
    print_operand_words(command, out);
    fputs(command->operand == TP_CLI_OPERAND_FILE ? "\n" : "'\n", out);
}

static void print_fish(FILE *out)
{
    fputs("# fish completion for takeproof\ncomplete -c takeproof -f\n"
          "complete -c takeproof -n __fish_use_subcommand -a help -d '" TP_CLI_HELP_SUMMARY "'\n",
          out);
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        print_fish_command(tp_cli_commands[i], out);
}

static enum tp_cli_exit run_completion(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    static const struct {
        const char *shell;
        void (*print)(FILE *out);
    } shells[] = {{"bash", print_bash}, {"zsh", print_zsh}, {"fish", print_fish}};
    (void)given;
    (void)count;
    for (size_t i = 0; i < sizeof shells / sizeof shells[0]; i++) {
        if (strcmp(operands[0], shells[i].shell) == 0) {
            shells[i].print(cli->out);
            return TP_CLI_PASS;
        }
    }
    return tp_cli_complain(cli, "there is no completion for '%s': bash, zsh and fish are known", operands[0]);
}

const struct tp_cli_command tp_cli_completion = {
    .name = "completion",
    .operands = "SHELL",
    .operand = TP_CLI_OPERAND_WORD,
    .operand_words = "bash|zsh|fish",
    .summary = "print a completion script for a shell",
    .description =
        "Prints a script that teaches bash, zsh or fish to complete commands, options, values and finding codes. "
        "'make install' puts all three where the shells look.",
    .options_size = sizeof(struct tp_cli_common),
    .operands_min = 1,
    .operands_max = 1,
    .without_jobs = true,
    .without_json = true,
    .run = run_completion,
};
