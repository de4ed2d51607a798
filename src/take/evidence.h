/* SPDX-License-Identifier: MIT */
/*
 * Evidence for pairing: time-aligned excerpts of all channels of a group (the files that may belong to one take), gathered
 * in the single pass, so that pairing needs no second read. Keeps at most TP_EVIDENCE_SLOTS excerpts spread over the whole
 * length: one slot per stretch of time; when full, neighbouring slots merge and the better excerpt stays. Better = more
 * channels with undamaged, active signal. Memory: slots x frames x channels floats.
 */
#ifndef TP_TAKE_EVIDENCE_H
#define TP_TAKE_EVIDENCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct tp_evidence;

struct tp_evidence *tp_evidence_new(uint32_t channel_count, uint32_t sample_rate_hz); /* NULL when memory is short */
void tp_evidence_free(struct tp_evidence *evidence);
/* `channels`: channel_count planes, full scale 1.0; the same frames of every channel. A plane may be NULL: that file has
 * ended (taken as silence). Result must not depend on the block size. */
void tp_evidence_push(struct tp_evidence *evidence, const float *const *channels, size_t frames);

#endif
