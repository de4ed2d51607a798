/* SPDX-License-Identifier: MIT */
/* The hashes of one stream of bytes: SHA-256 by libcrypto, XXH64 and XXH3 by libxxhash. */
#ifndef TP_HANDOFF_HASH_H
#define TP_HANDOFF_HASH_H

#include "base/hashes.h"
#include "read/stream.h"

#include <takeproof/takeproof.h>

struct tp_hasher;

/* What an option of a check means, as a set of TP_HASH_BIT(). */
unsigned tp_hashes_wanted(enum tp_hashes option);

/* Computes the hashes of the set and no other. Errors: TP_ERR_UNSUPPORTED, TP_ERR_MEMORY. */
enum tp_status tp_hasher_new(struct tp_hasher **hasher, unsigned wanted, struct tp_error *error) TP_MUST_USE;
void tp_hasher_free(struct tp_hasher *hasher);
/* From here on SHA-256, which waits for itself more than it works, is computed in a thread of its own if there is one
 * to be had, and with it what else is wanted: bytes stay as they are until the tap's wait, the next push or the end. */
void tp_hasher_go_beside(struct tp_hasher *hasher);
void tp_hasher_push(struct tp_hasher *hasher, const uint8_t *bytes, size_t size);
/* The stream tap that feeds it. */
struct tp_tap tp_hasher_tap(struct tp_hasher *hasher);
/* "" for a hash that was not wanted. Errors: TP_ERR_UNSUPPORTED (libcrypto failed): then all are "". The hasher is
 * spent. */
enum tp_status tp_hasher_finish(struct tp_hasher *hasher, struct tp_hash_values *hashes,
                                struct tp_error *error) TP_MUST_USE;

#endif
