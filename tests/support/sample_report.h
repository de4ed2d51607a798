/* SPDX-License-Identifier: MIT */
/*
 * Reports built by hand, so that the writers can be tested without measuring anything. All of an invented production.
 * Free with tp_report_free(). Out of memory ends the process.
 */
#ifndef TESTS_SUPPORT_SAMPLE_REPORT_H
#define TESTS_SUPPORT_SAMPLE_REPORT_H

#include <takeproof/result.h>

/* Ten takes with every choice and verdict, several files a take, unreadable files, others and findings of the set. */
struct tp_report *sample_report(void);
/* The same after an offload to two folders: with a caution, or with files that lack a copy. */
struct tp_report *sample_report_offloaded(bool may_be_wiped);
/* Every take passes. */
struct tp_report *sample_report_pass(void);
/* No take at all. */
struct tp_report *sample_report_empty(void);
/* `takes` takes of two channels each, one in seven failing. */
struct tp_report *sample_report_large(size_t takes);
/* The report of sample_report_offloaded(false) with a caution, and `text` in every text that can come from a file or a
 * person. `text` may be any bytes; names keep the raw bytes, everything else is repaired to UTF-8 as the readers do. */
struct tp_report *sample_report_hostile(const char *text);

#endif
