/* SPDX-License-Identifier: MIT */
#include "base/hashes.h"

const struct tp_hash_kind tp_hash_kinds[TP_HASH_COUNT] = {
    [TP_HASH_SHA256] = {"SHA-256", "sha256", 64},
    [TP_HASH_XXH64] = {"XXH64", "xxh64", 16},
    [TP_HASH_XXH3] = {"XXH3", "xxh3", 16},
};

const char *tp_hash_strongest(const struct tp_hash_values *hashes)
{
    enum tp_hash hash = 0;
    while (hash + 1 < TP_HASH_COUNT && hashes->hex[hash][0] == '\0')
        hash++;
    return hashes->hex[hash];
}
