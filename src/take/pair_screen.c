/* SPDX-License-Identifier: MIT */
#include "take/pair_screen.h"

#include "base/vector.h"
#include "take/pair_lag.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 2880   /* frames: the lags, and a good length for an FFT of twice as many */
#define CHUNK 32     /* bins that lie together, of all channels: pairs are gone through while these are in the cache */
#define BLOCKS_MIN 6 /* with fewer the bound spares next to nothing */
_Static_assert(BLOCK >= TP_LAG_SEARCH_FRAMES, "a block and the next hold all lags");

/* What one channel's products are held against. */
struct side {
    bool sounds;
    double least; /* the smallest that is not infinite, of both */
    /* reach: energy left when so many frames are cut off the start or the end; infinite where that is too little. The
     * end's lie behind the start's. */
    float *less_start, *less_end;
};

struct tp_screen {
    size_t frames, block, blocks, chunks, reach; /* reach: lags on either side, with 0 */
    uint32_t channel_count;
    struct tp_plans own_plans;  /* when nobody keeps them */
    const struct tp_plan *plan; /* 2 * block */
    kiss_fft_scalar *time;      /* 2 * block */
    kiss_fft_cpx *bins;         /* block + 1, in whole chunks */
    float *plane;               /* frames, in whole blocks */
    struct side *sides;         /* a channel */
    float *energies;            /* channel_count * 2 * reach: of the sides */
    double *wide;               /* 2 * reach: as they are made */
    float *spectra;             /* chunk x channel x block x real, imaginary x CHUNK */
    float *sums;                /* channel x channel: of magnitudes */
    float *products[2];         /* reach: of the lags from 0 on, and back */
};

#define TP_LANES_SOURCE "take/pair_screen_lanes.h"
#include "measure/lanes.h"

static float *bins_of(const struct tp_screen *s, size_t chunk, uint32_t channel)
{
    return s->spectra + (chunk * s->channel_count + channel) * s->blocks * 2 * CHUNK;
}

struct tp_screen *tp_screen_new(size_t frames, uint32_t channel_count, struct tp_plans *plans)
{
    struct tp_screen *s = calloc(1, sizeof *s);
    if (s == NULL)
        return NULL;
    s->frames = frames;
    s->channel_count = channel_count;
    s->block = frames <= TP_SCREEN_ONE_BLOCK ? frames : BLOCK;
    s->blocks = (frames + s->block - 1) / s->block;
    s->chunks = s->block / CHUNK + 1;
    s->reach = tp_lag_reach(frames);
    s->plan = tp_plans_get(plans != NULL ? plans : &s->own_plans, 2 * s->block);
    s->time = calloc(2 * s->block, sizeof *s->time);
    s->bins = calloc(s->chunks * CHUNK, sizeof *s->bins);
    s->plane = calloc(s->blocks * s->block, sizeof *s->plane);
    s->sides = calloc(channel_count, sizeof *s->sides);
    s->energies = calloc((size_t)channel_count * 2 * s->reach, sizeof *s->energies);
    s->wide = calloc(2 * s->reach, sizeof *s->wide);
    s->spectra = calloc(s->chunks * channel_count * s->blocks * 2 * CHUNK, sizeof *s->spectra);
    s->sums = calloc((size_t)channel_count * channel_count, sizeof *s->sums);
    s->products[0] = calloc(2 * s->reach, sizeof *s->products[0]);
    if (s->plan == NULL || s->time == NULL || s->bins == NULL || s->plane == NULL || s->sides == NULL ||
        s->energies == NULL || s->wide == NULL || s->spectra == NULL || s->sums == NULL || s->products[0] == NULL) {
        tp_screen_free(s);
        return NULL;
    }
    s->products[1] = s->products[0] + s->reach;
    for (uint32_t c = 0; c < channel_count; c++) {
        s->sides[c].less_start = s->energies + c * 2 * s->reach;
        s->sides[c].less_end = s->sides[c].less_start + s->reach;
    }
    return s;
}

void tp_screen_free(struct tp_screen *s)
{
    if (s == NULL)
        return;
    tp_plans_clear(&s->own_plans);
    free(s->time);
    free(s->bins);
    free(s->plane);
    free(s->sides);
    free(s->energies);
    free(s->wide);
    free(s->spectra);
    free(s->sums);
    free(s->products[0]);
    free(s);
}

/* Both fall as the lag grows, so the last before they are infinite is the least. */
static double least_of(const float *less, size_t reach)
{
    size_t last = reach - 1;
    while (last > 0 && isinf(less[last]))
        last--;
    return (double)less[last];
}

/* Counted from the start of the excerpt, so that of two blocks beside one another every other bin has its sign turned.
 */
