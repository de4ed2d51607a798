/* SPDX-License-Identifier: MIT */
#include "handoff/mhl.h"

#include "base/num.h"
#include "handoff/xml.h"

#include <stdlib.h>
#include <string.h>

#define NAME_SPACE "urn:ASC:MHL:v2.0"

/* A name that XML could not carry, and what stands for it. */
struct alias {
    char *written, *raw;
};

struct entry {
    char *path, *hashes[TP_HASH_COUNT];
    uint64_t bytes;
    bool bytes_known, failed, other_hash;
};

struct manifest_reader {
    struct entry *entries;
    size_t count, capacity;
    struct alias *aliases;
    size_t alias_count, alias_capacity;
    struct entry now;
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

static void entry_clear(struct entry *entry)
{
    free(entry->path);
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        free(entry->hashes[hash]);
    *entry = (struct entry){0};
}

static void reader_clear(struct manifest_reader *reader)
{
    for (size_t i = 0; i < reader->count; i++)
        entry_clear(&reader->entries[i]);
    for (size_t i = 0; i < reader->alias_count; i++) {
        free(reader->aliases[i].written);
        free(reader->aliases[i].raw);
    }
    free(reader->entries);
    free(reader->aliases);
    entry_clear(&reader->now);
}

static enum tp_status add_alias(struct manifest_reader *reader, const char **attributes, struct tp_error *error)
{
    const char *written = tp_xml_attribute(attributes, "path"), *hex = tp_xml_attribute(attributes, "hex");
    if (written == NULL || hex == NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "a name in the metadata lacks its path or hex");
    char *raw = tp_from_hex(hex);
    if (raw == NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "a name in the metadata is not in hex");
    if (!tp_grow(&reader->aliases, &reader->alias_capacity, reader->alias_count, sizeof *reader->aliases)) {
        free(raw);
        return no_memory(error);
    }
    reader->aliases[reader->alias_count++] = (struct alias){tp_strdup(written), raw};
    return reader->aliases[reader->alias_count - 1].written != NULL ? TP_OK : no_memory(error);
}

static bool is(const char *where, const char *what)
{
    return strcmp(where, what) == 0;
}

#define IN_HASH "hashlist/hashes/hash/"

/* The hash that an element is; TP_HASH_COUNT for any other element. The schema has no SHA-256. */
static enum tp_hash hash_of(const char *where)
{
    if (strncmp(where, IN_HASH, sizeof IN_HASH - 1) != 0)
        return TP_HASH_COUNT;
    enum tp_hash hash = TP_HASH_XXH64;
    while (hash < TP_HASH_COUNT && !is(where + sizeof IN_HASH - 1, tp_hash_kinds[hash].key))
        hash++;
    return hash;
}

static enum tp_status manifest_begin(void *user, const char *where, const char **attributes, struct tp_error *error)
{
    struct manifest_reader *reader = user;
    const char *slash = strchr(where, '/');
    if (slash == NULL && !is(where, "hashlist"))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "this is no ASC MHL v2.0 hash list");
    if (is(where, "hashlist/hashes/hash"))
        entry_clear(&reader->now);
    if (is(where, IN_HASH "path")) {
        const char *size = tp_xml_attribute(attributes, "size");
        reader->now.bytes_known = size != NULL && tp_u64_read(size, &reader->now.bytes);
        if (size != NULL && !reader->now.bytes_known)
            return tp_error_set(error, TP_ERR_FORMAT, 0, "the size '%s' is no number", size);
    }
    if (hash_of(where) != TP_HASH_COUNT) {
        const char *action = tp_xml_attribute(attributes, "action");
        reader->now.failed = reader->now.failed || (action != NULL && is(action, "failed"));
    }
    if (is(where, "hashlist/metadata/?names/?name"))
        return add_alias(reader, attributes, error);
    return TP_OK;
}

