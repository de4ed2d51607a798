/* SPDX-License-Identifier: MIT */
#include "read/bext.h"

#include "base/num.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

/* Offsets and widths: EBU Tech 3285 v2. */
enum {
    AT_DESCRIPTION = 0,
    AT_ORIGINATOR = 256,
    AT_REFERENCE = 288,
    AT_DATE = 320,
    AT_TIME = 330,
    AT_TIME_REFERENCE = 338,
    AT_VERSION = 346,
    AT_UMID = 348,
    AT_LOUDNESS = 412,
    UMID_BYTES = 64,
    UMID_BASIC_BYTES = 32
};

struct text_field {
    size_t at, width;
    size_t member; /* offset of the char * in struct tp_bext */
};
static const struct text_field text_fields[] = {
    {AT_DESCRIPTION, 256, offsetof(struct tp_bext, description)},
    {AT_ORIGINATOR, 32, offsetof(struct tp_bext, originator)},
    {AT_REFERENCE, 32, offsetof(struct tp_bext, originator_reference)},
    {AT_DATE, 10, offsetof(struct tp_bext, origination_date)},
    {AT_TIME, 8, offsetof(struct tp_bext, origination_time)},
};
#define TEXT_FIELDS (sizeof text_fields / sizeof text_fields[0])

/* Order on disk from AT_LOUDNESS, 2 bytes each. */
static const size_t loudness_members[] = {
    offsetof(struct tp_bext, loudness_value_lufs), offsetof(struct tp_bext, loudness_range_lu),
    offsetof(struct tp_bext, max_true_peak_dbtp),  offsetof(struct tp_bext, max_momentary_lufs),
    offsetof(struct tp_bext, max_short_term_lufs),
};
#define LOUDNESS_FIELDS (sizeof loudness_members / sizeof loudness_members[0])

static char **text_member(struct tp_bext *bext, size_t offset)
{
    return (char **)(void *)((char *)bext + offset);
}
static double *level_member(struct tp_bext *bext, size_t offset)
{
    return (double *)(void *)((char *)bext + offset);
}

static char *bounded_text(const uint8_t *field, size_t width)
{
    const char *start = (const char *)field;
    const char *nul = memchr(start, '\0', width);
    size_t length = nul != NULL ? (size_t)(nul - start) : width;
    while (length > 0 && (start[length - 1] == ' ' || start[length - 1] == '\r' || start[length - 1] == '\n' ||
                          start[length - 1] == '\t'))
        length--;
    return tp_utf8_from_any(start, length);
}

static bool all_zero(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (bytes[i] != 0)
            return false;
    return true;
}

static char *umid_text(const uint8_t *umid)
{
    char hex[2 * UMID_BYTES + 1] = "";
    if (!all_zero(umid, UMID_BYTES))
        tp_hex(umid, all_zero(umid + UMID_BASIC_BYTES, UMID_BYTES - UMID_BASIC_BYTES) ? UMID_BASIC_BYTES : UMID_BYTES,
               hex);
    return tp_strdup(hex);
}

/* 0x7FFF and every other value beyond +-99.99 mean "not used". */
static double level_from_field(const uint8_t *field)
{
    int value = tp_le16(field);
    if (value >= 0x8000)
        value -= 0x10000;
    return value >= -9999 && value <= 9999 ? value / 100.0 : (double)NAN;
}

