/* SPDX-License-Identifier: MIT */
#include "cli/cli.h"

#include "cli/opts.h"

#include <ctype.h>
#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <takeproof/suggest.h>
#include <time.h>
#include <unistd.h>

const struct tp_cli_command *const tp_cli_commands[] = {
#define ROW(name) &tp_cli_##name,
    TP_CLI_COMMANDS(ROW)
#undef ROW
        NULL};

const struct tp_cli_command *tp_cli_command_find(const char *name)
{
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++) {
        if (strcmp(tp_cli_commands[i]->name, name) == 0)
            return tp_cli_commands[i];
    }
    return NULL;
}

enum tp_cli_exit tp_cli_complain(const struct tp_cli *cli, const char *format, ...)
{
    va_list values;
    va_start(values, format);
    char *message = NULL;
    int length = vasprintf(&message, format, values);
    va_end(values);
    const char *command = cli->command != NULL ? cli->command->name : NULL;
    const char *line = length >= 0 ? message : "not enough memory";
    while (line != NULL) {
        const char *feed = strchr(line, '\n');
        int line_length = feed != NULL ? (int)(feed - line) : (int)strlen(line);
        fprintf(cli->err, "takeproof%s%s: %.*s\n", command != NULL ? " " : "", command != NULL ? command : "",
                line_length, line);
        line = feed != NULL ? feed + 1 : NULL;
    }
    if (length >= 0)
        free(message);
    return TP_CLI_NOT_DONE;
}

/* Who read our pipe has seen enough: nothing to complain about. */
static bool reader_left(const struct tp_cli *cli)
{
    struct pollfd pipe = {.fd = fileno(cli->out), .events = POLLOUT};
    return ferror(cli->out) != 0 && poll(&pipe, 1, 0) == 1 && (pipe.revents & POLLERR) != 0;
}

enum tp_cli_exit tp_cli_complain_error(const struct tp_cli *cli, struct tp_error *error)
{
    bool is_pipe = error->status == TP_ERR_WRITE && (error->os_errno == EPIPE || error->os_errno == 0);
    if (!is_pipe || !reader_left(cli))
        tp_cli_complain(cli, "%s", tp_error_text(error));
    tp_error_clear(error);
    return TP_CLI_NOT_DONE;
}

bool tp_cli_colour_wanted(const struct tp_cli *cli, const struct tp_cli_common *common)
{
    if (common->colour != TP_CLI_COLOUR_AUTO)
        return common->colour == TP_CLI_COLOUR_ALWAYS;
    const char *no_color = getenv("NO_COLOR");
    const char *terminal = getenv("TERM");
    bool refused = (no_color != NULL && *no_color != '\0') || (terminal != NULL && strcmp(terminal, "dumb") == 0);
    return !refused && isatty(fileno(cli->out)) == 1;
}

