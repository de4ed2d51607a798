/* SPDX-License-Identifier: MIT */
/* The list of splices as CSV and JSON. */
#include "report/csv.h"
#include "report/json_fields.h"
#include "report/splice_rows.h"
#include "report/words.h"

#include <takeproof/splice.h>

struct row {
    const struct tp_report *report;
    const struct tp_spliced_track *track;
    const struct tp_take *take;
    const struct tp_pair *pair;
};

static struct row row_of(const struct tp_splice_result *result, const struct tp_spliced_track *track)
{
    const struct tp_take *take = &result->report->takes[track->take];
    return (struct row){
        .report = result->report, .track = track, .take = take, .pair = take->signals[track->signal].pair};
}

static const char *fade_name(double length_s, bool equal_power)
{
    return length_s > 0.0 ? equal_power ? "equal power" : "equal gain" : "none";
}

static const char *sample_format(const struct tp_spliced_track *track)
{
    return track->encoding == TP_ENCODING_FLOAT ? track->bit_depth == 64 ? "64-bit float" : "32-bit float"
           : track->bit_depth == 32             ? "32-bit PCM"
                                                : "24-bit PCM";
}

static const char *const columns[] = {
    "take",           "track",          "choice",       "format",     "main_file",   "main_channel", "safety_file",
    "safety_channel", "safety_gain_db", "polarity",     "lowered_db", "start_s",     "end_s",        "start_timecode",
    "end_timecode",   "damage_start_s", "damage_end_s", "cause",      "lag_samples", "gain_in_db",   "gain_out_db",
    "fade_in_ms",     "fade_in",        "fade_out_ms",  "fade_out",   "note"};

static void track_cells(struct tp_csv *csv, const struct row *row)
{
    const struct tp_spliced_track *track = row->track;
    bool written = *track->name != '\0';
    tp_csv_text(csv, row->take->id);
    tp_csv_text(csv, track->name);
    tp_csv_text(csv, tp_choice_name(track->choice));
    tp_csv_text(csv, written ? sample_format(track) : "");
    tp_csv_text(csv, row->report->files[row->pair->main.file].path);
    tp_csv_count(csv, (uint64_t)row->pair->main.channel + 1);
    tp_csv_text(csv, row->report->files[row->pair->safety.file].path);
    tp_csv_count(csv, (uint64_t)row->pair->safety.channel + 1);
    tp_csv_number(csv, track->gain_db, 3);
    tp_csv_text(csv, row->pair->inverted ? "inverted" : "same");
    tp_csv_number(csv, track->lowered_db, 1);
}

static void span_cells(struct tp_csv *csv, const struct tp_spliced_span *span)
{
    tp_csv_number(csv, span->start_s, 6);
    tp_csv_number(csv, span->end_s, 6);
    tp_csv_text(csv, span->start_timecode);
    tp_csv_text(csv, span->end_timecode);
    tp_csv_number(csv, span->damage_start_s, 6);
    tp_csv_number(csv, span->damage_end_s, 6);
    tp_csv_text(csv, tp_finding_info(span->cause)->name);
    tp_csv_signed(csv, span->lag_samples);
    tp_csv_number(csv, span->gain_in_db, 3);
    tp_csv_number(csv, span->gain_out_db, 3);
    tp_csv_number(csv, 1e3 * span->fade_in_s, 2);
    tp_csv_text(csv, fade_name(span->fade_in_s, span->fade_in_equal_power));
    tp_csv_number(csv, 1e3 * span->fade_out_s, 2);
    tp_csv_text(csv, fade_name(span->fade_out_s, span->fade_out_equal_power));
}

void tp_splice_csv_head(FILE *out)
{
    struct tp_csv csv = {.out = out};
    for (size_t i = 0; i < sizeof columns / sizeof columns[0]; i++)
        tp_csv_text(&csv, columns[i]);
    tp_csv_end(&csv);
}

/* Why there is no track, then what else is wrong with the take. */
static void add_note(const struct tp_spliced_track *track, struct tp_text *note)
{
    tp_text_add(note, track->why_not);
    tp_text_add(note, *track->why_not != '\0' && *track->caution != '\0' ? "; " : "");
    tp_text_add(note, track->caution);
}

static void note_cell(struct tp_csv *csv, const struct row *row)
{
    struct tp_text note = {.lost = &csv->lost};
    add_note(row->track, &note);
    tp_csv_text(csv, note.length > 0 ? note.bytes : "");
    tp_text_clear(&note);
}

static json_t *note_json(const struct tp_spliced_track *track)
{
    struct tp_text note = {0};
    add_note(track, &note);
    json_t *value = note.failed ? NULL : tp_json_text(note.length > 0 ? note.bytes : "");
    tp_text_clear(&note);
    return value;
}

