/* SPDX-License-Identifier: MIT */
#include "read/ixml.h"

#include "base/num.h"
#include "base/text.h"
#include "read/ixml_text.h"
#include "read/timecode.h"

#include <expat.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum {
    DEPTH_MAX = 32,
    PATH_MAX_BYTES = 256,
    VALUE_MAX_BYTES = 8192, /* of one element; the rest is dropped */
    TRACKS_MAX = 1024,
    INPUT_MAX_BYTES = 16 << 20
};

struct parse {
    XML_Parser parser;
    struct tp_ixml *ixml;
    size_t tracks_capacity, sync_points_capacity, extras_capacity;
    struct half_words {
        uint64_t high, low;
        bool is_given; /* the low one was */
    } timestamp, bwf_time, sync_point;
    char path[PATH_MAX_BYTES]; /* "/BWFXML/SPEED/NOTE" */
    size_t ends[DEPTH_MAX];    /* length of path before each open element */
    int depth;
    struct tp_text value; /* of the innermost element */
    bool is_ixml, complete, doctype, too_deep, out_of_memory;
};

struct text_element {
    const char *path;
    size_t member;
};
static const struct text_element text_elements[] = {
    {"/BWFXML/IXML_VERSION", offsetof(struct tp_ixml, version)},
    {"/BWFXML/PROJECT", offsetof(struct tp_ixml, project)},
    {"/BWFXML/SCENE", offsetof(struct tp_ixml, scene)},
    {"/BWFXML/TAKE", offsetof(struct tp_ixml, take)},
    {"/BWFXML/TAPE", offsetof(struct tp_ixml, tape)},
    {"/BWFXML/NOTE", offsetof(struct tp_ixml, note)},
    {"/BWFXML/FILE_UID", offsetof(struct tp_ixml, file_uid)},
    {"/BWFXML/FILE_SET/FAMILY_UID", offsetof(struct tp_ixml, family_uid)},
    {"/BWFXML/FILE_SET/FAMILY_NAME", offsetof(struct tp_ixml, family_name)},
    {"/BWFXML/SPEED/TIMECODE_RATE", offsetof(struct tp_ixml, timecode_rate_text)},
    {"/BWFXML/SPEED/TIMECODE_FLAG", offsetof(struct tp_ixml, timecode_flag)},
    {"/BWFXML/SPEED/MASTER_SPEED", offsetof(struct tp_ixml, master_speed)},
    {"/BWFXML/SPEED/CURRENT_SPEED", offsetof(struct tp_ixml, current_speed)},
    {"/BWFXML/SPEED/NOTE", offsetof(struct tp_ixml, speed_note)},
    {"/BWFXML/TAKE_TYPE", offsetof(struct tp_ixml, take_type)},
    {"/BWFXML/UBITS", offsetof(struct tp_ixml, ubits)},
    {"/BWFXML/HISTORY/ORIGINAL_FILENAME", offsetof(struct tp_ixml, original_filename)},
    {"/BWFXML/HISTORY/PARENT_FILENAME", offsetof(struct tp_ixml, parent_filename)},
    {"/BWFXML/HISTORY/PARENT_UID", offsetof(struct tp_ixml, parent_uid)},
};

static const struct text_element flag_elements[] = {
    {"/BWFXML/CIRCLED", offsetof(struct tp_ixml, circled)},
    {"/BWFXML/NO_GOOD", offsetof(struct tp_ixml, no_good)},
    {"/BWFXML/FALSE_START", offsetof(struct tp_ixml, false_start)},
    {"/BWFXML/WILD_TRACK", offsetof(struct tp_ixml, wild_track)},
};

static const struct text_element number_elements[] = {
    {"/BWFXML/SPEED/FILE_SAMPLE_RATE", offsetof(struct tp_ixml, file_sample_rate_hz)},
    {"/BWFXML/SPEED/AUDIO_BIT_DEPTH", offsetof(struct tp_ixml, audio_bit_depth)},
    {"/BWFXML/SPEED/TIMESTAMP_SAMPLE_RATE", offsetof(struct tp_ixml, timestamp_sample_rate_hz)},
    {"/BWFXML/SPEED/DIGITIZER_SAMPLE_RATE", offsetof(struct tp_ixml, digitizer_sample_rate_hz)},
    {"/BWFXML/TRACK_LIST/TRACK_COUNT", offsetof(struct tp_ixml, track_count)},
    {"/BWFXML/FILE_SET/TOTAL_FILES", offsetof(struct tp_ixml, file_set_total)},
    {"/BWFXML/FILE_SET/FILE_SET_INDEX", offsetof(struct tp_ixml, file_set_index_number)},
};
#define ROWS(table) (sizeof(table) / sizeof((table)[0]))

