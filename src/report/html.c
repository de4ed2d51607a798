/* SPDX-License-Identifier: MIT */
/* The page as a whole: head, verdict, and the order of the parts. */
#include "report/html.h"
#include "base/io.h"
#include "report/terminal.h"
#include "result.h"

#include <ctype.h>
#include <inttypes.h>
#include <openssl/evp.h>
#include <string.h>
#include <takeproof/takeproof.h>

/* A page of this many points stays near 4 MB, whatever the number of takes. */
#define WAVE_POINTS_MAX 350000
#define WAVE_BINS_MIN 64

static unsigned choose_bins(const struct tp_report *report)
{
    size_t channels = 0;
    for (size_t i = 0; i < report->file_count; i++)
        channels += report->files[i].channels != NULL ? report->files[i].channel_count : 0;
    size_t bins = channels > 0 ? WAVE_POINTS_MAX / channels : TP_OVERVIEW_BINS_MAX;
    if (bins > TP_OVERVIEW_BINS_MAX)
        bins = TP_OVERVIEW_BINS_MAX;
    return bins < WAVE_BINS_MIN ? WAVE_BINS_MIN : (unsigned)bins;
}

/* 'sha256-…' of a style or script for the content security policy (CSP level 3). Without the digest the policy allows
 * nothing, and the page still reads as plain HTML. */
static void source_hash(const struct tp_page *page, const char *text)
{
    unsigned char digest[EVP_MAX_MD_SIZE], base64[EVP_MAX_MD_SIZE * 2];
    unsigned int size = 0;
    if (EVP_Digest(text, strlen(text), digest, &size, EVP_sha256(), NULL) != 1) {
        fputs("'none'", page->out);
        *page->lost = true;
        return;
    }
    EVP_EncodeBlock(base64, digest, (int)size);
    fprintf(page->out, "'sha256-%s'", (const char *)base64);
}

static void title(const struct tp_page *page)
{
    const struct tp_spec *spec = &page->report->spec;
    fputs("<title>", page->out);
    if (spec->title[0] != '\0') {
        tp_html_text_cut(page->out, spec->title, 80);
        fputs(", ", page->out);
    }
    if (spec->roll[0] != '\0') {
        fputs("roll ", page->out);
        tp_html_text_cut(page->out, spec->roll, 40);
        fputs(", ", page->out);
    }
    struct tp_text words = {.lost = page->lost};
    tp_words_title(page->report, &words);
    fputs("take report: ", page->out);
    tp_html_words(page->out, &words);
    fputs("</title>\n", page->out);
}

/* A CSS string: every character that is not a plain letter, digit or space is written by its number, and the space that
 * ends a number is no part of the text (CSS Syntax, 4.3.7). */
static void css_text(struct tp_text *css, const char *text)
{
    size_t left = strlen(text);
    for (size_t count = 0; left > 0 && count < 60; count++) {
        size_t length = tp_utf8_length(text, left);
        uint32_t point = length > 0 ? tp_utf8_code_point(text, length) : 0xFFFD;
        bool is_plain = point < 0x80 && (isalnum((int)point) || point == ' ');
        if (is_plain)
            tp_text_append(css, text, 1);
        else
            tp_text_format(css, "\\%06" PRIX32 " ", point);
        text += length > 0 ? length : 1;
        left -= length > 0 ? length : 1;
    }
}

/* The style, and on paper what stands at the head and foot of each page. */
static void style_of(const struct tp_page *page, struct tp_text *css)
{
    const struct tp_spec *spec = &page->report->spec;
    tp_text_add(css, tp_html_style());
    tp_text_add(css, "@page { margin: 16mm 12mm; @top-left { content: \"");
    css_text(css, spec->title);
    tp_text_add(css, spec->title[0] != '\0' && spec->roll[0] != '\0' ? ", roll " : "");
    css_text(css, spec->roll);
    tp_text_add(css, "\"; font: 8pt sans-serif; } @top-right { content: \"Take report: ");
    struct tp_text order = {.lost = page->lost};
    tp_words_title(page->report, &order);
    css_text(css, order.failed ? "" : order.bytes);
    tp_text_clear(&order);
    tp_text_add(
        css,
        "\"; font: bold 8pt sans-serif; } @bottom-right { content: \"page \" counter(page) \" of \" counter(pages); "
        "font: 8pt sans-serif; } @bottom-left { content: \"");
    css_text(css, page->report->made);
    tp_text_add(css, "\"; font: 8pt sans-serif; } }\n");
}

