/* SPDX-License-Identifier: MIT */
/* The line check as text and as JSON. */
#include "base/io.h"
#include "base/text.h"
#include "report/json_fields.h"
#include "report/terminal.h"

#include <stdlib.h>
#include <string.h>
#include <takeproof/linecheck.h>

#define COLUMNS 80

/* Breaks at spaces; lines after the first begin with `indent` spaces. `column` is where the first one stands. */
static void add_wrapped(struct tp_text *out, const char *text, size_t column, size_t indent)
{
    bool first = true;
    while (*text != '\0') {
        size_t length = strcspn(text, " ");
        if (!first && column + 1 + length > COLUMNS) {
            tp_text_format(out, "\n%*s", (int)indent, "");
            column = indent;
            first = true;
        }
        if (!first)
            tp_text_add(out, " ");
        tp_text_append(out, text, length);
        column += length + (first ? 0 : 1);
        first = false;
        text += length + strspn(text + length, " ");
    }
    tp_text_add(out, "\n");
}

static void add_item(struct tp_text *out, const struct tp_line_item *item)
{
    const size_t indent = 22;
    struct tp_text words = {.lost = out->lost};
    if (item->channel != TP_NO_CHANNEL)
        tp_text_format(&words, "channel %u: ", item->channel + 1);
    tp_terminal_text(&words, item->message, 2000);
    tp_text_format(out, "  %-9s  %-8s ", tp_line_state_name(item->state), tp_line_topic_name(item->topic));
    char *line = tp_text_take(&words);
    add_wrapped(out, line != NULL ? line : "", indent, indent);
    free(line);
    if (*item->action == '\0')
        return;
    tp_text_format(out, "%*s-> ", (int)indent, "");
    add_wrapped(out, item->action, indent + 3, indent + 3);
}

static void add_verdict(struct tp_text *out, const struct tp_linecheck *result)
{
    size_t actions = 0;
    for (size_t i = 0; i < result->count; i++)
        actions += result->items[i].state != TP_LINE_READY;
    switch (result->verdict) {
    case TP_LINE_READY: tp_text_add(out, "READY: go ahead.\n"); break;
    case TP_LINE_ADJUST:
        tp_text_format(out, "ADJUST: %zu %s to change first.\n", actions, actions == 1 ? "thing" : "things");
        break;
    case TP_LINE_NOT_READY:
        tp_text_format(out, "NOT READY: %zu %s to put right, then record this test again.\n", actions,
                       actions == 1 ? "thing" : "things");
        break;
    }
}

enum tp_status tp_linecheck_write_text(const struct tp_linecheck *result, bool quiet, FILE *out, struct tp_error *error)
{
    bool lost = false;
    struct tp_text text = {.lost = &lost};
    add_verdict(&text, result);
    for (size_t i = 0; i < result->count && !quiet; i++)
        add_item(&text, &result->items[i]);
    char *whole = tp_text_take(&text);
    if (whole != NULL)
        fputs(whole, out);
    free(whole);
    return tp_written(out, lost, "the line check", error);
}

static json_t *item_json(const struct tp_line_item *item)
{
    json_t *channel = item->channel == TP_NO_CHANNEL ? json_null() : json_integer((json_int_t)item->channel + 1);
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o}", "topic", tp_line_topic_name(item->topic), "state",
                     tp_line_state_name(item->state), "channel", channel, "value", tp_json_real(item->value, 4),
                     "limit", tp_json_real(item->limit, 4), "message", tp_json_text(item->message), "action",
                     tp_json_text(item->action));
}

enum tp_status tp_linecheck_write_json(const struct tp_linecheck *result, FILE *out, struct tp_error *error)
{
    json_t *items = json_array();
    bool good = items != NULL;
    for (size_t i = 0; i < result->count && good; i++)
        good = json_array_append_new(items, item_json(&result->items[i])) == 0;
    json_t *root =
        json_pack("{s:i, s:s, s:o}", "format", 1, "verdict", tp_line_state_name(result->verdict), "items", items);
    if (!good || root == NULL) {
        json_decref(root);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the line check");
    }
    bool written = json_dumpf(root, out, JSON_INDENT(2) | JSON_REAL_PRECISION(15)) == 0 && fputc('\n', out) != EOF;
    json_decref(root);
    return written ? TP_OK : tp_error_set(error, TP_ERR_WRITE, 0, "cannot write the line check");
}
