/* SPDX-License-Identifier: MIT */
/*
 * Taking results apart again: one free function for each struct of <takeproof/result.h> that owns something.
 * `_clear` releases what a caller-owned struct holds and returns it to {0}; `_free` also releases the struct; NULL is
 * fine. tp_bext_free() and tp_ixml_free() are declared with their parsers in read/. Pure memory: any thread.
 */
#ifndef TP_RESULT_PARTS_H
#define TP_RESULT_PARTS_H

#include "base/hashes.h"
#include "base/observe.h" /* tp_observations_clear() */
#include "base/track_name.h"

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

/* What name and iXML function tell of a channel's track; {0} when the file has no channels. */
void tp_file_track(const struct tp_file *file, uint32_t channel, struct tp_track *track);

/* More than one, of a recording that was split by size counted once. */
bool tp_take_has_many_microphones(const struct tp_take *take);

/* "read back from the disk itself" … */
const char *tp_readback_words(enum tp_readback readback);

/* The hashes of a file or another thing that has members of these names, as an initialiser by enum tp_hash. */
#define TP_HASHES_OF(holder)                                                                                           \
    {                                                                                                                  \
        [TP_HASH_SHA256] = (holder)->sha256, [TP_HASH_XXH64] = (holder)->xxh64, [TP_HASH_XXH3] = (holder)->xxh3        \
    }

/* Hex, or "". */
const char *tp_file_hash(const struct tp_file *file, enum tp_hash hash);
/* The strongest hash that is known, or "". */
const char *tp_file_strongest_hash(const struct tp_file *file);
/* In size or in a hash that is known of both. */
bool tp_file_differs(const struct tp_file *a, const struct tp_file *b);
/* Does not differ, and a hash is known of both. */
bool tp_file_equals(const struct tp_file *a, const struct tp_file *b);
/* The hash of a source's manifest: the strongest that any of its files has; SHA-256 when none has any. */
enum tp_hash tp_report_manifest_hash(const struct tp_report *report, size_t source);

/* The spec that a file, or a take by its first file, was checked against. */
const struct tp_spec *tp_report_file_spec(const struct tp_report *report, const struct tp_file *file);
const struct tp_spec *tp_report_take_spec(const struct tp_report *report, const struct tp_take *take);

/* Of the name of a file that salvage or splice has written ("T01-salvaged.wav", "T01_clean.wav", "T01-2_clean.wav",
 * "T01_f1ch2_clean.wav"): the bytes before what they added; 0 of any other. `path` may have folders; they count. */
size_t tp_made_copy_stem(const char *path);

#endif
