/* SPDX-License-Identifier: MIT */
/*
 * Which channel to use, and why: from the damage of main and safety to main / splice / safety / none, with a reason
 * that carries the numbers. All spans are tp_channel.damage: already merged, guard included.
 *
 *   main clean ................................................ main
 *   main damaged, safety undamaged over every damaged span .... splice, or
 *     - damage on more than TP_CHOOSE_SHARE_MAX of the main's active time, or more than TP_CHOOSE_SPLICES_A_SECOND of
 *       active time (and at least TP_CHOOSE_DENSE_MIN), and the safety clean throughout: safety
 *   main damaged, safety damaged or not there at a span ....... none
 *
 * The two limits are our own choice: past them the track is more safety than main, and its noise changes too often.
 * One clip run of three samples is damage like any other.
 */
#ifndef TP_TAKE_CHOOSE_H
#define TP_TAKE_CHOOSE_H

#include "take/pair.h"

#define TP_CHOOSE_SHARE_MAX 0.2
#define TP_CHOOSE_SPLICES_A_SECOND 2.0
#define TP_CHOOSE_DENSE_MIN 20

/* Each fills signal->use and signal->pair (new; the signal owns them) and leaves the other members alone.
 * On failure both are as they were. Errors: TP_ERR_MEMORY. */

/* From a match: pair, splices, choice and reason. sample_rate_hz of the main. For a copy (match->copy) there is no
 * pair: the main is chosen as a channel alone. */
enum tp_status tp_choose_pair(const struct tp_pair_match *match, const struct tp_pair_channel *main,
                              const struct tp_pair_channel *safety, uint32_t sample_rate_hz, struct tp_signal *signal,
                              struct tp_error *error) TP_MUST_USE;
/* A channel alone: TP_CHOICE_SINGLE, or TP_CHOICE_NONE when it is silent or damaged, with the reason. */
enum tp_status tp_choose_single(const struct tp_pair_channel *channel, uint32_t sample_rate_hz,
                                struct tp_signal *signal, struct tp_error *error) TP_MUST_USE;
/*
 * For a take of two channels of which one is silent: no signal can show that they were a pair, so this goes by place.
 * The caller says which half is dead: of two channels in a file, or two files, the first is the main and the second the
 * safety (common practice, no source). The live one is used when it is clean: TP_CHOICE_MAIN when the safety is dead,
 * TP_CHOICE_SAFETY when the main is; TP_CHOICE_NONE when it is damaged. No pair: there is nothing to measure.
 */
enum tp_status tp_choose_with_dead_partner(const struct tp_pair_channel *live, bool dead_is_main,
                                           uint32_t sample_rate_hz, struct tp_signal *signal,
                                           struct tp_error *error) TP_MUST_USE;

/* One more recording of a microphone that another channel or pair holds already: as a channel alone, but what damages
 * it is not the end of that microphone. `owner` is the number of the other channel, from 1. */
enum tp_status tp_choose_kin(const struct tp_pair_channel *channel, uint32_t owner, uint32_t sample_rate_hz,
                             struct tp_signal *signal, struct tp_error *error) TP_MUST_USE;

/* True when the safety is there and undamaged wherever the main is damaged. */
bool tp_choose_covers(const struct tp_pair_match *match, const struct tp_pair_channel *main,
                      const struct tp_pair_channel *safety);

/* Lag of the safety at a frame of the main, drift included, to the nearest sample. */
int64_t tp_choose_lag_at(int64_t lag_samples, double lag_fraction, double drift_ppm, uint64_t frame);

#endif
