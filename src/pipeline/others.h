/* SPDX-License-Identifier: MIT */
/*
 * What lies on the card beside the WAV files and is not checked: anything that may be a recording all the same must not
 * pass unseen. One read of the first bytes of each file that is no candidate by its name alone.
 */
#ifndef TP_PIPELINE_OTHERS_H
#define TP_PIPELINE_OTHERS_H

#include "read/kind.h"
#include "read/scan.h"

/* The first bytes of a file that is read anyway, as when it is copied: a card is read once. */
struct tp_head {
    uint8_t bytes[TP_KIND_BYTES];
    size_t size;
};
/* Takes what it still lacks from the next bytes of the file. */
void tp_head_add(struct tp_head *head, const uint8_t *bytes, size_t size);

/* Makes the report's findings, which it must not have yet; entries[i] is the scan's entry of report->others[i], whose
 * `why` is made exact, and heads[i] how it begins (heads NULL: read here). Errors: TP_ERR_MEMORY. */
enum tp_status tp_others_judge(const struct tp_scan *scan, const size_t *entries, const struct tp_head *heads,
                               struct tp_report *report) TP_MUST_USE;

#endif
