/* SPDX-License-Identifier: MIT */
#include "take/claims.h"

#include "base/num.h"
#include "take/choose.h"

#include <stdlib.h>

#define LEVEL_DB 1.0 /* closer in level than this is a weaker claim than that of a lower safety */

enum { GRADE_SURE, GRADE_UNSURE, GRADE_LEVEL, GRADE_COPY };
enum { NAMED, UNNAMED, NAMED_OTHERWISE };
enum { BEHIND, BEFORE, APART };

static bool is_mixed(const struct tp_pair_channel *a, const struct tp_pair_channel *b)
{
    return a->track.is_mix != b->track.is_mix;
}

static bool is_at_agreed_lag(const struct tp_pair_match *match, const struct tp_spec *spec)
{
    int64_t lag = match->lag_samples < 0 ? -match->lag_samples : match->lag_samples;
    return (uint64_t)lag <= spec->lag_max_samples && !(match->offset_range_db > TP_PAIR_LEVEL_CHANGE_DB);
}

static int grade_of(const struct tp_pair_match *match, int naming, const struct tp_spec *spec)
{
    if (naming == NAMED)
        return GRADE_SURE;
    if (match->copy)
        return GRADE_COPY;
    if (fabs(match->offset_db) < LEVEL_DB)
        return GRADE_LEVEL;
    return naming == UNNAMED && is_at_agreed_lag(match, spec) ? GRADE_SURE : GRADE_UNSURE;
}

static int place_of(const struct tp_pair_match *match, const struct tp_pair_channel *channels)
{
    if (match->safety == match->main + 1)
        return BEHIND;
    return match->main == match->safety + 1 && channels[match->main].file == channels[match->safety].file ? BEFORE
                                                                                                          : APART;
}

static void weigh(struct tp_claim *claim, const struct tp_pair_channel *channels, const struct tp_spec *spec)
{
    const struct tp_pair_match *match = &claim->match;
    const struct tp_pair_channel *main = &channels[match->main], *safety = &channels[match->safety];
    /* As it is judged and printed: 6.0 dB is inside of "6 to 20". */
    double below_db = tp_number_round(-match->offset_db, 1);
    claim->naming = tp_track_is_pair(&main->track, &safety->track)       ? NAMED
                    : tp_track_is_stranger(&main->track, &safety->track) ? NAMED_OTHERWISE
                                                                         : UNNAMED;
    claim->grade = grade_of(match, claim->naming, spec);
    claim->mixes = !is_mixed(main, safety) ? 0 : safety->track.is_mix ? 1 : 2;
    claim->place = place_of(match, channels);
    claim->leaves_damage = !tp_choose_covers(match, main, safety);
    claim->off_distance = below_db < spec->safety_below_min_db || below_db > spec->safety_below_max_db;
}

static int compare(double a, double b)
{
    return a < b ? -1 : a > b;
}

static int by_claim(const void *a, const void *b)
{
    const struct tp_claim *first = a, *second = b;
    const double keys[][2] = {{first->grade, second->grade},
                              {first->leaves_damage, second->leaves_damage},
                              {first->mixes, second->mixes},
                              {first->naming, second->naming},
                              {first->off_distance, second->off_distance},
                              {first->place, second->place},
                              {-first->match.correlation, -second->match.correlation},
                              {first->match.main, second->match.main},
                              {first->match.safety, second->match.safety}};
    int order = 0;
    for (size_t i = 0; order == 0 && i < sizeof keys / sizeof keys[0]; i++)
        order = compare(keys[i][0], keys[i][1]);
    return order;
}

/* Pairs and copies in the order of the lower channel number, then kin likewise. */
static int by_channel(const void *a, const void *b)
{
    const struct tp_pair_match *first = a, *second = b;
    if (first->kin != second->kin)
        return first->kin ? 1 : -1;
    if (first->kin)
        return compare(first->safety, second->safety);
    return compare(first->main < first->safety ? first->main : first->safety,
                   second->main < second->safety ? second->main : second->safety);
}

/* A match that nobody set up as main and safety: a mix with one open fader and its sound microphone, or the two sides
 * of a mix. In a take of two tracks there is nothing else that could be the pair. */
