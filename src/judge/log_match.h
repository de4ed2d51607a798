/* SPDX-License-Identifier: MIT */
/*
 * The set's notes and the takes, brought together.
 *
 * A row is matched by file name (with or without extension, or the take's id, in any case) and, failing that, by scene
 * and take ("03", "3" and "T3" are one take). Scene, take and notes of the row go to the take: notes are added to what
 * the file says, scene and take fill what is empty; good/no good sets `circled`. Findings
 * for the report's own list: `log-without-file`, `file-not-in-log`, and `metadata-conflict` where the row says another
 * scene, take or start time (more than TP_LOG_START_APART_S) than the file.
 */
#ifndef TP_JUDGE_LOG_MATCH_H
#define TP_JUDGE_LOG_MATCH_H

#include "read/log.h"

#include <takeproof/result.h>

/* Notes are written by hand, to the minute. */
#define TP_LOG_START_APART_S 180.0

/* Needs files and takes in place, before tp_rules_judge() sums up. Errors: TP_ERR_MEMORY. */
enum tp_status tp_log_match(struct tp_report *report, const struct tp_log *log, struct tp_error *error) TP_MUST_USE;

#endif
