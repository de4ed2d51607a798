/* SPDX-License-Identifier: MIT */
/* Markers and descriptive text of a WAV file: the cue chunk and the LIST chunks adtl and INFO (RIFF MCI 1991). */
#ifndef TP_READ_NOTES_H
#define TP_READ_NOTES_H

#include <takeproof/result.h>

#define TP_CUES_MAX 4096
#define TP_INFOS_MAX 256

/* Labels may come before or after the cues they belong to: both are kept here until tp_notes_settle(). Start as {0}. */
struct tp_notes {
    struct tp_note_label {
        uint32_t id;
        char *text;
    } * labels;
    size_t label_count, label_capacity;
    uint32_t *ids; /* of file->cues, in order */
    size_t id_capacity, cue_capacity, info_capacity;
};

/* Add what a chunk body holds to file->cues and file->infos. *problem: words for the chunk list (static) or NULL.
 * Text in other encodings becomes UTF-8. Errors: TP_ERR_MEMORY. */
enum tp_status tp_notes_cue(struct tp_notes *notes, const uint8_t *body, size_t size, struct tp_file *file,
                            const char **problem, struct tp_error *error) TP_MUST_USE;
enum tp_status tp_notes_list(struct tp_notes *notes, const uint8_t *body, size_t size, struct tp_file *file,
                             const char **problem, struct tp_error *error) TP_MUST_USE;

/* Gives the cues their labels. Errors: TP_ERR_MEMORY. */
enum tp_status tp_notes_settle(struct tp_notes *notes, struct tp_file *file, struct tp_error *error) TP_MUST_USE;
void tp_notes_clear(struct tp_notes *notes);

#endif
