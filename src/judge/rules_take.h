/* SPDX-License-Identifier: MIT */
/* Rules about the signals of one take: levels, overload, and the pair of main and safety. */
#ifndef TP_JUDGE_RULES_TAKE_H
#define TP_JUDGE_RULES_TAKE_H

#include "judge/finding_list.h"

/* An overload this small on a channel without a safety is for a person to hear, not a ruined line: at most this many
 * runs, the longest at most this long. Common practice, no source. */
#define TP_SMALL_CLIP_RUNS 3
#define TP_SMALL_CLIP_MS 0.25

/* A safety whose distance to the main changes by more than this between quiet and loud is being limited. */
#define TP_LEVEL_CHANGE_DB 1.0

/* Adds the findings of the take's signals. */
void tp_rules_take(const struct tp_report *report, const struct tp_take *take, struct tp_finding_list *list);

#endif
