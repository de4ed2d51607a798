/* SPDX-License-Identifier: MIT */
#include "read/ixml_edit.h"

#include "base/text.h"

#include <expat.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { DEPTH_MAX = 32, PATH_BYTES = 256 };

/* Byte range of an element: whole [start, end), content [inner_start, inner_end). */
struct range {
    bool found;
    size_t start, inner_start, inner_end, end;
};

struct scan {
    XML_Parser parser;
    const char *text;
    size_t size;
    char path[PATH_BYTES];
    size_t ends[DEPTH_MAX];
    int depth;
    bool failed, no_memory, is_ixml;
    struct range root, file_uid, note, bit_depth, track_list;
    struct range track, track_index; /* of the track being read */
    uint32_t index;                  /* INTERLEAVE_INDEX of it; 0 = none */
    uint32_t wanted;
    struct range kept, kept_index; /* of the wanted track */
    struct tp_text value;
};

static bool path_is(const struct scan *scan, const char *path)
{
    return strcasecmp(scan->path, path) == 0;
}

static struct range *range_of(struct scan *scan)
{
    if (path_is(scan, "/BWFXML"))
        return &scan->root;
    if (path_is(scan, "/BWFXML/FILE_UID"))
        return &scan->file_uid;
    if (path_is(scan, "/BWFXML/NOTE"))
        return &scan->note;
    if (path_is(scan, "/BWFXML/SPEED/AUDIO_BIT_DEPTH"))
        return &scan->bit_depth;
    if (path_is(scan, "/BWFXML/TRACK_LIST"))
        return &scan->track_list;
    if (path_is(scan, "/BWFXML/TRACK_LIST/TRACK"))
        return &scan->track;
    if (path_is(scan, "/BWFXML/TRACK_LIST/TRACK/INTERLEAVE_INDEX"))
        return &scan->track_index;
    return NULL;
}

static void fail(struct scan *scan)
{
    scan->failed = true;
    XML_StopParser(scan->parser, XML_FALSE);
}

static size_t here(const struct scan *scan)
{
    return (size_t)XML_GetCurrentByteIndex(scan->parser);
}

static void XMLCALL on_start(void *user, const XML_Char *name, const XML_Char **attributes)
{
    struct scan *scan = user;
    size_t length = strlen(scan->path), more = strlen(name);
    (void)attributes;
    if (scan->depth >= DEPTH_MAX || length + more + 2 > sizeof scan->path) {
        fail(scan);
        return;
    }
    scan->ends[scan->depth++] = length;
    scan->path[length] = '/';
    memcpy(scan->path + length + 1, name, more + 1);
    scan->is_ixml = scan->is_ixml || path_is(scan, "/BWFXML");
    tp_text_clear(&scan->value);
    struct range *range = range_of(scan);
    if (range == NULL)
        return;
    if (range->found && range != &scan->track && range != &scan->track_index) {
        fail(scan); /* twice: which one is meant cannot be known */
        return;
    }
    size_t start = here(scan), tag = (size_t)XML_GetCurrentByteCount(scan->parser);
    *range = (struct range){.start = start, .inner_start = start + tag};
    if (range == &scan->track) {
        scan->index = 0;
        scan->track_index = (struct range){0};
    }
}

static void XMLCALL on_text(void *user, const XML_Char *text, int length)
{
    struct scan *scan = user;
    if (scan->value.length < 64)
        tp_text_append(&scan->value, text, (size_t)length);
    if (scan->value.failed) {
        scan->no_memory = true;
        fail(scan);
    }
}

static void end_track(struct scan *scan)
{
    if (scan->index != scan->wanted || scan->kept.found)
        return;
    scan->kept = scan->track;
    scan->kept_index = scan->track_index;
}

static void XMLCALL on_end(void *user, const XML_Char *name)
{
    struct scan *scan = user;
    struct range *range = range_of(scan);
    (void)name;
    if (range != NULL) {
        range->found = true;
        range->inner_end = here(scan);
        range->end = range->inner_end + (size_t)XML_GetCurrentByteCount(scan->parser);
        /* An empty tag has no inside to write into. */
        if (range->inner_end < range->inner_start)
            range->inner_end = range->inner_start;
        if (range == &scan->track_index && scan->value.bytes != NULL)
            scan->index = (uint32_t)strtoul(scan->value.bytes, NULL, 10);
        if (range == &scan->track)
            end_track(scan);
    }
    tp_text_clear(&scan->value);
    scan->path[scan->ends[--scan->depth]] = '\0';
}

static void XMLCALL on_doctype(void *user, const XML_Char *name, const XML_Char *system_id, const XML_Char *public_id,
                               int has_internal_subset)
{
    (void)name;
    (void)system_id;
    (void)public_id;
    (void)has_internal_subset;
    fail(user);
}