static bool is_other_hash(const char *where)
{
    static const char *const kinds[] = {"c4", "md5", "sha1", "xxh128", "xxh32"};
    if (strncmp(where, IN_HASH, sizeof IN_HASH - 1) != 0)
        return false;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (is(where + sizeof IN_HASH - 1, kinds[i]))
            return true;
    return false;
}

static enum tp_status keep(char **slot, const char *text, struct tp_error *error)
{
    free(*slot);
    *slot = tp_strdup(text);
    return *slot != NULL ? TP_OK : no_memory(error);
}

static enum tp_status end_entry(struct manifest_reader *reader, struct tp_error *error)
{
    struct entry *now = &reader->now;
    if (now->path == NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "a hash has no path");
    if (now->hashes[TP_HASH_XXH64] == NULL && now->hashes[TP_HASH_XXH3] == NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' has no XXH64 and no XXH3%s", now->path,
                            now->other_hash ? ", the only hashes of a history that are read here" : "");
    if (!tp_grow(&reader->entries, &reader->capacity, reader->count, sizeof *reader->entries))
        return no_memory(error);
    reader->entries[reader->count++] = *now;
    *now = (struct entry){0};
    return TP_OK;
}

static enum tp_status manifest_end(void *user, const char *where, const char *text, struct tp_error *error)
{
    struct manifest_reader *reader = user;
    enum tp_hash hash = hash_of(where);
    if (is(where, IN_HASH "path"))
        return keep(&reader->now.path, text, error);
    if (hash != TP_HASH_COUNT)
        return keep(&reader->now.hashes[hash], text, error);
    if (is_other_hash(where))
        reader->now.other_hash = true;
    if (is(where, "hashlist/hashes/hash"))
        return end_entry(reader, error);
    return TP_OK;
}

static int by_written(const void *a, const void *b)
{
    return strcmp(((const struct alias *)a)->written, ((const struct alias *)b)->written);
}

/* After the aliases are sorted. */
static const char *true_name(const struct manifest_reader *reader, char *written)
{
    const struct alias key = {.written = written};
    const struct alias *found = reader->alias_count == 0 ? NULL
                                                         : bsearch(&key, reader->aliases, reader->alias_count,
                                                                   sizeof *reader->aliases, by_written);
    return found != NULL ? found->raw : written;
}

static enum tp_status add_entries(struct tp_listing *listing, uint32_t generation, const struct manifest_reader *reader,
                                  struct tp_error *error)
{
    for (size_t i = 0; i < reader->count; i++) {
        const struct entry *entry = &reader->entries[i];
        if (entry->failed)
            continue;
        enum tp_status status =
            tp_listing_add(listing, true_name(reader, entry->path), (const char *const *)entry->hashes,
                           entry->bytes_known ? &entry->bytes : NULL, error);
        if (status != TP_OK)
            return status;
        listing->items[listing->count - 1].generation = generation;
    }
    return TP_OK;
}

/* Puts the name of the file before what went wrong in it. */
static enum tp_status in_file(enum tp_status status, const char *name, struct tp_error *cause, struct tp_error *error)
{
    if (status != TP_OK)
        tp_error_set(error, status, cause->os_errno, "cannot read the history '%s': %s", name, tp_error_text(cause));
    tp_error_clear(cause);
    return status;
}

enum tp_status tp_mhl_read(struct tp_listing *listing, uint32_t generation, const char *bytes, size_t size,
                           const char *name, struct tp_error *error)
{
    struct manifest_reader reader = {0};
    struct tp_error cause = {0};
    const struct tp_xml_reader xml = {
        .name_space = NAME_SPACE, .begin = manifest_begin, .end = manifest_end, .user = &reader};
    enum tp_status status = tp_xml_read(&xml, bytes, size, &cause);
    if (status == TP_OK && reader.alias_count > 0)
        qsort(reader.aliases, reader.alias_count, sizeof *reader.aliases, by_written);
    if (status == TP_OK)
        status = add_entries(listing, generation, &reader, &cause);
    reader_clear(&reader);
    return in_file(status, name, &cause, error);
}