static void head(const struct tp_page *page)
{
    struct tp_text css = {.lost = page->lost};
    style_of(page, &css);
    const char *style = css.failed ? "" : css.bytes;
    FILE *out = page->out;
    fputs("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
          "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; media-src data: file: 'self'; "
          "style-src ",
          out);
    source_hash(page, style);
    fputs("; script-src ", out);
    source_hash(page, tp_html_script());
    fputs("; base-uri 'none'; form-action 'none'\">\n"
          "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
          "<meta name=\"color-scheme\" content=\"light dark\">\n",
          out);
    title(page);
    fprintf(out, "<style>%s</style>\n</head>\n", style);
    tp_text_clear(&css);
}

static void production_field(FILE *out, const char *name, const char *value)
{
    if (value[0] == '\0')
        return;
    fprintf(out, "<div><dt>%s</dt><dd>", name);
    tp_html_name(out, value);
    fputs("</dd></div>\n", out);
}

/* RFC 3339 as people write it: 2031-03-14 18:05 UTC. Anything else is shown as it is. */
static void made_field(const struct tp_page *page)
{
    const char *made = page->report->made;
    char words[24];
    bool is_utc = strlen(made) == 20 && made[10] == 'T' && made[16] == ':' && made[19] == 'Z';
    if (is_utc)
        snprintf(words, sizeof words, "%.10s %.5s UTC", made, made + 11);
    production_field(page->out, "Report made", is_utc ? words : made);
}

/* Of several cards with the manifest that is its own. */
static void source_field(const struct tp_page *page, size_t source)
{
    const struct tp_report *report = page->report;
    fprintf(page->out, "<div><dt>%s</dt><dd>", source == 0 ? "Source" : "and");
    tp_html_name(page->out, report->sources[source]);
    if (report->source_count > 1)
        fprintf(page->out, " <small>(manifest-%zu.%s)</small>", source + 1,
                tp_hash_kinds[tp_report_manifest_hash(report, source)].key);
    fputs("</dd></div>\n", page->out);
}

static void banner(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    FILE *out = page->out;
    fputs("<header>\n<p class=\"production\">", out);
    if (report->spec.title[0] != '\0')
        tp_html_name(out, report->spec.title);
    else
        fputs("Take report", out);
    fputs("</p>\n<dl class=\"facts\">\n", out);
    production_field(out, "Roll", report->spec.roll);
    production_field(out, "Date", report->spec.date);
    production_field(out, "Recordist", report->spec.recordist);
    for (size_t i = 0; i < report->source_count; i++)
        source_field(page, i);
    made_field(page);
    fputs("</dl>\n</header>\n", out);
}

static void tally(FILE *out, size_t count, enum tp_verdict verdict, const char *words)
{
    fputs("<li>", out);
    tp_html_mark(out, verdict);
    fprintf(out, " <b>%zu</b> %s</li>\n", count, words);
}

static void next_step(FILE *out, const char *words)
{
    if (words[0] == '\0')
        return;
    fputs("<p class=\"next\"><b>Next:</b> ", out);
    tp_html_text(out, words);
    fputs("</p>\n", out);
}

/* With a capital and a full stop. */
static void sentence(struct tp_text *words)
{
    if (words->length == 0)
        return;
    if (words->bytes[0] >= 'a' && words->bytes[0] <= 'z')
        words->bytes[0] = (char)(words->bytes[0] - 'a' + 'A');
    tp_words_stop(words);
}

static void big_mark(FILE *out, enum tp_verdict verdict)
{
    fprintf(out,
            "<svg class=\"mark big %s\" aria-hidden=\"true\" width=\"76\" height=\"76\"><use "
            "href=\"#mark-%s\"/></svg>\n<div>\n",
            tp_verdict_name(verdict), tp_verdict_name(verdict));
}

