/* SPDX-License-Identifier: MIT */
/*
 * The drawing of one signal: main with the safety drawn over it, at the same scale, so that the distance between them
 * is seen; clip marks, damaged spans, places of findings. The outer drawing is laid out in CSS pixels down and per cent
 * along (text stays undistorted at any width); only the waveform itself is stretched.
 */
#include "report/html.h"
#include "result.h"

#include <inttypes.h>
#include <string.h>

#define FLAG_ROWS 2
#define FLAG_ROW_HEIGHT 13
#define BOX_TOP 30
#define BOX_HEIGHT 100
#define LANE_TOP 133
#define TICKS_BASELINE 157
#define DRAWING_HEIGHT "162"
#define SPAN_WIDTH_MIN 0.3    /* per cent: narrower spans are drawn this wide, and joined when they touch */
#define CLIP_STEPS 400        /* clip marks closer than this fraction of the length are one mark */
#define FLAG_DISTANCE_MIN 2.5 /* per cent between two numbers */
#define FLAGS_MAX 99

struct trace {
    const struct tp_file *file;
    const struct tp_channel *channel;
    const char *class_name;
};

/* One figure: at most two traces; the first is the main or the only one. */
struct figure {
    const struct tp_page *page;
    const struct tp_take *take;
    const struct tp_signal *signal;
    struct trace traces[2];
    size_t trace_count;
    double length_s;
};

void tp_html_definitions(FILE *out)
{
    fputs("<svg class=\"definitions\" aria-hidden=\"true\" width=\"0\" height=\"0\"><defs>"
          "<symbol id=\"mark-pass\" viewBox=\"0 0 20 20\"><circle cx=\"10\" cy=\"10\" r=\"9\"/>"
          "<path class=\"sign\" d=\"M5.5 10.5l3 3 6-7\"/></symbol>"
          "<symbol id=\"mark-listen\" viewBox=\"0 0 20 20\"><path d=\"M10 1l9.500 17.500h-19z\"/>"
          "<path class=\"sign\" d=\"M10 7v5.500M10 15v.5\"/></symbol>"
          "<symbol id=\"mark-fail\" viewBox=\"0 0 20 20\"><path d=\"M6 .5h8l5.500 5.500v8l-5.500 "
          "5.500h-8l-5.500-5.500v-8z\"/>"
          "<path class=\"sign\" d=\"M6.500 6.500l7 7M13.500 6.500l-7 7\"/></symbol>"
          "<pattern id=\"hurt-covered\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">"
          "<path class=\"hatch\" d=\"M-1 1l2-2M0 7l7-7M6 8l2-2\"/></pattern>"
          "<pattern id=\"hurt-bare\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\">"
          "<path class=\"hatch bare\" d=\"M-1 1l2-2M0 7l7-7M6 8l2-2M0 0l7 7\"/></pattern>"
          "</defs></svg>\n",
          out);
}

static double frames_to_s(const struct tp_file *file, uint64_t frames)
{
    return file->sample_rate_hz > 0 ? (double)frames / file->sample_rate_hz : 0.0;
}

static void add_trace(struct figure *figure, size_t file, uint32_t channel, const char *class_name)
{
    const struct tp_channel *c = tp_html_channel(figure->page->report, file, channel);
    if (c == NULL)
        return;
    const struct tp_file *f = &figure->page->report->files[file];
    figure->traces[figure->trace_count++] = (struct trace){f, c, class_name};
    double length_s = tp_words_time(f->duration_s);
    if (tp_exists(length_s) && length_s > figure->length_s)
        figure->length_s = length_s;
}

/* Per cent along the figure, bounded. */
static double along(const struct figure *figure, double seconds)
{
    double percent = figure->length_s > 0.0 ? seconds / figure->length_s * 100.0 : 0.0;
    return !(percent > 0.0) ? 0.0 : percent > 100.0 ? 100.0 : percent;
}

