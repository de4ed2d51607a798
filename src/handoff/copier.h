/* SPDX-License-Identifier: MIT */
/*
 * Copies one card to any number of destinations while somebody else reads it: each file's copy is a tap on the one
 * read of that file (read/stream.h), so the card is read once for hashes, measurements and copies.
 *
 *     tp_copier_open(&copier, &options, error);         // lists the card, checks room and names, locks
 *     for each file that is read anyway, on any thread:
 *         struct tp_tap tap;
 *         struct tp_copy *copy = tp_copier_begin(copier, path, opened, &tap);  // before the file is opened
 *         tp_stream_open(&stream, opened, {hasher, tap, …}) … read to the end …
 *         tp_copier_end(copier, copy, &outcome);        // always, also when opening or reading failed
 *     tp_copier_rest(copier, cancel, error);            // reads and copies the files nobody has begun
 *     tp_copier_finish(copier, &result, error);         // waits for the last copy to be proven
 *     tp_copier_close(copier);
 *
 * What holds
 * - A name appears at a destination only after its bytes were flushed, read back from the medium and found to have the
 *   hash of what was read from the card. Until then they lie in TP_COPY_FOLDER at the destination's root.
 * - An existing file is never replaced. One of equal size is read back and counts when its hash is the card's.
 * - A failure at one destination leaves the others alone; a failure of one file leaves the other files alone.
 * Threads: begin, the taps and end may be called from any number of threads, each tp_copy from one at a time. One more
 * thread a destination flushes and proves. Memory: one block a destination besides the list of files.
 */
#ifndef TP_HANDOFF_COPIER_H
#define TP_HANDOFF_COPIER_H

#include "read/stream.h"

#include <signal.h>
#include <takeproof/offload.h>

/* Of unfinished copies; made at the root of a destination, gone after a run that ended by itself. */
#define TP_COPY_FOLDER ".takeproof-offload"
/* Added to the name of a copy in which zeros stand for what could not be read. */
#define TP_COPY_INCOMPLETE ".incomplete"

struct tp_copier;
struct tp_copy; /* one file on its way */

/* How the read of one file ended. */
struct tp_copy_outcome {
    enum tp_status status;      /* TP_OK: read to its end (perhaps with gaps); else why not */
    const char *message;        /* the sentence for people when status is not TP_OK; may be NULL */
    const char *sha256, *xxh64; /* of the bytes the taps saw; lower-case hex; used only when status is TP_OK */
    const struct tp_gap *gaps;  /* tp_stream_gaps(): stretches the medium did not give */
    size_t gap_count;
};

struct tp_copier_options {
    const char *card;
    const char *const *destinations;
    size_t destination_count;
    unsigned copies_wanted; /* before the card may be wiped; 0 = 2 */
    bool set_aside;         /* a differing file at a destination is renamed, not left in the way */
};

/* Checks and locks everything before a byte is copied. Errors: TP_ERR_USAGE (source inside destination or the reverse,
 * the same destination twice), TP_ERR_OPEN (card not there), TP_ERR_EXISTS (another run holds a destination),
 * TP_ERR_SPACE, TP_ERR_WRITE, TP_ERR_MEMORY. */
enum tp_status tp_copier_open(struct tp_copier **copier, const struct tp_copier_options *options,
                              struct tp_error *error) TP_MUST_USE;

/* Starts the copies of one file. `path` is relative to the card (raw bytes), `opened` is what will be opened.
 * NULL when memory is short: then the file counts as not copied, and *tap does nothing. The tap is valid until end. */
struct tp_copy *tp_copier_begin(struct tp_copier *copier, const char *path, const char *opened, struct tp_tap *tap);

/* Ends it; `copy` is gone afterwards. May wait for a destination that has fallen behind. NULL copy is fine. */
void tp_copier_end(struct tp_copier *copier, struct tp_copy *copy, const struct tp_copy_outcome *outcome);

/* Reads and copies what nobody began (what the scan passes over: notes, pictures, other formats). Errors:
 * TP_ERR_CANCELLED when *cancel (may be NULL) becomes non-zero, TP_ERR_MEMORY. */
enum tp_status tp_copier_rest(struct tp_copier *copier, const volatile sig_atomic_t *cancel,
                              struct tp_error *error) TP_MUST_USE;

/* Waits until everything is proven or has failed, sets the folders' times, lists the card again and accounts for every
 * file on it. Errors: TP_ERR_MEMORY. Free *result with tp_offload_result_free(). Call at most once. */
enum tp_status tp_copier_finish(struct tp_copier *copier, struct tp_offload_result **result,
                                struct tp_error *error) TP_MUST_USE;

/* Gives up what is unfinished, removes temporary files, unlocks. NULL is fine. */
void tp_copier_close(struct tp_copier *copier);

#endif
