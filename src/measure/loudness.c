/* SPDX-License-Identifier: MIT */
#include "measure/loudness.h"

#include "measure/energies.h"

#include <math.h>
#include <stdlib.h>

#define LIST_MAX (1u << 17)

struct tp_loudness {
    uint32_t block_frames;
    uint64_t hops;
    /* Energies of the latest hops, and of the stretches of 2, 4 and 10 hops (100 ms), then of 2, 4 and 8 times 100 ms
     * that end there: each is two of the shorter ones. Sums anew for every hop, so that no rounding builds up. As many
     * are kept (a power of two) as are looked back to. */
    double hop[16], two[16], four[16], block[16], blocks_2[512], blocks_4[256], blocks_8[256];
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

/* Of the ring: what was there `back` hops ago, at hop `n`; 0 before the start. */
#define AGO(ring, back) ((ring)[(n - (back)) % (sizeof(ring) / sizeof *(ring))])

void tp_loudness_push_hop(struct tp_loudness *l, double energy)
{
    uint64_t n = l->hops++;
    AGO(l->hop, 0) = energy;
    AGO(l->two, 0) = energy + AGO(l->hop, 1);
    AGO(l->four, 0) = AGO(l->two, 0) + AGO(l->two, 2);
    AGO(l->block, 0) = (AGO(l->four, 0) + AGO(l->four, 4)) + AGO(l->two, 8);
    AGO(l->blocks_2, 0) = AGO(l->block, 0) + AGO(l->block, 10);
    double momentary = AGO(l->blocks_4, 0) = AGO(l->blocks_2, 0) + AGO(l->blocks_2, 20);
    AGO(l->blocks_8, 0) = momentary + AGO(l->blocks_4, 40);

    if (l->hops >= 40) {
        l->momentary_max = momentary > l->momentary_max ? momentary : l->momentary_max;
        if (l->hops % 10 == 0)
            tp_energies_add(&l->gating, momentary / (4.0 * l->block_frames));
    }
    if (l->hops >= 300) {
        double short_term = ((AGO(l->blocks_8, 0) + AGO(l->blocks_8, 80)) + AGO(l->blocks_8, 160)) +
                            (AGO(l->blocks_4, 240) + AGO(l->blocks_2, 280));
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
