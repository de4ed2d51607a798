/* SPDX-License-Identifier: MIT */
#include "measure/loudness.h"

#include "measure/energies.h"

#include <math.h>
#include <stdlib.h>

#define RING 512u
#define LIST_MAX (1u << 17)

struct tp_loudness {
    uint32_t block_frames;
    uint64_t hops;
    /* Energies of the last RING hops, and of the stretches of 2, 4, 8 and 10 hops (100 ms), then of 2, 4, 8 and 16
     * times 100 ms that end there: each is two of the shorter ones. Sums anew for every hop, so that no rounding builds
     * up. */
    double hop[RING], two[RING], four[RING], block[RING], blocks_2[RING], blocks_4[RING], blocks_8[RING],
        blocks_16[RING];
    double momentary_max, short_term_max; /* energies */
    struct tp_energies gating, short_terms;
};

uint32_t tp_block_frames(uint32_t sample_rate_hz)
{
    uint32_t frames = sample_rate_hz / 10 + (sample_rate_hz % 10 >= 5 ? 1 : 0);
    return frames < 10 ? 10 : frames;
}

struct tp_loudness *tp_loudness_new(uint32_t block_frames)
{
    struct tp_loudness *loudness = calloc(1, sizeof *loudness);
    if (loudness == NULL)
        return NULL;
    loudness->block_frames = block_frames;
    tp_energies_init(&loudness->gating, LIST_MAX);
    tp_energies_init(&loudness->short_terms, LIST_MAX);
    return loudness;
}

void tp_loudness_free(struct tp_loudness *loudness)
{
    if (loudness == NULL)
        return;
    tp_energies_clear(&loudness->gating);
    tp_energies_clear(&loudness->short_terms);
    free(loudness);
}

/* What was there `hops` ago; 0 before the start. */
static double ago(const double ring[RING], uint64_t newest, uint64_t hops)
{
    return ring[(newest - hops) % RING];
}

void tp_loudness_push_hop(struct tp_loudness *l, double energy)
{
    uint64_t n = l->hops++;
    size_t at = (size_t)(n % RING);
    l->hop[at] = energy;
    l->two[at] = energy + ago(l->hop, n, 1);
    l->four[at] = l->two[at] + ago(l->two, n, 2);
    l->block[at] = (l->four[at] + ago(l->four, n, 4)) + ago(l->two, n, 8);
    l->blocks_2[at] = l->block[at] + ago(l->block, n, 10);
    l->blocks_4[at] = l->blocks_2[at] + ago(l->blocks_2, n, 20);
    l->blocks_8[at] = l->blocks_4[at] + ago(l->blocks_4, n, 40);
    l->blocks_16[at] = l->blocks_8[at] + ago(l->blocks_8, n, 80);

    if (l->hops >= 40) {
        double momentary = l->blocks_4[at];
        l->momentary_max = momentary > l->momentary_max ? momentary : l->momentary_max;
        if (l->hops % 10 == 0)
            tp_energies_add(&l->gating, momentary / (4.0 * l->block_frames));
    }
    if (l->hops >= 300) {
        /* 16 + 8 + 4 + 2 blocks */
        double short_term =
            (l->blocks_16[at] + ago(l->blocks_8, n, 160)) + (ago(l->blocks_4, n, 240) + ago(l->blocks_2, n, 280));
        l->short_term_max = short_term > l->short_term_max ? short_term : l->short_term_max;
        if (l->hops % 100 == 0)
            tp_energies_add(&l->short_terms, short_term / (30.0 * l->block_frames));
    }
}

bool tp_loudness_finish(const struct tp_loudness *loudness, struct tp_loudness_result *result)
{
    *result = (struct tp_loudness_result){(double)NAN, (double)NAN, (double)NAN, (double)NAN};
    if (loudness->gating.failed || !tp_energies_range(&loudness->short_terms, 0.01, &result->loudness_range_lu))
        return false;
    result->integrated_lufs = tp_lufs_from_energy(tp_energies_gated_mean(&loudness->gating, 0.1));
    result->momentary_max_lufs = tp_lufs_from_energy(loudness->momentary_max / (4.0 * loudness->block_frames));
    result->short_term_max_lufs = tp_lufs_from_energy(loudness->short_term_max / (30.0 * loudness->block_frames));
    return true;
}