/* Extremes of the drawn bin `index` when `step` measured bins make one. */
static void bin_extremes(const struct tp_overview *o, uint32_t index, uint32_t step, int *low, int *high)
{
    *low = 127;
    *high = -127;
    for (uint32_t i = index * step; i < o->bin_count && i < (index + 1) * step; i++) {
        if (o->min[i] < *low)
            *low = o->min[i];
        if (o->max[i] > *high)
            *high = o->max[i];
    }
    if (*low < -127)
        *low = -127;
    if (*high < *low)
        *high = *low;
}

/* An outline in whole units: upper edge left to right, lower edge back. Relative steps keep it short. */
static void outline(FILE *out, const struct tp_overview *o, uint32_t step, uint32_t bins)
{
    int low, high;
    bin_extremes(o, 0, step, &low, &high);
    int y = 127 - high;
    fprintf(out, "M0 %d", y);
    for (uint32_t i = 1; i < bins; i++) {
        bin_extremes(o, i, step, &low, &high);
        int dy = 127 - high - y;
        fprintf(out, i == 1 ? (dy < 0 ? "l1%d" : "l1 %d") : dy < 0 ? " 1%d" : " 1 %d", dy);
        y += dy;
    }
    fputs("h1", out);
    for (uint32_t i = bins; i > 0; i--) {
        bin_extremes(o, i - 1, step, &low, &high);
        int dy = 127 - low - y;
        int dx = i == bins ? 0 : -1;
        fprintf(out, i == bins ? (dy < 0 ? "l%d%d" : "l%d %d") : dy < 0 ? "%d%d" : "%d %d", dx, dy);
        y += dy;
    }
    fputs("z", out);
}

static void waveform(const struct figure *figure, const struct trace *trace)
{
    const struct tp_overview *o = &trace->channel->overview;
    FILE *out = figure->page->out;
    if (o->bin_count == 0 || figure->length_s <= 0.0)
        return;
    uint32_t step = (o->bin_count + figure->page->wave_bins - 1) / figure->page->wave_bins;
    uint32_t bins = (o->bin_count + step - 1) / step;
    double bin_s = frames_to_s(trace->file, o->frames_per_bin) * step;
    char scale[TP_NUMBER_SIZE];
    tp_number_text(scale, bin_s / figure->length_s * 1000.0, 6);
    fprintf(out, "<path class=\"wave %s\" transform=\"scale(%s 1)\" d=\"", trace->class_name, scale);
    outline(out, o, step, bins);
    fputs("\"/>", out);
}

/* Short strokes at the edge of the box, main above and safety below, one for each place that clips. */
static void clip_marks(const struct figure *figure, size_t index)
{
    const struct trace *trace = &figure->traces[index];
    FILE *out = figure->page->out;
    int last = -1;
    for (size_t i = 0; i < trace->channel->clip_count; i++) {
        double s = frames_to_s(trace->file, trace->channel->clips[i].start_frame);
        int at = (int)(along(figure, s) / 100.0 * CLIP_STEPS);
        if (at == last)
            continue;
        if (last < 0)
            fprintf(out, "<path class=\"clip\" d=\"");
        fprintf(out, "M%d %d", at * 1000 / CLIP_STEPS, index == 0 ? 0 : 254);
        fprintf(out, index == 0 ? "v34" : "v-34");
        last = at;
    }
    if (last >= 0)
        fputs("\"/>", out);
}

static void guides(FILE *out)
{
    /* 0, -6 and -12 dBFS above and below the middle, in 1/127 of full scale. */
    fputs("<path class=\"guide\" d=\"M0 127h1000M0 63.350h1000M0 190.650h1000M0 95.100h1000M0 158.900h1000\"/>", out);
}

