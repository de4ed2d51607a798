/* SPDX-License-Identifier: MIT */
#include "report/terminal.h"

#include "base/io.h"
#include "report/topics.h"
#include "report/words.h"
#include "result.h"

#include <inttypes.h>
#include <string.h>
#include <takeproof/takeproof.h>

#define COLUMNS_DEFAULT 80
#define COLUMNS_MIN 20
#define USE_COLUMNS_MIN 22   /* with less room for the channel to use, a take gets two lines */
#define TITLE_COLUMNS_MAX 24 /* longer titles get a line of their own */
#define TOPICS_SHOWN 5       /* of one take; the report has them all */
#define TIMECODE_COLUMNS 11
#define TABLE_COLUMNS (10 + 8 + 2 + TIMECODE_COLUMNS + 2) /* of the take table, without title and use */
#define OTHERS_SHOWN 5
#define HOW_TO_LIST " (-o DIR writes one)"
#define TEXT_COLUMNS_MAX 400 /* of one text from a file */

struct page {
    FILE *out;
    const struct tp_report *report;
    unsigned columns;
    bool colour, offloaded, has_report;
    bool *lost; /* as in struct tp_text */
};

uint32_t tp_utf8_code_point(const char *bytes, size_t length)
{
    const unsigned char *b = (const unsigned char *)bytes;
    if (length < 2)
        return b[0];
    uint32_t point = b[0] & (0x7Fu >> length);
    for (size_t i = 1; i < length; i++)
        point = point << 6 | (b[i] & 0x3Fu);
    return point;
}

bool tp_code_point_is_sly(uint32_t p)
{
    return (p >= 0x200B && p <= 0x200F) || (p >= 0x202A && p <= 0x202E) || (p >= 0x2060 && p <= 0x2069) ||
           p == 0x2028 || p == 0x2029 || p == 0x061C || p == 0xFEFF;
}

void tp_terminal_text(struct tp_text *out, const char *string, size_t columns_max)
{
    size_t left = strlen(string);
    size_t columns = 0;
    while (left > 0) {
        size_t length = tp_utf8_length(string, left);
        uint32_t point = length > 0 ? tp_utf8_code_point(string, length) : (unsigned char)*string;
        bool is_control = length == 0 || point < 0x20 || (point >= 0x7F && point < 0xA0);
        size_t width = is_control ? 4 : tp_code_point_is_sly(point) ? 6 : 1;
        if (columns + width > columns_max) {
            tp_text_add(out, "...");
            return;
        }
        if (width == 4)
            tp_text_format(out, "\\x%02" PRIx32, point);
        else if (width == 6)
            tp_text_format(out, "\\u%04" PRIx32, point);
        else
            tp_text_append(out, string, length);
        columns += width;
        string += length > 0 ? length : 1;
        left -= length > 0 ? length : 1;
    }
}

/* Bytes of `text` that fit in `columns`, cut at a space where there is one. */
static size_t line_length(const char *text, unsigned columns)
{
    size_t length = strlen(text);
    size_t at = 0, fits = 0, space = 0;
    unsigned used = 0;
    while (at < length) {
        size_t step = tp_utf8_length(text + at, length - at);
        if (step == 0)
            step = 1;
        if (used == columns)
            break;
        if (text[at] == ' ' && at > 0)
            space = at;
        used++;
        at += step;
        fits = at;
    }
    if (at == length || text[at] == ' ')
        return fits;
    return space > 0 ? space : fits;
}

/* Prints `text` from column `at` on, further lines indented by `indent`. Ends the line. */
static void print_wrapped(const struct page *page, unsigned at, unsigned indent, const char *text)
{
    unsigned column = at;
    for (;;) {
        unsigned width = page->columns > column + 8 ? page->columns - column : 8;
        size_t length = line_length(text, width);
        fwrite(text, 1, length, page->out);
        putc('\n', page->out);
        text += length;
        while (*text == ' ')
            text++;
        if (*text == '\0')
            return;
        fprintf(page->out, "%*s", (int)indent, "");
        column = indent;
    }
}

static const char *colour_of(enum tp_verdict verdict)
{
    switch (verdict) {
    case TP_VERDICT_PASS: return "\033[32m";
    case TP_VERDICT_LISTEN: return "\033[33m";
    case TP_VERDICT_FAIL: return "\033[1;31m";
    }
    return "";
}

