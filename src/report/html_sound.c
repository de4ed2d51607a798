/* SPDX-License-Identifier: MIT */
/*
 * Where the recordings lie, for players that the script makes when the reader asks for them. The report is written
 * before anyone knows where it will stand, so the page holds relative paths and the script looks in four places:
 * beside the report and one folder up, with and without the name of the source.
 */
#include "report/html.h"

#include "base/text.h"

#include <inttypes.h>
#include <string.h>

/* RFC 3986: everything but unreserved characters is written as %XX, so that a name can be no scheme, query or
 * fragment, and needs no escaping in an attribute. */
static void url_part(FILE *out, const char *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        unsigned char byte = (unsigned char)bytes[i];
        bool is_unreserved = (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') ||
                             (byte >= '0' && byte <= '9') || (byte != '\0' && strchr("-._~", byte) != NULL);
        if (is_unreserved)
            fputc(byte, out);
        else
            fprintf(out, "%%%02X", byte);
    }
}

static size_t part_length(const char *path)
{
    const char *slash = strchr(path, '/');
    return slash != NULL ? (size_t)(slash - path) : strlen(path);
}

static bool is_plain_part(const char *part, size_t length)
{
    bool has_dots_alone = strspn(part, ".") >= length && length <= 2;
    return length > 0 && !has_dots_alone;
}

/* Paths of a report that somebody else wrote may lead anywhere: only those that go down get a player. */
static bool leads_down(const char *path)
{
    while (true) {
        size_t length = part_length(path);
        if (!is_plain_part(path, length))
            return false;
        if (path[length] == '\0')
            return true;
        path += length + 1;
    }
}

static void url_path(FILE *out, const char *path)
{
    while (true) {
        size_t length = part_length(path);
        url_part(out, path, length);
        if (path[length] == '\0')
            return;
        fputc('/', out);
        path += length + 1;
    }
}

/* The last part of a source, in the form of a link; "." when it has none. */
static void source_name(FILE *out, const char *source)
{
    size_t end = strlen(source);
    while (end > 0 && source[end - 1] == '/')
        end--;
    size_t start = end;
    while (start > 0 && source[start - 1] != '/')
        start--;
    if (is_plain_part(source + start, end - start))
        url_part(out, source + start, end - start);
    else
        fputc('.', out);
}

void tp_html_sound_tools(const struct tp_page *page)
{
    FILE *out = page->out;
    fputs("<div class=\"tools sound-tools\" id=\"sound-tools\" data-sources=\"", out);
    for (size_t i = 0; i < page->report->source_count; i++) {
        fputs(i > 0 ? " " : "", out);
        source_name(out, page->report->sources[i]);
    }
    fputs(
        "\" hidden>\n<button type=\"button\" class=\"play\" id=\"sound-look\">Look for the recordings</button>\n"
        "<p id=\"sound-said\" role=\"status\">Where the recordings lie beside this report or one folder up, each take "
        "gets a player, and a press on the time of a finding plays from one second before it.</p>\n</div>\n",
        out);
}

void tp_html_sounds(const struct tp_page *page, const struct tp_take *take)
{
    FILE *out = page->out;
    char length[TP_NUMBER_SIZE];
    fputs("<div class=\"sounds\" hidden>\n", out);
    for (size_t i = 0; i < take->file_count; i++) {
        if (take->files[i] >= page->report->file_count)
            continue;
        const struct tp_file *file = &page->report->files[take->files[i]];
        if (file->channels == NULL || !leads_down(file->path_raw))
            continue;
        fprintf(out, "<div data-file=\"%zu\" data-source=\"%zu\" data-length=\"%s\" data-sound=\"", take->files[i],
                file->source, tp_number_text(length, tp_words_time(file->duration_s), TP_TIME_DECIMALS));
        url_path(out, file->path_raw);
        fputs("\"><p>", out);
        tp_html_name(out, file->path);
        fputs("</p></div>\n", out);
    }
    fputs("</div>\n", out);
}