static bool scan_ranges(struct scan *scan)
{
    scan->parser = XML_ParserCreate(NULL);
    if (scan->parser == NULL) {
        scan->no_memory = true;
        return false;
    }
    XML_SetUserData(scan->parser, scan);
    XML_SetElementHandler(scan->parser, on_start, on_end);
    XML_SetCharacterDataHandler(scan->parser, on_text);
    XML_SetStartDoctypeDeclHandler(scan->parser, on_doctype);
    bool parsed = XML_Parse(scan->parser, scan->text, (int)scan->size, 1) == XML_STATUS_OK;
    scan->no_memory = scan->no_memory || XML_GetErrorCode(scan->parser) == XML_ERROR_NO_MEMORY;
    XML_ParserFree(scan->parser);
    tp_text_clear(&scan->value);
    return parsed && !scan->failed && scan->is_ixml && scan->root.inner_end >= scan->root.inner_start;
}

static void add_escaped(struct tp_text *out, const char *text)
{
    for (; *text != '\0'; text++) {
        unsigned char c = (unsigned char)*text;
        if (c == '<')
            tp_text_add(out, "&lt;");
        else if (c == '>')
            tp_text_add(out, "&gt;");
        else if (c == '&')
            tp_text_add(out, "&amp;");
        else
            tp_text_append(out, c < 0x20 ? " " : c < 0x7F ? text : "?", 1);
    }
}

static void add_element(struct tp_text *out, const char *name, const char *text)
{
    tp_text_format(out, "<%s>", name);
    add_escaped(out, text);
    tp_text_format(out, "</%s>", name);
}

static void copy(struct tp_text *out, const struct scan *scan, size_t from, size_t to)
{
    tp_text_append(out, scan->text + from, to - from);
}

static void add_track_list(struct tp_text *out, const struct scan *scan)
{
    tp_text_format(out, "<TRACK_LIST><TRACK_COUNT>%d</TRACK_COUNT>", scan->kept.found ? 1 : 0);
    if (scan->kept.found) {
        copy(out, scan, scan->kept.start, scan->kept_index.start);
        tp_text_add(out, "<INTERLEAVE_INDEX>1</INTERLEAVE_INDEX>");
        copy(out, scan, scan->kept_index.end, scan->kept.end);
    }
    tp_text_add(out, "</TRACK_LIST>");
}

enum part { PART_FILE_UID, PART_NOTE, PART_BIT_DEPTH, PART_TRACK_LIST, PART_COUNT };

static void write_part(struct tp_text *out, const struct scan *scan, const struct tp_ixml_edit *edit, enum part part)
{
    switch (part) {
    case PART_FILE_UID: add_element(out, "FILE_UID", edit->file_uid); break;
    case PART_NOTE:
        tp_text_add(out, "<NOTE>");
        copy(out, scan, scan->note.inner_start, scan->note.inner_end);
        tp_text_add(out, scan->note.inner_end > scan->note.inner_start ? " / " : "");
        add_escaped(out, edit->note);
        tp_text_add(out, "</NOTE>");
        break;
    case PART_BIT_DEPTH: tp_text_format(out, "<AUDIO_BIT_DEPTH>%u</AUDIO_BIT_DEPTH>", (unsigned)edit->bit_depth); break;
    case PART_TRACK_LIST: add_track_list(out, scan); break;
    case PART_COUNT: break;
    }
}

/* Copies the text, each of the four elements replaced where it stands. */
static void rewrite(struct tp_text *out, const struct scan *scan, const struct tp_ixml_edit *edit)
{
    const struct range *parts[PART_COUNT] = {&scan->file_uid, &scan->note, &scan->bit_depth, &scan->track_list};
    size_t at = 0;
    for (;;) {
        enum part next = PART_COUNT;
        for (enum part p = 0; p < PART_COUNT; p++)
            if (parts[p]->found && parts[p]->start >= at &&
                (next == PART_COUNT || parts[p]->start < parts[next]->start))
                next = p;
        if (next == PART_COUNT)
            break;
        copy(out, scan, at, parts[next]->start);
        write_part(out, scan, edit, next);
        at = parts[next]->end;
    }
    copy(out, scan, at, scan->root.inner_end);
    if (!scan->file_uid.found)
        write_part(out, scan, edit, PART_FILE_UID);
    if (!scan->note.found)
        write_part(out, scan, edit, PART_NOTE);
    copy(out, scan, scan->root.inner_end, scan->size);
}

enum tp_status tp_ixml_edit(const uint8_t *data, size_t size, const struct tp_ixml_edit *edit, uint8_t **out,
                            size_t *out_size)
{
    const char *text;
    size_t length = tp_trim((const char *)data, size, &text);
    /* A NUL: an encoding of two bytes, into which ASCII cannot be put. */
    if (length == 0 || length > (size_t)16 << 20 || memchr(text, '\0', length) != NULL)
        return TP_ERR_FORMAT;
    struct scan scan = {.text = text, .size = length, .wanted = edit->interleave_index};
    struct tp_text made = {0};
    if (!scan_ranges(&scan))
        return scan.no_memory ? TP_ERR_MEMORY : TP_ERR_FORMAT;
    rewrite(&made, &scan, edit);
    *out_size = made.length;
    *out = (uint8_t *)tp_text_take(&made);
    return *out != NULL ? TP_OK : TP_ERR_MEMORY;
}
