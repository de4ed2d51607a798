/* SPDX-License-Identifier: MIT */
/* What a file that should be a WAV really is, told from its first bytes. */
#ifndef TP_READ_KIND_H
#define TP_READ_KIND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TP_KIND_BYTES 16 /* enough to tell */

/* "MP3 sound", "a Mac companion file (AppleDouble)" …; NULL when the bytes say nothing. Static text.
 * Sources: the magic numbers of each format's own document, from memory; the tests hold them
 * against files that FFmpeg and SoX write. */
const char *tp_kind_of(const uint8_t *bytes, size_t size);

/* A member of the WAV family: RIFF, RF64 or BW64 with the form type WAVE (RIFF 1991, EBU Tech 3306, ITU-R BS.2088). */
bool tp_kind_is_wav(const uint8_t *bytes, size_t size);

#endif