static void *member(struct tp_ixml *ixml, size_t offset)
{
    return (char *)ixml + offset;
}

static const struct text_element *find_element(const struct text_element *table, size_t rows, const char *path)
{
    for (size_t i = 0; i < rows; i++)
        if (strcasecmp(table[i].path, path) == 0)
            return &table[i];
    return NULL;
}

/* A decimal number, alone or before a point or a space ("48000", "24.0", "48000 Hz"). */
static bool read_number(const char *text, uint64_t *value)
{
    char digits[24];
    size_t length = strspn(text, "0123456789");
    if (length == 0 || length >= sizeof digits || (text[length] != '\0' && text[length] != '.' && text[length] != ' '))
        return false;
    memcpy(digits, text, length);
    digits[length] = '\0';
    return tp_u64_read(digits, value);
}

/* The place in a file set may be a letter: A is the first. */
static bool read_letter(const char *text, uint64_t *value)
{
    bool is_small = text[0] >= 'a' && text[0] <= 'z', is_large = text[0] >= 'A' && text[0] <= 'Z';
    if ((!is_small && !is_large) || text[1] != '\0')
        return false;
    *value = (uint64_t)(text[0] - (is_small ? 'a' : 'A')) + 1;
    return true;
}

static int read_flag(const char *text)
{
    if (strcasecmp(text, "TRUE") == 0 || strcasecmp(text, "YES") == 0 || strcmp(text, "1") == 0)
        return 1;
    if (strcasecmp(text, "FALSE") == 0 || strcasecmp(text, "NO") == 0 || strcmp(text, "0") == 0)
        return 0;
    return -1;
}

/* The later form of the three flags: a comma list. */
static void read_take_type(struct tp_ixml *ixml, const char *list)
{
    static const struct text_element types[] = {
        {"NO_GOOD", offsetof(struct tp_ixml, no_good)},
        {"FALSE_START", offsetof(struct tp_ixml, false_start)},
        {"WILD_TRACK", offsetof(struct tp_ixml, wild_track)},
    };
    for (size_t i = 0; i < ROWS(types); i++) {
        int *flag = member(ixml, types[i].member);
        if (*flag < 0)
            *flag = 0;
        size_t length = strlen(types[i].path);
        for (const char *at = list; *at != '\0';) {
            at += strspn(at, ", \t\r\n");
            size_t word = strcspn(at, ", \t\r\n");
            if (word == length && strncasecmp(at, types[i].path, length) == 0)
                *flag = 1;
            at += word;
        }
    }
}

static bool keep_text(char **kept, const char *text)
{
    char *copy = tp_strdup(text);
    if (copy == NULL)
        return false;
    free(*kept);
    *kept = copy;
    return true;
}

static bool add_track(struct parse *p)
{
    struct tp_ixml *ixml = p->ixml;
    if (ixml->tracks_count >= TRACKS_MAX)
        return true;
    if (!tp_grow(&ixml->tracks, &p->tracks_capacity, ixml->tracks_count, sizeof *ixml->tracks))
        return false;
    struct tp_ixml_track track = {.name = tp_strdup(""), .function = tp_strdup("")};
    ixml->tracks[ixml->tracks_count++] = track;
    return track.name != NULL && track.function != NULL;
}

static bool keep_track_value(struct parse *p, const char *element, const char *text)
{
    if (p->ixml->tracks_count == 0)
        return true;
    struct tp_ixml_track *track = &p->ixml->tracks[p->ixml->tracks_count - 1];
    uint64_t number = 0;
    if (strcasecmp(element, "NAME") == 0)
        return keep_text(&track->name, text);
    if (strcasecmp(element, "FUNCTION") == 0)
        return keep_text(&track->function, text);
    if (!read_number(text, &number) || number > UINT32_MAX)
        return true;
    if (strcasecmp(element, "CHANNEL_INDEX") == 0)
        track->channel_index = (uint32_t)number;
    else if (strcasecmp(element, "INTERLEAVE_INDEX") == 0)
        track->interleave_index = (uint32_t)number;
    return true;
}

