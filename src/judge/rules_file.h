/* SPDX-License-Identifier: MIT */
/* Rules about one file: the spec's format, the container, and what reading and measuring observed. */
#ifndef TP_JUDGE_RULES_FILE_H
#define TP_JUDGE_RULES_FILE_H

#include "judge/card_format.h"
#include "judge/finding_list.h"

/* Findings of one code and channel listed one by one; the rest is summed up in one line. */
#define TP_FINDINGS_PER_CODE 50

/* Adds the findings of file number `file` of the report; `formats` as tp_card_formats() gives them. */
void tp_rules_file(const struct tp_report *report, const struct tp_card_format *formats, size_t file,
                   struct tp_finding_list *list);

#endif
