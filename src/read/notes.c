/* SPDX-License-Identifier: MIT */
#include "read/notes.h"

#include "base/num.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>

enum { CUE_BYTES = 24, TEXT_MAX_BYTES = 4096 };

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the markers of a file");
}

/* NUL-terminated or filling its chunk; UTF-8 after this. */
static char *bounded_text(const uint8_t *bytes, size_t size)
{
    const char *start = (const char *)bytes;
    const char *nul = size > 0 ? memchr(start, '\0', size) : NULL;
    size_t length = nul != NULL ? (size_t)(nul - start) : size;
    if (length > TEXT_MAX_BYTES)
        length = TEXT_MAX_BYTES;
    length = tp_trim(start, length, &start);
    return tp_utf8_from_any(start, length);
}

enum tp_status tp_notes_cue(struct tp_notes *notes, const uint8_t *body, size_t size, struct tp_file *file,
                            const char **problem, struct tp_error *error)
{
    size_t there = size >= 4 ? (size - 4) / CUE_BYTES : 0;
    uint32_t declared = size >= 4 ? tp_le32(body) : 0;
    *problem = declared > there ? "claims more markers than it holds" : NULL;
    size_t count = declared < there ? declared : there;
    for (size_t i = 0; i < count && file->cue_count < TP_CUES_MAX; i++) {
        const uint8_t *point = body + 4 + i * CUE_BYTES;
        if (!tp_grow(&file->cues, &notes->cue_capacity, file->cue_count, sizeof *file->cues) ||
            !tp_grow(&notes->ids, &notes->id_capacity, file->cue_count, sizeof *notes->ids))
            return no_memory(error);
        char *label = tp_strdup("");
        if (label == NULL)
            return no_memory(error);
        notes->ids[file->cue_count] = tp_le32(point);
        file->cues[file->cue_count++] = (struct tp_cue){.frame = tp_le32(point + 20), .label = label};
    }
    return TP_OK;
}

static bool add_label(struct tp_notes *notes, const uint8_t *body, size_t size)
{
    if (size < 4 || notes->label_count >= TP_CUES_MAX)
        return true;
    if (!tp_grow(&notes->labels, &notes->label_capacity, notes->label_count, sizeof *notes->labels))
        return false;
    char *text = bounded_text(body + 4, size - 4);
    if (text == NULL)
        return false;
    notes->labels[notes->label_count++] = (struct tp_note_label){.id = tp_le32(body), .text = text};
    return true;
}

static bool add_info(struct tp_notes *notes, struct tp_file *file, const uint8_t *id, const uint8_t *body, size_t size)
{
    if (file->info_count >= TP_INFOS_MAX)
        return true;
    if (!tp_grow(&file->infos, &notes->info_capacity, file->info_count, sizeof *file->infos))
        return false;
    struct tp_info_text info = {.text = bounded_text(body, size)};
    if (info.text == NULL)
        return false;
    for (size_t i = 0; i < 4; i++)
        info.id[i] = id[i] >= 0x20 && id[i] < 0x7F ? (char)id[i] : '?';
    file->infos[file->info_count++] = info;
    return true;
}

enum tp_status tp_notes_list(struct tp_notes *notes, const uint8_t *body, size_t size, struct tp_file *file,
                             const char **problem, struct tp_error *error)
{
    *problem = NULL;
    bool adtl = size >= 4 && memcmp(body, "adtl", 4) == 0;
    bool info = size >= 4 && memcmp(body, "INFO", 4) == 0;
    if (!adtl && !info)
        return TP_OK;
    for (size_t at = 4; size - at >= 8;) {
        const uint8_t *id = body + at;
        size_t length = tp_le32(id + 4);
        size_t room = size - at - 8;
        /* Zeros behind the last entry are a reserve, not an entry. */
        if (memcmp(id, "\0\0\0\0", 4) == 0)
            break;
        if (length > room) {
            *problem = "an entry is longer than the list";
            length = room;
        }
        bool ok = true;
        if (info)
            ok = add_info(notes, file, id, id + 8, length);
        else if (memcmp(id, "labl", 4) == 0 || memcmp(id, "note", 4) == 0)
            ok = add_label(notes, id + 8, length);
        if (!ok)
            return no_memory(error);
        at += 8 + length;
        if ((length & 1) != 0 && at < size)
            at++;
    }
    return TP_OK;
}

enum tp_status tp_notes_settle(struct tp_notes *notes, struct tp_file *file, struct tp_error *error)
{
    for (size_t i = 0; i < file->cue_count; i++) {
        for (size_t k = 0; k < notes->label_count && file->cues[i].label[0] == '\0'; k++) {
            if (notes->labels[k].id != notes->ids[i] || notes->labels[k].text[0] == '\0')
                continue;
            char *label = tp_strdup(notes->labels[k].text);
            if (label == NULL)
                return no_memory(error);
            free(file->cues[i].label);
            file->cues[i].label = label;
        }
    }
    return TP_OK;
}

void tp_notes_clear(struct tp_notes *notes)
{
    for (size_t i = 0; i < notes->label_count; i++)
        free(notes->labels[i].text);
    free(notes->labels);
    free(notes->ids);
    *notes = (struct tp_notes){0};
}
