/* SPDX-License-Identifier: MIT */
/*
 * The hashes of files, one row each: what is computed, written, read and compared goes by this table. The strongest
 * comes first: where one has to stand for the content, it is the first that is known. SHA-256: FIPS 180-4; XXH64 and
 * XXH3 (64 bits, seed 0): the xxHash specification; hex is big-endian, the order in which xxHash values are printed.
 */
#ifndef TP_BASE_HASHES_H
#define TP_BASE_HASHES_H

#include <stddef.h>

enum tp_hash { TP_HASH_SHA256, TP_HASH_XXH64, TP_HASH_XXH3, TP_HASH_COUNT };
#define TP_HASH_BIT(hash) (1u << (hash)) /* in a set of hashes */
#define TP_HASH_SIZE 65                  /* the most hex digits and a NUL */

struct tp_hash_kind {
    const char *name; /* "SHA-256" */
    const char *key;  /* "sha256": in JSON, in ASC MHL, and at the end of a manifest's name */
    size_t digits;
};
extern const struct tp_hash_kind tp_hash_kinds[TP_HASH_COUNT];

/* Of one content: lower-case hex; "" for a hash that is not known. */
struct tp_hash_values {
    char hex[TP_HASH_COUNT][TP_HASH_SIZE];
};

/* The first that is known, or "". */
const char *tp_hash_strongest(const struct tp_hash_values *hashes);

#endif
