/* SPDX-License-Identifier: MIT */
/* The first screen: what needs attention, and the take list with the channel to use. */
#include "report/html.h"
#include "report/topics.h"
#include "result.h"

#include <string.h>

#define TOPICS_SHOWN 5 /* of one take in the attention list; the take itself has all findings */
#define MESSAGE_CHARACTERS 600
#define NAMES_SEARCHED 64   /* files of one take */
#define CELL_CHARACTERS 160 /* of one text in a table cell; the take itself has it whole */

/* `titled`: there is more advice beside it, so it says what it is about. */
static void advice(const struct tp_page *page, enum tp_code code, bool titled)
{
    const struct tp_finding_info *info = tp_finding_info(code);
    fputs("<p class=\"advice\"><b>", page->out);
    if (titled) {
        tp_html_text(page->out, info->title);
        fputs(". ", page->out);
    }
    fputs("Now:</b> ", page->out);
    tp_html_text(page->out, info->on_set);
    fputs("</p>\n<p class=\"advice\"><b>In post:</b> ", page->out);
    tp_html_text(page->out, info->in_post);
    fputs("</p>\n", page->out);
}

/* What a person must know of a take, what repeats in one line, and the advice for the most important. */
static void messages(const struct tp_page *page, const struct tp_take *take)
{
    FILE *out = page->out;
    struct tp_topics topics;
    if (!tp_topics_of(take, &topics))
        *page->lost = true;
    fputs("<ul>\n", out);
    for (size_t i = 0; i < topics.count && i < TOPICS_SHOWN; i++) {
        struct tp_text words = {.lost = page->lost};
        fputs("<li>", out);
        tp_topic_words(page->report, take, &topics.items[i], &words);
        tp_html_text_cut(out, words.length > 0 ? words.bytes : "", MESSAGE_CHARACTERS);
        tp_text_clear(&words);
        fputs("</li>\n", out);
    }
    if (topics.count > TOPICS_SHOWN)
        fprintf(out, "<li>and %zu more</li>\n", topics.count - TOPICS_SHOWN);
    if (topics.count == 0)
        fputs("<li>See the take.</li>\n", out);
    fputs("</ul>\n", out);
    for (size_t i = 0; i < topics.count; i++)
        if (tp_topic_is_advised(&topics, i))
            advice(page, topics.items[i].first->code, topics.count > 1);
    tp_topics_clear(&topics);
}

static void attention_take(const struct tp_page *page, size_t index)
{
    const struct tp_take *take = &page->report->takes[index];
    struct tp_text title = {.lost = page->lost};
    fprintf(page->out, "<li class=\"%s\"><p class=\"what\">", tp_verdict_name(take->verdict));
    tp_html_mark(page->out, take->verdict);
    fprintf(page->out, " <b>%s</b> <a href=\"#take-%zu\"><bdi>", tp_html_verdict_word(take->verdict), index + 1);
    tp_words_take_apart(page->report, take, &title);
    tp_html_text_cut(page->out, title.length > 0 ? title.bytes : "", CELL_CHARACTERS);
    tp_text_clear(&title);
    fputs("</bdi></a></p>\n", page->out);
    messages(page, take);
    fputs("</li>\n", page->out);
}

static void attention_set(const struct tp_page *page, enum tp_severity severity)
{
    for (size_t i = 0; i < page->report->finding_count; i++) {
        const struct tp_finding *finding = &page->report->findings[i];
        if (finding->severity != severity)
            continue;
        enum tp_verdict verdict = tp_html_severity_verdict(severity);
        fprintf(page->out, "<li class=\"%s\"><p class=\"what\">", tp_verdict_name(verdict));
        tp_html_mark(page->out, verdict);
        fprintf(page->out, " <b>%s</b> The set as a whole</p>\n<ul>\n", tp_html_verdict_word(verdict));
        fputs("<li>", page->out);
        tp_html_text_cut(page->out, finding->message, MESSAGE_CHARACTERS);
        fputs("</li>\n</ul>\n", page->out);
        advice(page, finding->code, false);
        fputs("</li>\n", page->out);
    }
}

void tp_html_attention(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    fputs("<section id=\"attention\" aria-labelledby=\"attention-title\">\n"
          "<h2 id=\"attention-title\">Needs attention</h2>\n",
          page->out);
    if (report->verdict == TP_VERDICT_PASS) {
        fputs("<p>Nothing. Every take passes the spec and has a clean channel.</p>\n</section>\n", page->out);
        return;
    }
    if (report->summary.takes == 0)
        fputs("<p>No take was found.</p>\n", page->out);
    fputs("<ol class=\"attention\">\n", page->out);
    for (int verdict = TP_VERDICT_FAIL; verdict >= TP_VERDICT_LISTEN; verdict--) {
        attention_set(page, verdict == TP_VERDICT_FAIL ? TP_FAIL : TP_LISTEN);
        for (size_t i = 0; i < report->take_count; i++)
            if (report->takes[i].verdict == (enum tp_verdict)verdict)
                attention_take(page, i);
    }
    fputs("</ol>\n</section>\n", page->out);
}

