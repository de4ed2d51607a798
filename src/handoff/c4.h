/* SPDX-License-Identifier: MIT */
/* C4 identifiers (SMPTE ST 2114): "c4" and SHA-512 in base 58, most significant first, 88 digits. */
#ifndef TP_HANDOFF_C4_H
#define TP_HANDOFF_C4_H

#include <stddef.h>
#include <takeproof/error.h>

#define TP_C4_SIZE 91 /* with the NUL */

/* Errors: TP_ERR_UNSUPPORTED (libcrypto failed). */
enum tp_status tp_c4(const void *bytes, size_t size, char c4[TP_C4_SIZE], struct tp_error *error) TP_MUST_USE;

#endif