static void box(const struct figure *figure)
{
    FILE *out = figure->page->out;
    fprintf(
        out,
        "<svg x=\"0\" y=\"%d\" width=\"100%%\" height=\"%d\" viewBox=\"0 0 1000 254\" preserveAspectRatio=\"none\">",
        BOX_TOP, BOX_HEIGHT);
    guides(out);
    for (size_t i = 0; i < figure->trace_count; i++)
        waveform(figure, &figure->traces[i]);
    for (size_t i = 0; i < figure->trace_count; i++)
        clip_marks(figure, i);
    fputs("</svg>", out);
}

static void span(const struct figure *figure, double from, double to, bool covered)
{
    char x[TP_NUMBER_SIZE], width[TP_NUMBER_SIZE];
    FILE *out = figure->page->out;
    tp_number_text(x, from, 2);
    tp_number_text(width, to - from, 2);
    fprintf(out, "<rect class=\"hurt %s\" x=\"%s%%\" y=\"%d\" width=\"%s%%\" height=\"%d\"/>",
            covered ? "covered" : "bare", x, BOX_TOP, width, BOX_HEIGHT);
    if (covered) {
        fprintf(out, "<rect class=\"patch\" x=\"%s%%\" y=\"%d\" width=\"%s%%\" height=\"8\"/>", x, LANE_TOP, width);
        return;
    }
    tp_number_text(x, (from + to) / 2.0, 2);
    fprintf(out, "<text class=\"gap\" x=\"%s%%\" y=\"%d\" text-anchor=\"middle\">\xC3\x97</text>", x, LANE_TOP + 11);
}

/* Damaged spans of the main; neighbours that would touch are drawn as one. */
static void spans(const struct figure *figure)
{
    const struct tp_pair *pair = figure->signal->pair;
    double from = -1.0, to = -1.0;
    bool covered = true;
    for (size_t i = 0; pair != NULL && i < pair->splice_count; i++) {
        const struct tp_splice *splice = &pair->splices[i];
        double start = along(figure, tp_words_time(splice->start_s));
        double end = along(figure, tp_words_time(splice->end_s));
        if (end < start + SPAN_WIDTH_MIN)
            end = start + SPAN_WIDTH_MIN;
        if (from >= 0.0 && splice->covered == covered && start <= to) {
            to = end > to ? end : to;
            continue;
        }
        if (from >= 0.0)
            span(figure, from, to, covered);
        from = start;
        to = end;
        covered = splice->covered;
    }
    if (from >= 0.0)
        span(figure, from, to, covered);
}

static bool belongs(const struct figure *figure, const struct tp_finding *finding)
{
    const struct tp_report *report = figure->page->report;
    if (finding->severity < TP_LISTEN || !tp_exists(finding->start_s) || finding->file >= report->file_count)
        return false;
    for (size_t i = 0; i < figure->trace_count; i++) {
        const struct trace *trace = &figure->traces[i];
        if (trace->file != &report->files[finding->file])
            continue;
        if (finding->channel == TP_NO_CHANNEL ||
            tp_html_channel(report, finding->file, finding->channel) == trace->channel)
            return true;
    }
    return false;
}

static void flag(const struct figure *figure, double at, size_t row, size_t number)
{
    FILE *out = figure->page->out;
    char x[TP_NUMBER_SIZE];
    int baseline = BOX_TOP - 4 - (int)row * FLAG_ROW_HEIGHT;
    tp_number_text(x, at, 2);
    fprintf(out, "<line class=\"flag\" x1=\"%s%%\" x2=\"%s%%\" y1=\"%d\" y2=\"%d\"/>", x, x, baseline + 2,
            BOX_TOP + BOX_HEIGHT);
    fprintf(out, "<text class=\"flag\" x=\"%s%%\" y=\"%d\" text-anchor=\"%s\">%zu</text>", x, baseline,
            at < 2.0    ? "start"
            : at > 98.0 ? "end"
                        : "middle",
            number);
}

/* The number of each finding, as in the list below the drawing, at its place; where there is no room the list must do.
 */
