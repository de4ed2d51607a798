/* SPDX-License-Identifier: MIT */
/* The level bar: where the working level and the true peak stand against the spec, as a drawing and in words. */
#include "report/html.h"

#define SCALE_MIN_DBFS (-60.0)

/* Place on the bar in per cent; absent levels are asked about by the callers. */
static double place(double level_dbfs)
{
    double percent = (level_dbfs - SCALE_MIN_DBFS) / -SCALE_MIN_DBFS * 100.0;
    return percent < 0.0 ? 0.0 : percent > 100.0 ? 100.0 : percent;
}

static void rectangle(FILE *out, const char *class_name, double from_dbfs, double to_dbfs, int y, int height)
{
    char x[TP_NUMBER_SIZE], width[TP_NUMBER_SIZE];
    tp_number_text(x, place(from_dbfs), 2);
    tp_number_text(width, place(to_dbfs) - place(from_dbfs), 2);
    fprintf(out, "<rect class=\"%s\" x=\"%s%%\" y=\"%d\" width=\"%s%%\" height=\"%d\"/>", class_name, x, y, width,
            height);
}

static void upright(FILE *out, const char *class_name, double level_dbfs, int top, int bottom)
{
    char x[TP_NUMBER_SIZE];
    tp_number_text(x, place(level_dbfs), 2);
    fprintf(out, "<line class=\"%s\" x1=\"%s%%\" x2=\"%s%%\" y1=\"%d\" y2=\"%d\"/>", class_name, x, x, top, bottom);
}

static void scale(FILE *out)
{
    static const int marks[] = {-48, -36, -24, -12};
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        char x[TP_NUMBER_SIZE];
        tp_number_text(x, place(marks[i]), 2);
        fprintf(out, "<text class=\"tick\" x=\"%s%%\" y=\"38\" text-anchor=\"middle\">\xE2\x88\x92%d</text>", x,
                -marks[i]);
    }
    fputs("<text class=\"tick\" x=\"0\" y=\"38\">\xE2\x88\x92"
          "60</text>"
          "<text class=\"tick\" x=\"100%\" y=\"38\" text-anchor=\"end\">0 dBFS</text>",
          out);
}

static void working_words(FILE *out, double level, double min, double max)
{
    if (!tp_exists(level)) {
        fputs("<b>Working level:</b> none found; the spec asks for ", out);
    } else {
        fputs("<b>Working level:</b> ", out);
        tp_html_number(out, level, 1);
        fputs(" dBFS, ", out);
        if (level < min) {
            tp_html_number(out, min - level, 1);
            fputs(" dB below ", out);
        } else if (level > max) {
            tp_html_number(out, level - max, 1);
            fputs(" dB above ", out);
        } else {
            fputs("inside ", out);
        }
    }
    tp_html_number(out, min, 1);
    fputs(" to ", out);
    tp_html_number(out, max, 1);
    fputs(" dBFS.", out);
}

static void peak_words(FILE *out, double peak, double limit)
{
    fputs(" <b>True peak</b> of the channel to use: ", out);
    if (!tp_exists(peak)) {
        fputs("none.", out);
        return;
    }
    tp_html_number(out, peak, 1);
    fputs(peak > limit ? " dBTP, over the limit of " : " dBTP, the limit is ", out);
    tp_html_number(out, limit, 1);
    fputs(".", out);
}

void tp_html_level_bar(const struct tp_page *page, const struct tp_spec *spec, const struct tp_channel *level_channel,
                       const struct tp_channel *peak_channel)
{
    double min = tp_words_level(spec->working_level_min_dbfs), max = tp_words_level(spec->working_level_max_dbfs);
    double limit = tp_words_level(spec->true_peak_max_dbtp);
    double level = tp_words_level(level_channel->working_level_dbfs);
    double peak = peak_channel != NULL ? tp_words_level(peak_channel->true_peak_dbtp) : (double)NAN;
    FILE *out = page->out;
    fputs("<div class=\"level-bar\"><svg class=\"bar\" aria-hidden=\"true\" width=\"100%\" height=\"42\">"
          "<rect class=\"track\" x=\"0\" y=\"9\" width=\"100%\" height=\"10\"/>",
          out);
    rectangle(out, "window", min, max, 4, 20);
    if (tp_exists(level)) {
        rectangle(out, "fill", SCALE_MIN_DBFS, level, 11, 6);
        upright(out, "needle", level, 2, 26);
    }
    upright(out, "limit", limit, 4, 24);
    if (tp_exists(peak))
        upright(out, "peak", peak, 6, 22);
    scale(out);
    fputs("</svg><p>", out);
    working_words(out, level, min, max);
    if (peak_channel != NULL)
        peak_words(out, peak, limit);
    fputs("</p></div>\n", out);
}
