/* SPDX-License-Identifier: MIT */
/* The line check as text and as JSON. */
#include "base/io.h"
#include "base/num.h"
#include "base/text.h"
#include "report/json_fields.h"
#include "report/terminal.h"

#include <stdlib.h>
#include <string.h>
#include <takeproof/linecheck.h>

#define COLUMNS 80
#define NAME_COLUMNS_MAX 40

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

static const struct tp_file *file_of(const struct tp_linecheck *result)
{
    const struct tp_report *report = result->report;
    size_t file = report != NULL && report->take_count > 0 && report->takes[0].file_count > 0
                      ? report->takes[0].files[0]
                      : TP_NO_INDEX;
    return file != TP_NO_INDEX && file < report->file_count ? &report->files[file] : NULL;
}

/* "" when it has none. */
static const char *name_of(const struct tp_linecheck *result, uint32_t channel)
{
    const struct tp_file *file = file_of(result);
    return file != NULL && file->channels != NULL && channel < file->channel_count ? file->channels[channel].name : "";
}

/* "channel 2 'Boom': ", with "channel " as `before` */
static void add_channel(struct tp_text *words, const struct tp_linecheck *result, const char *before, uint32_t channel)
{
    if (channel == TP_NO_CHANNEL)
        return;
    tp_text_format(words, "%s%u", before, channel + 1);
    if (*name_of(result, channel) != '\0') {
        tp_text_add(words, " '");
        tp_terminal_text(words, name_of(result, channel), NAME_COLUMNS_MAX);
        tp_text_add(words, "'");
    }
    tp_text_add(words, ": ");
}

static void add_to_do(struct tp_text *out, const struct tp_linecheck *result, const struct tp_line_item *item,
                      bool quiet)
{
    const size_t indent = 13;
    struct tp_text words = {.lost = out->lost};
    add_channel(&words, result, "channel ", item->channel);
    tp_terminal_text(&words, item->message, 2000);
    tp_text_format(out, "  %-9s  ", tp_line_state_name(item->state));
    if (quiet) {
        tp_text_add(&words, *item->action != '\0' ? " -> " : "");
        tp_text_add(&words, item->action);
        tp_text_format(out, "%s\n", words.failed ? "" : words.bytes);
        tp_text_clear(&words);
        return;
    }
    char *line = tp_text_take(&words);
    add_wrapped(out, line != NULL ? line : "", indent, indent);
    free(line);
    if (*item->action == '\0')
        return;
    tp_text_format(out, "%*s-> ", (int)indent, "");
    add_wrapped(out, item->action, indent + 3, indent + 3);
}

static void add_level(struct tp_text *words, const char *before, double level, const char *after)
{
    char number[TP_NUMBER_SIZE];
    if (tp_exists(level))
        tp_text_format(words, "%s%s%s", before, tp_number_text(number, level, 1), after);
}

/* What a channel is to the others. */
static void add_role(struct tp_text *words, const struct tp_report *report, uint32_t channel)
{
    const struct tp_take *take = &report->takes[0];
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_signal *signal = &take->signals[i];
        if (signal->pair != NULL && signal->pair->safety.channel == channel) {
            tp_text_format(words, ", safety of %u", signal->pair->main.channel + 1);
            add_level(words, ", ", -signal->pair->offset_db, " dB lower");
            tp_text_add(words, signal->pair->inverted ? ", opposite polarity" : "");
        } else if (signal->pair != NULL && signal->pair->main.channel == channel) {
            tp_text_format(words, ", main of %u", signal->pair->safety.channel + 1);
        } else if (signal->copy.file != TP_NO_INDEX && signal->copy.channel == channel) {
            tp_text_format(words, ", a copy of %u", signal->channel.channel + 1);
        }
    }
}

static enum tp_line_state worst_of(const struct tp_linecheck *result, uint32_t channel)
{
    enum tp_line_state worst = TP_LINE_READY;
    for (size_t i = 0; i < result->count; i++)
        if (result->items[i].channel == channel && result->items[i].state > worst)
            worst = result->items[i].state;
    return worst;
}

