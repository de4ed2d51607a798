/* SPDX-License-Identifier: MIT */
/*
 * The same sound measured by libebur128 alone: a second opinion on our own figures, and the reference of the tests.
 *
 * - Integrated loudness and range of each channel as a mono programme (weight 1), and of the programme (weights as in
 *   programme.h); sample and true peak of each channel.
 *
 * - libebur128's true peak assumes silence before the first sample (a file that begins mid-sound reads up to 1 dB
 *   over), has no over-sampling from 192 kHz on, and its 4-times grid reads a high tone up to 0.44 dB low: allow for
 *   that. Of fewer than two range values it says 0 LU where ours is NaN.
 *
 * - One non-finite sample would silence its loudness: samples must be finite.
 *
 * - At the end TP_SECOND_OPINION_FLUSH_FRAMES of silence are fed so that a peak between the last samples is not lost;
 *   the loudness is read before.
 *
 * Memory: about 1.2 MB an hour a channel. One opinion is for one thread; any number may run in parallel (the library's
 * set-up, which writes its own constants, is serialised inside).
 */
#ifndef TP_MEASURE_SECOND_OPINION_H
#define TP_MEASURE_SECOND_OPINION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_SECOND_OPINION_FLUSH_FRAMES 64

struct tp_second_opinion;

/* Levels that do not exist are NaN. */
struct tp_second_opinion_channel {
    double integrated_lufs, loudness_range_lu, sample_peak_dbfs, true_peak_dbtp;
};

/* Does libebur128 measure such sound (at most 64 channels, 16 Hz to 2.8 MHz)? */
bool tp_second_opinion_takes(uint32_t sample_rate_hz, uint32_t channel_count);
/* NULL when memory is short or libebur128 does not take it. */
struct tp_second_opinion *tp_second_opinion_new(uint32_t sample_rate_hz, uint32_t channel_count, uint32_t channel_mask);
void tp_second_opinion_free(struct tp_second_opinion *opinion);
/* channel_count planes of `frames` samples. False when libebur128 is short of memory. */
bool tp_second_opinion_push(struct tp_second_opinion *opinion, const float *const *planes, size_t frames);
/* Call once. `channels`: channel_count. *programme: peaks are the largest of the channels. */
bool tp_second_opinion_finish(struct tp_second_opinion *opinion, struct tp_second_opinion_channel *channels,
                              struct tp_second_opinion_channel *programme);

#endif
