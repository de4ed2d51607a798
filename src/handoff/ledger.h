/* SPDX-License-Identifier: MIT */
/*
 * The books of one hand-off: what the card held at the start, what became of each file at each destination, and the
 * account at the end. Records stand in the order of the plan, one an entry.
 */
#ifndef TP_HANDOFF_LEDGER_H
#define TP_HANDOFF_LEDGER_H

#include "handoff/target.h"

struct tp_record {
    bool begun;
    bool clashes; /* another name of the plan is the same when case is ignored, and comes before */
    bool read_whole;
    char sha256[65], xxh64[17];
    char *message; /* what went wrong with the card's file, or NULL */
    struct tp_offload_gap *gaps;
    size_t gap_count;
    struct tp_offload_copy *copies; /* one a target; SKIPPED until settled */
};

struct tp_ledger {
    char *card;
    dev_t card_device;
    struct tp_tree plan;
    struct tp_record *records; /* plan.count */
    struct tp_target *targets;
    size_t target_count;
    uint64_t *bytes_copied; /* one a target */
};

/* Errors: TP_ERR_OPEN, TP_ERR_MEMORY; the ledger then needs clearing all the same. */
enum tp_status tp_ledger_open(struct tp_ledger *ledger, const char *card, size_t target_capacity,
                              struct tp_error *error) TP_MUST_USE;
void tp_ledger_clear(struct tp_ledger *ledger); /* closes the targets */

/* Sets `clashes` in the records. Errors: TP_ERR_MEMORY. */
enum tp_status tp_ledger_find_clashes(struct tp_ledger *ledger, struct tp_error *error) TP_MUST_USE;

/* After the last copy is settled: looks at every copy once more by name, sets the folders' times, flushes the folders,
 * lists the card again and compares it with the plan. Moves strings out of the ledger. Errors: TP_ERR_MEMORY. */
enum tp_status tp_ledger_account(struct tp_ledger *ledger, unsigned copies_wanted, struct tp_offload_result **result,
                                 struct tp_error *error) TP_MUST_USE;

#endif
