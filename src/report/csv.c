/* SPDX-License-Identifier: MIT */
#include "report/csv.h"

#include "base/io.h"
#include "report/words.h"

#include <inttypes.h>
#include <string.h>
#include <takeproof/takeproof.h>

static void begin_cell(struct tp_csv *csv)
{
    if (csv->in_row)
        putc(',', csv->out);
    csv->in_row = true;
}

/* U+FF1D U+FF0B U+FF0D U+FF20: what some spreadsheets fold to = + - @. */
static bool is_formula_start(const char *text)
{
    static const char *const wide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D", "\xEF\xBC\xA0"};
    while (*text == ' ')
        text++;
    if (*text != '\0' && strchr("=+-@\t\r\n", *text) != NULL)
        return true;
    for (size_t i = 0; i < sizeof wide / sizeof wide[0]; i++)
        if (strncmp(text, wide[i], 3) == 0)
            return true;
    return false;
}

void tp_csv_text(struct tp_csv *csv, const char *text)
{
    begin_cell(csv);
    bool guard = is_formula_start(text);
    bool quote = strpbrk(text, "\",\r\n") != NULL;
    if (quote)
        putc('"', csv->out);
    if (guard)
        putc('\'', csv->out);
    for (const char *at = text; *at != '\0'; at++) {
        unsigned char byte = (unsigned char)*at;
        if (byte < 0x20 && byte != '\t' && byte != '\r' && byte != '\n')
            fprintf(csv->out, "\xE2\x90%c", 0x80 + byte);
        else if (byte == 0x7F)
            fputs("\xE2\x90\xA1", csv->out);
        else
            putc(byte, csv->out);
        if (byte == '"')
            putc('"', csv->out);
    }
    if (quote)
        putc('"', csv->out);
}

void tp_csv_number(struct tp_csv *csv, double value, int decimals)
{
    char number[TP_NUMBER_SIZE];
    begin_cell(csv);
    fputs(tp_number_text(number, value, decimals), csv->out);
}

void tp_csv_count(struct tp_csv *csv, uint64_t count)
{
    begin_cell(csv);
    fprintf(csv->out, "%" PRIu64, count);
}

void tp_csv_signed(struct tp_csv *csv, int64_t value)
{
    begin_cell(csv);
    fprintf(csv->out, "%" PRId64, value);
}

void tp_csv_empty(struct tp_csv *csv)
{
    begin_cell(csv);
}

void tp_csv_end(struct tp_csv *csv)
{
    fputs("\r\n", csv->out);
    csv->in_row = false;
}

static void header(struct tp_csv *csv, const char *const *names, size_t count)
{
    for (size_t i = 0; i < count; i++)
        tp_csv_text(csv, names[i]);
    tp_csv_end(csv);
}

/* Writes what was put together and empties it. */
static void built_text(struct tp_csv *csv, struct tp_text *text)
{
    tp_csv_text(csv, text->length > 0 ? text->bytes : "");
    tp_text_clear(text);
}

static void channel_number(struct tp_csv *csv, uint32_t channel)
{
    if (channel == TP_NO_CHANNEL)
        tp_csv_empty(csv);
    else
        tp_csv_count(csv, (uint64_t)channel + 1);
}

static const char *source_of(const struct tp_report *report, size_t file)
{
    if (file >= report->file_count || report->files[file].source >= report->source_count)
        return report->source_count == 1 ? report->sources[0] : "";
    return report->sources[report->files[file].source];
}

static size_t first_file(const struct tp_take *take)
{
    return take->file_count > 0 ? take->files[0] : TP_NO_INDEX;
}

/* The channel whose levels stand in the row: the one to use, else the main, else none. */
static const struct tp_channel *row_channel(const struct tp_report *report, const struct tp_take *take)
{
    if (take->signal_count == 0)
        return NULL;
    const struct tp_signal *signal = &take->signals[0];
    struct tp_channel_ref ref = {signal->use.file, signal->use.channel};
    if (signal->use.choice == TP_CHOICE_NONE && signal->pair != NULL)
        ref = signal->pair->main;
    if (ref.file >= report->file_count || report->files[ref.file].channels == NULL ||
        ref.channel >= report->files[ref.file].channel_count)
        return NULL;
    return &report->files[ref.file].channels[ref.channel];
}

static void use_cells(struct tp_csv *csv, const struct tp_report *report, const struct tp_take *take)
{
    static const struct tp_use no_use = {TP_CHOICE_NONE, TP_NO_INDEX, TP_NO_CHANNEL, NULL};
    const struct tp_use *use = take->signal_count > 0 ? &take->signals[0].use : &no_use;
    tp_csv_text(csv, tp_choice_name(use->choice));
    tp_csv_text(csv, tp_words_path(report, use->file));
    channel_number(csv, use->file < report->file_count ? use->channel : TP_NO_CHANNEL);
    tp_csv_text(csv, use->reason != NULL ? use->reason : "");
}

