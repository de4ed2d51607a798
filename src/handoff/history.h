/* SPDX-License-Identifier: MIT */
/* The receipt that stays with the copies: one ASC MHL generation at each destination. */
#ifndef TP_HANDOFF_HISTORY_H
#define TP_HANDOFF_HISTORY_H

#include <takeproof/offload.h>

/* Lists at each destination the files that were proven there. What fails is told in the destination's history_message.
 * A card that carries a history of its own keeps it untouched: its copy is part of what must not differ.
 * Errors: TP_ERR_MEMORY. */
enum tp_status tp_offload_add_histories(struct tp_offload_result *result, int64_t made_s,
                                        struct tp_error *error) TP_MUST_USE;

#endif
