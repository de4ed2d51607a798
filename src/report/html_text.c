/* SPDX-License-Identifier: MIT */
#include "report/html.h"
#include "report/terminal.h"

#include <inttypes.h>
#include <openssl/evp.h>
#include <string.h>

static bool is_noncharacter(uint32_t p)
{
    return (p & 0xFFFE) == 0xFFFE || (p >= 0xFDD0 && p <= 0xFDEF);
}

/* What changes the order of the text around it or ends a line; joiners and marks that scripts need are left alone. */
static bool is_override(uint32_t p)
{
    return (p >= 0x202A && p <= 0x202E) || (p >= 0x2066 && p <= 0x2069) || p == 0x2028 || p == 0x2029;
}

static void put_point(FILE *out, uint32_t point, const char *bytes, size_t length)
{
    switch (point) {
    case '&': fputs("&amp;", out); return;
    case '<': fputs("&lt;", out); return;
    case '>': fputs("&gt;", out); return;
    case '"': fputs("&quot;", out); return;
    case '\'': fputs("&#39;", out); return;
    case '\t':
    case '\n': putc((int)point, out); return;
    default: break;
    }
    if (point < 0x20)
        fprintf(out, "\xE2\x90%c", (int)(0x80 + point));
    else if (point == 0x7F)
        fputs("\xE2\x90\xA1", out);
    else if (point < 0xA0 && point >= 0x80)
        fputs("\xEF\xBF\xBD", out);
    else if (is_noncharacter(point))
        fputs("\xEF\xBF\xBD", out);
    else if (is_override(point))
        fprintf(out, "[U+%04" PRIX32 "]", point);
    else
        fwrite(bytes, 1, length, out);
}

void tp_html_text_cut(FILE *out, const char *text, size_t characters)
{
    size_t left = strlen(text);
    for (size_t count = 0; left > 0; count++) {
        if (count == characters) {
            fputs("\xE2\x80\xA6", out);
            return;
        }
        size_t length = tp_utf8_length(text, left);
        if (length == 0) {
            fputs("\xEF\xBF\xBD", out);
            length = 1;
        } else {
            put_point(out, tp_utf8_code_point(text, length), text, length);
        }
        text += length;
        left -= length;
    }
}

void tp_html_text(FILE *out, const char *text)
{
    tp_html_text_cut(out, text, TP_HTML_CHARACTERS_MAX);
}

void tp_html_name(FILE *out, const char *text)
{
    fputs("<bdi>", out);
    tp_html_text(out, text);
    fputs("</bdi>", out);
}

void tp_html_words(FILE *out, struct tp_text *words)
{
    if (words->length > 0)
        tp_html_text(out, words->bytes);
    tp_text_clear(words);
}

void tp_html_number(FILE *out, double value, int decimals)
{
    char number[TP_NUMBER_SIZE];
    tp_number_text(number, value, decimals);
    if (number[0] == '\0')
        fputs("\xE2\x80\x93", out);
    else if (number[0] == '-')
        fprintf(out, "\xE2\x88\x92%s", number + 1);
    else
        fputs(number, out);
}

void tp_html_fact(FILE *out, const char *name, const char *value)
{
    if (value[0] == '\0')
        return;
    fputs("<div><dt>", out);
    tp_html_text_cut(out, name, 200);
    fputs("</dt><dd><bdi>", out);
    tp_html_text_cut(out, value, 2000);
    fputs("</bdi></dd></div>\n", out);
}

void tp_html_level(FILE *out, double level)
{
    tp_html_number(out, tp_words_level(level), 1);
}

void tp_html_base64(FILE *out, const uint8_t *bytes, size_t size)
{
    unsigned char text[4097];
    while (size > 0) {
        size_t part = size < 3072 ? size : 3072;
        fwrite(text, 1, (size_t)EVP_EncodeBlock(text, bytes, (int)part), out);
        bytes += part;
        size -= part;
    }
}

const char *tp_html_verdict_word(enum tp_verdict verdict)
{
    switch (verdict) {
    case TP_VERDICT_PASS: return "Pass";
    case TP_VERDICT_LISTEN: return "Listen";
    case TP_VERDICT_FAIL: return "Fail";
    }
    return "";
}

enum tp_verdict tp_html_severity_verdict(enum tp_severity severity)
{
    switch (severity) {
    case TP_NOTE: return TP_VERDICT_PASS;
    case TP_LISTEN: return TP_VERDICT_LISTEN;
    case TP_FAIL: return TP_VERDICT_FAIL;
    }
    return TP_VERDICT_FAIL;
}

void tp_html_mark(FILE *out, enum tp_verdict verdict)
{
    fprintf(out,
            "<svg class=\"mark %s\" aria-hidden=\"true\" width=\"20\" height=\"20\"><use href=\"#mark-%s\"/></svg>",
            tp_verdict_name(verdict), tp_verdict_name(verdict));
}

const struct tp_channel *tp_html_channel(const struct tp_report *report, size_t file, uint32_t channel)
{
    if (file >= report->file_count)
        return NULL;
    const struct tp_file *f = &report->files[file];
    return f->channels != NULL && channel < f->channel_count ? &f->channels[channel] : NULL;
}