/* Numbers of 64 bits come in two elements of 32. */
static const struct {
    const char *path;
    size_t member;
    bool is_high;
} half_elements[] = {
    {"/BWFXML/SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", offsetof(struct parse, timestamp), true},
    {"/BWFXML/SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", offsetof(struct parse, timestamp), false},
    {"/BWFXML/BEXT/BWF_TIME_REFERENCE_HIGH", offsetof(struct parse, bwf_time), true},
    {"/BWFXML/BEXT/BWF_TIME_REFERENCE_LOW", offsetof(struct parse, bwf_time), false},
    {"/BWFXML/SYNC_POINT_LIST/SYNC_POINT/SYNC_POINT_HIGH", offsetof(struct parse, sync_point), true},
    {"/BWFXML/SYNC_POINT_LIST/SYNC_POINT/SYNC_POINT_LOW", offsetof(struct parse, sync_point), false},
};

static bool keep_half(struct parse *p, const char *text)
{
    for (size_t i = 0; i < ROWS(half_elements); i++) {
        uint64_t number;
        if (strcasecmp(p->path, half_elements[i].path) != 0)
            continue;
        struct half_words *words = (struct half_words *)(void *)((char *)p + half_elements[i].member);
        if (read_number(text, &number) && half_elements[i].is_high)
            words->high = number;
        else if (read_number(text, &number))
            *words = (struct half_words){.high = words->high, .low = number, .is_given = true};
        return true;
    }
    return false;
}

static uint64_t joined(const struct half_words *words)
{
    uint64_t whole;
    bool fits = words->is_given && words->high <= UINT32_MAX && tp_u64_add(words->high << 32, words->low, &whole);
    return fits ? whole : TP_NO_TIMECODE;
}

static bool add_sync_point(struct parse *p)
{
    struct tp_ixml *ixml = p->ixml;
    p->sync_point = (struct half_words){0};
    if (ixml->sync_point_count >= TP_IXML_SYNC_POINTS_MAX)
        return true;
    if (!tp_grow(&ixml->sync_points, &p->sync_points_capacity, ixml->sync_point_count, sizeof *ixml->sync_points))
        return false;
    struct tp_sync_point point = {.type = tp_strdup(""), .function = tp_strdup(""), .comment = tp_strdup("")};
    ixml->sync_points[ixml->sync_point_count++] = point;
    return point.type != NULL && point.function != NULL && point.comment != NULL;
}

static bool keep_sync_value(struct parse *p, const char *element, const char *text)
{
    if (p->ixml->sync_point_count == 0)
        return true;
    struct tp_sync_point *point = &p->ixml->sync_points[p->ixml->sync_point_count - 1];
    if (strcasecmp(element, "SYNC_POINT_TYPE") == 0)
        return keep_text(&point->type, text);
    if (strcasecmp(element, "SYNC_POINT_FUNCTION") == 0)
        return keep_text(&point->function, text);
    if (strcasecmp(element, "SYNC_POINT_COMMENT") == 0)
        return keep_text(&point->comment, text);
    uint64_t number;
    if (strcasecmp(element, "SYNC_POINT_EVENT_DURATION") == 0 && read_number(text, &number))
        point->duration_samples = number;
    uint64_t samples = joined(&p->sync_point);
    point->samples = samples != TP_NO_TIMECODE ? samples : 0;
    return true;
}

/* Whatever else is said: the name below the root, and the text. */
static bool keep_extra(struct parse *p, const char *text)
{
    static const char root[] = "/BWFXML/";
    struct tp_ixml *ixml = p->ixml;
    if (text[0] == '\0' || strncasecmp(p->path, root, sizeof root - 1) != 0 || ixml->extra_count >= TP_IXML_EXTRAS_MAX)
        return true;
    if (!tp_grow(&ixml->extras, &p->extras_capacity, ixml->extra_count, sizeof *ixml->extras))
        return false;
    struct tp_ixml_extra extra = {.name = tp_strdup(p->path + sizeof root - 1), .value = tp_strdup(text)};
    ixml->extras[ixml->extra_count++] = extra;
    return extra.name != NULL && extra.value != NULL;
}

