/* SPDX-License-Identifier: MIT */
/*
 * Where two channels lie in time to each other over all the evidence, and the sums along that line: what pair_fit.c
 * judges by. Not thread-safe per alignment.
 */
#ifndef TP_TAKE_PAIR_ALIGN_H
#define TP_TAKE_PAIR_ALIGN_H

#include "take/evidence.h"
#include "take/pair_lag.h"
#include "take/pair_overlay.h"

/* One excerpt of the pair at hand. */
struct tp_look {
    uint64_t start_frame;
    const float *const *channels; /* planes of all channels */
    bool searched;                /* for this pair: */
    double coarse_lag, coarse_correlation;
    int64_t lag; /* whole frames applied */
    bool summed; /* the segments, at that lag and no part of a frame */
    struct tp_overlay_segment segments[TP_OVERLAY_SEGMENTS];
    /* The judge's: */
    double gain, weight; /* from the explained segments; weight 0 = none */
    double level;        /* mean square of both channels (geometric mean) over these */
};

struct tp_alignment {
    size_t excerpt_count, frames;
    uint32_t channel_count, sample_rate_hz;
    uint32_t a, b;          /* the pair at hand */
    struct tp_plans *plans; /* or NULL */
    struct tp_lag_finder *finder;
    struct tp_overlay *overlay;
    struct tp_look *looks;       /* excerpt_count */
    struct tp_lag_point *points; /* excerpt_count */
    double *energies;            /* channel x excerpt_count: sums of squares */
    double *variances;           /* channel x excerpt_count */
};

/* False when memory is short. `evidence` and `plans` (or NULL) must outlive it. */
bool tp_alignment_init(struct tp_alignment *alignment, const struct tp_evidence *evidence, struct tp_plans *plans);
void tp_alignment_clear(struct tp_alignment *alignment); /* one set to 0 is fine */

/* Sum of squares over all excerpts. */
double tp_alignment_energy(const struct tp_alignment *alignment, uint32_t channel);
/* As tp_fitter_screen(). */
bool tp_alignment_screen(struct tp_alignment *alignment, const bool *wanted, bool *related);

/* The pair that all below is about. */
void tp_alignment_take(struct tp_alignment *alignment, uint32_t a, uint32_t b);
const float *tp_alignment_plane_a(const struct tp_alignment *alignment, size_t excerpt);
const float *tp_alignment_plane_b(const struct tp_alignment *alignment, size_t excerpt);

/* The line of whole lags from the loudest excerpt of each quarter: false when these are few, unclear or disagree. */
bool tp_alignment_sample(struct tp_alignment *alignment, struct tp_lag_line *line);
/* The line of whole lags from all excerpts, however unclear; `used` is 0 when there is none. Ten times the cost. */
struct tp_lag_line tp_alignment_search(struct tp_alignment *alignment);
/* The line between frames; *drift is NaN when too short to tell. */
struct tp_lag_line tp_alignment_refine(struct tp_alignment *alignment, struct tp_lag_line line, double *drift);
/* Sums for every excerpt along the line. Returns the number of usable segments. */
size_t tp_alignment_sum(struct tp_alignment *alignment, struct tp_lag_line line);
/* Whether enough of the segment could be compared. */
bool tp_alignment_is_usable(const struct tp_alignment *alignment, const struct tp_overlay_segment *segment);
/* Correlation of what hum does not hold, 0 … 1, at the lags of the sums. */
double tp_alignment_without_hum(struct tp_alignment *alignment);

#endif
