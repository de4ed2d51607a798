/* SPDX-License-Identifier: MIT */
/* An ASC MHL manifest: what is accepted leads nowhere outside and carries an XXH64 or an XXH3; what is refused says
 * why. */
#include "harness.h"

#include "handoff/mhl.h"

#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_listing listing = {0};
    struct tp_error error = {0};
    if (tp_mhl_read(&listing, 1, (const char *)data, size, "fuzz.mhl", &error) != TP_OK)
        FUZZ_MUST(error.message != NULL && strstr(error.message, "fuzz.mhl") != NULL);
    for (size_t i = 0; i < listing.count; i++) {
        const char *path = listing.items[i].path;
        FUZZ_MUST(*path != '\0' && *path != '/' && strncmp(path, "../", 3) != 0 && strstr(path, "/../") == NULL);
        FUZZ_MUST(strlen(tp_hash_strongest(&listing.items[i].hashes)) == 16);
    }
    tp_error_clear(&error);
    tp_listing_clear(&listing);
    return 0;
}
