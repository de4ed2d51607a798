/* SPDX-License-Identifier: MIT */
/* report.json, format 1: one JSON object at a time, so that memory is bounded by one file or take. */
#include "report/json_fields.h"
#include "report/words.h"
#include "result.h"

#include <errno.h>
#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

#define DUMP_FLAGS (JSON_COMPACT | JSON_REAL_PRECISION(15) | JSON_ENCODE_ANY)

/* Sticky failure, so that the builders below can be read as lists. */
struct writer {
    FILE *out;
    const struct tp_report *report;
    bool failed;
};

static json_t *new_object(struct writer *w)
{
    json_t *object = json_object();
    w->failed = w->failed || object == NULL;
    return object;
}

static json_t *new_array(struct writer *w)
{
    json_t *array = json_array();
    w->failed = w->failed || array == NULL;
    return array;
}

/* Takes `value`; NULL marks the failure. */
static void put(struct writer *w, json_t *object, const char *key, json_t *value)
{
    if (json_object_set_new(object, key, value) != 0)
        w->failed = true;
}

static void push(struct writer *w, json_t *array, json_t *value)
{
    if (json_array_append_new(array, value) != 0)
        w->failed = true;
}

static void put_fields(struct writer *w, json_t *object, const struct tp_json_field *fields, const void *place)
{
    if (!tp_json_put_fields(object, fields, place))
        w->failed = true;
}

static void put_lists(struct writer *w, json_t *object, const struct tp_json_list *lists, const void *place)
{
    if (!tp_json_put_lists(object, lists, place))
        w->failed = true;
}

static json_t *from_fields(struct writer *w, const struct tp_json_field *fields, const void *place)
{
    json_t *object = new_object(w);
    put_fields(w, object, fields, place);
    return object;
}

/* Writes and frees. */
static void dump(struct writer *w, json_t *value)
{
    if (value == NULL || w->failed || json_dumpf(value, w->out, DUMP_FLAGS) != 0)
        w->failed = true;
    json_decref(value);
}

static void member(struct writer *w, const char *key, json_t *value)
{
    fprintf(w->out, ",\n\"%s\": ", key);
    dump(w, value);
}

static json_t *base64(const void *bytes, size_t size)
{
    /* EVP_EncodeBlock takes an int: 3/4 of 2 GB is far above anything that is embedded. */
    if (size > (size_t)1 << 30)
        return NULL;
    unsigned char *text = malloc(size / 3 * 4 + 5);
    if (text == NULL)
        return NULL;
    int length = EVP_EncodeBlock(text, bytes, (int)size);
    json_t *value = json_stringn((const char *)text, (size_t)length);
    free(text);
    return value;
}

/* The name as it is on disk, where UTF-8 cannot carry it. */
static void put_path(struct writer *w, json_t *object, const char *path, const char *raw, bool is_utf8)
{
    put(w, object, "path", tp_json_text(path));
    if (is_utf8)
        return;
    size_t length = strlen(raw);
    char *hex = malloc(2 * length + 1);
    if (hex != NULL)
        tp_hex((const uint8_t *)raw, length, hex);
    put(w, object, "path_hex", hex != NULL ? json_string(hex) : NULL);
    free(hex);
}

static json_t *file_name(const struct writer *w, size_t file)
{
    return file < w->report->file_count ? tp_json_text(w->report->files[file].path) : json_null();
}

static json_t *file_index(const struct writer *w, size_t file)
{
    return file < w->report->file_count ? tp_json_u64(file) : json_null();
}

static json_t *channel_number(uint32_t channel)
{
    return channel == TP_NO_CHANNEL ? json_null() : json_integer((json_int_t)channel + 1);
}

static void put_reference(struct writer *w, json_t *object, size_t file, uint32_t channel)
{
    put(w, object, "file", file_name(w, file));
    put(w, object, "file_index", file_index(w, file));
    put(w, object, "channel", channel_number(channel));
}

static json_t *reference(struct writer *w, struct tp_channel_ref ref)
{
    json_t *object = new_object(w);
    put_reference(w, object, ref.file, ref.channel);
    return object;
}

static void put_optional_reference(struct writer *w, json_t *object, const char *key, struct tp_channel_ref ref)
{
    if (ref.file != TP_NO_INDEX)
        put(w, object, key, reference(w, ref));
}

