/* SPDX-License-Identifier: MIT */
#include "handoff/xml.h"

#include <expat.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#define SEPARATOR '\n' /* cannot be part of a namespace or a name */

struct state {
    const struct tp_xml_reader *reader;
    XML_Parser parser;
    struct tp_text where, text;
    size_t cut[TP_XML_DEPTH_MAX + 1]; /* length of `where` above each level */
    int depth;
    enum tp_status status;
    struct tp_error *error;
};

static void stop(struct state *state, enum tp_status status)
{
    if (state->status == TP_OK)
        state->status = status;
    XML_StopParser(state->parser, XML_FALSE);
}

static void refuse(struct state *state, const char *why)
{
    stop(state, tp_error_set(state->error, TP_ERR_FORMAT, 0, "%s", why));
}

static void on_doctype(void *user, const XML_Char *name, const XML_Char *system, const XML_Char *public, int internal)
{
    (void)name, (void)system, (void)public, (void)internal;
    refuse(user, "it has a document type declaration, which is not accepted");
}

static void enter(struct state *state, const char *name)
{
    const char *separator = strchr(name, SEPARATOR);
    size_t space = separator != NULL ? (size_t)(separator - name) : 0;
    bool ours = strlen(state->reader->name_space) == space && strncmp(name, state->reader->name_space, space) == 0;
    state->cut[state->depth++] = state->where.length;
    tp_text_format(&state->where, "%s%s%s", state->depth > 1 ? "/" : "", ours ? "" : "?",
                   separator != NULL ? separator + 1 : name);
}

static void on_start(void *user, const XML_Char *name, const XML_Char **attributes)
{
    struct state *state = user;
    if (state->depth >= TP_XML_DEPTH_MAX) {
        refuse(state, "it is nested too deeply");
        return;
    }
    enter(state, name);
    state->text.length = 0;
    if (state->where.failed) {
        stop(state, tp_error_set(state->error, TP_ERR_MEMORY, 0, "not enough memory"));
        return;
    }
    enum tp_status status = state->reader->begin(state->reader->user, state->where.bytes, attributes, state->error);
    if (status != TP_OK)
        stop(state, status);
}

static void on_text(void *user, const XML_Char *text, int length)
{
    struct state *state = user;
    if (state->text.length + (size_t)length > TP_XML_TEXT_MAX)
        refuse(state, "an element holds too much text");
    else
        tp_text_append(&state->text, text, (size_t)length);
}

static void on_end(void *user, const XML_Char *name)
{
    (void)name;
    struct state *state = user;
    if (state->text.failed) {
        stop(state, tp_error_set(state->error, TP_ERR_MEMORY, 0, "not enough memory"));
        return;
    }
    /* Emptied by length only: what an earlier element left must not show. */
    if (state->text.bytes != NULL)
        state->text.bytes[state->text.length] = '\0';
    enum tp_status status = state->reader->end(state->reader->user, state->where.bytes,
                                               state->text.bytes != NULL ? state->text.bytes : "", state->error);
    state->where.length = state->cut[--state->depth];
    state->where.bytes[state->where.length] = '\0';
    state->text.length = 0;
    if (status != TP_OK)
        stop(state, status);
}

static enum tp_status parse(struct state *state, const char *bytes, size_t size, struct tp_error *error)
{
    XML_SetUserData(state->parser, state);
    XML_SetElementHandler(state->parser, on_start, on_end);
    XML_SetCharacterDataHandler(state->parser, on_text);
    XML_SetStartDoctypeDeclHandler(state->parser, on_doctype);
    if (size > INT_MAX)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "it is too large");
    enum XML_Status parsed = XML_Parse(state->parser, bytes, (int)size, 1);
    unsigned long line = XML_GetCurrentLineNumber(state->parser);
    if (state->status != TP_OK) {
        char *words = tp_strdup(tp_error_text(error));
        tp_error_set(error, state->status, 0, "line %lu: %s", line, words != NULL ? words : "");
        free(words);
        return state->status;
    }
    if (parsed == XML_STATUS_OK)
        return TP_OK;
    enum XML_Error code = XML_GetErrorCode(state->parser);
    return tp_error_set(error, code == XML_ERROR_NO_MEMORY ? TP_ERR_MEMORY : TP_ERR_FORMAT, 0, "line %lu: %s", line,
                        XML_ErrorString(code));
}

enum tp_status tp_xml_read(const struct tp_xml_reader *reader, const char *bytes, size_t size, struct tp_error *error)
{
    struct tp_error own = {0};
    struct state state = {.reader = reader, .error = error != NULL ? error : &own};
    state.parser = XML_ParserCreateNS(NULL, SEPARATOR);
    if (state.parser == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    enum tp_status status = parse(&state, bytes, size, state.error);
    XML_ParserFree(state.parser);
    tp_text_clear(&state.where);
    tp_text_clear(&state.text);
    tp_error_clear(&own);
    return status;
}

const char *tp_xml_attribute(const char **attributes, const char *name)
{
    for (; attributes[0] != NULL; attributes += 2)
        if (strcmp(attributes[0], name) == 0)
            return attributes[1];
    return NULL;
}

bool tp_xml_can_carry(const char *text)
{
    size_t length = strlen(text);
    if (!tp_utf8_is_valid(text, length))
        return false;
    for (const char *at = text; *at != '\0'; at++) {
        if ((unsigned char)*at < 0x20 && *at != '\t' && *at != '\n' && *at != '\r')
            return false;
        /* U+FFFE and U+FFFF are no characters of XML. */
        if (strncmp(at, "\xef\xbf\xbe", 3) == 0 || strncmp(at, "\xef\xbf\xbf", 3) == 0)
            return false;
    }
    return true;
}

void tp_xml_escape(struct tp_text *out, const char *text)
{
    for (const char *at = text; *at != '\0'; at++) {
        switch (*at) {
        case '&': tp_text_add(out, "&amp;"); break;
        case '<': tp_text_add(out, "&lt;"); break;
        case '>': tp_text_add(out, "&gt;"); break;
        case '"': tp_text_add(out, "&quot;"); break;
        /* As references: a parser makes one line end of CR LF, and spaces of both in attributes. */
        case '\t': tp_text_add(out, "&#9;"); break;
        case '\n': tp_text_add(out, "&#10;"); break;
        case '\r': tp_text_add(out, "&#13;"); break;
        default: tp_text_append(out, at, 1);
        }
    }
}
