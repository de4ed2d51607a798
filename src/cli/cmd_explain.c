/* SPDX-License-Identifier: MIT */
#include "cli/cli.h"
#include "cli/opts.h"

#include <jansson.h>
#include <string.h>
#include <takeproof/suggest.h>

struct explain_options {
    struct tp_cli_common common;
    bool list;
};

static const struct tp_cli_option options_of_explain[] = {
    {'l', "list", NULL, TP_CLI_FLAG, offsetof(struct explain_options, list), NULL, 0,
     "list all codes with family, usual severity and title"},
};

static json_t *finding_json(const struct tp_finding_info *info)
{
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s}", "code", info->name, "family",
                     tp_family_name(info->family), "severity", tp_severity_name(info->severity), "unit",
                     info->value_unit, "title", info->title, "meaning", info->meaning, "method", info->method, "on_set",
                     info->on_set, "in_post", info->in_post);
}

static bool print_json(const enum tp_code *codes, size_t count, FILE *out)
{
    json_t *list = json_array();
    bool good = true;
    for (size_t i = 0; i < count; i++)
        good = json_array_append_new(list, finding_json(tp_finding_info(codes[i]))) == 0 && good;
    json_t *root = json_pack("{s:o}", "findings", list);
    good = good && root != NULL && json_dumpf(root, out, JSON_INDENT(2)) == 0;
    json_decref(root);
    fputc('\n', out);
    return good;
}

static void print_list(FILE *out)
{
    for (size_t i = 0; i < TP_CODE_COUNT; i++) {
        const struct tp_finding_info *info = tp_finding_info((enum tp_code)i);
        fprintf(out, "%-20s %-10s %-7s %s\n", info->name, tp_family_name(info->family),
                tp_severity_name(info->severity), info->title);
    }
}

static void print_part(const char *heading, const char *text, FILE *out)
{
    fprintf(out, "\n%s\n  ", heading);
    tp_cli_print_wrapped(out, text, 2, 2, TP_CLI_HELP_COLUMNS);
}

static void print_finding(const struct tp_finding_info *info, FILE *out)
{
    fprintf(out, "%s: %s\n", info->name, info->title);
    fprintf(out, "Family: %s. Usual severity: %s.", tp_family_name(info->family), tp_severity_name(info->severity));
    fprintf(out, *info->value_unit != '\0' ? " Value in: %s.\n" : "\n", info->value_unit);
    print_part("What it means", info->meaning, out);
    print_part("How it is found", info->method, out);
    print_part("What to do now, on set", info->on_set, out);
    print_part("What post can still do", info->in_post, out);
}

static enum tp_cli_exit complain_no_code(const struct tp_cli *cli, const char *word)
{
    struct tp_suggestion near = {.word = word};
    for (size_t i = 0; i < TP_CODE_COUNT; i++)
        tp_suggest(&near, tp_finding_info((enum tp_code)i)->name);
    if (near.name != NULL)
        return tp_cli_complain(cli, "there is no finding '%s'; did you mean '%s'? 'takeproof explain --list' lists all",
                               word, near.name);
    return tp_cli_complain(cli, "there is no finding '%s'; 'takeproof explain --list' lists the codes", word);
}

static enum tp_cli_exit run_explain(struct tp_cli *cli, const void *given, char **operands, size_t count)
{
    const struct explain_options *options = given;
    enum tp_code codes[TP_CODE_COUNT];
    if (count == 0 && !options->list)
        return tp_cli_complain(cli, "which finding? 'takeproof explain --list' lists the codes");
    for (size_t i = 0; i < count; i++) {
        if (!tp_finding_code_from_name(operands[i], &codes[i]))
            return complain_no_code(cli, operands[i]);
    }
    if (options->list) {
        for (count = 0; count < TP_CODE_COUNT; count++)
            codes[count] = (enum tp_code)count;
    }
    if (options->common.json)
        return print_json(codes, count, cli->out) ? TP_CLI_PASS : tp_cli_complain(cli, "cannot write JSON");
    if (options->list) {
        print_list(cli->out);
        return TP_CLI_PASS;
    }
    for (size_t i = 0; i < count; i++) {
        if (i > 0)
            fputc('\n', cli->out);
        print_finding(tp_finding_info(codes[i]), cli->out);
    }
    return TP_CLI_PASS;
}

const struct tp_cli_command tp_cli_explain = {
    .name = "explain",
    .operands = "CODE...",
    .operand = TP_CLI_OPERAND_CODE,
    .summary = "what a finding means, how it is found, what to do about it",
    .description =
        "Prints for each finding what it means, how it is found and with what limits, what to do now on set, and "
        "what post can still do. The codes stand in every report.",
    .options = options_of_explain,
    .option_count = sizeof options_of_explain / sizeof options_of_explain[0],
    .options_size = sizeof(struct explain_options),
    .operands_max = TP_CODE_COUNT,
    .without_jobs = true,
    .run = run_explain,
};