static const char *word_of(enum tp_verdict verdict)
{
    switch (verdict) {
    case TP_VERDICT_PASS: return "pass";
    case TP_VERDICT_LISTEN: return "LISTEN";
    case TP_VERDICT_FAIL: return "FAIL";
    }
    return "";
}

/* "  FAIL    ": ten columns. */
static void print_mark(const struct page *page, enum tp_verdict verdict)
{
    fprintf(page->out, "  %s%-6s%s  ", page->colour ? colour_of(verdict) : "", word_of(verdict),
            page->colour ? "\033[0m" : "");
}

static void print_heading(const struct page *page, const char *heading)
{
    fprintf(page->out, "\n%s", page->colour ? "\033[1m" : "");
    print_wrapped(page, 0, 0, heading);
    fputs(page->colour ? "\033[0m" : "", page->out);
}

/* Neutralises and prints what the callers have put together from words and hostile text. */
static void print_text(const struct page *page, unsigned at, unsigned indent, struct tp_text *raw)
{
    struct tp_text safe = {.lost = page->lost};
    if (raw->length > 0)
        tp_terminal_text(&safe, raw->bytes, TEXT_COLUMNS_MAX);
    print_wrapped(page, at, indent, safe.length > 0 ? safe.bytes : "");
    tp_text_clear(&safe);
    tp_text_clear(raw);
}

/* One line with its full stop, in the colour of `verdict`. */
static void print_coloured(const struct page *page, enum tp_verdict verdict, struct tp_text *line)
{
    tp_words_stop(line);
    if (page->colour)
        fputs(colour_of(verdict), page->out);
    print_text(page, 0, 0, line);
    if (page->colour)
        fputs("\033[0m", page->out);
}

static void print_headline(const struct page *page)
{
    const struct tp_report *report = page->report;
    const struct tp_handoff *handoff = report->handoff;
    struct tp_text line = {.lost = page->lost};
    if (!page->offloaded) {
        tp_words_headline(report, &line);
        print_coloured(page,
                       report->compared != NULL ? report->compared_verdict
                       : handoff != NULL        ? tp_words_handoff_verdict(handoff)
                                                : report->verdict,
                       &line);
        if (handoff == NULL && report->compared == NULL)
            return;
        if (handoff != NULL && handoff->caution != NULL) {
            tp_text_format(&line, "Note: %s.", handoff->caution);
            print_text(page, 0, 0, &line);
        }
    }
    tp_words_takes(report, &line);
    print_coloured(page, tp_words_takes_verdict(report), &line);
}

static void print_copies(const struct page *page)
{
    const struct tp_handoff *handoff = page->report->handoff;
    if (page->offloaded || handoff == NULL)
        return;
    print_heading(page, "Copies");
    for (size_t i = 0; i < handoff->destination_count; i++) {
        const struct tp_handoff_destination *destination = &handoff->destinations[i];
        struct tp_text line = {.lost = page->lost};
        print_mark(page, tp_words_destination_verdict(destination));
        tp_text_format(&line, "%s: ", destination->path);
        tp_words_destination(handoff, destination, &line);
        if (destination->message != NULL)
            tp_text_format(&line, "; %s", destination->message);
        print_text(page, 10, 10, &line);
    }
}

static enum tp_verdict verdict_of(enum tp_severity severity)
{
    return severity == TP_FAIL ? TP_VERDICT_FAIL : severity == TP_LISTEN ? TP_VERDICT_LISTEN : TP_VERDICT_PASS;
}

/* Findings of one take that need a person; the rest is in the report. */
static void print_findings(const struct page *page, const struct tp_take *take)
{
    struct tp_topics topics;
    if (!tp_topics_of(take, &topics))
        *page->lost = true;
    for (size_t i = 0; i < topics.count && i < TOPICS_SHOWN; i++) {
        struct tp_text line = {.lost = page->lost};
        fputs("          - ", page->out);
        tp_topic_words(page->report, take, &topics.items[i], &line);
        print_text(page, 12, 12, &line);
    }
    if (topics.count > TOPICS_SHOWN)
        fprintf(page->out, "            and %zu more in the report%s\n", topics.count - TOPICS_SHOWN,
                page->has_report ? "" : HOW_TO_LIST);
    tp_topics_clear(&topics);
}

