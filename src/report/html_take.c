/* SPDX-License-Identifier: MIT */
/* One article a take: use and reason, facts, drawings, findings, measured numbers. */
#include "report/html.h"

#include <inttypes.h>
#include <string.h>

static void title(const struct tp_page *page, const struct tp_take *take, size_t index)
{
    struct tp_text words = {.lost = page->lost};
    fprintf(page->out, "<h3 id=\"take-%zu-title\">", index + 1);
    tp_html_mark(page->out, take->verdict);
    fputs(" <bdi>", page->out);
    tp_words_take_apart(page->report, take, &words);
    tp_html_words(page->out, &words);
    fprintf(page->out, "</bdi> <span class=\"word\">%s</span></h3>\n", tp_html_verdict_word(take->verdict));
}

/* Why, for a track and the parts that are used alike: once where the reasons are the same. */
static void reasons(const struct tp_page *page, const struct tp_signal *signals, size_t alike)
{
    bool same = true;
    for (size_t i = 1; i < alike; i++)
        same = same && strcmp(signals[i].use.reason, signals[0].use.reason) == 0;
    for (size_t i = 0; i < (same ? 1 : alike); i++) {
        if (signals[i].use.reason[0] == '\0')
            continue;
        fputs(" <span class=\"reason\"><bdi>", page->out);
        if (!same)
            fprintf(page->out, "Part %zu: ", i + 1);
        tp_html_text(page->out, signals[i].use.reason);
        fputs("</bdi></span>", page->out);
    }
}

static void use_line(const struct tp_page *page, const struct tp_take *take, size_t index)
{
    const struct tp_signal *signal = &take->signals[index];
    struct tp_text words = {.lost = page->lost};
    fputs("<p class=\"use-line\"><b>Use", page->out);
    if (take->signal_count > 1 && signal->name[0] != '\0') {
        fputs(" for ", page->out);
        tp_html_name(page->out, signal->name);
    }
    fputs(":</b> <strong><bdi>", page->out);
    tp_words_use_alike(page->report, take, index, &words);
    tp_html_words(page->out, &words);
    fputs("</bdi></strong>", page->out);
    reasons(page, signal, tp_words_same_track(take, index));
    fputs("</p>\n", page->out);
}

/* What the notes or iXML mark the take as, besides circled. */
static void marks(const struct tp_page *page, const struct tp_take *take)
{
    size_t file = take->file_count > 0 ? take->files[0] : TP_NO_INDEX;
    const struct tp_ixml *x = file < page->report->file_count ? page->report->files[file].ixml : NULL;
    const struct {
        int flag;
        const char *words;
    } flags[] = {{take->no_good, "no good"},
                 {x != NULL ? x->false_start : -1, "false start"},
                 {x != NULL ? x->wild_track : -1, "wild track"}};
    struct tp_text text = {.lost = page->lost};
    for (size_t i = 0; i < sizeof flags / sizeof flags[0]; i++)
        if (flags[i].flag > 0)
            tp_text_format(&text, "%s%s", text.length > 0 ? ", " : "", flags[i].words);
    if (text.length > 0)
        tp_html_fact(page->out, "Marked", text.bytes);
    tp_text_clear(&text);
}

static void facts(const struct tp_page *page, const struct tp_take *take)
{
    FILE *out = page->out;
    struct tp_text text = {.lost = page->lost};
    char duration[TP_NUMBER_SIZE];
    fputs("<dl class=\"facts\">\n", out);
    if (take->start_timecode[0] != '\0') {
        tp_text_format(&text, "%s to %s, ", take->start_timecode, take->end_timecode);
        tp_words_rate(take->timecode_rate, &text);
        tp_text_add(&text, " fps");
        tp_html_fact(out, "Timecode", text.failed ? "" : text.bytes);
        tp_text_clear(&text);
    }
    tp_html_fact(out, "Length", tp_duration_text(duration, tp_words_time(take->duration_s), 1));
    if (take->part_count > 1) {
        tp_text_format(&text, "%zu, one after the other", take->part_count);
        tp_html_fact(out, "Parts", text.failed ? "" : text.bytes);
        tp_text_clear(&text);
    }
    tp_html_fact(out, "Circled", take->circled < 0 ? "" : take->circled > 0 ? "yes" : "no");
    marks(page, take);
    tp_html_fact(out, "Notes", take->notes);
    for (size_t i = 0; i < take->file_count; i++)
        if (take->files[i] < page->report->file_count)
            tp_html_fact(out, i == 0 ? "File" : "and", page->report->files[take->files[i]].path);
    fputs("</dl>\n", out);
}

