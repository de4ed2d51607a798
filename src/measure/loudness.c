/* SPDX-License-Identifier: MIT */
#include "measure/loudness.h"

#include "measure/energies.h"

#include <math.h>
#include <stdlib.h>

#define RING 300
#define LIST_MAX (1u << 17)

struct tp_loudness {
    uint32_t block_frames;
    uint64_t hops;
    double hop[10];                       /* the last ten energies */
    double block[RING];                   /* at each of the last 300 hops, the energy of the 100 ms that end there */
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

/* Energy of the `blocks` blocks of 100 ms that end at the newest hop. */
static double window_energy(const struct tp_loudness *loudness, size_t newest, size_t blocks)
{
    double sum = 0.0;
    for (size_t i = 0; i < blocks; i++)
        sum += loudness->block[(newest + RING - 10 * i) % RING];
    return sum;
}

void tp_loudness_push_hop(struct tp_loudness *loudness, double energy)
{
    size_t newest = (size_t)(loudness->hops % RING);
    loudness->hop[loudness->hops % 10] = energy;
    double block = 0.0;
    for (size_t i = 0; i < 10; i++)
        block += loudness->hop[i];
    loudness->block[newest] = block;
    loudness->hops++;

    if (loudness->hops >= 40) {
        double momentary = window_energy(loudness, newest, 4);
        loudness->momentary_max = fmax(loudness->momentary_max, momentary);
        if (loudness->hops % 10 == 0)
            tp_energies_add(&loudness->gating, momentary / (4.0 * loudness->block_frames));
    }
    if (loudness->hops >= 300) {
        double short_term = window_energy(loudness, newest, 30);
        loudness->short_term_max = fmax(loudness->short_term_max, short_term);
        if (loudness->hops % 100 == 0)
            tp_energies_add(&loudness->short_terms, short_term / (30.0 * loudness->block_frames));
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
