/* SPDX-License-Identifier: MIT */
/*
 * Mono sound to a FLAC file in memory, through libsndfile's encoder and virtual I/O. The same samples give the same
 * bytes (no date, no serial number), and Chromium, Firefox and Safari play it.
 */
#ifndef TP_LISTEN_FLAC_H
#define TP_LISTEN_FLAC_H

#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>

/* `samples` as 16-bit. *bytes is owned by the caller. Errors: TP_ERR_UNSUPPORTED (no FLAC in this libsndfile, or not at
 * this rate), TP_ERR_MEMORY. */
enum tp_status tp_flac_encode(const int16_t *samples, size_t frames, uint32_t sample_rate_hz, uint8_t **bytes,
                              size_t *size, struct tp_error *error) TP_MUST_USE;

#endif