static bool keep_number(struct parse *p, const char *text)
{
    uint64_t number;
    const struct text_element *row = find_element(number_elements, ROWS(number_elements), p->path);
    if (row == NULL)
        return keep_half(p, text) || keep_extra(p, text);
    bool is_read = read_number(text, &number) ||
                   (row->member == offsetof(struct tp_ixml, file_set_index_number) && read_letter(text, &number));
    if (is_read && number <= UINT32_MAX)
        *(uint32_t *)member(p->ixml, row->member) = (uint32_t)number;
    return true;
}

static bool keep_value(struct parse *p, const char *text)
{
    static const char track[] = "/BWFXML/TRACK_LIST/TRACK/";
    static const char sync_point[] = "/BWFXML/SYNC_POINT_LIST/SYNC_POINT/";
    const struct text_element *row = find_element(text_elements, ROWS(text_elements), p->path);
    if (strcasecmp(p->path, "/BWFXML/TAKE_TYPE") == 0)
        read_take_type(p->ixml, text);
    if (row != NULL)
        return keep_text(member(p->ixml, row->member), text);
    row = find_element(flag_elements, ROWS(flag_elements), p->path);
    if (row != NULL) {
        *(int *)member(p->ixml, row->member) = read_flag(text);
        return true;
    }
    if (strncasecmp(p->path, track, sizeof track - 1) == 0)
        return keep_track_value(p, p->path + sizeof track - 1, text);
    if (strncasecmp(p->path, sync_point, sizeof sync_point - 1) == 0) {
        (void)keep_half(p, text);
        return keep_sync_value(p, p->path + sizeof sync_point - 1, text);
    }
    return keep_number(p, text);
}

static void stop(struct parse *p, bool *why)
{
    *why = true;
    (void)XML_StopParser(p->parser, XML_FALSE);
}

static void XMLCALL on_start(void *user, const XML_Char *name, const XML_Char **attributes)
{
    (void)attributes;
    struct parse *p = user;
    size_t at = p->depth > 0 ? strlen(p->path) : 0;
    size_t length = strlen(name);
    if (p->depth >= DEPTH_MAX || at + length + 2 > sizeof p->path) {
        stop(p, &p->too_deep);
        return;
    }
    p->ends[p->depth++] = at;
    p->path[at] = '/';
    memcpy(p->path + at + 1, name, length + 1);
    p->value.length = 0;
    if (p->depth == 1)
        p->is_ixml = strcasecmp(name, "BWFXML") == 0;
    if (!p->is_ixml)
        stop(p, &p->too_deep);
    else if (strcasecmp(p->path, "/BWFXML/TRACK_LIST/TRACK") == 0 && !add_track(p))
        stop(p, &p->out_of_memory);
    else if (strcasecmp(p->path, "/BWFXML/SYNC_POINT_LIST/SYNC_POINT") == 0 && !add_sync_point(p))
        stop(p, &p->out_of_memory);
}

static void XMLCALL on_text(void *user, const XML_Char *text, int length)
{
    struct parse *p = user;
    size_t room = VALUE_MAX_BYTES - (p->value.length < VALUE_MAX_BYTES ? p->value.length : VALUE_MAX_BYTES);
    size_t size = 0;
    while (size < (size_t)length) {
        size_t step = tp_utf8_length(text + size, (size_t)length - size);
        if (step == 0 || size + step > room)
            break;
        size += step;
    }
    tp_text_append(&p->value, text, size);
    if (p->value.failed)
        stop(p, &p->out_of_memory);
}

static void XMLCALL on_end(void *user, const XML_Char *name)
{
    (void)name;
    struct parse *p = user;
    const char *start = "";
    size_t length = p->value.length > 0 ? tp_trim(p->value.bytes, p->value.length, &start) : 0;
    char *text = tp_strndup(start, length);
    if (text == NULL || !keep_value(p, text))
        stop(p, &p->out_of_memory);
    free(text);
    p->value.length = 0;
    p->path[p->ends[--p->depth]] = '\0';
    /* What follows the root is padding, whatever it holds. */
    if (p->depth == 0)
        stop(p, &p->complete);
}

static void XMLCALL on_doctype(void *user, const XML_Char *name, const XML_Char *system, const XML_Char *public,
                               int internal)
{
    (void)name, (void)system, (void)public, (void)internal;
    struct parse *p = user;
    stop(p, &p->doctype);
}

