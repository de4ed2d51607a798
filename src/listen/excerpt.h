/* SPDX-License-Identifier: MIT */
/*
 * Which spots a person must hear, and the cutting of them. See tp_report_add_excerpts() for what comes out.
 * Order: fail before listen; then the first finding of every take before the second of any, so that no single bad take
 * uses the room up; then by take. The order within one card is the same alone and merged with others.
 */
#ifndef TP_LISTEN_EXCERPT_H
#define TP_LISTEN_EXCERPT_H

#include <takeproof/result.h>

#define TP_EXCERPT_CONTEXT_S 1.0
#define TP_EXCERPT_PEAK_MAX_DBFS (-12.0)
#define TP_EXCERPT_FADE_IN_S 0.4
#define TP_EXCERPT_FADE_OUT_S 0.1

/* Turns samples down so that none is above TP_EXCERPT_PEAK_MAX_DBFS (never up), fades both ends, rounds to 16 bit.
 * Returns the gain in dB (0 or negative). */
double tp_excerpt_make_safe(const float *samples, size_t frames, uint32_t sample_rate_hz, int16_t *out);

#endif
