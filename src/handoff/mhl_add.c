/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "handoff/c4.h"
#include "handoff/mhl_chain.h"
#include "handoff/proven_file.h"
#include "handoff/xml.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

static void add_time(struct tp_text *out, int64_t seconds, const char *format)
{
    time_t when = (time_t)seconds;
    struct tm utc;
    char text[64];
    /* Only a year beyond what the system counts gets here; the schema wants a date all the same. */
    bool told = gmtime_r(&when, &utc) != NULL && strftime(text, sizeof text, format, &utc) != 0;
    tp_text_add(out, told ? text : "1970-01-01T00:00:00+00:00");
}

#define ISO_TIME "%Y-%m-%dT%H:%M:%S+00:00"

/* Printable in XML: a byte that is no UTF-8 and a control character become U+FFFD. */
static char *carried(const char *path)
{
    char *repaired = tp_utf8_repair(path, strlen(path));
    struct tp_text text = {0};
    for (const char *at = repaired; at != NULL && *at != '\0'; at++) {
        bool control = (unsigned char)*at < 0x20 && *at != '\t' && *at != '\n' && *at != '\r';
        bool no_character = strncmp(at, "\xef\xbf\xbe", 3) == 0 || strncmp(at, "\xef\xbf\xbf", 3) == 0;
        if (control || no_character)
            tp_text_add(&text, "\xef\xbf\xbd");
        else
            tp_text_append(&text, at, 1);
        at += no_character ? 2 : 0;
    }
    bool lost = repaired == NULL;
    free(repaired);
    char *taken = tp_text_take(&text);
    if (!lost)
        return taken;
    free(taken);
    return NULL;
}

struct name {
    const char *raw;
    char *written;
    bool aliased;
};

struct names {
    struct name *items; /* parallel to the files */
    size_t count;
};

static void names_clear(struct names *names)
{
    for (size_t i = 0; i < names->count; i++)
        free(names->items[i].written);
    free(names->items);
}

static int by_written(const void *a, const void *b)
{
    const struct name *const *left = a, *const *right = b;
    int order = strcmp((*left)->written, (*right)->written);
    return order != 0 ? order : ((*left)->aliased > (*right)->aliased) - ((*left)->aliased < (*right)->aliased);
}

static bool lengthen(struct name *name, size_t number)
{
    char *longer = tp_format("%s\xef\xbf\xbd%zu", name->written, number);
    if (longer == NULL)
        return false;
    free(name->written);
    name->written = longer;
    return true;
}

/* No two names may be written alike: of those that are, all but the first get U+FFFD and their number in the row. */
static bool make_unique(struct name **sorted, size_t count)
{
    for (bool again = true; again;) {
        again = false;
        qsort(sorted, count, sizeof *sorted, by_written);
        for (size_t first = 0, next; first < count; first = next) {
            for (next = first + 1; next < count && strcmp(sorted[first]->written, sorted[next]->written) == 0; next++)
                ;
            for (size_t i = first + 1; i < next; i++) {
                if (!lengthen(sorted[i], i - first + 1))
                    return false;
                again = true;
            }
        }
    }
    return true;
}

static bool name_files(const struct tp_mhl_file *files, size_t count, struct names *names)
{
    names->items = calloc(count + 1, sizeof *names->items);
    if (names->items == NULL)
        return false;
    names->count = count;
    for (size_t i = 0; i < count; i++) {
        struct name *name = &names->items[i];
        name->raw = files[i].path;
        name->aliased = !tp_xml_can_carry(name->raw);
        name->written = name->aliased ? carried(name->raw) : tp_strdup(name->raw);
        if (name->written == NULL)
            return false;
    }
    struct name **sorted = calloc(count + 1, sizeof(struct name *));
    for (size_t i = 0; sorted != NULL && i < count; i++)
        sorted[i] = &names->items[i];
    bool good = sorted != NULL && make_unique(sorted, count);
    free(sorted);
    return good;
}