static void where(const struct tp_page *page, const struct tp_take *take, const struct tp_finding *finding)
{
    struct tp_text words = {.lost = page->lost};
    tp_words_place(finding, &words);
    bool has_place = words.length > 0;
    if (finding->channel != TP_NO_CHANNEL) {
        tp_text_add(&words, has_place ? ", " : "");
        tp_words_channel(page->report, finding->file, finding->channel, &words);
    }
    if (take->file_count > 1 && finding->file < page->report->file_count)
        tp_text_format(&words, "%s%s", words.length > 0 ? ", " : "", tp_words_path(page->report, finding->file));
    if (words.length == 0) {
        tp_text_clear(&words);
        return;
    }
    fputs(" <span class=\"place\"", page->out);
    if (has_place) {
        char start[TP_NUMBER_SIZE];
        size_t first = take->file_count > 0 ? take->files[0] : 0;
        fprintf(page->out, " data-file=\"%zu\" data-at=\"%s\"",
                finding->file < page->report->file_count ? finding->file : first,
                tp_number_text(start, tp_words_time(finding->start_s), TP_TIME_DECIMALS));
    }
    fputs("><bdi>", page->out);
    tp_html_words(page->out, &words);
    fputs("</bdi></span>", page->out);
}

static void excerpt_words(const struct tp_page *page, const struct tp_take *take,
                          const struct tp_sound_excerpt *excerpt, struct tp_text *words)
{
    char start[TP_NUMBER_SIZE], end[TP_NUMBER_SIZE];
    const char *role = "";
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_pair *pair = take->signals[i].pair;
        if (pair != NULL && pair->main.file == excerpt->file && pair->main.channel == excerpt->channel)
            role = "Main, ";
        if (pair != NULL && pair->safety.file == excerpt->file && pair->safety.channel == excerpt->channel)
            role = "Safety, ";
    }
    tp_text_add(words, role);
    tp_words_channel(page->report, excerpt->file, excerpt->channel, words);
    tp_text_format(words, ", %s to %s", tp_duration_text(start, tp_words_time(excerpt->start_s), 1),
                   tp_duration_text(end, tp_words_time(excerpt->end_s), 1));
}

static void player(const struct tp_page *page, const struct tp_take *take, const struct tp_sound_excerpt *excerpt)
{
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    double gain_db = tp_words_level(excerpt->gain_db);
    fputs("<div><p><bdi>", out);
    excerpt_words(page, take, excerpt, &words);
    tp_html_words(out, &words);
    fputs("</bdi>", out);
    if (gain_db < -0.05) {
        fputs(", turned down by ", out);
        tp_html_number(out, -gain_db, 1);
        fputs(" dB", out);
    }
    fputs("</p><audio controls preload=\"none\" aria-label=\"", out);
    excerpt_words(page, take, excerpt, &words);
    tp_html_words(out, &words);
    fprintf(out, "\" src=\"data:%s;base64,", excerpt->mime);
    tp_html_base64(out, excerpt->bytes, excerpt->size);
    fputs("\"></audio></div>\n", out);
}

/* The excerpts of one finding; the caution stands by the players because that is where it is needed. */
static void players(const struct tp_page *page, const struct tp_take *take, const struct tp_finding *finding)
{
    size_t count = 0;
    for (size_t i = 0; i < page->report->excerpt_count; i++) {
        const struct tp_sound_excerpt *excerpt = &page->report->excerpts[i];
        bool belongs = &page->report->takes[excerpt->take] == take && &take->findings[excerpt->finding] == finding;
        if (!belongs)
            continue;
        if (count++ == 0)
            fputs("<div class=\"excerpts\"><p class=\"caution\"><b>Headphones:</b> turn them down before you play.</p>"
                  "<div class=\"pair\">\n",
                  page->out);
        player(page, take, excerpt);
    }
    if (count > 0)
        fputs("</div></div>\n", page->out);
}

/* `is_advised`: the finding before it has said what to do. */
static void finding_item(const struct tp_page *page, const struct tp_take *take, const struct tp_finding *finding,
                         bool is_advised)
{
    static const char *const words[] = {"Note", "Listen", "Fail"};
    const struct tp_finding_info *info = tp_finding_info(finding->code);
    fprintf(page->out, "<li class=\"%s\"><p><b>%s:</b> ", tp_severity_name(finding->severity),
            words[finding->severity]);
    tp_html_text(page->out, finding->message);
    where(page, take, finding);
    fprintf(page->out, " <code class=\"code\">%s</code></p>", info->name);
    if (finding->severity > TP_NOTE && !is_advised) {
        fputs("<p class=\"advice\"><b>In post:</b> ", page->out);
        tp_html_text(page->out, info->in_post);
        fputs("</p>", page->out);
    }
    players(page, take, finding);
    fputs("</li>\n", page->out);
}

static void findings(const struct tp_page *page, const struct tp_take *take)
{
    if (take->finding_count == 0)
        return;
    fputs("<h4>Findings</h4>\n<ol class=\"findings\">\n", page->out);
    for (size_t i = 0; i < take->finding_count; i++)
        finding_item(page, take, &take->findings[i], i > 0 && take->findings[i - 1].code == take->findings[i].code);
    fputs("</ol>\n", page->out);
}

static void level_cell(FILE *out, double level)
{
    fputs("<td>", out);
    tp_html_level(out, level);
    fputs("</td>", out);
}