/* A cell that a narrow screen labels with `label` and the script sorts by `key`. */
static void cell_open(FILE *out, const char *class_name, const char *label)
{
    fprintf(out, "<td role=\"cell\" class=\"%s\" data-label=\"%s\"", class_name, label);
}

static void cell_text(FILE *out, const char *class_name, const char *label, const char *text)
{
    cell_open(out, class_name, label);
    fputs("><bdi>", out);
    tp_html_text_cut(out, text[0] != '\0' ? text : "\xE2\x80\x93", CELL_CHARACTERS);
    fputs("</bdi></td>", out);
}

static void cell_number_key(FILE *out, double value, int decimals)
{
    char key[TP_NUMBER_SIZE];
    fprintf(out, " data-key=\"%s\">", tp_number_text(key, value, decimals));
}

static void use_cell(const struct tp_page *page, const struct tp_take *take)
{
    struct tp_text use = {.lost = page->lost};
    cell_open(page->out, "use", "Use");
    fputs(">", page->out);
    tp_words_uses(page->report, take, &use);
    fputs("<bdi>", page->out);
    tp_html_text_cut(page->out, use.length > 0 ? use.bytes : "", 2 * CELL_CHARACTERS);
    fputs("</bdi></td>", page->out);
    tp_text_clear(&use);
}

static const struct tp_channel *take_channel(const struct tp_page *page, const struct tp_take *take)
{
    if (take->signal_count == 0)
        return NULL;
    const struct tp_signal *signal = &take->signals[0];
    if (signal->pair != NULL)
        return tp_html_channel(page->report, signal->pair->main.file, signal->pair->main.channel);
    return tp_html_channel(page->report, signal->use.file, signal->use.channel);
}

static void level_cell(const struct tp_page *page, const struct tp_take *take)
{
    const struct tp_channel *channel = take_channel(page, take);
    double level = channel != NULL ? tp_words_level(channel->working_level_dbfs) : (double)NAN;
    const struct tp_spec *spec = tp_report_take_spec(page->report, take);
    cell_open(page->out, "level", "Level dBFS");
    cell_number_key(page->out, level, TP_LEVEL_DECIMALS);
    tp_html_number(page->out, level, 1);
    if (tp_exists(level)) {
        if (level < tp_words_level(spec->working_level_min_dbfs))
            fputs(" <small>low</small>", page->out);
        else if (level > tp_words_level(spec->working_level_max_dbfs))
            fputs(" <small>high</small>", page->out);
    }
    fputs("</td>", page->out);
}

/* What the set or the recorder said of the take. */
static void marks(const struct tp_page *page, const struct tp_take *take)
{
    if (take->circled == 1)
        fputs("<b>Circled.</b> ", page->out);
    if (take->no_good == 1)
        fputs("<b>No good.</b> ", page->out);
}

/* The titles of the most important findings, each once, then the recordist's notes. */
static void notes_cell(const struct tp_page *page, const struct tp_take *take)
{
    struct tp_topics topics;
    cell_open(page->out, "notes", "Notes");
    fputs(">", page->out);
    marks(page, take);
    if (!tp_topics_of(take, &topics))
        *page->lost = true;
    const char *last = "";
    for (size_t i = 0, shown = 0; i < topics.count && shown < 2; i++) {
        const char *title = tp_finding_info(topics.items[i].first->code)->title;
        if (strcmp(title, last) == 0)
            continue;
        tp_html_text(page->out, title);
        fputs(". ", page->out);
        last = title;
        shown++;
    }
    tp_topics_clear(&topics);
    if (take->notes[0] != '\0') {
        fputs("<q><bdi>", page->out);
        tp_html_text_cut(page->out, take->notes, CELL_CHARACTERS);
        fputs("</bdi></q>", page->out);
    }
    fputs("</td>", page->out);
}