unsigned tp_cli_columns(FILE *stream)
{
    struct winsize size;
    if (ioctl(fileno(stream), TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    return 80;
}

bool tp_cli_made(int64_t *made_s)
{
    const char *epoch = getenv("SOURCE_DATE_EPOCH");
    if (epoch == NULL || *epoch == '\0') {
        *made_s = (int64_t)time(NULL);
        return true;
    }
    int64_t value = 0;
    for (const char *at = epoch; *at != '\0'; at++) {
        if (!isdigit((unsigned char)*at) || value > 100000000000)
            return false;
        value = value * 10 + (*at - '0');
    }
    *made_s = value;
    return true;
}

enum tp_status tp_cli_read_spec(struct tp_spec *spec, const char *path, struct tp_error *error)
{
    return path != NULL ? tp_spec_read_file(spec, path, error) : tp_spec_init(spec, error);
}

const char *tp_cli_spec_name(const char *path)
{
    return path != NULL ? path : "the built-in one (takeproof spec prints it)";
}

static void print_version(FILE *out)
{
    fprintf(out, "takeproof %s\n", tp_version());
}

static void print_overview(FILE *out)
{
    fputs("Usage: takeproof COMMAND [OPTION...] [ARGUMENT...]\n\n"
          "Checks a day's sound recordings against the production's spec, says what to use\n"
          "of each take, and writes the reports.\n\nCommands:\n",
          out);
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        fprintf(out, "  %-12s%s\n", tp_cli_commands[i]->name, tp_cli_commands[i]->summary);
    fprintf(out, "  %-12s%s\n", "help", TP_CLI_HELP_SUMMARY);
    fputs("\nOptions:\n  -h, --help            print this help, or that of a command\n"
          "  -V, --version         print the version\n\n"
          "Exit status: 0 all pass, 1 something to listen to, 2 something fails,\n"
          "3 the job could not be done.\n"
          "Try 'takeproof COMMAND --help' and 'man takeproof'.\n",
          out);
}

static enum tp_cli_exit run_command(struct tp_cli *cli, const struct tp_cli_command *command, int argc, char **argv)
{
    char **operands;
    size_t count;
    cli->command = command;
    struct tp_cli_common *options = calloc(1, command->options_size);
    if (options == NULL)
        return tp_cli_complain(cli, "not enough memory");
    enum tp_cli_exit result = TP_CLI_PASS;
    if (!tp_cli_parse(cli, command, argc, argv, options, &operands, &count))
        result = TP_CLI_NOT_DONE;
    else if (options->help)
        tp_cli_print_help(command, cli->out);
    else if (options->version)
        print_version(cli->out);
    else
        result = command->run(cli, options, operands, count);
    free(options);
    return result;
}

static bool is_either(const char *word, const char *one, const char *other)
{
    return strcmp(word, one) == 0 || strcmp(word, other) == 0;
}

static enum tp_cli_exit complain_no_command(const struct tp_cli *cli, const char *word)
{
    struct tp_suggestion near = {.word = word};
    for (size_t i = 0; tp_cli_commands[i] != NULL; i++)
        tp_suggest(&near, tp_cli_commands[i]->name);
    if (near.name != NULL)
        return tp_cli_complain(cli, "there is no command '%s'; did you mean '%s'? See 'takeproof --help'", word,
                               near.name);
    return tp_cli_complain(cli, "there is no command '%s'; see 'takeproof --help'", word);
}

enum tp_cli_exit tp_cli_run(struct tp_cli *cli, int argc, char **argv)
{
    if (argc < 2) {
        print_overview(cli->err);
        return TP_CLI_NOT_DONE;
    }
    const char *word = argv[1];
    bool help = is_either(word, "help", "--help") || strcmp(word, "-h") == 0;
    if (is_either(word, "--version", "-V")) {
        print_version(cli->out);
        return TP_CLI_PASS;
    }
    if (help && argc < 3) {
        print_overview(cli->out);
        return TP_CLI_PASS;
    }
    if (help)
        word = argv[2];
    const struct tp_cli_command *command = tp_cli_command_find(word);
    if (command == NULL)
        return complain_no_command(cli, word);
    if (help) {
        tp_cli_print_help(command, cli->out);
        return TP_CLI_PASS;
    }
    return run_command(cli, command, argc - 1, argv + 1);
}

enum tp_cli_exit tp_cli_finish(struct tp_cli *cli, enum tp_cli_exit result)
{
    errno = 0;
    bool failed = ferror(cli->out) != 0;
    bool broken = fflush(cli->out) != 0 || failed;
    if (broken && reader_left(cli)) {
        signal(SIGPIPE, SIG_DFL); /* ends as any program in a pipe does; what it had to write elsewhere is written */
        (void)raise(SIGPIPE);
    }
    if (broken)
        return tp_cli_complain(cli, "cannot write the result to standard output: %s",
                               errno != 0 ? strerror(errno) : "write failed");
    return result;
}
