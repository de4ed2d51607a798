/* SPDX-License-Identifier: MIT */
#include "take/pair.h"

#include "base/text.h"
#include "take/claims.h"
#include "take/pair_fit.h"

#include <stdlib.h>

#define DEAD_DBFS (-75.0)
#define SWAP_DB 0.02
/* Deeper than this it is crosstalk, not a safety. Our own choice. */
#define OFFSET_DEEPEST_DB (-48.0)

bool tp_pair_is_dead(const struct tp_channel *levels)
{
    return levels->digital_silence || !(levels->sample_peak_dbfs >= DEAD_DBFS);
}

static void swap(uint32_t *a, uint32_t *b)
{
    uint32_t kept = *a;
    *a = *b;
    *b = kept;
}

static struct tp_pair_match match_from(const struct tp_fit *fit, uint32_t main, uint32_t safety)
{
    double whole = round(fit->lag);
    return (struct tp_pair_match){.main = main,
                                  .safety = safety,
                                  .offset_db = fit->copy ? 0.0 : fit->offset_db,
                                  .offset_spread_db = fit->offset_spread_db,
                                  .offset_range_db = fit->offset_range_db,
                                  .lag_samples = (int64_t)whole,
                                  .lag_fraction = fit->lag - whole,
                                  .drift_ppm = 1e6 * fit->drift,
                                  .inverted = fit->gain < 0.0,
                                  .correlation = fit->correlation,
                                  .copy = fit->copy};
}

/* Fits the quieter on the louder, so that the noise of the quieter one cannot bias the gain. */
static bool try_pair(struct tp_fitter *fitter, const struct tp_pair_channel *channels, uint32_t a, uint32_t b,
                     const double *energies, const struct tp_spec *spec, struct tp_pair_match *match)
{
    uint32_t main = a, safety = b;
    tp_fitter_leave_out(fitter, &channels[a].levels->dead, &channels[b].levels->dead);
    if (energies[b] > energies[a])
        swap(&main, &safety);
    struct tp_fit fit = tp_fitter_fit(fitter, main, safety, channels[main].levels->noise_floor_dbfs,
                                      channels[safety].levels->noise_floor_dbfs);
    if (fit.is_pair && fit.offset_db > SWAP_DB) {
        swap(&main, &safety);
        fit = tp_fitter_fit(fitter, main, safety, channels[main].levels->noise_floor_dbfs,
                            channels[safety].levels->noise_floor_dbfs);
    }
    if (!fit.is_pair || fit.offset_db < OFFSET_DEEPEST_DB)
        return false;
    /* With a channel dead for a part, less is known: one talker's voice on two microphones must not do. */
    if (fit.left_out > 0 && fabs(fit.lag) > (double)spec->lag_max_samples + 0.5)
        return false;
    *match = match_from(&fit, main, safety);
    if (match->main > match->safety && fabs(match->offset_db) <= SWAP_DB) {
        /* Equals: the first channel is called the main. */
        swap(&match->main, &match->safety);
        match->offset_db = -match->offset_db;
        match->lag_samples = -match->lag_samples;
        match->lag_fraction = -match->lag_fraction;
        match->drift_ppm = -match->drift_ppm;
    }
    return true;
}

/* Fits all that are related. */
static bool fit_related(struct tp_fitter *fitter, const struct tp_pair_channel *channels, uint32_t channel_count,
                        const bool *related, const double *energies, const struct tp_spec *spec,
                        struct tp_claims *found)
{
    for (uint32_t a = 0; a < channel_count; a++) {
        for (uint32_t b = a + 1; b < channel_count; b++) {
            struct tp_pair_match match;
            if (!related[(size_t)a * channel_count + b] || !try_pair(fitter, channels, a, b, energies, spec, &match))
                continue;
            if (!tp_grow(&found->items, &found->capacity, found->count, sizeof *found->items))
                return false;
            found->items[found->count++] = (struct tp_claim){.match = match};
        }
    }
    return true;
}

static bool collect(struct tp_fitter *fitter, const struct tp_pair_channel *channels, uint32_t channel_count,
                    const struct tp_spec *spec, struct tp_claims *found)
{
    double *energies = calloc(channel_count, sizeof *energies);
    bool *sounding = calloc(channel_count, sizeof *sounding);
    bool *related = calloc((size_t)channel_count * channel_count, sizeof *related);
    bool good = energies != NULL && sounding != NULL && related != NULL;
    for (uint32_t c = 0; good && c < channel_count; c++) {
        energies[c] = tp_fitter_energy(fitter, c);
        sounding[c] = energies[c] > 0.0 && !tp_pair_is_dead(channels[c].levels);
    }
    good = good && tp_fitter_screen(fitter, sounding, related) &&
           fit_related(fitter, channels, channel_count, related, energies, spec, found);
    free(energies);
    free(sounding);
    free(related);
    return good;
}

enum tp_status tp_pair_find(const struct tp_evidence *evidence, const struct tp_pair_channel *channels,
                            uint32_t channel_count, const struct tp_spec *spec, struct tp_plans *plans,
                            struct tp_pair_match **matches, size_t *match_count, struct tp_error *error)
{
    *matches = NULL;
    *match_count = 0;
    if (spec->pair == TP_PAIR_OFF || channel_count < 2 || tp_evidence_excerpt_count(evidence) == 0)
        return TP_OK;
    struct tp_claims found = {0};
    struct tp_fitter *fitter = tp_fitter_new(evidence, plans);
    bool good = fitter != NULL && collect(fitter, channels, channel_count, spec, &found) &&
                tp_claims_settle(&found, channels, channel_count, spec, matches, match_count);
    tp_fitter_free(fitter);
    free(found.items);
    return good ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to look for pairs");
}