static void add_head(struct tp_text *out, const struct tp_mhl_options *options)
{
    tp_text_add(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<hashlist version=\"2.0\" "
                     "xmlns=\"urn:ASC:MHL:v2.0\">\n  <creatorinfo>\n    <creationdate>");
    add_time(out, options->made_s, ISO_TIME);
    tp_text_add(out, "</creationdate>\n    <hostname>");
    char *host = carried(options->host);
    tp_xml_escape(out, host != NULL && *host != '\0' ? host : "unknown");
    free(host);
    tp_text_add(out, "</hostname>\n    <tool version=\"");
    tp_xml_escape(out, options->version);
    tp_text_add(out, "\">takeproof</tool>\n  </creatorinfo>\n  <processinfo>\n    <process>");
    tp_xml_escape(out, options->process);
    tp_text_add(out, "</process>\n    <ignore>\n      <pattern>.DS_Store</pattern>\n      <pattern>ascmhl</pattern>\n"
                     "      <pattern>ascmhl/</pattern>\n      <pattern>.takeproof-offload</pattern>\n    </ignore>\n"
                     "  </processinfo>\n");
}

static const char *action(const struct tp_listing *before, const struct tp_mhl_file *file)
{
    const struct tp_listed *known = tp_listing_find(before, file->path);
    if (known == NULL)
        return "original";
    return strcmp(known->hashes.hex[TP_HASH_XXH64], file->xxh64) == 0 ? "verified" : "failed";
}

static void add_hash(struct tp_text *out, const struct tp_mhl_file *file, const char *written,
                     const struct tp_listing *before, int64_t made_s)
{
    tp_text_format(out, "    <hash>\n      <path size=\"%" PRIu64 "\" lastmodificationdate=\"", file->bytes);
    add_time(out, file->modified_s, ISO_TIME);
    tp_text_add(out, "\">");
    tp_xml_escape(out, written);
    tp_text_format(out, "</path>\n      <xxh64 action=\"%s\" hashdate=\"", action(before, file));
    add_time(out, made_s, ISO_TIME);
    tp_text_format(out, "\">%s</xxh64>\n    </hash>\n", file->xxh64);
}

static void add_aliases(struct tp_text *out, const struct names *names)
{
    bool any = false;
    for (size_t i = 0; i < names->count; i++) {
        const struct name *name = &names->items[i];
        if (!name->aliased)
            continue;
        if (!any)
            tp_text_add(out, "  <metadata>\n    <names xmlns=\"urn:takeproof:names:1\">\n");
        any = true;
        size_t length = strlen(name->raw);
        char *hex = malloc(2 * length + 1);
        if (hex == NULL) {
            out->failed = true;
            return;
        }
        tp_hex((const uint8_t *)name->raw, length, hex);
        tp_text_add(out, "      <name path=\"");
        tp_xml_escape(out, name->written);
        tp_text_format(out, "\" hex=\"%s\"/>\n", hex);
        free(hex);
    }
    if (any)
        tp_text_add(out, "    </names>\n  </metadata>\n");
}

static char *manifest_text(const struct tp_mhl_file *files, size_t count, const struct tp_mhl_options *options,
                           const struct tp_listing *before)
{
    struct names names = {0};
    struct tp_text out = {0};
    bool good = name_files(files, count, &names);
    if (good) {
        add_head(&out, options);
        tp_text_add(&out, "  <hashes>\n");
        for (size_t i = 0; i < count; i++)
            add_hash(&out, &files[i], names.items[i].written, before, options->made_s);
        tp_text_add(&out, "  </hashes>\n");
        add_aliases(&out, &names);
        tp_text_add(&out, "</hashlist>\n");
    }
    names_clear(&names);
    char *text = tp_text_take(&out);
    if (good)
        return text;
    free(text);
    return NULL;
}

/* NNNN_<root folder>_<UTC time>.mhl; the folder's name without what would trouble a file system or XML. */
static char *manifest_name(const char *root, uint32_t generation, int64_t made_s)
{
    char *real = realpath(root, NULL);
    const char *slash = real != NULL ? strrchr(real, '/') : NULL;
    char *base = carried(slash != NULL && slash[1] != '\0' ? slash + 1 : "root");
    free(real);
    if (base == NULL)
        return NULL;
    size_t length = strlen(base);
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)base[i] < 0x20 || strchr("\"*:<>?\\|/", base[i]) != NULL)
            base[i] = '_';
    while (length > 120 || (length > 0 && ((unsigned char)base[length] & 0xC0) == 0x80))
        length--;
    struct tp_text out = {0};
    tp_text_format(&out, "%04" PRIu32 "_", generation);
    tp_text_append(&out, base, length);
    tp_text_add(&out, "_");
    add_time(&out, made_s, "%Y-%m-%d_%H%M%SZ");
    tp_text_add(&out, ".mhl");
    free(base);
    return tp_text_take(&out);
}

