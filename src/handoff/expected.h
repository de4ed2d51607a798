/* SPDX-License-Identifier: MIT */
/* Finds out what kind of list a file or folder is, and reads it: an ASC MHL history or manifest, or plain checksums.
 * A report.json is recognised and left to whoever can read reports. */
#ifndef TP_HANDOFF_EXPECTED_H
#define TP_HANDOFF_EXPECTED_H

#include "handoff/listing.h"

struct tp_expected {
    struct tp_listing listing;
    char *kind;     /* words for people */
    bool is_report; /* nothing was read: it looks like JSON */
};

/* On error *expected needs no clearing. Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_FORMAT, TP_ERR_MEMORY. */
enum tp_status tp_expected_read(struct tp_expected *expected, const char *path, struct tp_error *error) TP_MUST_USE;
void tp_expected_clear(struct tp_expected *expected);

#endif