static void flags(const struct figure *figure)
{
    double taken[FLAG_ROWS][FLAGS_MAX];
    size_t counts[FLAG_ROWS] = {0};
    for (size_t i = 0; i < figure->take->finding_count; i++) {
        const struct tp_finding *finding = &figure->take->findings[i];
        if (!belongs(figure, finding))
            continue;
        double at = along(figure, tp_words_time(finding->start_s));
        for (size_t row = 0; row < FLAG_ROWS; row++) {
            bool is_free = counts[row] < FLAGS_MAX;
            for (size_t k = 0; k < counts[row]; k++)
                is_free = is_free && fabs(taken[row][k] - at) >= FLAG_DISTANCE_MIN;
            if (!is_free)
                continue;
            taken[row][counts[row]++] = at;
            flag(figure, at, row, i + 1);
            break;
        }
    }
}

static void ticks(const struct figure *figure)
{
    static const char *const anchors[] = {"start", "middle", "middle", "middle", "end"};
    for (int i = 0; i <= 4; i++) {
        char text[TP_NUMBER_SIZE];
        double at_s = figure->length_s * i / 4.0;
        tp_duration_text(text, at_s, figure->length_s < 20.0 ? 1 : 0);
        fprintf(figure->page->out, "<text class=\"tick\" x=\"%d%%\" y=\"%d\" text-anchor=\"%s\">%s</text>", i * 25,
                TICKS_BASELINE, anchors[i], text);
    }
}

/* What the drawing shows, for those who cannot see it. */
static void label(const struct figure *figure, struct tp_text *text)
{
    const struct tp_pair *pair = figure->signal->pair;
    char duration[TP_NUMBER_SIZE];
    tp_text_format(text, "Waveform, %s long. ", tp_duration_text(duration, figure->length_s, 1));
    for (size_t i = 0; i < figure->trace_count; i++) {
        const struct tp_channel *channel = figure->traces[i].channel;
        const char *role = pair == NULL ? "The channel" : i == 0 ? "The main" : "The safety";
        if (channel->digital_silence)
            tp_text_format(text, "%s is silent. ", role);
        else if (channel->clip_runs == 0)
            tp_text_format(text, "%s does not clip. ", role);
        else if (channel->whole_clip_runs == channel->clip_runs)
            tp_text_format(text, "%s passes full scale in %" PRIu64 " place%s; float keeps it whole. ", role,
                           channel->clip_runs, channel->clip_runs == 1 ? "" : "s");
        else
            tp_text_format(text, "%s clips in %" PRIu64 " place%s. ", role, channel->clip_runs,
                           channel->clip_runs == 1 ? "" : "s");
    }
    if (pair == NULL || pair->splice_count == 0)
        return;
    size_t covered = 0;
    for (size_t i = 0; i < pair->splice_count; i++)
        covered += pair->splices[i].covered;
    tp_words_plural(pair->splice_count, "damaged span", "damaged spans", text);
    tp_text_format(text, " of the main, %zu of them clean in the safety.", covered);
}

static void drawing(const struct figure *figure)
{
    FILE *out = figure->page->out;
    struct tp_text text = {.lost = figure->page->lost};
    fputs("<div class=\"drawing\"><svg class=\"scale\" aria-hidden=\"true\" width=\"28\" height=\"" DRAWING_HEIGHT "\">"
          "<text class=\"tick\" x=\"24\" y=\"34\" text-anchor=\"end\">0</text>"
          "<text class=\"tick\" x=\"24\" y=\"59\" text-anchor=\"end\">\xE2\x88\x92"
          "6</text>"
          "<text class=\"tick\" x=\"24\" y=\"72\" text-anchor=\"end\">\xE2\x88\x92"
          "12</text></svg>"
          "<svg class=\"shape\" role=\"img\" width=\"100%\" height=\"" DRAWING_HEIGHT "\" aria-label=\"",
          out);
    label(figure, &text);
    tp_html_words(out, &text);
    fprintf(out, "\"><rect class=\"floor\" x=\"0\" y=\"%d\" width=\"100%%\" height=\"%d\"/>", BOX_TOP, BOX_HEIGHT);
    box(figure);
    spans(figure);
    flags(figure);
    ticks(figure);
    fputs("</svg></div>\n", out);
}