static void transform_blocks(struct tp_screen *s, uint32_t channel)
{
    memset(s->time + s->block, 0, s->block * sizeof *s->time);
    for (size_t j = 0; j < s->blocks; j++) {
        memcpy(s->time, s->plane + j * s->block, s->block * sizeof *s->time);
        kiss_fftr(s->plan->forward, s->time, s->bins);
        for (size_t k = 0; j % 2 == 1 && k <= s->block; k++) {
            float sign = k % 2 == 1 ? -1.0f : 1.0f;
            s->bins[k] = (kiss_fft_cpx){.r = s->bins[k].r * sign, .i = s->bins[k].i * sign};
        }
        for (size_t chunk = 0; chunk < s->chunks; chunk++) {
            float *out = bins_of(s, chunk, channel) + j * 2 * CHUNK;
            const kiss_fft_cpx *from = s->bins + chunk * CHUNK;
            for (size_t k = 0; k < CHUNK; k++) {
                out[k] = from[k].r;
                out[CHUNK + k] = from[k].i;
            }
        }
    }
}

void tp_screen_set(struct tp_screen *s, uint32_t channel, const float *samples)
{
    struct side *side = &s->sides[channel];
    side->sounds = tp_lag_normalise(samples, s->frames, s->plane, s->reach, s->wide, s->wide + s->reach);
    if (!side->sounds)
        return;
    for (size_t i = 0; i < 2 * s->reach; i++)
        side->less_start[i] = (float)s->wide[i];
    side->least = fmin(least_of(side->less_start, s->reach), least_of(side->less_end, s->reach));
    transform_blocks(s, channel);
}

/* Sums of magnitudes of the pairs asked about, both ways round. */
static void sum_magnitudes(struct tp_screen *s, const bool *pairs)
{
    size_t n = s->channel_count;
    memset(s->sums, 0, n * n * sizeof *s->sums);
    for (size_t chunk = 0; chunk < s->chunks; chunk++) {
        for (uint32_t a = 0; a < n; a++) {
            for (uint32_t b = a + 1; b < n; b++) {
                if (!pairs[a * n + b])
                    continue;
                const float *first = bins_of(s, chunk, a), *second = bins_of(s, chunk, b);
                s->sums[a * n + b] += TP_CHOSEN(magnitudes)(first, second, s->blocks);
                s->sums[b * n + a] += TP_CHOSEN(magnitudes)(second, first, s->blocks);
            }
        }
    }
}

/* False only when no lag from 0 on can reach it, by the sums: all bins twice, the first and last too; and room for the
 * rounding of floats. */
static bool may_reach(const struct tp_screen *s, uint32_t a, uint32_t b, double least)
{
    double sum = (double)s->sums[(size_t)a * s->channel_count + b];
    double most = 1.01 * 2.0 * sum / (2.0 * (double)s->block);
    return s->blocks < BLOCKS_MIN || most >= least * sqrt(s->sides[a].least * s->sides[b].least);
}

/* Products at the lags from 0 on, times 2 * block; `back`: and before 0, where one block holds them. */
static void multiply(struct tp_screen *s, uint32_t a, uint32_t b, float *forth, float *back)
{
    float chunk[2 * CHUNK];
    for (size_t c = 0; c < s->chunks; c++) {
        TP_CHOSEN(spectrum)(bins_of(s, c, a), bins_of(s, c, b), s->blocks, chunk);
        for (size_t k = 0; k < CHUNK; k++)
            s->bins[c * CHUNK + k] = (kiss_fft_cpx){.r = chunk[k], .i = chunk[CHUNK + k]};
    }
    kiss_fftri(s->plan->inverse, s->bins, s->time);
    memcpy(forth, s->time, s->reach * sizeof *forth);
    back[0] = s->time[0];
    for (size_t i = 1; s->blocks == 1 && i < s->reach; i++)
        back[i] = s->time[2 * s->block - i];
}

TP_CLONES static bool any_reaches(const float *products, const float *energy, const float *other_energy, size_t count,
                                  double least_square)
{
    int reached = 0;
    for (size_t lag = 0; lag < count; lag++)
        reached |= (double)products[lag] * (double)products[lag] >=
                   least_square * ((double)energy[lag] * (double)other_energy[lag]);
    return reached != 0;
}

static bool reaches(struct tp_screen *s, uint32_t a, uint32_t b, double least)
{
    const struct side *first = &s->sides[a], *second = &s->sides[b];
    double scaled = least * 2.0 * (double)s->block;
    if (may_reach(s, a, b, least)) {
        multiply(s, a, b, s->products[0], s->products[1]);
        if (any_reaches(s->products[0], first->less_end, second->less_start, s->reach, scaled * scaled))
            return true;
    }
    if (!may_reach(s, b, a, least))
        return false;
    if (s->blocks > 1)
        multiply(s, b, a, s->products[1], s->products[0]);
    return any_reaches(s->products[1], first->less_start, second->less_end, s->reach, scaled * scaled);
}

void tp_screen_keep(struct tp_screen *s, bool *pairs, double least)
{
    size_t n = s->channel_count;
    for (size_t a = 0; a < n; a++)
        for (size_t b = a + 1; b < n; b++)
            pairs[a * n + b] = pairs[a * n + b] && s->sides[a].sounds && s->sides[b].sounds;
    if (s->blocks >= BLOCKS_MIN)
        sum_magnitudes(s, pairs);
    for (uint32_t a = 0; a < n; a++)
        for (uint32_t b = a + 1; b < n; b++)
            if (pairs[a * n + b])
                pairs[a * n + b] = reaches(s, a, b, least);
}