static void channel_row(const struct tp_page *page, const struct tp_take *take, size_t file, uint32_t index)
{
    const struct tp_file *f = &page->report->files[file];
    const struct tp_channel *c = &f->channels[index];
    FILE *out = page->out;
    fputs("<tr><th scope=\"row\">", out);
    if (take->file_count > 1) {
        tp_html_name(out, tp_words_base_name(f->path));
        fputs(", ", out);
    }
    fprintf(out, "%" PRIu64 " ", (uint64_t)index + 1);
    tp_html_name(out, c->name);
    fputs("</th>", out);
    const double levels[] = {c->working_level_dbfs, c->sample_peak_dbfs,    c->true_peak_dbtp,
                             c->rms_dbfs,           c->noise_floor_dbfs,    c->integrated_lufs,
                             c->momentary_max_lufs, c->short_term_max_lufs, c->loudness_range_lu};
    for (size_t i = 0; i < sizeof levels / sizeof levels[0]; i++)
        level_cell(out, levels[i]);
    fputs("<td>", out);
    tp_html_number(out, tp_number_round(c->dc_offset, TP_DC_DECIMALS), 4);
    fprintf(out, "</td><td>%" PRIu64 "</td><td>%" PRIu64 "</td></tr>\n", c->clip_runs, c->longest_clip_run);
}

static bool has_channels(const struct tp_page *page, const struct tp_take *take)
{
    for (size_t i = 0; i < take->file_count; i++)
        if (take->files[i] < page->report->file_count && page->report->files[take->files[i]].channels != NULL)
            return true;
    return false;
}

/* Closed at first: the numbers are for those who ask, and report.csv has them too. */
static void measured(const struct tp_page *page, const struct tp_take *take, size_t index)
{
    static const char *const heads[] = {"Channel",
                                        "Working level dBFS",
                                        "Sample peak dBFS",
                                        "True peak dBTP",
                                        "RMS dBFS",
                                        "Noise floor dBFS",
                                        "Integrated LUFS",
                                        "Momentary max. LUFS",
                                        "Short-term max. LUFS",
                                        "Loudness range LU",
                                        "DC",
                                        "Clip runs",
                                        "Longest run"};
    if (!has_channels(page, take))
        return;
    fprintf(page->out,
            "<details><summary>Measured numbers</summary>\n<section class=\"wide\" tabindex=\"0\" "
            "aria-label=\"Measured numbers of take %zu\"><table class=\"numbers\"><thead><tr>",
            index + 1);
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
        fprintf(page->out, "<th scope=\"col\">%s</th>", heads[i]);
    fputs("</tr></thead><tbody>\n", page->out);
    for (size_t i = 0; i < take->file_count; i++) {
        size_t file = take->files[i];
        if (file >= page->report->file_count || page->report->files[file].channels == NULL)
            continue;
        for (uint32_t c = 0; c < page->report->files[file].channel_count; c++)
            channel_row(page, take, file, c);
    }
    fputs("</tbody></table></section></details>\n", page->out);
}

static void article(const struct tp_page *page, size_t index)
{
    const struct tp_take *take = &page->report->takes[index];
    fprintf(page->out, "<article id=\"take-%zu\" class=\"take %s\" aria-labelledby=\"take-%zu-title\">\n", index + 1,
            tp_verdict_name(take->verdict), index + 1);
    title(page, take, index);
    if (take->signal_count == 0)
        fputs("<p class=\"use-line\"><b>Use:</b> <strong>no clean channel</strong></p>\n", page->out);
    for (size_t i = 0; i < take->signal_count; i += tp_words_same_track(take, i))
        use_line(page, take, i);
    facts(page, take);
    for (size_t i = 0; i < take->signal_count; i++)
        tp_html_signal(page, take, &take->signals[i]);
    tp_html_sounds(page, take);
    findings(page, take);
    measured(page, take, index);
    fputs("</article>\n", page->out);
}

void tp_html_details(const struct tp_page *page)
{
    if (page->report->take_count == 0)
        return;
    fputs(
        "<section id=\"details\" aria-labelledby=\"details-title\">\n<h2 id=\"details-title\">Take by take</h2>\n"
        "<p class=\"legend\">The drawings: the <span class=\"key main\">main</span> with the <span class=\"key "
        "safety\">safety</span> over it at the same scale; lines at 0, \xE2\x88\x92"
        "6 and \xE2\x88\x92"
        "12 dBFS; short strokes at the upper edge where the main clips, at the lower edge where the safety does; "
        "numbers point to the findings. Striped spans are damaged in the main: a solid bar below means that the safety "
        "is clean there, a cross means that it is not. In the level bar the box is the spec\xE2\x80\x99s window for "
        "the "
        "working level, the thick line the working level, the dotted line the limit for the true peak, the thin "
        "line the true peak.</p>\n",
        page->out);
    tp_html_sound_tools(page);
    for (size_t i = 0; i < page->report->take_count; i++)
        article(page, i);
    fputs("</section>\n", page->out);
}
