/* SPDX-License-Identifier: MIT */
#include "cli/cli.h"
#include "cli/opts.h"
#include "cli/sandbox.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

struct spec_options {
    struct tp_cli_common common;
    bool keys, log, checklist;
};

static const struct tp_cli_option options_of_spec[] = {
    {'k', "keys", NULL, TP_CLI_FLAG, offsetof(struct spec_options, keys), NULL, 0,
     "list the keys, one 'section.key = value' a line"},
    {'l', "log", NULL, TP_CLI_FLAG, offsetof(struct spec_options, log), NULL, 0,
     "print a template of the notes that check --log reads"},
    {'c', "checklist", NULL, TP_CLI_FLAG, offsetof(struct spec_options, checklist), NULL, 0,
     "print the day's checklist instead: before, while shooting, at wrap"},
};

/* False when memory is short, as with all that print values. */
static bool print_keys(const struct tp_spec *spec, FILE *out)
{
    bool good = true;
    const struct tp_spec_key *keys = tp_spec_keys();
    for (size_t i = 0; keys[i].key != NULL; i++) {
        char *value = tp_spec_value_text(spec, i);
        fprintf(out, "%s.%s = %s\n", keys[i].section, keys[i].key, value != NULL ? value : "");
        good = good && value != NULL;
        free(value);
    }
    return good;
}

static json_t *key_json(const struct tp_spec *spec, size_t index)
{
    const struct tp_spec_key *key = &tp_spec_keys()[index];
    char *value = tp_spec_value_text(spec, index);
    json_t *object = NULL;
    if (value != NULL)
        object = json_pack("{s:s, s:s, s:s, s:s, s:s}", "section", key->section, "key", key->key, "value", value,
                           "values", key->values, "comment", key->comment);
    free(value);
    return object;
}

static bool print_json(const struct tp_spec *spec, FILE *out)
{
    json_t *list = json_array();
    bool good = true;
    for (size_t i = 0; tp_spec_keys()[i].key != NULL; i++)
        good = json_array_append_new(list, key_json(spec, i)) == 0 && good;
    json_t *root = json_pack("{s:o}", "spec", list);
    good = good && root != NULL && json_dumpf(root, out, JSON_INDENT(2)) == 0;
    json_decref(root);
    fputc('\n', out);
    return good;
}

/* What a file changes against the built-in spec. */
static enum tp_status print_changes(const struct tp_spec *spec, const struct tp_spec *built_in, const char *path,
                                    FILE *out, struct tp_error *error)
{
    const struct tp_spec_key *keys = tp_spec_keys();
    size_t changes = 0;
    bool lost = false;
    fprintf(out, "'%s' is a good spec. ", path);
    fputs("Against the built-in spec it changes:\n\n", out);
    for (size_t i = 0; keys[i].key != NULL; i++) {
        char *now = tp_spec_value_text(spec, i);
        char *before = tp_spec_value_text(built_in, i);
        if (now != NULL && before != NULL && strcmp(now, before) != 0) {
            fprintf(out, "  [%s] %s = %s", keys[i].section, keys[i].key, now);
            fprintf(out, *before != '\0' ? " (built in: %s)\n" : "\n", before);
            changes++;
        }
        lost = lost || now == NULL || before == NULL;
        free(now);
        free(before);
    }
    fputs(changes == 0 ? "  nothing\n\nThe whole spec in force:\n\n" : "\nThe whole spec in force:\n\n", out);
    enum tp_status status = tp_spec_print(spec, out, error);
    return lost ? tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to print the spec") : status;
}

static void print_checklist(FILE *out)
{
    const char *section = "";
    for (const struct tp_checklist_item *item = tp_checklist(); item->text != NULL; item++) {
        if (strcmp(section, item->section) != 0)
            fprintf(out, "%s%s (common practice, no source)\n", *section != '\0' ? "\n" : "", item->section);
        section = item->section;
        fputs("  [ ] ", out);
        tp_cli_print_wrapped(out, item->text, 6, 6, TP_CLI_HELP_COLUMNS);
    }
}

