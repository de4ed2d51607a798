/* SPDX-License-Identifier: MIT */
/* What is not where the list says: a whole tree one level off, and single files in another folder, told by their names.
 */
#ifndef TP_HANDOFF_MOVED_H
#define TP_HANDOFF_MOVED_H

#include "handoff/listing.h"
#include "handoff/tree.h"

#include <takeproof/compare.h>

/* The path that the folder has in front of what the list names ("HL01/"), or has not (`deeper` false). */
struct tp_moved_lead {
    char *path; /* with its slash; NULL: there is none */
    bool deeper;
};

/* The one that most listed files lie behind, when that are more than half of them and fewer are where the list says.
 * Errors: TP_ERR_MEMORY. */
enum tp_status tp_moved_find(const struct tp_listing *listing, const struct tp_tree *tree, struct tp_moved_lead *lead,
                             struct tp_error *error) TP_MUST_USE;

/* Where a listed file lies by that lead, or NULL. */
const struct tp_tree_entry *tp_moved_entry(const struct tp_moved_lead *lead, const struct tp_tree *tree,
                                           const char *listed);

/* Missing files and extra ones of one name, other contents: told as changed, `found` set, and extra no more. Where
 * several have the name, the one that shares most folders with it, when that is one alone. Errors: TP_ERR_MEMORY. */
enum tp_status tp_moved_pair(struct tp_comparison *comparison, struct tp_error *error) TP_MUST_USE;

#endif
