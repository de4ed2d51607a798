/* SPDX-License-Identifier: MIT */
/*
 * What a file says about itself in several places, held against each other: fmt, bext and iXML, and the loudness fields
 * of bext against what was measured. Each contradiction is a `metadata-conflict` observation with both values. Sources
 * of the fields: EBU Tech 3285, EBU R 98 (coding history), the iXML specification.
 */
#ifndef TP_READ_CROSS_H
#define TP_READ_CROSS_H

#include <takeproof/result.h>

/* How far measured and written loudness may lie apart before it is a contradiction: twice and more what EBU Tech 3341
 * and 3342 allow a meter (0.1 LU, 1 LU, +0.2/-0.4 dB), because two meters may each be off. */
#define TP_CROSS_LOUDNESS_LU 0.5
#define TP_CROSS_RANGE_LU 1.5
#define TP_CROSS_PEAK_DB 0.5

/* Call after tp_riff_walk_rest(). Errors: TP_ERR_MEMORY. */
enum tp_status tp_cross_check(struct tp_file *file, struct tp_error *error) TP_MUST_USE;
/* Call when file->programme is measured; does nothing without bext loudness or measured levels. Errors: TP_ERR_MEMORY.
 */
enum tp_status tp_cross_check_loudness(struct tp_file *file, struct tp_error *error) TP_MUST_USE;

#endif
