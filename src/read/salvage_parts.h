/* SPDX-License-Identifier: MIT */
/* What the three files of salvage share: salvage.c runs it, salvage_find.c finds the sound, salvage_copy.c writes. */
#ifndef TP_READ_SALVAGE_PARTS_H
#define TP_READ_SALVAGE_PARTS_H

#include <takeproof/salvage.h>

enum { TP_SALVAGE_COPIED_MAX = 64 };

struct tp_salvage {
    const struct tp_salvage_options *options;
    struct tp_salvage_result *result;
    struct tp_file file; /* what the walk found; its format is what the copy gets */
    bool sound_may_follow;
    uint64_t tail_start;  /* of zeros never recorded, in the file */
    uint64_t noise_start; /* of random bytes, in the file */
    uint64_t sound_offset, sound_bytes;
    struct tp_salvage_span {
        uint64_t offset, size; /* of a chunk, header included, pad byte not */
    } copied[TP_SALVAGE_COPIED_MAX];
    size_t copied_count;
    struct tp_progress progress;
};

enum tp_status tp_salvage_no_memory(struct tp_error *error);
/* Adds a sentence to the result, which takes `words` (NULL: memory was short). */
enum tp_status tp_salvage_note(struct tp_salvage *s, struct tp_error *error, char *words) TP_MUST_USE;
/* The same for what nobody but a listener can confirm. */
enum tp_status tp_salvage_assume(struct tp_salvage *s, struct tp_error *error, char *words) TP_MUST_USE;

/* Sets the format in s->file, and offset and size of the sound. Errors: TP_ERR_FORMAT (nothing to salvage, or a format
 * that cannot be told), TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY. */
enum tp_status tp_salvage_find_sound(struct tp_salvage *s, struct tp_error *error) TP_MUST_USE;
/* Drops what is not sound: zeros never recorded, and the rest of a frame. Errors: TP_ERR_MEMORY. */
enum tp_status tp_salvage_trim(struct tp_salvage *s, struct tp_error *error) TP_MUST_USE;

/* Which chunks go along. Errors: TP_ERR_MEMORY. */
enum tp_status tp_salvage_choose_chunks(struct tp_salvage *s, struct tp_error *error) TP_MUST_USE;
/* Writes s->result->written, whole or not at all. */
enum tp_status tp_salvage_write(struct tp_salvage *s, struct tp_error *error) TP_MUST_USE;

#endif
