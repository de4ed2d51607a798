/* SPDX-License-Identifier: MIT */
/*
 * The plain members of result.h and spec.h as tables of (key, kind, place), so that report.json is written and read by
 * the same list and cannot drift apart. Lists, references and unions of members are in json_write.c and json_read.c.
 */
#ifndef TP_REPORT_JSON_FIELDS_H
#define TP_REPORT_JSON_FIELDS_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <takeproof/result.h>

enum tp_json_kind {
    TP_JSON_TEXT,  /* char * <-> string */
    TP_JSON_NOTE,  /* char * <-> string; NULL <-> null */
    TP_JSON_ID,    /* char[5] <-> string of at most 4 printable characters */
    TP_JSON_LEVEL, /* double, 2 decimals; NaN <-> null */
    TP_JSON_TIME,  /* double, 3 decimals */
    TP_JSON_FINE,  /* double, 6 decimals */
    TP_JSON_U32,   /* 0 … 2^32-1 */
    TP_JSON_U64,   /* above 2^53-1 (not exact in every reader): a string of digits */
    TP_JSON_CLOCK, /* uint64_t; TP_NO_TIMECODE <-> null */
    TP_JSON_I64,
    TP_JSON_SIZE, /* size_t */
    TP_JSON_BOOL,
    TP_JSON_TRISTATE, /* int 1, 0, -1 <-> true, false, null */
    TP_JSON_RATE,     /* struct tp_timecode_rate <-> "25", "29.97DF"; 0/0 <-> null */
    TP_JSON_ENCODING, /* enum <-> "pcm", "float"; NONE <-> null */
    TP_JSON_CONTAINER,
    TP_JSON_PAIR_POLICY
};

struct tp_json_field {
    const char *key; /* NULL ends a table */
    enum tp_json_kind kind;
    size_t offset;
};

extern const struct tp_json_field tp_json_production_fields[]; /* of struct tp_spec */
extern const struct tp_json_field tp_json_spec_fields[];
extern const struct tp_json_field tp_json_summary_fields[];
extern const struct tp_json_field tp_json_format_fields[]; /* of struct tp_file */
extern const struct tp_json_field tp_json_programme_fields[];
extern const struct tp_json_field tp_json_bext_fields[];
extern const struct tp_json_field tp_json_ixml_fields[];
extern const struct tp_json_field tp_json_channel_fields[];
extern const struct tp_json_field tp_json_clip_fields[];
extern const struct tp_json_field tp_json_pair_fields[];
extern const struct tp_json_field tp_json_splice_fields[];      /* without the cause */
extern const struct tp_json_field tp_json_take_fields[];        /* id … notes */
extern const struct tp_json_field tp_json_excerpt_fields[];     /* without reference and sound */
extern const struct tp_json_field tp_json_clock_fields[];       /* start_timecode … */
extern const struct tp_json_field tp_json_handoff_fields[];     /* without caution and destinations */
extern const struct tp_json_field tp_json_destination_fields[]; /* without readback and message */

/* A list of plain structs: an array of objects. */
struct tp_json_list {
    const char *key; /* NULL ends a table */
    const struct tp_json_field *fields;
    size_t size; /* of an element */
    size_t pointer_offset, count_offset;
    size_t count_max;
};
extern const struct tp_json_list tp_json_ixml_lists[];
extern const struct tp_json_list tp_json_file_lists[]; /* chunks, cues, texts */

/* Adds the members of `object` to `into`, in table order. False when memory is short. */
bool tp_json_put_fields(json_t *into, const struct tp_json_field *fields, const void *object);
bool tp_json_put_lists(json_t *into, const struct tp_json_list *lists, const void *object);
/* One string; bytes that are no UTF-8 become U+FFFD; NULL as "". NULL when memory is short. */
json_t *tp_json_text(const char *text);
/* NaN as null. */
json_t *tp_json_real(double value, int decimals);
json_t *tp_json_u64(uint64_t value);

/* Why reading stopped; `key` is the member that was wrong, or NULL. */
enum tp_json_trouble { TP_JSON_FINE_SO_FAR = 0, TP_JSON_WRONG_TYPE, TP_JSON_NO_MEMORY };

/* Fills the members of `object` from `from`. An absent member gets its neutral value ("", NaN, 0, not said); one of the
 * wrong type or out of range stops the reading with TP_JSON_WRONG_TYPE and *key. Texts are allocated. */
enum tp_json_trouble tp_json_get_fields(const json_t *from, const struct tp_json_field *fields, void *object,
                                        const char **key);

#endif
