/* SPDX-License-Identifier: MIT */
/*
 * report.html: one self-contained file. This header is shared by the parts of the page; only html.c knows their order.
 *
 * Safety: every text that comes from a file goes through tp_html_text() or tp_html_name(); the page carries a content
 * security policy that allows our own style and script by hash and nothing else, so that a slip in escaping still
 * cannot run anything or fetch anything. No inline style or event attributes are used.
 * Every number goes through the rounding of report.json (see words.h).
 */
#ifndef TP_REPORT_HTML_H
#define TP_REPORT_HTML_H

#include "report/words.h"

#include <stdio.h>

struct tp_page {
    FILE *out;
    const struct tp_report *report;
    bool *lost;         /* as in struct tp_text: every text of the page sets it */
    unsigned wave_bins; /* bins drawn a channel: chosen so that a large report stays small */
};

/* Longer texts end in an ellipsis on the page; report.json has them whole. */
#define TP_HTML_CHARACTERS_MAX 4000

/* Text for element content and for double-quoted attributes. Controls become control pictures, bytes that are no UTF-8
 * and non-characters U+FFFD, bidirectional overrides "[U+202E]". */
void tp_html_text(FILE *out, const char *text);
/* At most `characters` code points, then an ellipsis. */
void tp_html_text_cut(FILE *out, const char *text, size_t characters);
/* A text from a file in its own direction: <bdi>…</bdi>. */
void tp_html_name(FILE *out, const char *text);
/* One entry of a list of facts (dl.facts), at most 2,000 characters of it; nothing for an empty value. `name` is ours
 * or a text from a file. */
void tp_html_fact(FILE *out, const char *name, const char *value);
/* Writes what was put together with the functions of words.h, and empties it. */
void tp_html_words(FILE *out, struct tp_text *words);
/* With a real minus sign; an absent level is an en dash. */
void tp_html_number(FILE *out, double value, int decimals);
/* A level as report.json has it, one decimal. */
void tp_html_level(FILE *out, double level);
/* RFC 4648, without line breaks. */
void tp_html_base64(FILE *out, const uint8_t *bytes, size_t size);
/* The shape of a verdict, hidden from screen readers: the word always stands beside it. */
void tp_html_mark(FILE *out, enum tp_verdict verdict);
const char *tp_html_verdict_word(enum tp_verdict verdict); /* "Pass" … */
enum tp_verdict tp_html_severity_verdict(enum tp_severity severity);

/* html_table.c */
void tp_html_attention(const struct tp_page *page);
void tp_html_takes(const struct tp_page *page);
/* html_take.c */
void tp_html_details(const struct tp_page *page);
/* html_wave.c: figure of one signal; `number` is its place in the take. */
void tp_html_signal(const struct tp_page *page, const struct tp_take *take, const struct tp_signal *signal);
/* Patterns and symbols that the drawings refer to; once a page. */
void tp_html_definitions(FILE *out);
/* html_level.c: level bar against the spec's window, with its words. `peak_channel` is the channel to use, or NULL. */
void tp_html_level_bar(const struct tp_page *page, const struct tp_spec *spec, const struct tp_channel *level_channel,
                       const struct tp_channel *peak_channel);
/* html_sound.c: hidden until the script makes players of them. `tp_html_sounds` lists the files of a take. */
void tp_html_sound_tools(const struct tp_page *page);
void tp_html_sounds(const struct tp_page *page, const struct tp_take *take);
/* html_files.c */
void tp_html_files(const struct tp_page *page);
/* html_inside.c: what the file says about itself: bext, iXML, markers, texts and the chunks, closed at first. */
void tp_html_inside(const struct tp_page *page, const struct tp_file *file);
void tp_html_spec(const struct tp_page *page);
void tp_html_others(const struct tp_page *page);
void tp_html_cautions(const struct tp_page *page);

/* html_assets.c: the texts of report.css and report.js. */
const char *tp_html_style(void);
const char *tp_html_script(void);

/* The channel a reference names; NULL when it was not measured. */
const struct tp_channel *tp_html_channel(const struct tp_report *report, size_t file, uint32_t channel);

#endif