static void pair_words(const struct figure *figure)
{
    const struct tp_pair *pair = figure->signal->pair;
    FILE *out = figure->page->out;
    struct tp_text words = {.lost = figure->page->lost};
    double offset = tp_words_level(pair->offset_db);
    fputs("<span class=\"key main\">main</span> ", out);
    tp_words_channel(figure->page->report, pair->main.file, pair->main.channel, &words);
    tp_html_words(out, &words);
    fputs(", <span class=\"key safety\">safety</span> ", out);
    tp_words_channel(figure->page->report, pair->safety.file, pair->safety.channel, &words);
    tp_html_words(out, &words);
    if (tp_exists(offset)) {
        fputs(", ", out);
        tp_html_number(out, fabs(offset), 1);
        fputs(offset <= 0.0 ? " dB lower" : " dB higher", out);
    }
    if (pair->lag_samples != 0)
        fprintf(out, ", %" PRId64 " sample%s %s", pair->lag_samples < 0 ? -pair->lag_samples : pair->lag_samples,
                pair->lag_samples == 1 || pair->lag_samples == -1 ? "" : "s",
                pair->lag_samples < 0 ? "earlier" : "later");
    if (pair->inverted)
        fputs(", polarity inverted", out);
}

static void dead_partner_words(const struct figure *figure)
{
    const struct tp_channel_ref *dead = &figure->signal->dead_partner;
    FILE *out = figure->page->out;
    struct tp_text words = {.lost = figure->page->lost};
    if (dead->file >= figure->page->report->file_count)
        return;
    fprintf(out, "; its %s, ", figure->signal->dead_partner_is_main ? "main" : "safety");
    tp_words_channel(figure->page->report, dead->file, dead->channel, &words);
    tp_html_words(out, &words);
    fputs(", is silent", out);
}

static void caption(const struct figure *figure)
{
    FILE *out = figure->page->out;
    struct tp_text words = {.lost = figure->page->lost};
    fputs("<figcaption>", out);
    if (figure->take->part_count > 1) {
        fprintf(out, "Part %zu of %zu, ", figure->signal->part + 1, figure->take->part_count);
        tp_html_name(out, tp_words_base_name(figure->traces[0].file->path));
        fputs(": ", out);
    }
    if (figure->signal->name[0] != '\0') {
        fputs("<b>", out);
        tp_html_name(out, figure->signal->name);
        fputs(":</b> ", out);
    }
    if (figure->signal->pair != NULL) {
        pair_words(figure);
    } else {
        tp_words_channel(figure->page->report, figure->signal->use.file, figure->signal->use.channel, &words);
        tp_html_words(out, &words);
        fputs(" alone", out);
    }
    dead_partner_words(figure);
    fputs("</figcaption>\n", out);
}

void tp_html_signal(const struct tp_page *page, const struct tp_take *take, const struct tp_signal *signal)
{
    struct figure figure = {.page = page, .take = take, .signal = signal};
    if (signal->pair != NULL) {
        add_trace(&figure, signal->pair->main.file, signal->pair->main.channel, "main");
        add_trace(&figure, signal->pair->safety.file, signal->pair->safety.channel, "safety");
    } else {
        add_trace(&figure, signal->use.file, signal->use.channel, "main");
    }
    if (figure.trace_count == 0)
        return;
    fputs("<figure>\n", page->out);
    caption(&figure);
    drawing(&figure);
    tp_html_level_bar(page, tp_report_take_spec(page->report, take), figure.traces[0].channel,
                      signal->use.choice == TP_CHOICE_NONE
                          ? NULL
                          : tp_html_channel(page->report, signal->use.file, signal->use.channel));
    fputs("</figure>\n", page->out);
}