/* Nothing to be done about, and good to know before a shout. */
static void add_little_room(struct tp_text *words, const struct tp_linecheck *result, uint32_t channel)
{
    for (size_t i = 0; i < result->count; i++) {
        const struct tp_line_item *item = &result->items[i];
        if (item->topic == TP_LINE_HEADROOM && item->channel == channel && item->state == TP_LINE_READY &&
            item->value < item->limit)
            add_level(words, ", only ", item->value, " dB of room");
    }
}

static void add_channel_line(struct tp_text *out, const struct tp_linecheck *result, const struct tp_file *file,
                             uint32_t index)
{
    const struct tp_channel *channel = &file->channels[index];
    struct tp_text words = {.lost = out->lost};
    add_channel(&words, result, "", index);
    if (channel->digital_silence)
        tp_text_add(&words, "dead");
    else if (tp_exists(channel->working_level_dbfs))
        add_level(&words, "speech ", channel->working_level_dbfs, "");
    else
        tp_text_add(&words, "no speech");
    add_level(&words, ", peak ", channel->sample_peak_dbfs, "");
    add_level(&words, ", noise ", channel->noise_floor_dbfs, "");
    add_role(&words, result->report, index);
    add_little_room(&words, result, index);
    tp_text_format(out, "  %-9s  ", tp_line_state_name(worst_of(result, index)));
    char *line = tp_text_take(&words);
    add_wrapped(out, line != NULL ? line : "", 13, 15);
    free(line);
}

/* One line a channel, in dBFS, when what is to be done has been said. */
static void add_channels(struct tp_text *out, const struct tp_linecheck *result)
{
    const struct tp_file *file = file_of(result);
    bool any_hum = false, any_rumble = false;
    for (size_t i = 0; i < result->count; i++) {
        const struct tp_line_item *item = &result->items[i];
        if (item->topic == TP_LINE_FORMAT && item->state == TP_LINE_READY)
            add_to_do(out, result, item, false);
        any_hum = any_hum || (item->topic == TP_LINE_HUM && item->state == TP_LINE_READY);
        any_rumble = any_rumble || (item->topic == TP_LINE_RUMBLE && item->state == TP_LINE_READY);
    }
    for (uint32_t c = 0; file != NULL && file->channels != NULL && c < file->channel_count; c++)
        add_channel_line(out, result, file, c);
    if (file != NULL && file->channels != NULL)
        tp_text_add(out, "By channel, levels in dBFS; a shout may need 12 dB of room.\n");
    if (any_hum || any_rumble)
        tp_text_add(out, "Where hum or rumble is not named, none stands out; whether a low cut is on cannot\n"
                         "be heard without rumble.\n");
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
    for (int state = TP_LINE_NOT_READY; state > TP_LINE_READY; state--)
        for (size_t i = 0; i < result->count; i++)
            if (result->items[i].state == (enum tp_line_state)state)
                add_to_do(&text, result, &result->items[i], quiet);
    if (!quiet)
        add_channels(&text, result);
    char *whole = tp_text_take(&text);
    if (whole != NULL)
        fputs(whole, out);
    free(whole);
    return tp_written(out, lost, "the line check", error);
}

static json_t *item_json(const struct tp_linecheck *result, const struct tp_line_item *item)
{
    json_t *channel = item->channel == TP_NO_CHANNEL ? json_null() : json_integer((json_int_t)item->channel + 1);
    json_t *name = *name_of(result, item->channel) != '\0' ? tp_json_text(name_of(result, item->channel)) : json_null();
    return json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o, s:o}", "topic", tp_line_topic_name(item->topic), "state",
                     tp_line_state_name(item->state), "channel", channel, "name", name, "value",
                     tp_json_real(item->value, 4), "limit", tp_json_real(item->limit, 4), "message",
                     tp_json_text(item->message), "action", tp_json_text(item->action));
}

enum tp_status tp_linecheck_write_json(const struct tp_linecheck *result, FILE *out, struct tp_error *error)
{
    json_t *items = json_array();
    bool good = items != NULL;
    for (size_t i = 0; i < result->count && good; i++)
        good = json_array_append_new(items, item_json(result, &result->items[i])) == 0;
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
