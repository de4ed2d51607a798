/* SPDX-License-Identifier: MIT */
/*
 * The fmt chunk: what the samples are, and whether that can be believed.
 *
 * Sources: RIFF MCI 1991 and Microsoft's WAVEFORMATEX / WAVEFORMATEXTENSIBLE (layout, GUIDs).
 * Believed: PCM of 8, 16, 24 or 32 bits a container, IEEE float of 32 or 64, 1 to 64 channels, 1,000 to 3,072,000 Hz,
 * and a block align that fits; a block align that two other fields contradict is overruled and reported.
 */
#ifndef TP_READ_FORMAT_H
#define TP_READ_FORMAT_H

#include <takeproof/result.h>

#define TP_FORMAT_CHANNELS_MAX 64

/* Fills encoding, extensible, bit_depth, valid_bits, sample_rate_hz, channel_count, channel_mask of `file` and adds
 * observations. When the format is not one we decode or cannot be believed, encoding is NONE and an observation says
 * why. *problem gets words for the chunk list, owned by the caller, or NULL. Errors: TP_ERR_MEMORY. */
enum tp_status tp_format_read(const uint8_t *body, size_t size, struct tp_file *file, char **problem,
                              struct tp_error *error) TP_MUST_USE;

/* Bytes of one frame; 0 when the encoding is NONE. */
uint32_t tp_format_frame_bytes(const struct tp_file *file);

/* Seconds into the sound at which the frame begins that holds this byte of the file, which lies in or right behind the
 * sound. Of a file with a sample rate; NaN without frames. */
double tp_format_seconds_at(const struct tp_file *file, uint64_t byte);

/* "IMA ADPCM"; NULL for a tag we have no words for. Static. */
const char *tp_format_tag_name(uint16_t tag);

#endif
