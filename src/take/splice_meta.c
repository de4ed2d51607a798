/* SPDX-License-Identifier: MIT */
#include "take/splice_meta.h"

#include "base/num.h"
#include "base/text.h"
#include "read/bext.h"
#include "read/ixml_edit.h"
#include "read/riff.h"

#include <stdlib.h>
#include <string.h>

#define ORIGINATOR "takeproof"

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the metadata of a track");
}

/* Commas part the fields of a coding history line, and other bytes than ASCII have no place in one. */
static void add_plain(struct tp_text *text, const char *words)
{
    for (; *words != '\0'; words++) {
        unsigned char c = (unsigned char)*words;
        tp_text_append(text, c < 0x20 || c > 0x7E ? "?" : c == ',' ? ";" : words, 1);
    }
}

static void add_gain(struct tp_text *text, double db)
{
    tp_text_add(text, db >= 0.0 ? "+" : "");
    tp_text_number(text, db, 2, "");
    tp_text_add(text, " dB");
}

static void add_safety(struct tp_text *text, const struct tp_splice_story *story)
{
    tp_text_format(text, "safety channel %u", (unsigned)story->safety_channel + 1);
    if (story->safety != story->main) {
        tp_text_add(text, " of ");
        add_plain(text, story->safety->path);
    }
    tp_text_add(text, " ");
    add_gain(text, story->gain_db);
    if (story->inverted)
        tp_text_add(text, " polarity inverted");
    if (story->lag_samples != 0)
        tp_text_format(text, " moved %lld samples", (long long)-story->lag_samples);
}

/* "main channel 1; safety channel 2 +12.00 dB over 3 spans 0.41 s": no comma, ASCII. */
static char *story_words(const struct tp_splice_story *story)
{
    struct tp_text text = {0};
    if (story->choice != TP_CHOICE_SAFETY)
        tp_text_format(&text, "main channel %u", (unsigned)story->main_channel + 1);
    if (story->choice == TP_CHOICE_SPLICE) {
        tp_text_add(&text, "; ");
        add_safety(&text, story);
        tp_text_format(&text, " over %zu span%s ", story->span_count, story->span_count == 1 ? "" : "s");
        tp_text_number(&text, story->spliced_s, 3, "0");
        tp_text_add(&text, " s");
    } else if (story->choice == TP_CHOICE_SAFETY) {
        add_safety(&text, story);
        tp_text_add(&text, " throughout");
    } else {
        tp_text_add(&text, " as recorded");
    }
    if (story->lowered_db > 0.0) {
        tp_text_add(&text, "; all ");
        add_gain(&text, -story->lowered_db);
    }
    return tp_text_take(&text);
}

/* EBU R 98: A coding, F rate, W bits, M mode, T free text without commas. */
static char *history_with(const char *before, const struct tp_splice_story *story, const char *words)
{
    struct tp_text text = {0};
    tp_text_add(&text, before);
    if (text.length > 0 && text.bytes[text.length - 1] != '\n')
        tp_text_add(&text, "\r\n");
    tp_text_format(&text, "A=PCM,F=%u,W=%u,M=mono,T=%s%s; %s\r\n", (unsigned)story->main->sample_rate_hz,
                   (unsigned)story->bit_depth, story->encoding == TP_ENCODING_FLOAT ? "float; " : "", ORIGINATOR,
                   words);
    return tp_text_take(&text);
}

/* The same material always gets the same reference: reports and tracks are reproducible. */
static char *reference_of(const struct tp_splice_story *story)
{
    return tp_format("TAKEPROOF%.16s%04u", story->main->sha256, (unsigned)(story->main_channel + 1) % 10000);
}

static enum tp_status make_bext(struct tp_splice_meta *meta, const struct tp_splice_story *story, const char *words,
                                struct tp_error *error)
{
    char empty[] = "", originator[] = ORIGINATOR;
    const struct tp_file *main = story->main;
    struct tp_bext bext = {.description = empty, .origination_date = empty, .origination_time = empty};
    if (main->bext != NULL)
        bext = *main->bext;
    else if (main->ixml != NULL && main->ixml->timestamp_samples != TP_NO_TIMECODE)
        bext.time_reference_samples = main->ixml->timestamp_samples;
    else
        return TP_OK; /* a start time of zero would read as midnight */
    char *history = history_with(main->bext != NULL ? main->bext->coding_history : "", story, words);
    char *reference = reference_of(story);
    /* What was measured of the source is not true of the track; a UMID belongs to one piece of material. */
    bext.umid = empty;
    bext.loudness_value_lufs = bext.loudness_range_lu = bext.max_true_peak_dbtp = (double)NAN;
    bext.max_momentary_lufs = bext.max_short_term_lufs = (double)NAN;
    bext.originator = originator;
    bext.originator_reference = reference;
    bext.coding_history = history;
    enum tp_status status = history == NULL || reference == NULL
                                ? no_memory(error)
                                : tp_bext_write(&bext, &meta->bext, &meta->bext_bytes, error);
    free(history);
    free(reference);
    return status;
}

static void add_escaped(struct tp_text *text, const char *words)
{
    for (; *words != '\0'; words++) {
        if (*words == '<')
            tp_text_add(text, "&lt;");
        else if (*words == '>')
            tp_text_add(text, "&gt;");
        else if (*words == '&')
            tp_text_add(text, "&amp;");
        else
            tp_text_append(text, (unsigned char)*words < 0x20 ? " " : words, 1);
    }
}

static void add_element(struct tp_text *text, const char *name, const char *words)
{
    if (words == NULL || *words == '\0')
        return;
    tp_text_format(text, "<%s>", name);
    add_escaped(text, words);
    tp_text_format(text, "</%s>", name);
}

