/* SPDX-License-Identifier: MIT */
/*
 * The keys of the spec as one table: reading, printing, the manual and the tests iterate it.
 * Adding a key: a member in takeproof/spec.h, a row in spec.c, and its built-in value there.
 */
#ifndef TP_JUDGE_SPEC_TABLE_H
#define TP_JUDGE_SPEC_TABLE_H

#include <takeproof/spec.h>

enum tp_spec_type {
    TP_SPEC_TEXT,
    TP_SPEC_PATTERN,      /* text with known {words} */
    TP_SPEC_COUNT,        /* uint32_t within the range */
    TP_SPEC_COUNT_OR_ANY, /* the same, or 0 = "any" */
    TP_SPEC_NUMBER,       /* double within the range, kept to TP_SPEC_DECIMALS */
    TP_SPEC_YES_NO,
    TP_SPEC_ENCODING,
    TP_SPEC_CONTAINER,
    TP_SPEC_PAIR,
    TP_SPEC_RATE
};

#define TP_SPEC_DECIMALS 6

struct tp_spec_row {
    enum tp_spec_type type;
    size_t offset; /* of the member in struct tp_spec */
    double min, max;
};

/* Same order as tp_spec_keys(). */
const struct tp_spec_row *tp_spec_row(size_t index);
size_t tp_spec_row_count(void);

/* Sets the member from the text of a value. Errors: TP_ERR_SPEC (what is wrong with it, without file and line),
 * TP_ERR_MEMORY. */
enum tp_status tp_spec_value_read(struct tp_spec *spec, size_t index, const char *text,
                                  struct tp_error *error) TP_MUST_USE;

#endif
