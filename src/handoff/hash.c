/* SPDX-License-Identifier: MIT */
#include "handoff/hash.h"

#include "base/text.h"

#include <openssl/evp.h>
#include <stdlib.h>
#include <xxhash.h>

struct tp_hasher {
    EVP_MD *method;
    EVP_MD_CTX *sha256;
    XXH64_state_t *xxh64;
    bool failed;
};

static bool start_sha256(struct tp_hasher *hasher)
{
    hasher->method = EVP_MD_fetch(NULL, "SHA2-256", NULL);
    hasher->sha256 = EVP_MD_CTX_new();
    return hasher->method != NULL && hasher->sha256 != NULL &&
           EVP_DigestInit_ex2(hasher->sha256, hasher->method, NULL) == 1;
}

enum tp_status tp_hasher_new_of(struct tp_hasher **hasher, enum tp_hashes hashes, struct tp_error *error)
{
    struct tp_hasher *made = calloc(1, sizeof *made);
    if (made == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    made->xxh64 = XXH64_createState();
    if (made->xxh64 == NULL || XXH64_reset(made->xxh64, 0) != XXH_OK ||
        (hashes == TP_HASHES_BOTH && !start_sha256(made))) {
        tp_hasher_free(made);
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                            "cannot start the hashes: the library that computes SHA-256 refused");
    }
    *hasher = made;
    return TP_OK;
}

enum tp_status tp_hasher_new(struct tp_hasher **hasher, struct tp_error *error)
{
    return tp_hasher_new_of(hasher, TP_HASHES_BOTH, error);
}

void tp_hasher_free(struct tp_hasher *hasher)
{
    if (hasher == NULL)
        return;
    EVP_MD_CTX_free(hasher->sha256);
    EVP_MD_free(hasher->method);
    XXH64_freeState(hasher->xxh64);
    free(hasher);
}

void tp_hasher_push(struct tp_hasher *hasher, const uint8_t *bytes, size_t size)
{
    /* Either library may be handed a null pointer with size 0; neither promises to like it. */
    if (size == 0)
        return;
    if ((hasher->sha256 != NULL && EVP_DigestUpdate(hasher->sha256, bytes, size) != 1) ||
        XXH64_update(hasher->xxh64, bytes, size) != XXH_OK)
        hasher->failed = true;
}

static void tap_bytes(void *user, const uint8_t *bytes, size_t size)
{
    tp_hasher_push(user, bytes, size);
}

struct tp_tap tp_hasher_tap(struct tp_hasher *hasher)
{
    return (struct tp_tap){.bytes = tap_bytes, .user = hasher};
}

enum tp_status tp_hasher_finish(struct tp_hasher *hasher, char sha256[65], char xxh64[17], struct tp_error *error)
{
    uint8_t digest[EVP_MAX_MD_SIZE];
    unsigned size = 0;
    bool wants_sha256 = hasher->sha256 != NULL;
    if (hasher->failed || (wants_sha256 && (EVP_DigestFinal_ex(hasher->sha256, digest, &size) != 1 || size != 32)))
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                            "cannot compute SHA-256: the library that computes it failed");
    XXH64_canonical_t canonical; /* big-endian: the order in which xxHash values are printed */
    XXH64_canonicalFromHash(&canonical, XXH64_digest(hasher->xxh64));
    tp_hex(digest, size, sha256);
    tp_hex(canonical.digest, sizeof canonical.digest, xxh64);
    return TP_OK;
}