static json_t *finding(struct writer *w, const struct tp_finding *f)
{
    json_t *object = new_object(w);
    put(w, object, "code", json_string(tp_finding_info(f->code)->name));
    put(w, object, "severity", json_string(tp_severity_name(f->severity)));
    put_reference(w, object, f->file, f->channel);
    put(w, object, "start_s", tp_json_real(f->start_s, TP_TIME_DECIMALS));
    put(w, object, "end_s", tp_json_real(f->end_s, TP_TIME_DECIMALS));
    put(w, object, "value", tp_json_real(tp_words_finding_value(f, f->value), TP_DC_DECIMALS));
    put(w, object, "limit", tp_json_real(tp_words_finding_value(f, f->limit), TP_DC_DECIMALS));
    put(w, object, "message", tp_json_text(f->message));
    put(w, object, "more_places", tp_json_u64(f->more_places));
    return object;
}

static json_t *findings(struct writer *w, const struct tp_finding *items, size_t count)
{
    json_t *array = new_array(w);
    for (size_t i = 0; i < count; i++)
        push(w, array, finding(w, &items[i]));
    return array;
}

static json_t *use(struct writer *w, const struct tp_use *u)
{
    json_t *object = new_object(w);
    put(w, object, "choice", json_string(tp_choice_name(u->choice)));
    put_reference(w, object, u->file, u->file < w->report->file_count ? u->channel : TP_NO_CHANNEL);
    put(w, object, "reason", tp_json_text(u->reason));
    return object;
}

static json_t *splice(struct writer *w, const struct tp_splice *s)
{
    json_t *object = from_fields(w, tp_json_splice_fields, s);
    put(w, object, "cause", json_string(tp_finding_info(s->cause)->name));
    return object;
}

static json_t *pair(struct writer *w, const struct tp_pair *p)
{
    if (p == NULL)
        return json_null();
    json_t *object = new_object(w);
    put(w, object, "main", reference(w, p->main));
    put(w, object, "safety", reference(w, p->safety));
    put_fields(w, object, tp_json_pair_fields, p);
    put(w, object, "polarity", json_string(p->inverted ? "inverted" : "same"));
    json_t *splices = new_array(w);
    for (size_t i = 0; i < p->splice_count; i++)
        push(w, splices, splice(w, &p->splices[i]));
    put(w, object, "splices", splices);
    return object;
}

static json_t *signals(struct writer *w, const struct tp_take *take)
{
    json_t *array = new_array(w);
    for (size_t i = 0; i < take->signal_count; i++) {
        json_t *object = new_object(w);
        put(w, object, "name", tp_json_text(take->signals[i].name));
        put_optional_reference(w, object, "of", take->signals[i].channel);
        put(w, object, "use", use(w, &take->signals[i].use));
        put(w, object, "pair", pair(w, take->signals[i].pair));
        put(w, object, "part", tp_json_u64(take->signals[i].part + 1));
        put_optional_reference(w, object, "copy", take->signals[i].copy);
        put_optional_reference(w, object, "dead_partner", take->signals[i].dead_partner);
        put_optional_reference(w, object, "same_as", take->signals[i].same_as);
        if (take->signals[i].dead_partner.file != TP_NO_INDEX)
            put(w, object, "dead_partner_is_main", json_boolean(take->signals[i].dead_partner_is_main));
        push(w, array, object);
    }
    return array;
}

static json_t *take(struct writer *w, const struct tp_take *t)
{
    static const struct tp_use no_use = {TP_CHOICE_NONE, TP_NO_INDEX, TP_NO_CHANNEL, NULL};
    json_t *object = from_fields(w, tp_json_take_fields, t);
    put(w, object, "verdict", json_string(tp_verdict_name(t->verdict)));
    json_t *names = new_array(w), *indexes = new_array(w);
    for (size_t i = 0; i < t->file_count; i++) {
        push(w, names, file_name(w, t->files[i]));
        push(w, indexes, file_index(w, t->files[i]));
    }
    put(w, object, "files", names);
    put(w, object, "file_indexes", indexes);
    put_fields(w, object, tp_json_clock_fields, t);
    put(w, object, "use", use(w, t->signal_count > 0 ? &t->signals[0].use : &no_use));
    put(w, object, "pair", pair(w, t->signal_count > 0 ? t->signals[0].pair : NULL));
    put(w, object, "signals", signals(w, t));
    put(w, object, "findings", findings(w, t->findings, t->finding_count));
    return object;
}

