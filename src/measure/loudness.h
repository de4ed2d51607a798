/* SPDX-License-Identifier: MIT */
/*
 * Loudness of a mono channel or of a programme, from K-weighted energies of hops of about 10 ms.
 *
 * A block of 100 ms is s100 = (rate + 5) / 10 frames (integer division, as libebur128 rounds it), and hop k ends at
 * frame floor((k + 1) * s100 / 10): ten hops are one block at any rate.
 *
 * - momentary: 40 hops (400 ms), short-term: 300 hops (3 s), rectangular; their maxima are looked for at every hop
 *   (EBU Tech 3341: with a step of 100 ms case 13 would read up to 0.58 dB low). Whole windows only.
 *
 * - integrated: ITU-R BS.1770-5 Annex 1, gating blocks of 400 ms every 100 ms, absolute gate -70 LUFS, relative gate
 *   10 LU below the mean of what passed; an incomplete block at the end is not used.
 *
 * - range: EBU Tech 3342, short-term loudness every 1 s from 3 s on, gates at -70 LUFS and 20 LU below the mean,
 *   95th minus 10th percentile; NaN for fewer than two values.
 *
 * A figure that does not exist (too short, nothing above the gate) is NaN.
 *
 * Memory: at most 2^17 gating blocks (3.6 h) and as many seconds are kept (0.6 MB); a longer recording goes on in
 * histograms of 0.01 LU that keep each bin's energy. Then only blocks in the very bin of the relative gate can be
 * gated differently: the error is below 0.01 LU unless over 2 % of all blocks lie in that one bin, and 0.01 LU for
 * the range.
 */
#ifndef TP_MEASURE_LOUDNESS_H
#define TP_MEASURE_LOUDNESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct tp_loudness;

struct tp_loudness_result {
    double integrated_lufs, momentary_max_lufs, short_term_max_lufs, loudness_range_lu;
};

/* Frames in a block of 100 ms; at least 10, so that no hop is empty. */
uint32_t tp_block_frames(uint32_t sample_rate_hz);
/* The frame at which hop `hop` begins (and hop - 1 ends). Valid for hop < 2^32. */
static inline uint64_t tp_hop_start(uint32_t block_frames, uint64_t hop)
{
    return hop / 10 * block_frames + hop % 10 * block_frames / 10;
}

struct tp_loudness *tp_loudness_new(uint32_t block_frames); /* NULL when memory is short */
void tp_loudness_free(struct tp_loudness *loudness);
/* The next whole hop: sum over its frames of the weighted squares. */
void tp_loudness_push_hop(struct tp_loudness *loudness, double energy);
/* False when memory was short on the way: all NaN. May be called at any time, and again. */
bool tp_loudness_finish(const struct tp_loudness *loudness, struct tp_loudness_result *result);

#endif