/* What the search finds besides the words of the row: one name a line, and when the take runs. */
static void search_data(const struct tp_page *page, const struct tp_take *take)
{
    FILE *out = page->out;
    fputs(" data-names=\"", out);
    if (take->scene[0] != '\0' && take->take[0] != '\0') {
        tp_html_text_cut(out, take->scene, CELL_CHARACTERS);
        fputs(" take ", out);
        tp_html_text_cut(out, take->take, CELL_CHARACTERS);
        fputs("&#10;", out);
    }
    tp_html_text_cut(out, take->id, CELL_CHARACTERS);
    for (size_t i = 0; i < take->file_count && i < NAMES_SEARCHED; i++) {
        fputs("&#10;", out);
        tp_html_text_cut(out, tp_words_path(page->report, take->files[i]), CELL_CHARACTERS);
    }
    fputs("\"", out);
    if (take->start_timecode[0] == '\0')
        return;
    fputs(" data-from=\"", out);
    tp_html_text_cut(out, take->start_timecode, CELL_CHARACTERS);
    fputs("\" data-to=\"", out);
    tp_html_text_cut(out, take->end_timecode, CELL_CHARACTERS);
    fputs("\"", out);
}

static void take_row(const struct tp_page *page, size_t index)
{
    const struct tp_take *take = &page->report->takes[index];
    FILE *out = page->out;
    char duration[TP_NUMBER_SIZE];
    fprintf(out, "<tr role=\"row\" class=\"%s\" data-verdict=\"%s\"", tp_verdict_name(take->verdict),
            tp_verdict_name(take->verdict));
    search_data(page, take);
    fputs(">", out);
    cell_open(out, "result", "Verdict");
    fprintf(out, " data-key=\"%d\">", (int)take->verdict);
    tp_html_mark(out, take->verdict);
    fprintf(out, " %s</td>", tp_html_verdict_word(take->verdict));
    cell_text(out, "scene", "Scene", take->scene);
    fprintf(out, "<th role=\"rowheader\" scope=\"row\" class=\"name\" data-label=\"Take\"><a href=\"#take-%zu\"><bdi>",
            index + 1);
    tp_html_text_cut(out, take->take[0] != '\0' ? take->take : take->id, CELL_CHARACTERS);
    fputs("</bdi></a>", out);
    if (tp_words_apart(page->report, take) != NULL) {
        fputs(" <small><bdi>", out);
        tp_html_text_cut(out, tp_words_apart(page->report, take), CELL_CHARACTERS);
        fputs("</bdi></small>", out);
    }
    if (tp_words_card(page->report, take) != NULL) {
        fputs(" <small class=\"card\">on <bdi>", out);
        tp_html_text_cut(out, tp_words_card(page->report, take), CELL_CHARACTERS);
        fputs("</bdi></small>", out);
    }
    fputs("</th>", out);
    use_cell(page, take);
    cell_text(out, "starts", "Starts", take->start_timecode);
    cell_open(out, "length", "Length");
    cell_number_key(out, tp_words_time(take->duration_s), TP_TIME_DECIMALS);
    fprintf(out, "%s</td>", tp_duration_text(duration, tp_words_time(take->duration_s), 0));
    level_cell(page, take);
    notes_cell(page, take);
    fputs("</tr>\n", out);
}

static void tools(const struct tp_page *page)
{
    const struct tp_summary *s = &page->report->summary;
    fprintf(page->out,
            "<div class=\"tools\" id=\"tools\" hidden>\n"
            "<label for=\"search\">Search</label> <input id=\"search\" type=\"search\" autocomplete=\"off\">\n"
            "<label for=\"show\">Show</label> <select id=\"show\"><option value=\"\">all takes (%zu)</option>"
            "<option value=\"fail\">those that fail (%zu)</option><option value=\"listen\">those to listen to "
            "(%zu)</option>"
            "<option value=\"pass\">those that pass (%zu)</option></select>\n"
            "<p id=\"count\" role=\"status\"></p>\n</div>\n",
            s->takes, s->fail, s->listen, s->pass);
}

void tp_html_takes(const struct tp_page *page)
{
    static const char *const heads[] = {"Verdict", "Scene", "Take", "Use", "Starts", "Length", "Level dBFS", "Notes"};
    fputs("<section id=\"takes\" aria-labelledby=\"takes-title\">\n"
          "<h2 id=\"takes-title\">Takes and the channel to use</h2>\n",
          page->out);
    tools(page);
    fputs("<table id=\"take-table\" role=\"table\" class=\"takes\">\n"
          "<caption>One row a take. <i>Level</i> is the working level of the main, or of the only channel.</caption>\n"
          "<thead role=\"rowgroup\"><tr role=\"row\">",
          page->out);
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
        fprintf(page->out, "<th role=\"columnheader\" scope=\"col\">%s</th>", heads[i]);
    fputs("</tr></thead>\n<tbody role=\"rowgroup\">\n", page->out);
    for (size_t i = 0; i < page->report->take_count; i++)
        take_row(page, i);
    fputs("</tbody>\n</table>\n</section>\n", page->out);
}
