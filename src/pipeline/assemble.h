/* SPDX-License-Identifier: MIT */
/* Measured files to takes: which files belong together, what each take is called and when it began, and its signals. */
#ifndef TP_PIPELINE_ASSEMBLE_H
#define TP_PIPELINE_ASSEMBLE_H

#include "pipeline/lockstep.h"

/* Fills report->takes, and .take of every file. groups->items[i] was measured with pairs[i]; file numbers are indexes
 * into report->files. Errors: TP_ERR_MEMORY (what is built so far stays in the report, to be freed with it). */
enum tp_status tp_assemble_takes(struct tp_report *report, const struct tp_groups *groups,
                                 const struct tp_lockstep_pairs *pairs, struct tp_error *error) TP_MUST_USE;

/* Gives every take its id anew from the names of its files, unique in the report: for reports put together from
 * several. Errors: TP_ERR_MEMORY. */
enum tp_status tp_takes_name(struct tp_report *report, struct tp_error *error) TP_MUST_USE;

#endif