enum tp_status tp_bext_parse(const uint8_t *data, size_t size, struct tp_bext **bext, struct tp_error *error)
{
    if (size < TP_BEXT_FIXED_BYTES)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the bext chunk has %zu bytes; the format needs at least %d", size,
                            TP_BEXT_FIXED_BYTES);
    struct tp_bext *made = calloc(1, sizeof *made);
    if (made == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the bext chunk");
    bool ok = true;
    for (size_t i = 0; i < TEXT_FIELDS; i++) {
        char *text = bounded_text(data + text_fields[i].at, text_fields[i].width);
        *text_member(made, text_fields[i].member) = text;
        ok = ok && text != NULL;
    }
    made->time_reference_samples = tp_le64(data + AT_TIME_REFERENCE);
    made->version = tp_le16(data + AT_VERSION);
    made->umid = made->version >= 1 ? umid_text(data + AT_UMID) : tp_strdup("");
    /* Before version 2 these bytes are reserved: zero there is no loudness of 0 LUFS. */
    for (size_t i = 0; i < LOUDNESS_FIELDS; i++)
        *level_member(made, loudness_members[i]) =
            made->version >= 2 ? level_from_field(data + AT_LOUDNESS + 2 * i) : (double)NAN;
    made->coding_history = bounded_text(data + TP_BEXT_FIXED_BYTES, size - TP_BEXT_FIXED_BYTES);
    if (!ok || made->umid == NULL || made->coding_history == NULL) {
        tp_bext_free(made);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the bext chunk");
    }
    *bext = made;
    return TP_OK;
}

/* Copies as many whole characters as fit. */
static void put_text(uint8_t *field, size_t width, const char *text)
{
    size_t length = text != NULL ? strlen(text) : 0;
    size_t fits = 0;
    for (size_t step; fits < length; fits += step) {
        step = tp_utf8_length(text + fits, length - fits);
        if (step == 0)
            step = 1;
        if (fits + step > width)
            break;
    }
    if (fits > 0)
        memcpy(field, text, fits);
}

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'a' && c <= 'f')
        return c - 'a' + 10;
    return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

static void put_umid(uint8_t *field, const char *hex)
{
    for (size_t i = 0; hex != NULL && i < UMID_BYTES && hex[2 * i] != '\0' && hex[2 * i + 1] != '\0'; i++) {
        int high = hex_digit(hex[2 * i]);
        int low = hex_digit(hex[2 * i + 1]);
        if (high < 0 || low < 0)
            return;
        field[i] = (uint8_t)(high << 4 | low);
    }
}

static void put_level(uint8_t *field, double level)
{
    double scaled = round(level * 100.0);
    bool fits = isfinite(scaled) && scaled >= -9999.0 && scaled <= 9999.0;
    tp_put_le16(field, fits ? (uint16_t)(int16_t)scaled : 0x7FFF);
}

enum tp_status tp_bext_write(const struct tp_bext *bext, uint8_t **data, size_t *size, struct tp_error *error)
{
    size_t history = bext->coding_history != NULL ? strlen(bext->coding_history) : 0;
    uint8_t *bytes = history < SIZE_MAX / 2 ? calloc(1, TP_BEXT_FIXED_BYTES + history + 2) : NULL;
    if (bytes == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the bext chunk");
    struct tp_bext fields = *bext;
    bool loudness = false;
    for (size_t i = 0; i < TEXT_FIELDS; i++)
        put_text(bytes + text_fields[i].at, text_fields[i].width, *text_member(&fields, text_fields[i].member));
    for (size_t i = 0; i < LOUDNESS_FIELDS; i++)
        loudness = loudness || tp_exists(*level_member(&fields, loudness_members[i]));
    tp_put_le64(bytes + AT_TIME_REFERENCE, bext->time_reference_samples);
    tp_put_le16(bytes + AT_VERSION, loudness ? 2 : 1);
    put_umid(bytes + AT_UMID, bext->umid);
    for (size_t i = 0; loudness && i < LOUDNESS_FIELDS; i++)
        put_level(bytes + AT_LOUDNESS + 2 * i, *level_member(&fields, loudness_members[i]));
    *size = TP_BEXT_FIXED_BYTES + history;
    if (history > 0) {
        memcpy(bytes + TP_BEXT_FIXED_BYTES, bext->coding_history, history);
        /* EBU R 98: every row ends in CR LF; reading trims the last one. */
        if (bext->coding_history[history - 1] != '\n') {
            memcpy(bytes + *size, "\r\n", 2);
            *size += 2;
        }
    }
    *data = bytes;
    return TP_OK;
}
