/* SPDX-License-Identifier: MIT */
/*
 * Runs `takeproof check` and reads its report.json through jansson, for the end-to-end tests. Says nothing about right
 * or wrong: the tests do. Ends the process with a message when there is no memory.
 */
#ifndef TESTS_SUPPORT_CHECKED_H
#define TESTS_SUPPORT_CHECKED_H

#include "support/scratch.h"

#include <jansson.h>

struct checked {
    struct run run;
    json_t *report; /* NULL when stdout was not one JSON value */
};

/* `takeproof check --json ARGUMENTS…` (at most 30, ended by NULL) with SOURCE_DATE_EPOCH set. The report is stdout. */
void checked_json(struct checked *checked, const char *const *arguments);
/* The same with one source and nothing else. */
void checked_source(struct checked *checked, const char *source);
void checked_clear(struct checked *checked);

/* Borrowed; NULL when there is none. */
json_t *checked_file(const struct checked *checked, const char *path);  /* files[] with that path */
json_t *checked_take(const struct checked *checked, const char *path);  /* takes[] that holds that path */
json_t *checked_other(const struct checked *checked, const char *path); /* others[] with that path */

/* Member of an object as text; "" when it is no string. NULL object is fine. */
const char *checked_text(const json_t *object, const char *key);
/* Member as a number; NaN when it is none. */
double checked_number(const json_t *object, const char *key);
/* First finding of a take with that code and at least that severity ("note", "listen", "fail"); borrowed, or NULL. */
json_t *checked_finding(const json_t *take, const char *code, const char *least);
/* All findings of at least "listen", one a line, for messages. Owned by the caller. */
char *checked_findings_text(const json_t *take);

/* A take as good as any on a card: two channels, main and safety 12 dB lower, `seconds` of invented speech at the
 * working level of the built-in spec, 24-bit at 48 kHz; passes the built-in spec. */
void good_take_write(const char *path, uint64_t seed, double seconds);
/* Its samples, interleaved; *frames = seconds x 48000. Owned by the caller. */
double *good_take_samples(uint64_t seed, double seconds, size_t *frames);

#endif
