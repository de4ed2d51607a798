/* SPDX-License-Identifier: MIT */
/* Checksum lines: what is accepted is sorted, leads nowhere outside, and written again reads the same. */
#include "harness.h"

#include "handoff/manifest.h"

#include <string.h>

static void check_path(const char *path)
{
    FUZZ_MUST(*path != '\0' && *path != '/');
    for (const char *at = path; at != NULL && *at != '\0'; at = strchr(at, '/')) {
        at += *at == '/';
        FUZZ_MUST(strncmp(at, "../", 3) != 0 && strcmp(at, "..") != 0);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_listing listing, again;
    struct tp_error error = {0};
    if (tp_manifest_read(&listing, (const char *)data, size, "fuzz.sha256", &error) != TP_OK) {
        FUZZ_MUST(listing.count == 0 && error.message != NULL && strstr(error.message, "fuzz.sha256") != NULL);
        tp_error_clear(&error);
        return 0;
    }
    struct tp_text text = {0};
    size_t written = 0;
    for (size_t i = 0; i < listing.count; i++) {
        const struct tp_listed *item = &listing.items[i];
        check_path(item->path);
        FUZZ_MUST(i == 0 || strcmp(listing.items[i - 1].path, item->path) < 0);
        enum tp_hash hash = 0;
        while (hash + 1 < TP_HASH_COUNT && item->hashes.hex[hash][0] == '\0')
            hash++;
        FUZZ_MUST(strlen(item->hashes.hex[hash]) == tp_hash_kinds[hash].digits);
        tp_manifest_line(&text, hash, item->hashes.hex[hash], item->path);
        written++;
    }
    /* A name of CR alone at the end of the first line would make all lines look like CR LF: it is escaped when written.
     */
    FUZZ_MUST(tp_manifest_read(&again, text.bytes != NULL ? text.bytes : "", text.length, "again", &error) == TP_OK);
    FUZZ_MUST(again.count == written);
    for (size_t i = 0; i < again.count; i++)
        FUZZ_MUST(strcmp(again.items[i].path, listing.items[i].path) == 0);
    tp_text_clear(&text);
    tp_listing_clear(&again);
    tp_listing_clear(&listing);
    return 0;
}
