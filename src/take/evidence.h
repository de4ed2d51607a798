/* SPDX-License-Identifier: MIT */
/*
 * Evidence for pairing: time-aligned excerpts of all channels of a group (the files that may belong to one take),
 * gathered in the single pass, so that pairing needs no second read.
 *
 * Excerpts start at multiples of the excerpt length. Time is divided into at most TP_EVIDENCE_SLOTS equal slots; when
 * they are full, neighbours merge and the slot length doubles. A slot keeps two excerpts: the most active one, and a
 * moderate one (about 16 dB under the loudest so far), so that a limiter shows as a level-dependent offset. Activity is
 * counted a channel, clipped samples lower it, and channels that few excerpts cover weigh more: a microphone that
 * speaks seldom keeps its evidence. Memory: at most about TP_EVIDENCE_BYTES_MAX, fewer slots when there are many
 * channels. One thread per evidence.
 */
#ifndef TP_TAKE_EVIDENCE_H
#define TP_TAKE_EVIDENCE_H

#include "measure/level.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_EVIDENCE_SLOTS 32
#define TP_EVIDENCE_BYTES_MAX ((size_t)12 << 20)

struct tp_evidence;

struct tp_evidence *tp_evidence_new(uint32_t channel_count, uint32_t sample_rate_hz); /* NULL when memory is short */
void tp_evidence_free(struct tp_evidence *evidence);                                  /* NULL is fine */
/* `channels`: channel_count planes, full scale 1.0; the same frames of every channel. A plane may be NULL: that file
 * has ended (taken as silence). `sums`: NULL, or what the caller knows already of each channel in these frames; with
 * other .frames it is not looked at. Result must not depend on the block size. False when memory is short. */
bool tp_evidence_push(struct tp_evidence *evidence, const float *const *channels, size_t frames,
                      const struct tp_sums *sums);

/* What was gathered, in time order, each stretch once. A last part shorter than an excerpt is left out, unless there is
 * nothing else: then it is filled up with silence. Valid until the next push. */
struct tp_excerpt {
    uint64_t start_frame;
    const float *const *channels; /* channel_count planes of tp_evidence_excerpt_frames() */
};
size_t tp_evidence_excerpt_count(const struct tp_evidence *evidence);
struct tp_excerpt tp_evidence_excerpt(const struct tp_evidence *evidence, size_t index);
size_t tp_evidence_excerpt_frames(const struct tp_evidence *evidence);
uint32_t tp_evidence_channel_count(const struct tp_evidence *evidence);
uint32_t tp_evidence_sample_rate_hz(const struct tp_evidence *evidence);
uint64_t tp_evidence_frames(const struct tp_evidence *evidence); /* pushed so far */

#endif
