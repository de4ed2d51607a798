/* SPDX-License-Identifier: MIT */
/*
 * An iXML chunk carried over to a file of one of its tracks: the text stays byte for byte as it was, but for the
 * elements that would be untrue of the new file.
 *
 *   FILE_UID           replaced
 *   NOTE               ours appended
 *   SPEED/AUDIO_BIT_DEPTH  replaced
 *   TRACK_LIST         only the track that was taken, as TRACK 1 of 1 (CHANNEL_INDEX as it was)
 *
 * An element that is not there is added (FILE_UID, NOTE) or left out (the others). Everything that is inserted is
 * ASCII, so that any declared encoding stays true.
 */
#ifndef TP_READ_IXML_EDIT_H
#define TP_READ_IXML_EDIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>

struct tp_ixml_edit {
    const char *note, *file_uid; /* ASCII, escaped here; control characters become spaces */
    uint32_t bit_depth;
    uint32_t interleave_index; /* 1-based, of the track that was taken */
};

/* *out is owned by the caller. Errors: TP_ERR_FORMAT when the XML is broken, has a DOCTYPE or is no iXML (then carry
 * nothing over rather than something untrue), TP_ERR_MEMORY. */
enum tp_status tp_ixml_edit(const uint8_t *data, size_t size, const struct tp_ixml_edit *edit, uint8_t **out,
                            size_t *out_size) TP_MUST_USE;

#endif
