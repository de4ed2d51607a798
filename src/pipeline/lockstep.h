/* SPDX-License-Identifier: MIT */
/*
 * The one pass over a group of files: read side by side, each byte once; hashed, walked, decoded, measured, and
 * compared channel with channel on the way.
 *
 * Reading and damage never stop the rest: what is wrong with a file becomes an observation of that file.
 * Memory: a few hundred KB a channel, whatever the length. One thread per call.
 */
#ifndef TP_PIPELINE_LOCKSTEP_H
#define TP_PIPELINE_LOCKSTEP_H

#include "handoff/copier.h"
#include "read/scan.h"
#include "take/group.h"
#include "take/pair.h"

#include <takeproof/takeproof.h>

struct tp_lockstep_job {
    const struct tp_scan_entry *entries[TP_GROUP_FILES_MAX];
    struct tp_file *files[TP_GROUP_FILES_MAX]; /* zeroed slots to fill; stay where they are */
    size_t file_numbers[TP_GROUP_FILES_MAX];   /* index of each in the report */
    size_t count;
    const struct tp_spec *spec;
    bool second_opinion;
    enum tp_hashes hashes;               /* both, whatever is asked, when there is a copier */
    size_t spare_processors;             /* so many files are hashed in threads of their own */
    const volatile sig_atomic_t *cancel; /* or NULL */
    struct tp_copier *copier;            /* or NULL */
    bool copy_only;                      /* no sound: read for the hashes and the copies alone */
    struct tp_tap progress;              /* .bytes NULL: none */
    struct tp_plans *plans;              /* of this thread, for the next job too; or NULL */
};

/* A match with the channels it is about. */
struct tp_lockstep_pair {
    struct tp_pair_match match;
    struct tp_pair_channel main, safety;
};
struct tp_lockstep_pairs {
    struct tp_lockstep_pair *items;
    size_t count;
};

/* Fills the files and gives the pairs found among them (owned by the caller: free(pairs->items)).
 * Errors: TP_ERR_MEMORY, TP_ERR_CANCELLED. */
enum tp_status tp_lockstep_measure(const struct tp_lockstep_job *job, struct tp_lockstep_pairs *pairs,
                                   struct tp_error *error) TP_MUST_USE;

#endif
