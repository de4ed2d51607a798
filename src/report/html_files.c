/* SPDX-License-Identifier: MIT */
/* The reference part: files with format, loudness and hashes, the spec in force, what was not checked, cautions. */
#include "report/html.h"

#include "result.h"

#include <inttypes.h>

static void level(FILE *out, const char *name, double value, const char *unit)
{
    fprintf(out, "%s ", name);
    tp_html_level(out, value);
    fprintf(out, " %s", unit);
}

static void metadata_words(const struct tp_file *file, struct tp_text *words)
{
    if (file->bext == NULL && file->ixml == NULL)
        tp_text_add(words, ", no bext, no iXML");
    else
        tp_text_format(words, ", %s",
                       file->bext == NULL   ? "no bext, iXML"
                       : file->ixml == NULL ? "bext, no iXML"
                                            : "bext and iXML");
}

static void checksums(FILE *out, const struct tp_file *file)
{
    const char *start = "<p class=\"hash\">", *end = "";
    if (tp_file_strongest_hash(file)[0] == '\0') {
        fprintf(out, "%sNo checksum: the file could not be read to its end.</p>", start);
        return;
    }
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        const char *hex = tp_file_hash(file, hash);
        if (hex[0] == '\0')
            continue;
        fprintf(out, "%s%s <code>%s</code>%s", start, tp_hash_kinds[hash].name, hex, end);
        start = " <span>";
        end = "</span>";
    }
    fputs("</p>", out);
}

static void file_item(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    fputs("<li><p class=\"what\">", out);
    tp_html_mark(out, file->verdict);
    fputs(" <b>", out);
    tp_html_name(out, file->path);
    fprintf(out, "</b> <span class=\"word\">%s</span></p>\n<p>", tp_html_verdict_word(file->verdict));
    if (page->report->source_count > 1 && file->source < page->report->source_count) {
        fputs("From ", out);
        tp_html_name(out, page->report->sources[file->source]);
        fputs(": ", out);
    }
    tp_words_format(file, &words);
    metadata_words(file, &words);
    tp_text_add(&words, ", ");
    tp_words_count(file->bytes, &words);
    tp_text_add(&words, file->bytes == 1 ? " byte" : " bytes");
    tp_html_words(out, &words);
    if (file->take < page->report->take_count)
        fprintf(out, "<span class=\"way\">; <a href=\"#take-%zu\">its take</a></span>", file->take + 1);
    fputs(".</p>\n", out);
    if (file->channels != NULL) {
        fputs("<p>Programme: ", out);
        level(out, "integrated", file->programme.integrated_lufs, "LUFS");
        level(out, ", range", file->programme.loudness_range_lu, "LU");
        level(out, ", true peak", file->programme.true_peak_max_dbtp, "dBTP");
        level(out, ", sample peak", file->programme.sample_peak_max_dbfs, "dBFS");
        fputs(".</p>\n", out);
    }
    checksums(out, file);
    tp_html_inside(page, file);
    fputs("</li>\n", out);
}

void tp_html_files(const struct tp_page *page)
{
    fputs("<section id=\"files\" aria-labelledby=\"files-title\">\n<h2 id=\"files-title\">Files and checksums</h2>\n",
          page->out);
    if (page->report->file_count == 0)
        fputs("<p>None.</p>\n", page->out);
    else
        fputs("<ul class=\"files\">\n", page->out);
    for (size_t i = 0; i < page->report->file_count; i++)
        file_item(page, &page->report->files[i]);
    fputs(page->report->file_count == 0 ? "</section>\n" : "</ul>\n</section>\n", page->out);
}

static void spec_row(FILE *out, const char *name, struct tp_text *value)
{
    fprintf(out, "<tr><th scope=\"row\">%s</th><td><bdi>", name);
    tp_html_words(out, value);
    fputs("</bdi></td></tr>\n", out);
}

static void add_any(struct tp_text *text, uint32_t value, const char *unit)
{
    if (value == 0)
        tp_text_add(text, "any");
    else
        tp_words_count(value, text);
    tp_text_add(text, value == 0 ? "" : unit);
}

static void add_range(struct tp_text *text, double from, double to, const char *unit)
{
    tp_text_number(text, tp_words_level(from), 1, "");
    tp_text_add(text, " to ");
    tp_text_number(text, tp_words_level(to), 1, "");
    tp_text_add(text, unit);
}

static void spec_format(const struct tp_page *page, const struct tp_spec *spec)
{
    FILE *out = page->out;
    struct tp_text text = {.lost = page->lost};
    add_any(&text, spec->sample_rate_hz, " Hz");
    spec_row(out, "Sample rate", &text);
    add_any(&text, spec->bit_depth, " bit");
    spec_row(out, "Bit depth", &text);
    tp_text_add(&text, tp_words_encoding(spec->encoding));
    spec_row(out, "Encoding", &text);
    tp_text_add(&text, tp_words_container(spec->container));
    spec_row(out, "File type", &text);
    add_any(&text, spec->channel_count, "");
    spec_row(out, "Channels", &text);
    tp_text_add(&text, spec->require_bext ? "bext required" : "bext not required");
    tp_text_add(&text, spec->require_ixml ? ", iXML required" : ", iXML not required");
    spec_row(out, "Metadata", &text);
    tp_words_rate(spec->timecode_rate, &text);
    if (text.length == 0)
        tp_text_add(&text, "any");
    spec_row(out, "Timecode rate", &text);
    tp_text_add(&text, spec->pattern[0] != '\0' ? spec->pattern : "any");
    spec_row(out, "File names", &text);
}

