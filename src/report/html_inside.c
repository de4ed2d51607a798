/* SPDX-License-Identifier: MIT */
/* What a file says about itself, and its chunks with what is wrong with them. */
#include "report/html.h"

#include <inttypes.h>
#include <stdlib.h>

enum { MARKERS_SHOWN = 200, EXTRAS_SHOWN = 100 };

static void count_fact(const struct tp_page *page, const char *name, uint64_t count, const char *unit)
{
    FILE *out = page->out;
    struct tp_text text = {.lost = page->lost};
    if (count == 0)
        return;
    tp_words_count(count, &text);
    tp_text_add(&text, unit);
    tp_html_fact(out, name, text.failed ? "" : text.bytes);
    tp_text_clear(&text);
}

static void level_fact(const struct tp_page *page, const char *name, double level, const char *unit)
{
    FILE *out = page->out;
    char number[TP_NUMBER_SIZE];
    struct tp_text text = {.lost = page->lost};
    if (!tp_exists(level))
        return;
    tp_text_format(&text, "%s %s", tp_number_text(number, tp_words_level(level), TP_LEVEL_DECIMALS), unit);
    tp_html_fact(out, name, text.failed ? "" : text.bytes);
    tp_text_clear(&text);
}

/* Samples since midnight, also as a time of day. */
static void start_fact(const struct tp_page *page, const struct tp_file *file, uint64_t samples)
{
    FILE *out = page->out;
    char clock[TP_NUMBER_SIZE];
    struct tp_text text = {.lost = page->lost};
    if (samples == TP_NO_TIMECODE)
        return;
    tp_words_count(samples, &text);
    tp_text_add(&text, " samples after midnight");
    if (file->sample_rate_hz != 0)
        tp_text_format(&text, " (%s)",
                       tp_duration_text(clock, tp_words_time((double)samples / file->sample_rate_hz), 3));
    tp_html_fact(out, "Start", text.failed ? "" : text.bytes);
    tp_text_clear(&text);
}

static void bext_facts(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    const struct tp_bext *b = file->bext;
    if (b == NULL)
        return;
    struct tp_text version = {.lost = page->lost};
    fputs("<h3>bext</h3>\n<dl class=\"facts\">\n", out);
    tp_text_format(&version, "%" PRIu32, b->version);
    tp_html_fact(out, "Version", version.failed ? "" : version.bytes);
    tp_text_clear(&version);
    tp_html_fact(out, "Description", b->description);
    tp_html_fact(out, "Originator", b->originator);
    tp_html_fact(out, "Reference", b->originator_reference);
    tp_html_fact(out, "Date", b->origination_date);
    tp_html_fact(out, "Time", b->origination_time);
    start_fact(page, file, b->time_reference_samples);
    tp_html_fact(out, "UMID", b->umid);
    level_fact(page, "Integrated loudness", b->loudness_value_lufs, "LUFS");
    level_fact(page, "Loudness range", b->loudness_range_lu, "LU");
    level_fact(page, "True peak", b->max_true_peak_dbtp, "dBTP");
    level_fact(page, "Momentary max.", b->max_momentary_lufs, "LUFS");
    level_fact(page, "Short-term max.", b->max_short_term_lufs, "LUFS");
    tp_html_fact(out, "Coding history", b->coding_history);
    fputs("</dl>\n", out);
}

static const char *flag_words(int flag)
{
    return flag < 0 ? "" : flag > 0 ? "yes" : "no";
}

static void ixml_who(const struct tp_page *page, const struct tp_ixml *x)
{
    FILE *out = page->out;
    tp_html_fact(out, "Version", x->version);
    tp_html_fact(out, "Project", x->project);
    tp_html_fact(out, "Scene", x->scene);
    tp_html_fact(out, "Take", x->take);
    tp_html_fact(out, "Tape", x->tape);
    tp_html_fact(out, "Note", x->note);
    tp_html_fact(out, "Circled", flag_words(x->circled));
    tp_html_fact(out, "No good", flag_words(x->no_good));
    tp_html_fact(out, "False start", flag_words(x->false_start));
    tp_html_fact(out, "Wild track", flag_words(x->wild_track));
    tp_html_fact(out, "Take type", x->take_type);
    tp_html_fact(out, "User bits", x->ubits);
    tp_html_fact(out, "File UID", x->file_uid);
    tp_html_fact(out, "Family", x->family_name);
    tp_html_fact(out, "Family UID", x->family_uid);
    count_fact(page, "Files of the family", x->file_set_total, "");
    count_fact(page, "This file\xE2\x80\x99s place in it", x->file_set_index_number, "");
    tp_html_fact(out, "Original file", x->original_filename);
    tp_html_fact(out, "Made from", x->parent_filename);
    tp_html_fact(out, "Made from UID", x->parent_uid);
}

