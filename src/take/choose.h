/* SPDX-License-Identifier: MIT */
/*
 * Which channel to use, and why: from the damage of main and safety to main / splice / safety / none, with a reason that
 * carries the numbers.
 */
#ifndef TP_TAKE_CHOOSE_H
#define TP_TAKE_CHOOSE_H

#include "take/pair.h"

/* Builds a signal from a match: pair, splices, choice and reason. sample_rate_hz of the main. Errors: TP_ERR_MEMORY. */
enum tp_status tp_choose_pair(const struct tp_pair_match *match, const struct tp_pair_channel *main,
                              const struct tp_pair_channel *safety, uint32_t sample_rate_hz, struct tp_signal *signal,
                              struct tp_error *error) TP_MUST_USE;
/* A channel alone: TP_CHOICE_SINGLE, or TP_CHOICE_NONE when it is silent or damaged, with the reason. */
enum tp_status tp_choose_single(const struct tp_pair_channel *channel, uint32_t sample_rate_hz, struct tp_signal *signal,
                                struct tp_error *error) TP_MUST_USE;

#endif
