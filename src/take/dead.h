/* SPDX-License-Identifier: MIT */
/*
 * Channels that are dead for a part of a take: what each channel shows by itself (measure/dead.h), and what shows when
 * main and safety are held against each other, along their traces (measure/trace.h).
 *
 * In a pair one channel is dead at a step when, common practice, no source:
 * - the other carries sound plainly, 10 dB over its floor and over -65 dBFS in the steps around too, and this one is at
 *   most -60 dBFS and 20 dB or more under what it would hold, by the pair's offset; or
 * - it is still where the other carries at least its own room, for half a second or longer, and that is no habit; or
 * - it is in a dead stretch of its own, 15 dB or more under what it would hold.
 * Such steps count with all that join them at the same level, but not where the other is dead too. That is damage of
 * the channel, and a `main-silent` or `safety-silent` observation unless a dropout tells of it already. Dead stretches
 * that no partner bears out are no damage: a `dropout` (still) or `noise-only` observation asks to hear them.
 */
#ifndef TP_TAKE_DEAD_H
#define TP_TAKE_DEAD_H

#include "take/pair.h"

/* A pair of the report; adds to the channels' damage and to the files' observations. Errors: TP_ERR_MEMORY. */
enum tp_status tp_dead_judge_pair(struct tp_file *files, const struct tp_pair_match *match,
                                  const struct tp_pair_channel *main, const struct tp_pair_channel *safety,
                                  struct tp_error *error) TP_MUST_USE;
/* Any channel, after the pair that it is in. Errors: TP_ERR_MEMORY. */
enum tp_status tp_dead_judge_channel(struct tp_file *file, uint32_t channel, struct tp_error *error) TP_MUST_USE;

#endif
