/* SPDX-License-Identifier: MIT */
/*
 * The second opinion on one file: the same bytes decoded by libsndfile and measured by libebur128 alone, compared with
 * our own figures. Samples must agree bit for bit; levels within the limits below. What differs, and that all agrees,
 * is observed as `second-opinion`; a limit is given only with the agreement.
 */
#ifndef TP_PIPELINE_OPINION_H
#define TP_PIPELINE_OPINION_H

#include <takeproof/result.h>

/* Loudness and range come from equal sums; only rounding may differ. */
#define TP_OPINION_LOUDNESS_LU 0.001
#define TP_OPINION_SAMPLE_PEAK_DB 0.001
/* libebur128's 4-times grid reads up to 0.44 dB low, and its silence before a sound's first sample up to 1.0 dB high
 * (measured with libebur128 1.2.6); from 192 kHz on it does not over-sample at all. */
#define TP_OPINION_TRUE_PEAK_LOW_DB 0.5
#define TP_OPINION_TRUE_PEAK_HIGH_DB 1.1

struct tp_opinion;

/* NULL with *error when memory is short or a library refuses the format. */
struct tp_opinion *tp_opinion_new(const struct tp_file *file, struct tp_error *error);
void tp_opinion_free(struct tp_opinion *opinion); /* NULL is fine */
/* The bytes of `frames` whole frames, and what our own decoder made of them. False when memory is short or libsndfile
 * stopped. */
bool tp_opinion_push(struct tp_opinion *opinion, const uint8_t *bytes, size_t frames, const float *const *planes,
                     struct tp_error *error);
/* Compares with the finished file and appends the observations; lets libsndfile open the file at `path` once more, to
 * see what it makes of the header by itself. False when memory is short. */
bool tp_opinion_finish(struct tp_opinion *opinion, const char *path, struct tp_file *file);

#endif
