/* SPDX-License-Identifier: MIT */
/*
 * Which of the matches found in the signal are the pairs that were meant. Often there is one match a channel; but a
 * recorder's mix with one open fader, a third level, or a microphone that hears another's actor give more, and then:
 *
 *   what is sure goes before what is not: names that say so ("Boom", "Boom Safety"), or the same sound at a fixed level
 *   and within the agreed lag; then what goes through a limiter or runs late; then equal levels; then copies;
 *   a pair that leaves damage uncovered comes after those of its kind that do not: any clean recording counts;
 *   a mix is no half of a pair while the microphone has a track and a safety of its own;
 *   names that say so; the agreed distance; the safety on the track behind its main; the closer match; the first track.
 *
 * A mix is no safety that anybody set: it is taken for one only when its microphone is damaged. Common practice, no
 * source.
 */
#ifndef TP_TAKE_CLAIMS_H
#define TP_TAKE_CLAIMS_H

#include "take/pair.h"

struct tp_claim {
    struct tp_pair_match match;
    int grade, mixes, naming, place; /* smaller is better; see claims.c */
    bool leaves_damage, off_distance;
};

struct tp_claims {
    struct tp_claim *items;
    size_t count, capacity;
};

/* Sorts the claims, fills in all but the match, and gives what stands as tp_pair_find() does. False when memory is
 * short; *matches and *count are then as they were. */
bool tp_claims_settle(struct tp_claims *claims, const struct tp_pair_channel *channels, uint32_t channel_count,
                      const struct tp_spec *spec, struct tp_pair_match **matches, size_t *count) TP_MUST_USE;

#endif