static void spec_levels(const struct tp_page *page, const struct tp_spec *spec)
{
    FILE *out = page->out;
    struct tp_text text = {.lost = page->lost};
    add_range(&text, spec->working_level_min_dbfs, spec->working_level_max_dbfs, " dBFS on the main");
    spec_row(out, "Working level", &text);
    tp_text_number(&text, tp_words_level(spec->true_peak_max_dbtp), 1, "");
    tp_text_add(&text, " dBTP at most on the channel to use");
    spec_row(out, "True peak", &text);
    tp_text_number(&text, tp_words_level(spec->noise_floor_max_dbfs), 1, "");
    tp_text_add(&text, " dBFS at most");
    spec_row(out, "Noise floor", &text);
    tp_text_number(&text, tp_number_round(spec->dc_offset_max, TP_DC_DECIMALS), 4, "");
    tp_text_add(&text, " of full scale at most");
    spec_row(out, "DC offset", &text);
    tp_text_add(&text, spec->pair == TP_PAIR_REQUIRED ? "required: "
                       : spec->pair == TP_PAIR_OFF    ? "not looked for; "
                                                      : "");
    add_range(&text, spec->safety_below_min_db, spec->safety_below_max_db, " dB under the main");
    spec_row(out, "Safety", &text);
    tp_text_number(&text, tp_words_time(spec->duration_min_s), 1, "");
    tp_text_add(&text, " s at least");
    spec_row(out, "Length", &text);
    tp_text_add(&text, spec->low_cut ? "on" : "off");
    spec_row(out, "Low cut", &text);
}

static void spec_table(const struct tp_page *page, const struct tp_spec *spec, const char *source)
{
    fputs("<table class=\"spec\"><caption>What every file ", page->out);
    if (source != NULL) {
        fputs("of ", page->out);
        tp_html_name(page->out, source);
        fputs(" ", page->out);
    }
    fputs("was checked against.</caption>"
          "<thead><tr><th scope=\"col\">What</th><th scope=\"col\">Agreed</th></tr></thead><tbody>\n",
          page->out);
    spec_format(page, spec);
    spec_levels(page, spec);
    fputs("</tbody></table>\n", page->out);
}

void tp_html_spec(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    fputs("<section id=\"spec\" aria-labelledby=\"spec-title\">\n<h2 id=\"spec-title\">The spec in force</h2>\n",
          page->out);
    if (report->source_spec_count == 0)
        spec_table(page, &report->spec, NULL);
    for (size_t i = 0; i < report->source_spec_count; i++)
        spec_table(page, &report->source_specs[i], report->sources[i]);
    fputs("</section>\n", page->out);
}

void tp_html_others(const struct tp_page *page)
{
    FILE *out = page->out;
    fputs("<section id=\"others\" aria-labelledby=\"others-title\">\n"
          "<h2 id=\"others-title\">What was not checked, and why</h2>\n",
          out);
    if (page->report->other_count == 0)
        fputs("<p>Nothing: every file there is was checked.</p>\n", out);
    else
        fputs("<table class=\"others\"><caption>Also on the source.</caption><thead><tr><th scope=\"col\">Name</th>"
              "<th scope=\"col\">Size</th><th scope=\"col\">Why</th></tr></thead><tbody>\n",
              out);
    for (size_t i = 0; i < page->report->other_count; i++) {
        const struct tp_other *other = &page->report->others[i];
        struct tp_text size = {.lost = page->lost};
        fputs("<tr><th scope=\"row\">", out);
        tp_html_name(out, other->path);
        fputs("</th><td>", out);
        tp_words_bytes(other->bytes, &size);
        tp_html_words(out, &size);
        fputs("</td><td>", out);
        tp_html_name(out, other->why);
        fputs("</td></tr>\n", out);
    }
    fputs(page->report->other_count == 0 ? "</section>\n" : "</tbody></table>\n</section>\n", out);
}

void tp_html_cautions(const struct tp_page *page)
{
    fputs(
        "<section id=\"cautions\" aria-labelledby=\"cautions-title\">\n<h2 id=\"cautions-title\">Cautions</h2>\n<ul>\n"
        "<li><b>Headphones:</b> turn the level down before you start to play; clipped and spliced spots are loud, and "
        "long listening at high level harms the hearing.</li>\n"
        "<li><b>Phantom power:</b> a test recording cannot show it. Mute the channel before it is switched, wait until "
        "it has "
        "settled, and keep it off for microphones that do not want it, such as most ribbons.</li>\n"
        "<li><b>The ear decides:</b> these checks find damage that can be measured. They do not hear a plane, a "
        "rustling lavalier or a wrong word.</li>\n",
        page->out);
    if (page->report->handoff == NULL)
        fputs("<li><b>A pass is not a copy:</b> the card is the only one until two copies have been read back and "
              "compared.</li>\n",
              page->out);
    fputs("</ul>\n</section>\n", page->out);
}
