/* SPDX-License-Identifier: MIT */
/*
 * What lies on the card beside the WAV files and is not checked: anything that may be a recording all the same must not
 * pass unseen. One read of the first bytes of each file that is no candidate by its name alone.
 */
#ifndef TP_PIPELINE_OTHERS_H
#define TP_PIPELINE_OTHERS_H

#include "read/scan.h"

/* Makes the report's findings, which it must not have yet; entries[i] is the scan's entry of report->others[i], whose
 * `why` is made exact. Errors: TP_ERR_MEMORY. */
enum tp_status tp_others_judge(const struct tp_scan *scan, const size_t *entries, struct tp_report *report) TP_MUST_USE;

#endif