static bool print_checklist_json(FILE *out)
{
    json_t *list = json_array();
    bool good = true;
    for (const struct tp_checklist_item *item = tp_checklist(); item->text != NULL; item++)
        good =
            json_array_append_new(list, json_pack("{s:s, s:s}", "section", item->section, "text", item->text)) == 0 &&
            good;
    json_t *root = json_pack("{s:o}", "checklist", list);
    good = good && root != NULL && json_dumpf(root, out, JSON_INDENT(2)) == 0;
    json_decref(root);
    fputc('\n', out);
    return good;
}

static enum tp_cli_exit run_checklist(struct tp_cli *cli, const struct spec_options *options)
{
    if (options->common.json && !print_checklist_json(cli->out))
        return tp_cli_complain(cli, "cannot write JSON");
    if (!options->common.json)
        print_checklist(cli->out);
    return TP_CLI_PASS;
}

static enum tp_cli_exit print_log_template(const struct tp_cli *cli, const struct spec_options *options, size_t count)
{
    if (count > 0 || options->keys || options->checklist)
        return tp_cli_complain(cli, "--log prints the template of the notes and goes with no FILE and no other list");
    if (!options->common.json) {
        fputs(tp_log_template(), cli->out);
        return TP_CLI_PASS;
    }
    json_t *root = json_pack("{s:s}", "log", tp_log_template());
    bool good = root != NULL && json_dumpf(root, cli->out, JSON_INDENT(2)) == 0;
    json_decref(root);
    fputc('\n', cli->out);
    return good ? TP_CLI_PASS : tp_cli_complain(cli, "cannot write JSON");
}

static enum tp_cli_exit run_spec(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct spec_options *options = given;
    struct tp_error error = {0};
    struct tp_spec spec, built_in;
    if (options->log)
        return print_log_template(cli, options, count);
    if (options->checklist)
        return run_checklist(cli, options);
    if (tp_spec_init(&built_in, &error) != TP_OK)
        return tp_cli_complain_error(cli, &error);
    tp_cli_write_only_below(NULL, 0);
    enum tp_status status =
        count > 0 ? tp_spec_read_file(&spec, operands[0], &error) : tp_spec_copy(&spec, &built_in, &error);
    enum tp_cli_exit result = TP_CLI_PASS;
    if (status != TP_OK)
        result = tp_cli_complain_error(cli, &error);
    else if (options->common.json)
        result = print_json(&spec, cli->out) ? TP_CLI_PASS : tp_cli_complain(cli, "cannot write JSON");
    else if (options->keys)
        result = print_keys(&spec, cli->out) ? TP_CLI_PASS : tp_cli_complain(cli, "not enough memory");
    else if ((count > 0 && !options->common.quiet &&
              print_changes(&spec, &built_in, operands[0], cli->out, &error) != TP_OK) ||
             (count == 0 && tp_spec_print(&spec, cli->out, &error) != TP_OK))
        result = tp_cli_complain_error(cli, &error);
    if (status == TP_OK)
        tp_spec_clear(&spec);
    tp_spec_clear(&built_in);
    return result;
}

const struct tp_cli_command tp_cli_spec = {
    .name = "spec",
    .operands = "[FILE]",
    .summary = "print the built-in spec, or check and explain a spec file",
    .description =
        "Without FILE, prints the built-in spec as an INI file with a comment for each key: save it, change it, "
        "and give it to 'takeproof check --spec'. With FILE, checks that file, says what it changes, and prints "
        "the whole spec in force. An error is reported with file and line. With --log, prints a template of the notes "
        "that are kept on set, a CSV file.",
    .options = options_of_spec,
    .option_count = sizeof options_of_spec / sizeof options_of_spec[0],
    .options_size = sizeof(struct spec_options),
    .operands_max = 1,
    .without_jobs = true,
    .run = run_spec,
};