static void ixml_speed(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    const struct tp_ixml *x = file->ixml;
    struct tp_text rate = {.lost = page->lost};
    tp_text_format(&rate, "%s%s%s", x->timecode_rate_text, x->timecode_flag[0] != '\0' ? " " : "", x->timecode_flag);
    tp_html_fact(out, "Timecode rate", rate.failed ? "" : rate.bytes);
    tp_text_clear(&rate);
    start_fact(page, file, x->timestamp_samples);
    count_fact(page, "Sample rate of the start", x->timestamp_sample_rate_hz, " Hz");
    count_fact(page, "Sample rate", x->file_sample_rate_hz, " Hz");
    count_fact(page, "Digitizer", x->digitizer_sample_rate_hz, " Hz");
    count_fact(page, "Bits", x->audio_bit_depth, "");
    count_fact(page, "Tracks", x->track_count, "");
    tp_html_fact(out, "Master speed", x->master_speed);
    tp_html_fact(out, "Current speed", x->current_speed);
    tp_html_fact(out, "Note on speed", x->speed_note);
}

static void ixml_tracks(const struct tp_page *page, const struct tp_ixml *x)
{
    FILE *out = page->out;
    for (size_t i = 0; i < x->tracks_count; i++) {
        const struct tp_ixml_track *track = &x->tracks[i];
        struct tp_text name = {.lost = page->lost}, words = {.lost = page->lost};
        if (track->interleave_index != 0)
            tp_text_format(&name, "Track at place %" PRIu32, track->interleave_index);
        else
            tp_text_add(&name, "Track");
        tp_text_format(&words, "%s%s%s", track->name, track->function[0] != '\0' ? ", " : "", track->function);
        if (track->channel_index != 0)
            tp_text_format(&words, "%schannel %" PRIu32, words.length > 0 ? ", " : "", track->channel_index);
        tp_html_fact(out, name.failed ? "" : name.bytes, words.failed || words.length == 0 ? "" : words.bytes);
        tp_text_clear(&name);
        tp_text_clear(&words);
    }
}

static void ixml_facts(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    const struct tp_ixml *x = file->ixml;
    if (x == NULL)
        return;
    fprintf(out, "<h3>iXML%s</h3>\n<dl class=\"facts\">\n", x->damaged ? ", damaged: read as far as it goes" : "");
    ixml_who(page, x);
    ixml_speed(page, file);
    ixml_tracks(page, x);
    for (size_t i = 0; i < x->extra_count && i < EXTRAS_SHOWN; i++)
        tp_html_fact(out, x->extras[i].name, x->extras[i].value);
    count_fact(page, "More", x->extra_count > EXTRAS_SHOWN ? x->extra_count - EXTRAS_SHOWN : 0,
               " elements, see report.json");
    fputs("</dl>\n", out);
}

/* "0:12.500" for a place in the file, "10:20:00.500 of the day" for an absolute one. */
static void add_time(struct tp_text *text, const struct tp_file *file, uint64_t samples, bool of_the_day)
{
    char number[TP_NUMBER_SIZE];
    if (file->sample_rate_hz == 0)
        tp_text_format(text, "sample %" PRIu64, samples);
    else
        tp_text_format(text, "%s%s", tp_duration_text(number, tp_words_time((double)samples / file->sample_rate_hz), 3),
                       of_the_day ? " of the day" : "");
}

