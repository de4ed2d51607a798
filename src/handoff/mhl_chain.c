/* SPDX-License-Identifier: MIT */
#include "handoff/mhl_chain.h"

#include "base/io.h"
#include "base/num.h"
#include "handoff/c4.h"
#include "handoff/xml.h"

#include <stdlib.h>
#include <string.h>

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

static bool is(const char *where, const char *what)
{
    return strcmp(where, what) == 0;
}

static enum tp_status keep(char **slot, const char *text, struct tp_error *error)
{
    free(*slot);
    *slot = tp_strdup(text);
    return *slot != NULL ? TP_OK : no_memory(error);
}

static void link_clear(struct tp_mhl_link *link)
{
    free(link->path);
    free(link->c4);
    *link = (struct tp_mhl_link){0};
}

void tp_mhl_chain_clear(struct tp_mhl_chain *chain)
{
    for (size_t i = 0; i < chain->count; i++)
        link_clear(&chain->links[i]);
    free(chain->links);
    link_clear(&chain->now);
    *chain = (struct tp_mhl_chain){0};
}

static enum tp_status chain_begin(void *user, const char *where, const char **attributes, struct tp_error *error)
{
    struct tp_mhl_chain *chain = user;
    if (strchr(where, '/') == NULL && !is(where, "ascmhldirectory"))
        return tp_error_set(error, TP_ERR_FORMAT, 0, "this is no ASC MHL v2.0 chain");
    if (!is(where, "ascmhldirectory/hashlist"))
        return TP_OK;
    link_clear(&chain->now);
    const char *number = tp_xml_attribute(attributes, "sequencenr");
    if (number == NULL || !tp_u64_read(number, &chain->now.number) || chain->now.number != chain->count + 1)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the generations are not numbered from 1 without a gap");
    return TP_OK;
}

static enum tp_status chain_end(void *user, const char *where, const char *text, struct tp_error *error)
{
    struct tp_mhl_chain *chain = user;
    if (is(where, "ascmhldirectory/hashlist/path"))
        return keep(&chain->now.path, text, error);
    if (is(where, "ascmhldirectory/hashlist/c4"))
        return keep(&chain->now.c4, text, error);
    if (!is(where, "ascmhldirectory/hashlist"))
        return TP_OK;
    if (chain->now.path == NULL || chain->now.c4 == NULL)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "a generation lacks its path or its C4");
    if (strchr(chain->now.path, '/') != NULL || chain->now.path[0] == '.')
        return tp_error_set(error, TP_ERR_FORMAT, 0, "the manifest '%s' is not a plain name", chain->now.path);
    if (!tp_grow(&chain->links, &chain->capacity, chain->count, sizeof *chain->links))
        return no_memory(error);
    chain->links[chain->count++] = chain->now;
    chain->now = (struct tp_mhl_link){0};
    return TP_OK;
}

enum tp_status tp_mhl_chain_read(const char *folder, struct tp_mhl_chain *chain, struct tp_error *error)
{
    *chain = (struct tp_mhl_chain){0};
    char *path = tp_path_join(folder, TP_MHL_CHAIN), *bytes = NULL;
    size_t size = 0;
    if (path == NULL)
        return no_memory(error);
    struct tp_error cause = {0};
    const struct tp_xml_reader xml = {
        .name_space = TP_MHL_CHAIN_NAME_SPACE, .begin = chain_begin, .end = chain_end, .user = chain};
    enum tp_status status = tp_file_read_all(path, TP_MHL_BYTES_MAX, &bytes, &size, &cause);
    if (status == TP_OK)
        status = tp_xml_read(&xml, bytes, size, &cause);
    free(bytes);
    if (status != TP_OK)
        tp_error_set(error, status, cause.os_errno, "cannot read the chain '%s': %s", path, tp_error_text(&cause));
    tp_error_clear(&cause);
    free(path);
    if (status != TP_OK)
        tp_mhl_chain_clear(chain);
    return status;
}

static enum tp_status read_generation(const char *folder, const struct tp_mhl_link *link, struct tp_listing *listing,
                                      struct tp_error *error)
{
    char *path = tp_path_join(folder, link->path), *bytes = NULL;
    size_t size = 0;
    char c4[TP_C4_SIZE];
    if (path == NULL)
        return no_memory(error);
    enum tp_status status = tp_file_read_all(path, TP_MHL_BYTES_MAX, &bytes, &size, error);
    if (status == TP_OK)
        status = tp_c4(bytes, size, c4, error);
    if (status == TP_OK && strcmp(c4, link->c4) != 0)
        status =
            tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' is not what the chain says: it was changed or damaged", path);
    if (status == TP_OK)
        status = tp_mhl_read(listing, (uint32_t)link->number, bytes, size, path, error);
    free(bytes);
    free(path);
    return status;
}

enum tp_status tp_mhl_chain_list(const char *folder, const struct tp_mhl_chain *chain, struct tp_listing *listing,
                                 struct tp_error *error)
{
    *listing = (struct tp_listing){0};
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < chain->count && status == TP_OK; i++)
        status = read_generation(folder, &chain->links[i], listing, error);
    if (status == TP_OK)
        status = tp_listing_settle(listing, error);
    if (status != TP_OK)
        tp_listing_clear(listing);
    return status;
}

enum tp_status tp_mhl_read_history(const char *folder, struct tp_listing *listing, uint32_t *generations,
                                   struct tp_error *error)
{
    struct tp_mhl_chain chain;
    enum tp_status status = tp_mhl_chain_read(folder, &chain, error);
    if (status != TP_OK)
        return status;
    *generations = (uint32_t)chain.count;
    status = tp_mhl_chain_list(folder, &chain, listing, error);
    tp_mhl_chain_clear(&chain);
    return status;
}