static void level_cells(struct tp_csv *csv, const struct tp_channel *channel)
{
    if (channel == NULL) {
        for (int i = 0; i < 6; i++)
            tp_csv_empty(csv);
        return;
    }
    tp_csv_number(csv, channel->working_level_dbfs, TP_LEVEL_DECIMALS);
    tp_csv_number(csv, channel->true_peak_dbtp, TP_LEVEL_DECIMALS);
    tp_csv_number(csv, channel->sample_peak_dbfs, TP_LEVEL_DECIMALS);
    tp_csv_number(csv, channel->integrated_lufs, TP_LEVEL_DECIMALS);
    tp_csv_number(csv, channel->noise_floor_dbfs, TP_LEVEL_DECIMALS);
    tp_csv_count(csv, channel->clip_runs);
}

static void pair_cells(struct tp_csv *csv, const struct tp_report *report, const struct tp_pair *pair)
{
    if (pair == NULL) {
        for (int i = 0; i < 9; i++)
            tp_csv_empty(csv);
        return;
    }
    tp_csv_text(csv, tp_words_path(report, pair->main.file));
    channel_number(csv, pair->main.channel);
    tp_csv_text(csv, tp_words_path(report, pair->safety.file));
    channel_number(csv, pair->safety.channel);
    tp_csv_number(csv, pair->offset_db, TP_LEVEL_DECIMALS);
    tp_csv_signed(csv, pair->lag_samples);
    tp_csv_text(csv, pair->inverted ? "inverted" : "same");
    size_t covered = 0;
    for (size_t i = 0; i < pair->splice_count; i++)
        covered += pair->splices[i].covered;
    tp_csv_count(csv, pair->splice_count);
    tp_csv_count(csv, covered);
}

static void list_cells(struct tp_csv *csv, const struct tp_report *report, const struct tp_take *take)
{
    struct tp_text list = {.lost = &csv->lost};
    for (size_t i = 1; i < take->signal_count; i++) {
        tp_text_format(&list, "%s%s%s", i > 1 ? "; " : "", take->signals[i].name, take->signals[i].name[0] ? ": " : "");
        tp_words_use(report, take, &take->signals[i], &list);
    }
    built_text(csv, &list);
    tp_csv_text(csv, take->no_good == 1 ? "no good" : take->circled < 0 ? "" : take->circled > 0 ? "yes" : "no");
    for (size_t i = 0; i < take->finding_count; i++)
        tp_text_format(&list, "%s%s", i > 0 ? " " : "", tp_finding_info(take->findings[i].code)->name);
    built_text(csv, &list);
    for (size_t i = 0; i < take->file_count; i++)
        tp_text_format(&list, "%s%s", i > 0 ? " | " : "", tp_words_path(report, take->files[i]));
    built_text(csv, &list);
    tp_csv_text(csv, take->notes);
    tp_csv_text(csv, take->end_timecode);
}

static void take_row(struct tp_csv *csv, const struct tp_report *report, const struct tp_take *take)
{
    struct tp_text rate = {.lost = &csv->lost};
    tp_csv_text(csv, source_of(report, first_file(take)));
    tp_csv_text(csv, take->scene);
    tp_csv_text(csv, take->take);
    tp_csv_text(csv, take->id);
    tp_csv_text(csv, tp_verdict_name(take->verdict));
    use_cells(csv, report, take);
    tp_csv_text(csv, take->start_timecode);
    if (take->start_timecode[0] != '\0')
        tp_words_rate(take->timecode_rate, &rate);
    built_text(csv, &rate);
    tp_csv_number(csv, take->duration_s, TP_TIME_DECIMALS);
    level_cells(csv, row_channel(report, take));
    pair_cells(csv, report, take->signal_count > 0 ? take->signals[0].pair : NULL);
    list_cells(csv, report, take);
    tp_csv_end(csv);
}

enum tp_status tp_report_write_csv(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    static const char *const names[] = {"source",
                                        "scene",
                                        "take",
                                        "id",
                                        "verdict",
                                        "use_choice",
                                        "use_file",
                                        "use_channel",
                                        "use_reason",
                                        "start_timecode",
                                        "timecode_rate",
                                        "duration_s",
                                        "working_level_dbfs",
                                        "true_peak_dbtp",
                                        "sample_peak_dbfs",
                                        "integrated_lufs",
                                        "noise_floor_dbfs",
                                        "clip_runs",
                                        "main_file",
                                        "main_channel",
                                        "safety_file",
                                        "safety_channel",
                                        "safety_offset_db",
                                        "safety_lag_samples",
                                        "safety_polarity",
                                        "damaged_spots",
                                        "damaged_spots_covered",
                                        "more_signals",
                                        "circled",
                                        "findings",
                                        "files",
                                        "notes",
                                        "end_timecode"};
    struct tp_csv csv = {.out = out};
    header(&csv, names, sizeof names / sizeof names[0]);
    for (size_t i = 0; i < report->take_count; i++)
        take_row(&csv, report, &report->takes[i]);
    return tp_written(out, csv.lost, "the list of takes", error);
}