static char *chain_text(const struct tp_mhl_chain *chain, const char *name, const char *c4)
{
    struct tp_text out = {0};
    tp_text_add(&out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
                      "<ascmhldirectory xmlns=\"" TP_MHL_CHAIN_NAME_SPACE "\">\n");
    for (size_t i = 0; i <= chain->count; i++) {
        tp_text_format(&out, "  <hashlist sequencenr=\"%zu\">\n    <path>", i + 1);
        tp_xml_escape(&out, i < chain->count ? chain->links[i].path : name);
        tp_text_format(&out, "</path>\n    <c4>%s</c4>\n  </hashlist>\n", i < chain->count ? chain->links[i].c4 : c4);
    }
    tp_text_add(&out, "</ascmhldirectory>\n");
    return tp_text_take(&out);
}

/* The manifest first: a chain never names what is not there. */
static enum tp_status write_generation(const char *folder, const struct tp_mhl_chain *chain, const char *name,
                                       const char *manifest, struct tp_error *error)
{
    char c4[TP_C4_SIZE];
    enum tp_status status = tp_c4(manifest, strlen(manifest), c4, error);
    if (status != TP_OK)
        return status;
    char *text = chain_text(chain, name, c4), *path = tp_path_join(folder, name),
         *chain_path = tp_path_join(folder, TP_MHL_CHAIN);
    if (text == NULL || path == NULL || chain_path == NULL)
        status = no_memory(error);
    if (status == TP_OK)
        status = tp_folder_make(folder, error);
    if (status == TP_OK)
        status = tp_proven_file_write(path, manifest, strlen(manifest), true, error);
    if (status == TP_OK)
        status = tp_proven_file_write(chain_path, text, strlen(text), true, error);
    free(text);
    free(path);
    free(chain_path);
    return status;
}

static enum tp_status read_before(const char *folder, struct tp_mhl_chain *chain, struct tp_listing *listing,
                                  struct tp_error *error)
{
    *chain = (struct tp_mhl_chain){0};
    *listing = (struct tp_listing){0};
    struct stat status;
    char *path = tp_path_join(folder, TP_MHL_CHAIN);
    if (path == NULL)
        return no_memory(error);
    bool there = lstat(path, &status) == 0 || errno != ENOENT;
    free(path);
    if (!there)
        return TP_OK;
    enum tp_status read = tp_mhl_chain_read(folder, chain, error);
    if (read == TP_OK)
        read = tp_mhl_chain_list(folder, chain, listing, error);
    if (read != TP_OK)
        tp_mhl_chain_clear(chain);
    return read;
}

/* Against a hash of another kind a file would count as failed. */
static enum tp_status check_comparable(const struct tp_listing *before, const struct tp_mhl_file *files, size_t count,
                                       struct tp_error *error)
{
    for (size_t i = 0; i < count; i++) {
        const struct tp_listed *known = tp_listing_find(before, files[i].path);
        if (known != NULL && known->hashes.hex[TP_HASH_XXH64][0] == '\0')
            return tp_error_set(error, TP_ERR_FORMAT, 0,
                                "cannot add to the history: it has no XXH64 of '%s' to compare with", files[i].path);
    }
    return TP_OK;
}

static enum tp_status add_generation(const char *root, const char *folder, const struct tp_mhl_chain *chain,
                                     const struct tp_listing *before, const struct tp_mhl_file *files, size_t count,
                                     const struct tp_mhl_options *options, struct tp_error *error)
{
    enum tp_status status = check_comparable(before, files, count, error);
    if (status != TP_OK)
        return status;
    char *manifest = manifest_text(files, count, options, before);
    char *name = manifest_name(root, (uint32_t)chain->count + 1, options->made_s);
    status =
        manifest != NULL && name != NULL ? write_generation(folder, chain, name, manifest, error) : no_memory(error);
    free(manifest);
    free(name);
    return status;
}

enum tp_status tp_mhl_add(const char *root, const struct tp_mhl_file *files, size_t count,
                          const struct tp_mhl_options *options, uint32_t *generation, struct tp_error *error)
{
    struct tp_mhl_chain chain;
    struct tp_listing before;
    char *folder = tp_path_join(root, TP_MHL_FOLDER);
    if (folder == NULL)
        return no_memory(error);
    enum tp_status status = read_before(folder, &chain, &before, error);
    if (status == TP_OK) {
        status = add_generation(root, folder, &chain, &before, files, count, options, error);
        if (status == TP_OK)
            *generation = (uint32_t)chain.count + 1;
        tp_listing_clear(&before);
        tp_mhl_chain_clear(&chain);
    }
    free(folder);
    return status;
}
