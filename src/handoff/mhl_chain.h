/* SPDX-License-Identifier: MIT */
/* The chain file of an ASC MHL history: its generations in order, and the C4 of each manifest. */
#ifndef TP_HANDOFF_MHL_CHAIN_H
#define TP_HANDOFF_MHL_CHAIN_H

#include "handoff/mhl.h"

#define TP_MHL_CHAIN_NAME_SPACE "urn:ASC:MHL:DIRECTORY:v2.0"

struct tp_mhl_link {
    char *path, *c4;
    uint64_t number; /* 1, 2, … */
};
struct tp_mhl_chain {
    struct tp_mhl_link *links;
    size_t count, capacity;
    struct tp_mhl_link now; /* being read */
};

/* Reads the chain of an "ascmhl" folder. On error *chain needs no clearing. Errors: TP_ERR_OPEN, TP_ERR_READ,
 * TP_ERR_FORMAT, TP_ERR_MEMORY. */
enum tp_status tp_mhl_chain_read(const char *folder, struct tp_mhl_chain *chain, struct tp_error *error) TP_MUST_USE;
void tp_mhl_chain_clear(struct tp_mhl_chain *chain);

/* Reads the manifests into an uninitialised listing, each checked against its C4; settled. */
enum tp_status tp_mhl_chain_list(const char *folder, const struct tp_mhl_chain *chain, struct tp_listing *listing,
                                 struct tp_error *error) TP_MUST_USE;

#endif