/* What is behind the headline: how many takes, of what length, and what to do. */
static void takes_facts(const struct tp_page *page, const char *next)
{
    const struct tp_report *report = page->report;
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    fputs("<ul class=\"tally\">\n", out);
    tally(out, report->summary.fail, TP_VERDICT_FAIL, "fail");
    tally(out, report->summary.listen, TP_VERDICT_LISTEN, "to listen to");
    tally(out, report->summary.pass, TP_VERDICT_PASS, "pass");
    fputs("</ul>\n<p>", out);
    tp_words_totals(report, &words);
    /* The tally above already says what stands behind the colon. */
    char *colon = words.failed ? NULL : strrchr(words.bytes, ':');
    if (colon != NULL)
        *colon = '\0';
    tp_html_text(out, words.failed ? "" : words.bytes);
    tp_text_clear(&words);
    fputs(".</p>\n", out);
    next_step(out, next);
}

static void verdict_of_check(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost}, next = {.lost = page->lost};
    fprintf(out, "<section class=\"verdict %s\" aria-labelledby=\"verdict-title\">\n",
            tp_verdict_name(tp_words_takes_verdict(report)));
    big_mark(out, tp_words_takes_verdict(report));
    if (tp_words_takes_alone(report)) {
        fputs("<h1 id=\"verdict-title\">", out);
        tp_words_takes(report, &words);
        tp_html_words(out, &words);
        fputs("</h1>\n", out);
    } else {
        fprintf(out, "<h1 id=\"verdict-title\">%s</h1>\n<p class=\"ground\">", tp_words_order(report));
        if (report->summary.takes > 0 && report->verdict == TP_VERDICT_PASS)
            tp_text_add(&words, tp_words_copies_first(report));
        else
            tp_words_takes(report, &words);
        tp_html_words(out, &words);
        fputs(".</p>\n", out);
    }
    tp_words_next_step(report, &next);
    takes_facts(page, next.length > 0 ? next.bytes : "");
    tp_text_clear(&next);
    fputs("</div>\n</section>\n", out);
}

/* Ends the section. */
static void takes_half(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    enum tp_verdict takes = tp_words_takes_verdict(report);
    fprintf(out, "<div class=\"half %s\">\n", tp_verdict_name(takes));
    big_mark(out, takes);
    fputs("<p class=\"order\">", out);
    tp_words_takes(report, &words);
    tp_html_words(out, &words);
    fputs("</p>\n", out);
    takes_facts(page, tp_words_takes_step(report));
    fputs("</div>\n</div>\n</section>\n", out);
}

/* The card and the takes are two answers, each with its own mark: neither may be taken for the other. */
static void verdict_of_handoff(const struct tp_page *page, const struct tp_handoff *handoff)
{
    const struct tp_report *report = page->report;
    enum tp_verdict card = tp_words_handoff_verdict(handoff), takes = tp_words_takes_verdict(report);
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    fprintf(out, "<section class=\"verdict two %s\" aria-labelledby=\"verdict-title\">\n<div class=\"half %s\">\n",
            tp_verdict_name(card > takes ? card : takes), tp_verdict_name(card));
    big_mark(out, card);
    fprintf(out, "<h1 id=\"verdict-title\">%s</h1>\n<p class=\"ground\">", tp_words_order(report));
    tp_words_copies(handoff, &words);
    sentence(&words);
    tp_html_words(out, &words);
    fputs("</p>\n", out);
    if (handoff->caution != NULL) {
        fputs("<p><b>Note:</b> ", out);
        tp_html_name(out, handoff->caution);
        fputs(".</p>\n", out);
    }
    next_step(out, tp_words_copies_step(report));
    fputs("</div>\n</div>\n", out);
    takes_half(page);
}

/* The folder in hand and what left the set; then the takes. */
static void verdict_of_comparison(const struct tp_page *page)
{
    const struct tp_report *report = page->report;
    enum tp_verdict compared = report->compared_verdict, takes = tp_words_takes_verdict(report);
    FILE *out = page->out;
    fprintf(out, "<section class=\"verdict two %s\" aria-labelledby=\"verdict-title\">\n<div class=\"half %s\">\n",
            tp_verdict_name(compared > takes ? compared : takes), tp_verdict_name(compared));
    big_mark(out, compared);
    fputs("<h1 id=\"verdict-title\">", out);
    tp_html_name(out, report->compared);
    fputs("</h1>\n</div>\n</div>\n", out);
    takes_half(page);
}

