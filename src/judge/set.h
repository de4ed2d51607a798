/* SPDX-License-Identifier: MIT */
/*
 * The takes of a card, or of the cards of a day, held against each other: time and numbers.
 *
 * - `timecode-overlap`: two takes of one source overlap by more than TP_SET_OVERLAP_S; takes of different dates, or of
 * sources of their own (two recorders may run at once), are not compared.
 * - `duplicate-name`: one scene and take for different recordings that are not parts of one (take/parts.h).
 * - `missing-take`: gaps in take numbers of a scene (all sources together), and in the counters of file names of one
 * folder. A file without scene and take, such as an empty one, has those of its name where the names beside it count
 * takes; the name that a renamed file had fills a gap. The value is the first take number that is missing, where it is
 * one of a scene.
 * - `clock-jump`: in the order of counters of one folder, date and time run backwards, or the date leaps
 * TP_SET_LEAP_DAYS ahead (a clock that was never set, then was). All common practice, no source.
 */
#ifndef TP_JUDGE_SET_H
#define TP_JUDGE_SET_H

#include "judge/finding_list.h"

#define TP_SET_OVERLAP_S 0.5
#define TP_SET_LEAP_DAYS 60
/* A gap of more numbers than this is told in one sentence as a leap of the counter. */
#define TP_SET_GAP_LISTED 10

/* Adds the findings. Called by tp_rules_set(). */
void tp_set_takes(const struct tp_report *report, struct tp_finding_list *list);

#endif