static struct tp_ixml *new_ixml(void)
{
    struct tp_ixml *ixml = calloc(1, sizeof *ixml);
    if (ixml == NULL)
        return NULL;
    bool ok = true;
    for (size_t i = 0; i < ROWS(text_elements); i++) {
        char *empty = tp_strdup("");
        *(char **)member(ixml, text_elements[i].member) = empty;
        ok = ok && empty != NULL;
    }
    ixml->circled = ixml->no_good = ixml->false_start = ixml->wild_track = -1;
    ixml->timestamp_samples = ixml->bwf_time_reference_samples = TP_NO_TIMECODE;
    if (ok)
        return ixml;
    tp_ixml_free(ixml);
    return NULL;
}

static void settle(struct parse *p)
{
    struct tp_ixml *ixml = p->ixml;
    ixml->timestamp_samples = joined(&p->timestamp);
    ixml->bwf_time_reference_samples = joined(&p->bwf_time);
    struct tp_timecode_rate rate;
    if (ixml->timecode_rate_text[0] != '\0' &&
        tp_timecode_rate_read(ixml->timecode_rate_text, ixml->timecode_flag, &rate))
        ixml->timecode_rate = rate;
}

static enum tp_status run(struct parse *p, const char *text, size_t length, struct tp_error *error)
{
    XML_SetUserData(p->parser, p);
    XML_SetElementHandler(p->parser, on_start, on_end);
    XML_SetCharacterDataHandler(p->parser, on_text);
    XML_SetStartDoctypeDeclHandler(p->parser, on_doctype);
    enum XML_Status parsed = XML_Parse(p->parser, text, (int)length, XML_TRUE);
    enum XML_Error cause = parsed == XML_STATUS_OK ? XML_ERROR_NONE : XML_GetErrorCode(p->parser);
    if (p->out_of_memory || cause == XML_ERROR_NO_MEMORY)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the iXML chunk");
    if (p->doctype)
        return tp_error_set(error, TP_ERR_FORMAT, 0,
                            "the iXML chunk has a document type declaration, which no iXML needs");
    if (!p->is_ixml)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the iXML chunk holds no BWFXML element");
    p->ixml->damaged = !p->complete;
    settle(p);
    return TP_OK;
}

static enum tp_status parse_text(const char *text, size_t length, struct tp_ixml **ixml, struct tp_error *error)
{
    /* The bytes are UTF-8 by now, whatever their declaration says. */
    struct parse p = {.ixml = new_ixml(), .parser = XML_ParserCreate("UTF-8")};
    enum tp_status status = p.ixml != NULL && p.parser != NULL
                                ? run(&p, text, length, error)
                                : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the iXML chunk");
    if (p.parser != NULL)
        XML_ParserFree(p.parser);
    tp_text_clear(&p.value);
    if (status == TP_OK)
        *ixml = p.ixml;
    else
        tp_ixml_free(p.ixml);
    return status;
}

/* A second try at XML that broke off; *ixml stays as it is unless the try reaches the end of the root. */
static enum tp_status parse_mended(char **text, size_t length, struct tp_ixml **ixml, struct tp_error *error)
{
    bool mended;
    if (!tp_ixml_text_mend(text, &length, &mended))
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the iXML chunk");
    if (!mended)
        return TP_OK;
    struct tp_ixml *better = NULL;
    enum tp_status status = parse_text(*text, length, &better, error);
    if (status == TP_ERR_FORMAT)
        return TP_OK;
    if (status == TP_OK && !better->damaged) {
        tp_ixml_free(*ixml);
        *ixml = better;
        (*ixml)->damaged = true;
    } else {
        tp_ixml_free(better);
    }
    return status;
}

enum tp_status tp_ixml_parse(const uint8_t *data, size_t size, struct tp_ixml **ixml, struct tp_error *error)
{
    if (size > INPUT_MAX_BYTES)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the iXML chunk has %zu bytes, far more than any iXML needs",
                            size);
    size_t length = 0;
    char *text = tp_ixml_text_utf8(data, size, &length);
    if (text == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the iXML chunk");
    struct tp_ixml *made = NULL;
    enum tp_status status = parse_text(text, length, &made, error);
    if (status == TP_OK && made->damaged)
        status = parse_mended(&text, length, &made, error);
    free(text);
    if (status == TP_OK)
        *ixml = made;
    else
        tp_ixml_free(made);
    return status;
}