/* "12A take 3, no good" */
static void add_title(const struct page *page, const struct tp_take *take, struct tp_text *title)
{
    tp_words_take_apart(page->report, take, title);
    tp_text_add(title, take->no_good == 1 ? ", no good" : "");
}

static void print_problem_take(const struct page *page, const struct tp_take *take)
{
    struct tp_text title = {.lost = page->lost};
    print_mark(page, take->verdict);
    add_title(page, take, &title);
    print_text(page, 10, 10, &title);
    print_findings(page, take);
}

static void print_problem_set(const struct page *page, enum tp_severity severity)
{
    const struct tp_report *report = page->report;
    for (size_t i = 0; i < report->finding_count; i++) {
        if (report->findings[i].severity != severity)
            continue;
        struct tp_text line = {.lost = page->lost};
        print_mark(page, verdict_of(severity));
        tp_text_add(&line, report->findings[i].message);
        print_text(page, 10, 10, &line);
    }
}

static void print_problems(const struct page *page)
{
    const struct tp_report *report = page->report;
    if (report->verdict == TP_VERDICT_PASS)
        return;
    print_heading(page, "Needs attention");
    for (int verdict = TP_VERDICT_FAIL; verdict >= TP_VERDICT_LISTEN; verdict--) {
        print_problem_set(page, verdict == TP_VERDICT_FAIL ? TP_FAIL : TP_LISTEN);
        for (size_t i = 0; i < report->take_count; i++)
            if (report->takes[i].verdict == (enum tp_verdict)verdict)
                print_problem_take(page, &report->takes[i]);
    }
}

/* The columns the titles of the take table need, bounded. */
static unsigned title_columns(const struct page *page)
{
    const struct tp_report *report = page->report;
    size_t widest = 4;
    for (size_t i = 0; i < report->take_count; i++) {
        struct tp_text title = {.lost = page->lost}, safe = {.lost = page->lost};
        add_title(page, &report->takes[i], &title);
        tp_terminal_text(&safe, title.length > 0 ? title.bytes : "", TEXT_COLUMNS_MAX);
        size_t columns = safe.length > 0 ? tp_utf8_columns(safe.bytes) : 0;
        if (columns > widest && columns <= TITLE_COLUMNS_MAX)
            widest = columns;
        tp_text_clear(&title);
        tp_text_clear(&safe);
    }
    return (unsigned)widest;
}

static void print_take_wide(const struct page *page, const struct tp_take *take, unsigned title_width)
{
    struct tp_text title = {.lost = page->lost}, safe = {.lost = page->lost}, start = {.lost = page->lost},
                   use = {.lost = page->lost};
    char duration[TP_NUMBER_SIZE];
    print_mark(page, take->verdict);
    add_title(page, take, &title);
    tp_terminal_text(&safe, title.length > 0 ? title.bytes : "", TEXT_COLUMNS_MAX);
    size_t used = safe.length > 0 ? tp_utf8_columns(safe.bytes) : 0;
    if (used > title_width) {
        print_wrapped(page, 10, 10, safe.bytes);
        fputs("          ", page->out);
        used = 0;
    } else {
        fputs(safe.length > 0 ? safe.bytes : "", page->out);
    }
    if (strlen(take->start_timecode) <= TIMECODE_COLUMNS)
        tp_terminal_text(&start, take->start_timecode, TIMECODE_COLUMNS);
    fprintf(page->out, "%*s%8s  %-11s  ", (int)(title_width - used), "",
            tp_duration_text(duration, tp_words_time(take->duration_s), 0), start.length > 0 ? start.bytes : "");
    tp_words_uses(page->report, take, &use);
    unsigned indent = TABLE_COLUMNS + title_width;
    print_text(page, indent, indent, &use);
    tp_text_clear(&title);
    tp_text_clear(&safe);
    tp_text_clear(&start);
}

static void print_take_narrow(const struct page *page, const struct tp_take *take)
{
    struct tp_text title = {.lost = page->lost}, use = {.lost = page->lost};
    print_mark(page, take->verdict);
    add_title(page, take, &title);
    print_text(page, 10, 10, &title);
    fputs("    use ", page->out);
    tp_words_uses(page->report, take, &use);
    print_text(page, 8, 8, &use);
}

