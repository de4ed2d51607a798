/* SPDX-License-Identifier: MIT */
/*
 * Taking results apart again: one free function for each struct of <takeproof/result.h> that owns something.
 * `_clear` releases what a caller-owned struct holds and returns it to {0}; `_free` also releases the struct; NULL is
 * fine. tp_bext_free() and tp_ixml_free() are declared with their parsers in read/. Pure memory: any thread.
 */
#ifndef TP_RESULT_PARTS_H
#define TP_RESULT_PARTS_H

#include "base/observe.h" /* tp_observations_clear() */

#include <takeproof/result.h>

void tp_channel_clear(struct tp_channel *channel);
void tp_file_clear(struct tp_file *file);
void tp_pair_free(struct tp_pair *pair);
void tp_signal_clear(struct tp_signal *signal);
void tp_finding_clear(struct tp_finding *finding);
/* Frees `count` findings and the list. */
void tp_findings_free(struct tp_finding *findings, size_t count);
void tp_take_clear(struct tp_take *take);
void tp_excerpt_clear(struct tp_sound_excerpt *excerpt);
/* Frees all excerpts of a report. */
void tp_excerpts_drop(struct tp_report *report);
void tp_other_clear(struct tp_other *other);
void tp_handoff_free(struct tp_handoff *handoff);

/* "read back past the page cache (O_DIRECT)" … */
const char *tp_readback_words(enum tp_readback readback);

/* True when any file has a SHA-256: the manifest then lists those (manifest.sha256), else XXH64 (manifest.xxh64). */
bool tp_report_has_sha256(const struct tp_report *report);

#endif
