/* SPDX-License-Identifier: MIT */
/* The composer: scan, measure on several threads, assemble, judge. tp_check() is this without a copier. */
#ifndef TP_PIPELINE_CHECK_H
#define TP_PIPELINE_CHECK_H

#include "handoff/copier.h"

#include <takeproof/takeproof.h>

/* As tp_check(), and every regular file of the sources, sound or not, passes through `copier` (NULL: none) in the same
 * read. */
enum tp_status tp_check_copying(const struct tp_check_options *options, struct tp_copier *copier,
                                struct tp_report **report, struct tp_error *error) TP_MUST_USE;

#endif
