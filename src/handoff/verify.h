/* SPDX-License-Identifier: MIT */
/* Compares a settled listing with a folder, file by file: the work behind tp_compare(). */
#ifndef TP_HANDOFF_VERIFY_H
#define TP_HANDOFF_VERIFY_H

#include "handoff/listing.h"

#include <takeproof/compare.h>

/* Fills items, counts, all_there, equal and words of *comparison. What lies under the folder's ascmhl folder,
 * unfinished copies, the list itself and the files of the report set beside it are not called extra. Errors:
 * TP_ERR_OPEN, TP_ERR_MEMORY, TP_ERR_CANCELLED; the comparison is to be freed all the same. */
enum tp_status tp_verify(const struct tp_listing *listing, const struct tp_compare_options *options,
                         struct tp_comparison *comparison, struct tp_error *error) TP_MUST_USE;

#endif
