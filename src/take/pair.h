/* SPDX-License-Identifier: MIT */
/*
 * Main and safety, found from the signal: correlation, gain offset, lag, polarity over the gathered evidence.
 * How the signal decides: see take/pair_fit.h. Names never make a pair; they bring files into one group, and where more
 * than two channels hold one microphone (a main, its safety, a mix with nothing else in it) they tell which two were
 * meant: see take/claims.h.
 *
 * A tone or hum that never changes proves no pair by itself: see tp_pair_find().
 */
#ifndef TP_TAKE_PAIR_H
#define TP_TAKE_PAIR_H

#include "base/track_name.h"
#include "take/evidence.h"
#include "take/plans.h"

#include <takeproof/result.h>

/* How two channels of a group relate. */
struct tp_pair_match {
    uint32_t main, safety; /* channel numbers in the group; main is the louder, of equals the first */
    double offset_db;      /* safety minus main, <= 0 (within measuring error) */
    double offset_spread_db;
    double offset_range_db; /* spread between quiet and loud stretches: a limiter or automatic gain shows here */
    int64_t lag_samples;    /* how much later the safety is; at the start of the group when they drift */
    double lag_fraction;
    double drift_ppm; /* safety's clock: positive = it falls behind. NaN when too short to tell (under 10 s) */
    bool inverted;
    double correlation; /* 0…1 */
    bool copy;          /* the same samples: a mono copy, no safety at all */
    bool kin;           /* no pair: `safety` is one more recording of the microphone of `main`, whichever is louder */
};

/* What one channel of the group was measured to be; order as in the evidence. */
struct tp_pair_channel {
    size_t file;
    uint32_t channel;
    const struct tp_channel *levels;
    uint64_t frames;       /* of its file; 0 = not known, taken as as long as the others */
    struct tp_track track; /* what its name says; {0}: nothing */
};

/* From this range on, a level change between main and safety is worth a finding. Our own choice: a pair through two
 * plain gains stays under 0.2 dB even at the safety's noise. */
#define TP_PAIR_LEVEL_CHANGE_DB 1.0

/* Finds disjoint pairs (and copies), and what else holds the microphone of one of them (kin: the main of the pair, or a
 * channel alone, in `main`; each further channel once, and a copy's first channel may be kin, too). Silent channels
 * never match: see tp_choose_with_dead_partner(). Channels that carry steady sound only (a tone, rain) match when 1 dB
 * or more apart and alike above the hum too. Nothing with TP_PAIR_OFF. `plans` are for the next call, too; NULL = made
 * for this one. *matches is owned by the caller (free), in the order of the lower channel number. Deterministic.
 * Errors: TP_ERR_MEMORY. */
enum tp_status tp_pair_find(const struct tp_evidence *evidence, const struct tp_pair_channel *channels,
                            uint32_t channel_count, const struct tp_spec *spec, struct tp_plans *plans,
                            struct tp_pair_match **matches, size_t *match_count, struct tp_error *error) TP_MUST_USE;

/* True when a channel has no sound to speak of: digital silence, or nothing above -75 dBFS. */
bool tp_pair_is_dead(const struct tp_channel *levels);

#endif
