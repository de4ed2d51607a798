/* SPDX-License-Identifier: MIT */
/*
 * SMPTE ST 12-1 timecode from samples since midnight. Integer arithmetic only.
 * Rates: 24000/1001 24 25 30000/1001 (ND and DF) 30 48000/1001 48 50 60000/1001 (ND and DF) 60.
 */
#ifndef TP_READ_TIMECODE_H
#define TP_READ_TIMECODE_H

#include <takeproof/result.h>

#define TP_TIMECODE_SIZE 16

/* True for the rates above. */
bool tp_timecode_rate_is_known(struct tp_timecode_rate rate);
/* "25", "29.97DF", "29.97ND", "23.976" …: how the spec file and the reports name a rate. Static; "" when unknown. */
const char *tp_timecode_rate_name(struct tp_timecode_rate rate);
/* From a name as above ("29.97" alone means ND), a decimal or a fraction ("23.98", "30000/1001"), with `flag`
 * "DF"/"NDF"/""/NULL. False when it is no known rate, or when the two contradict each other. */
bool tp_timecode_rate_read(const char *text, const char *flag, struct tp_timecode_rate *rate);

/* Frame number since midnight of a sample: floor, not wrapped. 0 for a sample rate of 0; UINT64_MAX when it cannot be
 * counted. */
uint64_t tp_timecode_frame(uint64_t samples, uint32_t sample_rate_hz, struct tp_timecode_rate rate);
/* "hh:mm:ss:ff" (";" before ff when drop), wrapped at 24 h; "" for an unknown rate. Returns text. */
char *tp_timecode_text(char text[TP_TIMECODE_SIZE], uint64_t frame, struct tp_timecode_rate rate);
/* The inverse: frame number of a label; ':' before the frames is accepted for drop rates too. False when malformed or a
 * label that drop-frame leaves out. */
bool tp_timecode_read(const char *text, struct tp_timecode_rate rate, uint64_t *frame);

#endif
