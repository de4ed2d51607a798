/* SPDX-License-Identifier: MIT */
/*
 * Rules about the set as a whole, over all sources: the same contents twice, one name for different recordings, a
 * source without a single WAV file, gaps in the numbering, overlapping time. Judged from names, hashes and start times
 * alone, so that reports of several cards can be judged again when they are merged.
 */
#ifndef TP_JUDGE_RULES_SET_H
#define TP_JUDGE_RULES_SET_H

#include "judge/finding_list.h"

/* Adds the findings of the set. */
void tp_rules_set(const struct tp_report *report, struct tp_finding_list *list);

/* True for the codes that tp_rules_set() adds: a merge drops them and judges anew. */
bool tp_rules_set_owns(enum tp_code code);

#endif