static const struct tp_take *take_of_file(const struct tp_report *report, size_t file)
{
    size_t take = file < report->file_count ? report->files[file].take : TP_NO_INDEX;
    return take < report->take_count ? &report->takes[take] : NULL;
}

/* A missing take has no file: its finding names a neighbour of the scene, and the number that is missing where it is a
 * take's. */
static void missing_take_cells(struct tp_csv *csv, const struct tp_report *report, const struct tp_finding *finding)
{
    const struct tp_take *neighbour = take_of_file(report, finding->file);
    bool is_known = neighbour != NULL && finding->value >= 0.0 && finding->value < 1e9;
    struct tp_text numbers = {.lost = &csv->lost};
    tp_csv_empty(csv);
    tp_csv_text(csv, is_known ? neighbour->scene : "");
    if (is_known)
        tp_text_format(&numbers, "%.0f", finding->value);
    if (is_known && finding->more_places > 0)
        tp_text_format(&numbers, " to %.0f", finding->value + (double)finding->more_places);
    built_text(csv, &numbers);
}

/* A finding of the set that names a file is about that file's take. */
static void slate_cells(struct tp_csv *csv, const struct tp_report *report, const struct tp_take *take,
                        const struct tp_finding *finding)
{
    if (take == NULL && finding->code == TP_CODE_MISSING_TAKE) {
        missing_take_cells(csv, report, finding);
        return;
    }
    const struct tp_take *about = take != NULL ? take : take_of_file(report, finding->file);
    tp_csv_text(csv, about != NULL ? about->id : "");
    tp_csv_text(csv, about != NULL ? about->scene : "");
    tp_csv_text(csv, about != NULL ? about->take : "");
}

static const char *channel_name(const struct tp_report *report, const struct tp_finding *finding)
{
    if (finding->file >= report->file_count || finding->channel == TP_NO_CHANNEL)
        return "";
    const struct tp_file *file = &report->files[finding->file];
    return file->channels != NULL && finding->channel < file->channel_count ? file->channels[finding->channel].name
                                                                            : "";
}

static void finding_row(struct tp_csv *csv, const struct tp_report *report, const struct tp_take *take,
                        const struct tp_finding *finding)
{
    const struct tp_finding_info *info = tp_finding_info(finding->code);
    size_t file = finding->file < report->file_count ? finding->file : take != NULL ? first_file(take) : TP_NO_INDEX;
    tp_csv_text(csv, source_of(report, file));
    slate_cells(csv, report, take, finding);
    tp_csv_text(csv, tp_severity_name(finding->severity));
    tp_csv_text(csv, info->name);
    tp_csv_text(csv, info->title);
    tp_csv_text(csv, tp_words_path(report, finding->file));
    channel_number(csv, finding->channel);
    tp_csv_number(csv, finding->start_s, TP_TIME_DECIMALS);
    tp_csv_number(csv, finding->end_s, TP_TIME_DECIMALS);
    bool has_value = tp_exists(finding->value) || tp_exists(finding->limit);
    tp_csv_number(csv, tp_words_finding_value(finding, finding->value), tp_words_unit_decimals(info->value_unit));
    tp_csv_number(csv, tp_words_finding_value(finding, finding->limit), tp_words_unit_decimals(info->value_unit));
    tp_csv_text(csv, has_value ? info->value_unit : "");
    tp_csv_text(csv, finding->message);
    tp_csv_text(csv, channel_name(report, finding));
    tp_csv_end(csv);
}

enum tp_status tp_report_write_findings_csv(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    static const char *const names[] = {"source", "take_id", "scene",   "take",        "severity", "code",
                                        "title",  "file",    "channel", "start_s",     "end_s",    "value",
                                        "limit",  "unit",    "message", "channel_name"};
    struct tp_csv csv = {.out = out};
    header(&csv, names, sizeof names / sizeof names[0]);
    for (size_t t = 0; t < report->take_count; t++)
        for (size_t i = 0; i < report->takes[t].finding_count; i++)
            finding_row(&csv, report, &report->takes[t], &report->takes[t].findings[i]);
    for (size_t i = 0; i < report->finding_count; i++)
        finding_row(&csv, report, NULL, &report->findings[i]);
    return tp_written(out, csv.lost, "the list of findings", error);
}