static void print_takes(const struct page *page)
{
    const struct tp_report *report = page->report;
    if (report->take_count == 0)
        return;
    unsigned width = title_columns(page);
    bool is_wide = page->columns >= TABLE_COLUMNS + width + USE_COLUMNS_MIN;
    print_heading(page, "Takes and the channel to use");
    if (is_wide)
        fprintf(page->out, "  %-6s  %-*s%8s  %-11s  %s\n", "", (int)width, "take", "length", "starts", "use");
    for (size_t i = 0; i < report->take_count; i++) {
        if (is_wide)
            print_take_wide(page, &report->takes[i], width);
        else
            print_take_narrow(page, &report->takes[i]);
    }
}

/* By name, so that nobody thinks that a recording was checked which was not. */
static void print_others(const struct page *page)
{
    const struct tp_report *report = page->report;
    struct tp_text line = {.lost = page->lost};
    if (report->other_count == 0)
        return;
    tp_words_plural(report->other_count, "other file was not checked:", "other files were not checked:", &line);
    print_text(page, 0, 0, &line);
    for (size_t i = 0; i < report->other_count && i < OTHERS_SHOWN; i++) {
        tp_text_format(&line, "'%s': %s", report->others[i].path, report->others[i].why);
        fputs("  ", page->out);
        print_text(page, 2, 4, &line);
    }
    if (report->other_count > OTHERS_SHOWN)
        fprintf(page->out, "  and %zu more in the report%s\n", report->other_count - OTHERS_SHOWN,
                page->has_report ? "" : HOW_TO_LIST);
}

/* Of several cards: which they are, and the manifest of each when it is written. */
static void print_cards(const struct page *page)
{
    const struct tp_report *report = page->report;
    struct tp_text line = {.lost = page->lost};
    if (report->source_count < 2 || tp_words_files_alone(report))
        return;
    tp_text_format(&line, "%zu sources:", report->source_count);
    print_text(page, 0, 0, &line);
    if (report->source_spec_count > 0)
        print_wrapped(page, 0, 0, "They were checked against different specs; each take is judged by that of its own.");
    for (size_t i = 0; i < report->source_count; i++) {
        tp_text_format(&line, "'%s'", report->sources[i]);
        if (page->has_report)
            tp_text_format(&line, ", manifest-%zu.%s", i + 1, tp_hash_kinds[tp_report_manifest_hash(report, i)].key);
        fputs("  ", page->out);
        print_text(page, 2, 4, &line);
    }
}

static void print_end(const struct page *page, const char *report_path, const char *spec_name)
{
    struct tp_text line = {.lost = page->lost};
    putc('\n', page->out);
    tp_words_totals(page->report, &line);
    tp_text_add(&line, ".");
    print_text(page, 0, 0, &line);
    print_cards(page);
    if (spec_name != NULL) {
        tp_text_format(&line, "Spec: %s", spec_name);
        print_text(page, 0, 0, &line);
    }
    print_others(page);
    struct tp_text next = {.lost = page->lost};
    if (page->offloaded)
        tp_text_add(&next, tp_words_takes_step(page->report));
    else
        tp_words_next_step(page->report, &next);
    if (next.length > 0) {
        tp_text_format(&line, "Next: %s", next.bytes);
        print_text(page, 0, 0, &line);
    }
    tp_text_clear(&next);
    if (report_path != NULL) {
        tp_text_format(&line, "Report: %s", report_path);
        print_text(page, 0, 0, &line);
    }
}

enum tp_status tp_report_write_text(const struct tp_report *report, const struct tp_text_options *options, FILE *out,
                                    struct tp_error *error)
{
    bool lost = false;
    struct page page = {.out = out,
                        .report = report,
                        .columns = options->columns,
                        .colour = options->colour,
                        .offloaded = options->offloaded,
                        .has_report = options->report_path != NULL,
                        .lost = &lost};
    if (page.columns == 0)
        page.columns = COLUMNS_DEFAULT;
    if (page.columns < COLUMNS_MIN)
        page.columns = COLUMNS_MIN;
    print_headline(&page);
    if (!options->quiet) {
        print_copies(&page);
        print_problems(&page);
        print_takes(&page);
        print_end(&page, options->report_path, options->spec_name);
    }
    return tp_written(out, lost, "the summary", error);
}
