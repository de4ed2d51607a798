/* SPDX-License-Identifier: MIT */
#include "handoff/hash.h"

#include "base/beside.h"
#include "base/text.h"
#include "base/xxh.h"

#include <openssl/evp.h>
#include <stdlib.h>

/* NULL: not wanted. */
struct tp_hasher {
    EVP_MD *method;
    EVP_MD_CTX *sha256;
    XXH64_state_t *xxh64;
    XXH3_state_t *xxh3;
    bool failed;
    struct tp_beside *beside; /* NULL: in the caller's thread */
};

unsigned tp_hashes_wanted(enum tp_hashes option)
{
    switch (option) {
    case TP_HASHES_XXH64: return TP_HASH_BIT(TP_HASH_XXH64);
    case TP_HASHES_XXH3: return TP_HASH_BIT(TP_HASH_XXH3);
    case TP_HASHES_BOTH: break;
    }
    return TP_HASH_BIT(TP_HASH_SHA256) | TP_HASH_BIT(TP_HASH_XXH64);
}

static bool start_sha256(struct tp_hasher *hasher)
{
    hasher->method = EVP_MD_fetch(NULL, "SHA2-256", NULL);
    hasher->sha256 = EVP_MD_CTX_new();
    return hasher->method != NULL && hasher->sha256 != NULL &&
           EVP_DigestInit_ex2(hasher->sha256, hasher->method, NULL) == 1;
}

static bool start_xxh64(struct tp_hasher *hasher)
{
    hasher->xxh64 = XXH64_createState();
    return hasher->xxh64 != NULL && XXH64_reset(hasher->xxh64, 0) == XXH_OK;
}

static bool start_xxh3(struct tp_hasher *hasher)
{
    hasher->xxh3 = XXH3_createState();
    return hasher->xxh3 != NULL && XXH3_64bits_reset(hasher->xxh3) == XXH_OK;
}

enum tp_status tp_hasher_new(struct tp_hasher **hasher, unsigned wanted, struct tp_error *error)
{
    static bool (*const start[TP_HASH_COUNT])(struct tp_hasher *) = {
        [TP_HASH_SHA256] = start_sha256, [TP_HASH_XXH64] = start_xxh64, [TP_HASH_XXH3] = start_xxh3};
    struct tp_hasher *made = calloc(1, sizeof *made);
    if (made == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        if ((wanted & TP_HASH_BIT(hash)) != 0 && !start[hash](made)) {
            tp_hasher_free(made);
            return tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                                "cannot start the hashes: the library that computes %s refused",
                                tp_hash_kinds[hash].name);
        }
    *hasher = made;
    return TP_OK;
}

void tp_hasher_free(struct tp_hasher *hasher)
{
    if (hasher == NULL)
        return;
    tp_beside_free(hasher->beside);
    EVP_MD_CTX_free(hasher->sha256);
    EVP_MD_free(hasher->method);
    XXH64_freeState(hasher->xxh64);
    XXH3_freeState(hasher->xxh3);
    free(hasher);
}

static void take(void *user, const uint8_t *bytes, size_t size)
{
    struct tp_hasher *hasher = user;
    if ((hasher->sha256 != NULL && EVP_DigestUpdate(hasher->sha256, bytes, size) != 1) ||
        (hasher->xxh64 != NULL && XXH64_update(hasher->xxh64, bytes, size) != XXH_OK) ||
        (hasher->xxh3 != NULL && XXH3_64bits_update(hasher->xxh3, bytes, size) != XXH_OK))
        hasher->failed = true;
}

void tp_hasher_go_beside(struct tp_hasher *hasher)
{
    if (hasher->sha256 != NULL && hasher->beside == NULL)
        hasher->beside = tp_beside_new(take, hasher);
}

void tp_hasher_push(struct tp_hasher *hasher, const uint8_t *bytes, size_t size)
{
    /* Either library may be handed a null pointer with size 0; neither promises to like it. */
    if (size == 0)
        return;
    if (hasher->beside != NULL)
        tp_beside_give(hasher->beside, bytes, size);
    else
        take(hasher, bytes, size);
}

static void wait_for_hasher(void *user)
{
    struct tp_hasher *hasher = user;
    if (hasher->beside != NULL)
        tp_beside_wait(hasher->beside);
}

static void tap_bytes(void *user, const uint8_t *bytes, size_t size)
{
    tp_hasher_push(user, bytes, size);
}

struct tp_tap tp_hasher_tap(struct tp_hasher *hasher)
{
    return (struct tp_tap){.bytes = tap_bytes, .wait = wait_for_hasher, .user = hasher};
}

static void xxhash_hex(XXH64_hash_t value, char *hex)
{
    XXH64_canonical_t canonical; /* big-endian */
    XXH64_canonicalFromHash(&canonical, value);
    tp_hex(canonical.digest, sizeof canonical.digest, hex);
}

enum tp_status tp_hasher_finish(struct tp_hasher *hasher, struct tp_hash_values *hashes, struct tp_error *error)
{
    uint8_t digest[EVP_MAX_MD_SIZE];
    unsigned size = 0;
    bool wants_sha256 = hasher->sha256 != NULL;
    wait_for_hasher(hasher);
    *hashes = (struct tp_hash_values){0};
    if (hasher->failed || (wants_sha256 && (EVP_DigestFinal_ex(hasher->sha256, digest, &size) != 1 || size != 32)))
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                            "cannot compute the hashes: the library that computes them failed");
    if (wants_sha256)
        tp_hex(digest, size, hashes->hex[TP_HASH_SHA256]);
    if (hasher->xxh64 != NULL)
        xxhash_hex(XXH64_digest(hasher->xxh64), hashes->hex[TP_HASH_XXH64]);
    if (hasher->xxh3 != NULL)
        xxhash_hex(XXH3_64bits_digest(hasher->xxh3), hashes->hex[TP_HASH_XXH3]);
    return TP_OK;
}
