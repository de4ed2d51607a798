/* SPDX-License-Identifier: MIT */
/*
 * Main and safety, found from the signal: correlation, gain offset, lag, polarity over the gathered evidence.
 * Names never decide; they only bring files into one group.
 */
#ifndef TP_TAKE_PAIR_H
#define TP_TAKE_PAIR_H

#include "take/evidence.h"

#include <takeproof/result.h>

/* How two channels of a group relate. */
struct tp_pair_match {
    uint32_t main, safety;  /* channel numbers in the group; main is the louder */
    double offset_db;       /* safety minus main, <= 0 */
    double offset_spread_db;
    double offset_range_db; /* spread between quiet and loud stretches: a limiter or automatic gain shows here */
    int64_t lag_samples;    /* how much later the safety is */
    double lag_fraction;
    double drift_ppm;       /* NaN when too short to tell */
    bool inverted;
    double correlation;     /* 0…1 */
    bool copy;              /* the same samples: a mono copy, no safety at all */
};

/* What one channel of the group was measured to be; order as in the evidence. */
struct tp_pair_channel {
    size_t file;
    uint32_t channel;
    const struct tp_channel *levels;
};

/* Finds disjoint pairs (and copies). *matches is owned by the caller (free). Deterministic. Errors: TP_ERR_MEMORY. */
enum tp_status tp_pair_find(const struct tp_evidence *evidence, const struct tp_pair_channel *channels, uint32_t channel_count,
                            const struct tp_spec *spec, struct tp_pair_match **matches, size_t *match_count,
                            struct tp_error *error) TP_MUST_USE;

#endif
