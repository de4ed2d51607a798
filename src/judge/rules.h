/* SPDX-License-Identifier: MIT */
/* Facts and the spec in, findings and verdicts out. The words of each code live in judge/findings.c. */
#ifndef TP_JUDGE_RULES_H
#define TP_JUDGE_RULES_H

#include <takeproof/result.h>

/* Judges every take and the set: fills takes[].findings, verdicts of takes and files, report->findings, summary and
 * verdict. Needs takes[].signals, files and spec in place. Errors: TP_ERR_MEMORY. */
enum tp_status tp_rules_judge(struct tp_report *report, struct tp_error *error) TP_MUST_USE;

/* The parts of the above that a merge of judged reports needs: adds the findings of the set to report->findings and
 * sorts them (errors: TP_ERR_MEMORY); counts takes, files and verdicts into summary and verdict. */
enum tp_status tp_rules_judge_set(struct tp_report *report, struct tp_error *error) TP_MUST_USE;
void tp_rules_sum_up(struct tp_report *report);

#endif
