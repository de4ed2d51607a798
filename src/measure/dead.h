/* SPDX-License-Identifier: MIT */
/*
 * Where the sound of a channel breaks off and no microphone is heard any more: nothing but digital silence, or the bare
 * noise of an input, because a cable, a capsule, a link or a recorder failed.
 *
 * A quiet end of a take is something else: room tone is still heard, as loud as in the pauses before, its spectrum is
 * that of a room, and sound dies away. So a stretch is dead when all of this holds (common practice, no source; the
 * values were tried on real voices and music, gated and not, see tests/measure/test_dead.c):
 * - its steps are still, or lie under TP_DEAD_DBFS (AES17) and are as flat as white noise;
 * - it lasts TP_DEAD_MIN_S, or as digital silence between sound TP_DEAD_STILL_MIN_S;
 * - its loudest step lies 15 dB or more under the quietest tenth of what came before (9 dB, when the pauses before had
 *   the spectrum of a room: a safety stands low), which is itself no louder than
 *   -30 dBFS (what has no pause may well have ended), no fainter than -80 dBFS, and TP_DEAD_BEFORE_S long or longer;
 * - that quiet was a floor: it stood still for a quarter of a second again and again, 0.75 s in all, as the lulls of
 *   somebody who speaks on do not;
 * - it begins within 0.2 s (the thump of a plug dies away meanwhile, a room does not), and goes on to the end of the
 *   recording or ends as abruptly;
 * - it is no habit: gated and cut sound has many such stretches, or begins with one.
 */
#ifndef TP_MEASURE_DEAD_H
#define TP_MEASURE_DEAD_H

#include "measure/trace.h"

#define TP_DEAD_DBFS (-70.0)
#define TP_DEAD_FALL_DB 15.0
#define TP_DEAD_FALL_ROOM_DB 9.0
#define TP_DEAD_MIN_S 2.0
#define TP_DEAD_STILL_MIN_S 1.0
#define TP_DEAD_BEFORE_S 2.0
#define TP_DEAD_BORDER_S 0.2

/* `frames` of the channel. Appends to `dead`, in time order. False when memory is short. */
bool tp_dead_find(const struct tp_trace *trace, uint32_t sample_rate_hz, uint64_t frames, struct tp_spans *dead);

/* What a stretch holds. */
struct tp_dead_kind {
    bool still;        /* no sample differs from the one before */
    bool zeros;        /* still, and all of them zeros */
    double level_dbfs; /* of what is not still, AES17; -infinity when all is */
};
/* Of the whole steps in [start, end), or of the one that holds them. */
struct tp_dead_kind tp_dead_kind(const struct tp_trace *trace, const struct tp_span *span);

#endif
