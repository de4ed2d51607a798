/* SPDX-License-Identifier: MIT */
/* SHA-256 (FIPS 180-4, libcrypto) and XXH64 (xxHash specification, libxxhash) of one stream of bytes. */
#ifndef TP_HANDOFF_HASH_H
#define TP_HANDOFF_HASH_H

#include "read/stream.h"

#include <takeproof/takeproof.h>

struct tp_hasher;

/* Both hashes. Errors: TP_ERR_UNSUPPORTED, TP_ERR_MEMORY. */
enum tp_status tp_hasher_new(struct tp_hasher **hasher, struct tp_error *error) TP_MUST_USE;
/* With TP_HASHES_XXH64 no SHA-256 is computed and finish gives "" for it. */
enum tp_status tp_hasher_new_of(struct tp_hasher **hasher, enum tp_hashes hashes, struct tp_error *error) TP_MUST_USE;
void tp_hasher_free(struct tp_hasher *hasher);
void tp_hasher_push(struct tp_hasher *hasher, const uint8_t *bytes, size_t size);
/* The stream tap that feeds it. */
struct tp_tap tp_hasher_tap(struct tp_hasher *hasher);
/* Lower-case hex. Errors: TP_ERR_UNSUPPORTED (libcrypto failed). The hasher is spent. */
enum tp_status tp_hasher_finish(struct tp_hasher *hasher, char sha256[65], char xxh64[17],
                                struct tp_error *error) TP_MUST_USE;

#endif