void tp_splice_csv_rows(const struct tp_splice_result *result, FILE *out)
{
    struct tp_csv csv = {.out = out};
    for (size_t t = 0; t < result->track_count; t++) {
        struct row row = row_of(result, &result->tracks[t]);
        for (size_t s = 0; s == 0 || s < row.track->span_count; s++) {
            track_cells(&csv, &row);
            if (s < row.track->span_count)
                span_cells(&csv, &row.track->spans[s]);
            for (size_t c = 0; row.track->span_count == 0 && c < 14; c++)
                tp_csv_empty(&csv);
            note_cell(&csv, &row);
            tp_csv_end(&csv);
        }
    }
}

void tp_splice_write_csv(const struct tp_splice_result *result, FILE *out)
{
    tp_splice_csv_head(out);
    tp_splice_csv_rows(result, out);
}

static bool put(json_t *object, const char *key, json_t *value)
{
    return json_object_set_new(object, key, value) == 0;
}

static json_t *span_json(const struct tp_spliced_span *span)
{
    json_t *object = json_object();
    bool ok = object != NULL && put(object, "start_s", tp_json_real(span->start_s, 6)) &&
              put(object, "end_s", tp_json_real(span->end_s, 6)) &&
              put(object, "start_timecode", tp_json_text(span->start_timecode)) &&
              put(object, "end_timecode", tp_json_text(span->end_timecode)) &&
              put(object, "damage_start_s", tp_json_real(span->damage_start_s, 6)) &&
              put(object, "damage_end_s", tp_json_real(span->damage_end_s, 6)) &&
              put(object, "cause", tp_json_text(tp_finding_info(span->cause)->name)) &&
              put(object, "lag_samples", json_integer((json_int_t)span->lag_samples)) &&
              put(object, "gain_in_db", tp_json_real(span->gain_in_db, 3)) &&
              put(object, "gain_out_db", tp_json_real(span->gain_out_db, 3)) &&
              put(object, "fade_in_s", tp_json_real(span->fade_in_s, 6)) &&
              put(object, "fade_in", tp_json_text(fade_name(span->fade_in_s, span->fade_in_equal_power))) &&
              put(object, "fade_out_s", tp_json_real(span->fade_out_s, 6)) &&
              put(object, "fade_out", tp_json_text(fade_name(span->fade_out_s, span->fade_out_equal_power)));
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

static json_t *channel_json(const struct tp_report *report, const struct tp_channel_ref *ref)
{
    json_t *object = json_object();
    if (object != NULL && put(object, "file", tp_json_text(report->files[ref->file].path)) &&
        put(object, "channel", json_integer((json_int_t)ref->channel + 1)))
        return object;
    json_decref(object);
    return NULL;
}

static json_t *spans_json(const struct row *row)
{
    json_t *array = json_array();
    bool ok = array != NULL;
    for (size_t s = 0; ok && s < row->track->span_count; s++)
        ok = json_array_append_new(array, span_json(&row->track->spans[s])) == 0;
    if (ok)
        return array;
    json_decref(array);
    return NULL;
}

static json_t *track_json(const struct row *row)
{
    const struct tp_spliced_track *track = row->track;
    bool written = *track->name != '\0';
    json_t *object = json_object();
    bool ok = object != NULL && put(object, "take", tp_json_text(row->take->id)) &&
              put(object, "track", written ? tp_json_text(track->name) : json_null()) &&
              put(object, "choice", tp_json_text(tp_choice_name(track->choice))) &&
              put(object, "note", note_json(track)) &&
              put(object, "main", channel_json(row->report, &row->pair->main)) &&
              put(object, "safety", channel_json(row->report, &row->pair->safety)) &&
              put(object, "safety_gain_db", tp_json_real(track->gain_db, 3)) &&
              put(object, "polarity", tp_json_text(row->pair->inverted ? "inverted" : "same")) &&
              put(object, "encoding", written ? tp_json_text(tp_encoding_name(track->encoding)) : json_null()) &&
              put(object, "bit_depth", json_integer((json_int_t)track->bit_depth)) &&
              put(object, "frames", tp_json_u64(track->frames)) &&
              put(object, "lowered_db", tp_json_real(track->lowered_db, 1)) &&
              put(object, "sample_peak_dbfs", tp_json_real(track->peak_dbfs, 2)) &&
              put(object, "spliced_s", tp_json_real(track->spliced_s, 6)) && put(object, "spans", spans_json(row));
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

enum tp_status tp_splice_write_json(const struct tp_splice_result *result, FILE *out, struct tp_error *error)
{
    json_t *root = json_object(), *tracks = json_array();
    bool ok = root != NULL && tracks != NULL && put(root, "format", json_integer(1));
    for (size_t t = 0; ok && t < result->track_count; t++) {
        struct row row = row_of(result, &result->tracks[t]);
        ok = json_array_append_new(tracks, track_json(&row)) == 0;
    }
    ok = ok && json_object_set(root, "tracks", tracks) == 0;
    json_decref(tracks);
    enum tp_status status = TP_OK;
    if (!ok)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to list the splices");
    else if (json_dumpf(root, out, JSON_INDENT(1) | JSON_REAL_PRECISION(15)) != 0 || putc('\n', out) == EOF)
        status = tp_error_set(error, TP_ERR_WRITE, 0, "cannot write the list of splices");
    json_decref(root);
    return status;
}