static json_t *clips(struct writer *w, const struct tp_clip_run *runs, size_t count)
{
    json_t *array = new_array(w);
    for (size_t i = 0; i < count; i++)
        push(w, array, from_fields(w, tp_json_clip_fields, &runs[i]));
    return array;
}

static json_t *waveform(struct writer *w, const struct tp_overview *overview)
{
    if (overview->bin_count == 0)
        return json_null();
    json_t *object = new_object(w);
    put(w, object, "frames_per_bin", tp_json_u64(overview->frames_per_bin));
    put(w, object, "min", base64(overview->min, overview->bin_count));
    put(w, object, "max", base64(overview->max, overview->bin_count));
    return object;
}

static json_t *channel(struct writer *w, const struct tp_channel *c, uint32_t index)
{
    json_t *object = new_object(w);
    put(w, object, "channel", channel_number(index));
    put_fields(w, object, tp_json_channel_fields, c);
    put(w, object, "clips", clips(w, c->clips, c->clip_count));
    put(w, object, "flat_tops", clips(w, c->flat_tops, c->flat_top_count));
    put(w, object, "waveform", waveform(w, &c->overview));
    return object;
}

static json_t *ixml(struct writer *w, const struct tp_ixml *x)
{
    if (x == NULL)
        return json_null();
    json_t *object = from_fields(w, tp_json_ixml_fields, x);
    put_lists(w, object, tp_json_ixml_lists, x);
    return object;
}

static json_t *hash(const char *hex)
{
    return hex[0] == '\0' ? json_null() : json_string(hex);
}

static json_t *hashes(struct writer *w, const char *const hex[TP_HASH_COUNT])
{
    json_t *object = new_object(w);
    for (enum tp_hash kind = 0; kind < TP_HASH_COUNT; kind++)
        put(w, object, tp_hash_kinds[kind].key, hash(hex[kind]));
    return object;
}

static json_t *file(struct writer *w, const struct tp_file *f)
{
    json_t *object = new_object(w);
    put_path(w, object, f->path, f->path_raw, f->path_is_utf8);
    put(w, object, "source", tp_json_u64(f->source));
    put(w, object, "bytes", tp_json_u64(f->bytes));
    put(w, object, "modified_s", json_integer(f->modified_s));
    put(w, object, "hashes", hashes(w, (const char *const[])TP_HASHES_OF(f)));
    put_fields(w, object, tp_json_format_fields, f);
    put(w, object, "bext", f->bext == NULL ? json_null() : from_fields(w, tp_json_bext_fields, f->bext));
    put(w, object, "ixml", ixml(w, f->ixml));
    put_lists(w, object, tp_json_file_lists, f);
    put(w, object, "verdict", json_string(tp_verdict_name(f->verdict)));
    put(w, object, "take", f->take < w->report->take_count ? tp_json_u64(f->take) : json_null());
    put(w, object, "programme", from_fields(w, tp_json_programme_fields, &f->programme));
    json_t *channels = new_array(w);
    for (uint32_t i = 0; f->channels != NULL && i < f->channel_count; i++)
        push(w, channels, channel(w, &f->channels[i], i));
    put(w, object, "channels", channels);
    return object;
}

static json_t *other(struct writer *w, const struct tp_other *o)
{
    json_t *object = new_object(w);
    put_path(w, object, o->path, o->path_raw, o->path_is_utf8);
    put(w, object, "source", tp_json_u64(o->source));
    put(w, object, "bytes", tp_json_u64(o->bytes));
    put(w, object, "hashes", hashes(w, (const char *const[])TP_HASHES_OF(o)));
    put(w, object, "why", tp_json_text(o->why));
    return object;
}

static json_t *excerpt(struct writer *w, const struct tp_sound_excerpt *e)
{
    json_t *object = from_fields(w, tp_json_excerpt_fields, e);
    put_reference(w, object, e->file, e->channel);
    put(w, object, "sound", base64(e->bytes, e->size));
    return object;
}

/* One source as given; several joined, for people: scripts read "sources". */
static json_t *source_line(const struct tp_report *report)
{
    struct tp_text text = {0};
    for (size_t i = 0; i < report->source_count; i++)
        tp_text_format(&text, "%s%s", i > 0 ? ", " : "", report->sources[i]);
    json_t *value = text.failed ? NULL : tp_json_text(text.bytes);
    tp_text_clear(&text);
    return value;
}

