/* SPDX-License-Identifier: MIT */
/*
 * The metadata of a spliced track: bext with the main's timecode, our originator and one more line of coding history;
 * iXML of the main's file carried over for the one track, with a note of what was done.
 * Sources: EBU Tech 3285 (bext), EBU R 98 (coding history), iXML (open specification).
 */
#ifndef TP_TAKE_SPLICE_META_H
#define TP_TAKE_SPLICE_META_H

#include "take/splice_source.h"

/* What was done, for the words. */
struct tp_splice_story {
    const struct tp_file *main, *safety;
    uint32_t main_channel, safety_channel; /* 0-based */
    enum tp_choice choice;
    enum tp_encoding encoding; /* of the track */
    uint32_t bit_depth;
    double gain_db, lowered_db, spliced_s;
    int64_t lag_samples;
    bool inverted;
    size_t span_count;
};

struct tp_splice_meta {
    uint8_t *bext, *ixml; /* ixml NULL: the main's file has none */
    size_t bext_bytes, ixml_bytes;
};

/* `source` is the main's, for the iXML chunk as it stands in the file; iXML that cannot be edited in place (broken, or
 * in an encoding that expat does not read) is written anew from the fields that were understood. Errors: TP_ERR_MEMORY.
 */
enum tp_status tp_splice_meta_make(struct tp_splice_meta *meta, const struct tp_splice_story *story,
                                   struct tp_splice_source *source, struct tp_error *error) TP_MUST_USE;
void tp_splice_meta_clear(struct tp_splice_meta *meta);

#endif