static void destination_item(const struct tp_page *page, const struct tp_handoff *handoff,
                             const struct tp_handoff_destination *destination)
{
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    fputs("<li>", out);
    tp_html_mark(out, tp_words_destination_verdict(destination));
    fputs(" <b>", out);
    tp_html_name(out, destination->path);
    fputs("</b>: ", out);
    tp_words_destination(handoff, destination, &words);
    tp_html_words(out, &words);
    if (destination->message != NULL) {
        fputs("; ", out);
        tp_html_name(out, destination->message);
    }
    fputs(".</li>\n", out);
}

static void copies(const struct tp_page *page, const struct tp_handoff *handoff)
{
    FILE *out = page->out;
    struct tp_text words = {.lost = page->lost};
    bool lacks = false;
    fputs("<section id=\"copies\" aria-labelledby=\"copies-title\">\n<h2 id=\"copies-title\">Copies</h2>\n<p>", out);
    tp_words_plural(handoff->file_count, "file", "files", &words);
    tp_text_add(&words, " on the card, sound or not; ");
    tp_words_plural(handoff->copies_wanted, "verified copy", "verified copies", &words);
    tp_text_add(&words, " of each wanted. A file counts as verified when it was read back and had the checksum of what "
                        "was read from the card.");
    tp_html_words(out, &words);
    fputs("</p>\n<ul class=\"copies\">\n", out);
    for (size_t i = 0; i < handoff->destination_count; i++) {
        destination_item(page, handoff, &handoff->destinations[i]);
        lacks = lacks || handoff->destinations[i].failed > 0;
    }
    fputs("</ul>\n", out);
    if (lacks)
        fputs("<p>The record of the offload, <code>offload.json</code>, names each file and what became of it.</p>\n",
              out);
    fputs("</section>\n", out);
}

static void ways(FILE *out, bool has_copies, bool has_takes)
{
    fputs("<nav aria-label=\"Parts of this report\"><ul>\n", out);
    if (has_copies)
        fputs("<li><a href=\"#copies\">Copies</a></li>\n", out);
    fputs("<li><a href=\"#attention\">Needs attention</a></li>\n<li><a href=\"#takes\">Takes</a></li>\n", out);
    if (has_takes)
        fputs("<li><a href=\"#details\">Take by take</a></li>\n", out);
    fputs("<li><a href=\"#files\">Files</a></li>\n<li><a href=\"#spec\">Spec</a></li>\n"
          "<li><a href=\"#others\">Not checked</a></li>\n<li><a href=\"#cautions\">Cautions</a></li>\n</ul></nav>\n",
          out);
}

enum tp_status tp_report_write_html(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    bool lost = false;
    struct tp_page page = {.out = out, .report = report, .lost = &lost, .wave_bins = choose_bins(report)};
    head(&page);
    fputs("<body>\n<a class=\"skip\" href=\"#main\">Skip to the verdict</a>\n", out);
    tp_html_definitions(out);
    banner(&page);
    fputs("<main id=\"main\">\n", out);
    if (report->handoff != NULL)
        verdict_of_handoff(&page, report->handoff);
    else if (report->compared != NULL)
        verdict_of_comparison(&page);
    else
        verdict_of_check(&page);
    ways(out, report->handoff != NULL, report->take_count > 0);
    if (report->handoff != NULL)
        copies(&page, report->handoff);
    tp_html_attention(&page);
    tp_html_takes(&page);
    tp_html_details(&page);
    tp_html_files(&page);
    tp_html_spec(&page);
    tp_html_others(&page);
    tp_html_cautions(&page);
    fputs("</main>\n<footer><p>Measured and written by takeproof ", out);
    tp_html_text(out, report->version);
    fputs(". What each finding means: <code>takeproof explain</code> and its code.</p></footer>\n<script>", out);
    fputs(tp_html_script(), out);
    fputs("</script>\n</body>\n</html>\n", out);
    return tp_written(out, lost, "the report page", error);
}