static json_t *optional_text(const char *text)
{
    return text != NULL ? tp_json_text(text) : json_null();
}

static json_t *handoff(struct writer *w, const struct tp_handoff *h)
{
    if (h == NULL)
        return json_null();
    json_t *object = from_fields(w, tp_json_handoff_fields, h);
    put(w, object, "caution", optional_text(h->caution));
    json_t *destinations = new_array(w);
    for (size_t i = 0; i < h->destination_count; i++) {
        json_t *destination = from_fields(w, tp_json_destination_fields, &h->destinations[i]);
        put(w, destination, "readback", json_string(tp_readback_name(h->destinations[i].readback)));
        put(w, destination, "message", optional_text(h->destinations[i].message));
        push(w, destinations, destination);
    }
    put(w, object, "destinations", destinations);
    return object;
}

static json_t *compared(struct writer *w, const struct tp_report *report)
{
    json_t *object = new_object(w);
    put(w, object, "verdict", json_string(tp_verdict_name(report->compared_verdict)));
    put(w, object, "words", tp_json_text(report->compared));
    return object;
}

static json_t *source_specs(struct writer *w)
{
    json_t *specs = new_array(w);
    for (size_t i = 0; i < w->report->source_spec_count; i++)
        push(w, specs, from_fields(w, tp_json_spec_fields, &w->report->source_specs[i]));
    return specs;
}

static void write_head(struct writer *w)
{
    const struct tp_report *report = w->report;
    fputs("{\n\"format\": 1", w->out);
    member(w, "version", tp_json_text(report->version));
    member(w, "made", tp_json_text(report->made));
    member(w, "source", source_line(report));
    json_t *sources = new_array(w);
    for (size_t i = 0; i < report->source_count; i++)
        push(w, sources, tp_json_text(report->sources[i]));
    member(w, "sources", sources);
    member(w, "production", from_fields(w, tp_json_production_fields, &report->spec));
    member(w, "spec", from_fields(w, tp_json_spec_fields, &report->spec));
    if (report->source_spec_count > 0)
        member(w, "source_specs", source_specs(w));
    member(w, "verdict", json_string(tp_verdict_name(report->verdict)));
    member(w, "summary", from_fields(w, tp_json_summary_fields, &report->summary));
    member(w, "handoff", handoff(w, report->handoff));
    if (report->merged)
        member(w, "merged", json_true());
    if (report->compared != NULL)
        member(w, "compared", compared(w, report));
}

/* Opens a list member of the report, or its next element. */
static void next_element(struct writer *w, size_t index)
{
    fputs(index == 0 ? "\n" : ",\n", w->out);
}

static void write_lists(struct writer *w)
{
    const struct tp_report *report = w->report;
    fputs(",\n\"takes\": [", w->out);
    for (size_t i = 0; i < report->take_count && !w->failed; i++) {
        next_element(w, i);
        dump(w, take(w, &report->takes[i]));
    }
    fputs("],\n\"files\": [", w->out);
    for (size_t i = 0; i < report->file_count && !w->failed; i++) {
        next_element(w, i);
        dump(w, file(w, &report->files[i]));
    }
    fputs("],\n\"others\": [", w->out);
    for (size_t i = 0; i < report->other_count && !w->failed; i++) {
        next_element(w, i);
        dump(w, other(w, &report->others[i]));
    }
    fputs("],\n\"findings\": [", w->out);
    for (size_t i = 0; i < report->finding_count && !w->failed; i++) {
        next_element(w, i);
        dump(w, finding(w, &report->findings[i]));
    }
    if (report->excerpt_count > 0)
        fputs("],\n\"excerpts\": [", w->out);
    for (size_t i = 0; i < report->excerpt_count && !w->failed; i++) {
        next_element(w, i);
        dump(w, excerpt(w, &report->excerpts[i]));
    }
    fputs("]\n}\n", w->out);
}

enum tp_status tp_report_write_json(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    struct writer w = {.out = out, .report = report};
    write_head(&w);
    write_lists(&w);
    if (ferror(out))
        return tp_error_set(error, TP_ERR_WRITE, errno, "cannot write the report as JSON: %s", strerror(errno));
    if (w.failed)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the report as JSON: not enough memory");
    return TP_OK;
}