static bool is_no_pair(const struct tp_claim *claim, const struct tp_pair_channel *channels, uint32_t channel_count)
{
    const struct tp_pair_channel *main = &channels[claim->match.main], *safety = &channels[claim->match.safety];
    if (channel_count == 2 || claim->match.copy || claim->naming == NAMED)
        return false;
    if (is_mixed(main, safety) && claim->grade == GRADE_UNSURE)
        return true; /* a mix of another microphone that hears the same voice */
    if (is_mixed(main, safety))
        return (main->track.is_mix ? safety : main)->levels->damage.count == 0;
    return main->track.is_mix && claim->off_distance && main->levels->damage.count == 0;
}

/* Of whom a channel is, by its number: itself, or the main of the pair that has claimed it. */
struct owners {
    uint32_t *of;
    bool *claimed; /* by a pair or a copy */
    bool *taken;   /* by a pair */
    bool *kin;
};

static void add_kin(const struct tp_claim *claim, const struct tp_pair_channel *channels, struct owners *owners,
                    struct tp_pair_match *list, size_t *count)
{
    struct tp_pair_match match = claim->match;
    uint32_t a = match.main, b = match.safety;
    bool first_is_mix = channels[a].track.is_mix && !channels[b].track.is_mix;
    bool sure = claim->grade == GRADE_SURE || claim->grade == GRADE_COPY || claim->grade == GRADE_LEVEL;
    if (!sure || owners->of[a] == owners->of[b] || owners->kin[a] || owners->kin[b])
        return;
    /* The pair owns what is none of it; of two that no pair has claimed, the track owns the mix. */
    uint32_t owner = a, one_more = b;
    if (owners->taken[a] != owners->taken[b] ? owners->taken[b] : first_is_mix) {
        owner = b;
        one_more = a;
    }
    /* Two pairs, or the second of two copies: told elsewhere. */
    if (owners->of[one_more] != one_more || (owners->taken[a] && owners->taken[b]))
        return;
    owners->kin[one_more] = true;
    match.main = owners->of[owner];
    match.safety = one_more;
    match.kin = true;
    list[(*count)++] = match;
}

static void settle(struct tp_claims *claims, const struct tp_pair_channel *channels, uint32_t channel_count,
                   struct owners *owners, struct tp_pair_match *list, size_t *count)
{
    for (uint32_t c = 0; c < channel_count; c++)
        owners->of[c] = c;
    for (size_t i = 0; i < claims->count; i++) {
        const struct tp_claim *claim = &claims->items[i];
        uint32_t main = claim->match.main, safety = claim->match.safety;
        if (owners->claimed[main] || owners->claimed[safety] || is_no_pair(claim, channels, channel_count))
            continue;
        owners->claimed[main] = owners->claimed[safety] = true;
        /* A copy is no pair: its first channel may still be one more recording of a pair's microphone. */
        owners->taken[main] = owners->taken[safety] = !claim->match.copy;
        owners->of[safety] = main;
        list[(*count)++] = claim->match;
    }
    for (size_t i = 0; i < claims->count; i++)
        add_kin(&claims->items[i], channels, owners, list, count);
}

bool tp_claims_settle(struct tp_claims *claims, const struct tp_pair_channel *channels, uint32_t channel_count,
                      const struct tp_spec *spec, struct tp_pair_match **matches, size_t *count)
{
    if (claims->count == 0)
        return true;
    size_t settled = 0;
    struct owners owners = {.of = calloc(channel_count, sizeof *owners.of),
                            .claimed = calloc(channel_count, sizeof *owners.claimed),
                            .taken = calloc(channel_count, sizeof *owners.taken),
                            .kin = calloc(channel_count, sizeof *owners.kin)};
    /* A match ends with a channel that no other ends with, but a copy's first, which may be kin too. */
    struct tp_pair_match *list = calloc(2 * (size_t)channel_count, sizeof *list);
    bool good =
        owners.of != NULL && owners.claimed != NULL && owners.taken != NULL && owners.kin != NULL && list != NULL;
    if (good) {
        for (size_t i = 0; i < claims->count; i++)
            weigh(&claims->items[i], channels, spec);
        qsort(claims->items, claims->count, sizeof *claims->items, by_claim);
        settle(claims, channels, channel_count, &owners, list, &settled);
        qsort(list, settled, sizeof *list, by_channel);
    }
    free(owners.of);
    free(owners.claimed);
    free(owners.taken);
    free(owners.kin);
    if (!good || settled == 0) {
        free(list);
        return good;
    }
    *matches = list;
    *count = settled;
    return true;
}