static void marker(FILE *out, struct tp_text *when, const char *const words[2])
{
    fputs("<li>", out);
    tp_html_words(out, when);
    for (size_t i = 0; i < 2; i++) {
        if (words[i][0] == '\0')
            continue;
        fputs(i == 0 || words[0][0] == '\0' ? ": <bdi>" : ", <bdi>", out);
        tp_html_text_cut(out, words[i], 500);
        fputs("</bdi>", out);
    }
    fputs("</li>\n", out);
}

static void more_markers(FILE *out, size_t count)
{
    if (count > MARKERS_SHOWN)
        fprintf(out, "<li>and %zu more, see report.json</li>\n", count - MARKERS_SHOWN);
    fputs("</ul>\n", out);
}

static void markers(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    const struct tp_ixml *x = file->ixml;
    if (file->cue_count > 0)
        fputs("<h3>Cue markers</h3>\n<ul>\n", out);
    for (size_t i = 0; i < file->cue_count && i < MARKERS_SHOWN; i++) {
        struct tp_text when = {.lost = page->lost};
        add_time(&when, file, file->cues[i].frame, false);
        marker(out, &when, (const char *const[]){file->cues[i].label, ""});
    }
    if (file->cue_count > 0)
        more_markers(out, file->cue_count);
    if (x == NULL || x->sync_point_count == 0)
        return;
    fputs("<h3>Sync points</h3>\n<ul>\n", out);
    for (size_t i = 0; i < x->sync_point_count && i < MARKERS_SHOWN; i++) {
        const struct tp_sync_point *point = &x->sync_points[i];
        struct tp_text when = {.lost = page->lost};
        add_time(&when, file, point->samples, point->type[0] == 'A' || point->type[0] == 'a');
        if (point->duration_samples > 0) {
            tp_text_add(&when, " for ");
            add_time(&when, file, point->duration_samples, false);
        }
        marker(out, &when, (const char *const[]){point->function, point->comment});
    }
    more_markers(out, x->sync_point_count);
}

static void texts(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    if (file->info_count == 0)
        return;
    fputs("<h3>LIST INFO</h3>\n<dl class=\"facts\">\n", out);
    for (size_t i = 0; i < file->info_count; i++)
        tp_html_fact(out, file->infos[i].id, file->infos[i].text);
    fputs("</dl>\n", out);
}

static void chunks(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    if (file->chunk_count == 0)
        return;
    fputs("<h3>Chunks</h3>\n<div class=\"wide\"><table class=\"numbers\"><thead><tr><th scope=\"col\">Chunk</th>"
          "<th scope=\"col\">At byte</th><th scope=\"col\">Bytes declared</th><th scope=\"col\">What is wrong</th>"
          "</tr></thead><tbody>\n",
          out);
    for (size_t i = 0; i < file->chunk_count; i++) {
        const struct tp_chunk *chunk = &file->chunks[i];
        struct tp_text number = {.lost = page->lost};
        fputs("<tr><th scope=\"row\"><code>", out);
        tp_html_text(out, chunk->id);
        fputs("</code></th><td>", out);
        tp_words_count(chunk->offset, &number);
        tp_html_words(out, &number);
        fputs("</td><td>", out);
        tp_words_count(chunk->size, &number);
        tp_html_words(out, &number);
        fputs("</td><td>", out);
        tp_html_text(out, chunk->problem != NULL ? chunk->problem : "\xE2\x80\x93");
        fputs("</td></tr>\n", out);
    }
    fputs("</tbody></table></div>\n", out);
}

void tp_html_inside(const struct tp_page *page, const struct tp_file *file)
{
    FILE *out = page->out;
    size_t problems = 0;
    if (file->chunk_count == 0 && file->bext == NULL && file->ixml == NULL)
        return;
    for (size_t i = 0; i < file->chunk_count; i++)
        problems += file->chunks[i].problem != NULL;
    struct tp_text summary = {.lost = page->lost};
    tp_text_add(&summary, "Inside the file: ");
    tp_words_plural(file->chunk_count, "chunk", "chunks", &summary);
    if (problems > 0)
        tp_text_format(&summary, ", %zu with something wrong", problems);
    fputs("\n<details><summary>", out);
    tp_html_words(out, &summary);
    fputs("</summary>\n", out);
    bext_facts(page, file);
    ixml_facts(page, file);
    markers(page, file);
    texts(page, file);
    chunks(page, file);
    fputs("</details>\n", out);
}