/* From the fields alone, where the chunk itself cannot be carried over. */
static char *fresh_ixml(const struct tp_ixml *ixml, const struct tp_ixml_edit *edit, const char *track_name)
{
    struct tp_text text = {0}, note = {0};
    tp_text_add(&text, "<?xml version=\"1.0\" encoding=\"UTF-8\"?><BWFXML><IXML_VERSION>1.61</IXML_VERSION>");
    add_element(&text, "PROJECT", ixml->project);
    add_element(&text, "SCENE", ixml->scene);
    add_element(&text, "TAKE", ixml->take);
    add_element(&text, "TAPE", ixml->tape);
    if (ixml->circled >= 0)
        add_element(&text, "CIRCLED", ixml->circled > 0 ? "TRUE" : "FALSE");
    tp_text_format(&note, "%s%s%s", ixml->note, *ixml->note != '\0' ? " / " : "", edit->note);
    add_element(&text, "NOTE", note.bytes);
    add_element(&text, "FILE_UID", edit->file_uid);
    tp_text_add(&text, "<SPEED>");
    add_element(&text, "TIMECODE_RATE", ixml->timecode_rate_text);
    add_element(&text, "TIMECODE_FLAG", ixml->timecode_flag);
    tp_text_format(&text, "<AUDIO_BIT_DEPTH>%u</AUDIO_BIT_DEPTH>", (unsigned)edit->bit_depth);
    if (ixml->timestamp_samples != TP_NO_TIMECODE) {
        tp_text_format(&text,
                       "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>%llu</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
                       "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>%llu</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>",
                       (unsigned long long)(ixml->timestamp_samples >> 32),
                       (unsigned long long)(ixml->timestamp_samples & UINT32_MAX));
        if (ixml->timestamp_sample_rate_hz != 0)
            tp_text_format(&text, "<TIMESTAMP_SAMPLE_RATE>%u</TIMESTAMP_SAMPLE_RATE>",
                           (unsigned)ixml->timestamp_sample_rate_hz);
    }
    tp_text_format(&text,
                   "</SPEED><TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>%u</CHANNEL_INDEX>"
                   "<INTERLEAVE_INDEX>1</INTERLEAVE_INDEX>",
                   (unsigned)edit->interleave_index);
    add_element(&text, "NAME", track_name);
    tp_text_add(&text, "</TRACK></TRACK_LIST></BWFXML>");
    bool failed = note.failed;
    tp_text_clear(&note);
    char *made = tp_text_take(&text);
    if (failed) {
        free(made);
        made = NULL;
    }
    return made;
}

/* TP_ERR_FORMAT: the chunk cannot be carried over. */
static enum tp_status edit_in_place(struct tp_splice_meta *meta, const struct tp_file *main,
                                    const struct tp_ixml_edit *edit, struct tp_splice_source *source)
{
    for (size_t i = 0; i < main->chunk_count; i++) {
        const struct tp_chunk *chunk = &main->chunks[i];
        if (strcmp(chunk->id, "iXML") != 0 || chunk->size == 0 || chunk->size > TP_CHUNK_BODY_MAX)
            continue;
        uint8_t *bytes = malloc((size_t)chunk->size);
        enum tp_status status = bytes == NULL ? TP_ERR_MEMORY : TP_ERR_FORMAT;
        if (bytes != NULL && tp_splice_source_bytes(source, chunk->offset + 8, bytes, (size_t)chunk->size))
            status = tp_ixml_edit(bytes, (size_t)chunk->size, edit, &meta->ixml, &meta->ixml_bytes);
        free(bytes);
        return status;
    }
    return TP_ERR_FORMAT;
}

static enum tp_status make_ixml(struct tp_splice_meta *meta, const struct tp_splice_story *story, const char *words,
                                struct tp_splice_source *source, struct tp_error *error)
{
    const struct tp_file *main = story->main;
    if (main->ixml == NULL)
        return TP_OK;
    char *uid = reference_of(story), *note = tp_format("%s: %s", ORIGINATOR, words);
    struct tp_ixml_edit edit = {
        .note = note, .file_uid = uid, .bit_depth = story->bit_depth, .interleave_index = story->main_channel + 1};
    enum tp_status status = uid != NULL && note != NULL ? edit_in_place(meta, main, &edit, source) : TP_ERR_MEMORY;
    if (status == TP_ERR_MEMORY) {
        status = no_memory(error);
    } else if (status != TP_OK) {
        const struct tp_channel *levels = main->channels != NULL ? &main->channels[story->main_channel] : NULL;
        char *made = fresh_ixml(main->ixml, &edit, levels != NULL ? levels->name : "");
        meta->ixml = (uint8_t *)made;
        meta->ixml_bytes = made != NULL ? strlen(made) : 0;
        status = made == NULL ? no_memory(error) : TP_OK;
    }
    free(uid);
    free(note);
    return status;
}

enum tp_status tp_splice_meta_make(struct tp_splice_meta *meta, const struct tp_splice_story *story,
                                   struct tp_splice_source *source, struct tp_error *error)
{
    *meta = (struct tp_splice_meta){0};
    char *words = story_words(story);
    if (words == NULL)
        return no_memory(error);
    enum tp_status status = make_bext(meta, story, words, error);
    if (status == TP_OK)
        status = make_ixml(meta, story, words, source, error);
    free(words);
    if (status != TP_OK)
        tp_splice_meta_clear(meta);
    return status;
}

void tp_splice_meta_clear(struct tp_splice_meta *meta)
{
    free(meta->bext);
    free(meta->ixml);
    *meta = (struct tp_splice_meta){0};
}
