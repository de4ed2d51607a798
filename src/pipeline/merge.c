/* SPDX-License-Identifier: MIT */
#include "base/text.h"
#include "judge/rules.h"
#include "judge/rules_set.h"
#include "pipeline/assemble.h"
#include "result.h"
#include "take/parts.h"

#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static enum tp_status out_of_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot merge the reports: not enough memory");
}

/* Limits alone; the production's fields may differ from card to card. */
static bool same_limits(const struct tp_spec *a, const struct tp_spec *b)
{
    return a->sample_rate_hz == b->sample_rate_hz && a->bit_depth == b->bit_depth && a->encoding == b->encoding &&
           a->container == b->container && a->channel_count == b->channel_count && a->require_bext == b->require_bext &&
           a->require_ixml == b->require_ixml && a->timecode_rate.numerator == b->timecode_rate.numerator &&
           a->timecode_rate.denominator == b->timecode_rate.denominator &&
           a->timecode_rate.drop == b->timecode_rate.drop && a->working_level_min_dbfs == b->working_level_min_dbfs &&
           a->working_level_max_dbfs == b->working_level_max_dbfs && a->true_peak_max_dbtp == b->true_peak_max_dbtp &&
           a->noise_floor_max_dbfs == b->noise_floor_max_dbfs && a->dc_offset_max == b->dc_offset_max &&
           a->pair == b->pair && a->safety_below_min_db == b->safety_below_min_db &&
           a->safety_below_max_db == b->safety_below_max_db && a->lag_max_samples == b->lag_max_samples &&
           a->duration_min_s == b->duration_min_s && a->low_cut == b->low_cut && strcmp(a->pattern, b->pattern) == 0;
}

/* "S01" and "S02" to "S01, S02"; what is there already is not added again. False when memory is short. */
static bool join(char **to, const char *more)
{
    size_t length = strlen(more);
    if (length == 0)
        return true;
    for (const char *at = strstr(*to, more); at != NULL; at = strstr(at + 1, more)) {
        bool starts = at == *to || (at - *to >= 2 && strncmp(at - 2, ", ", 2) == 0);
        if (starts && (at[length] == '\0' || strncmp(at + length, ", ", 2) == 0))
            return true;
    }
    char *joined = tp_format("%s%s%s", *to, **to != '\0' ? ", " : "", more);
    if (joined == NULL)
        return false;
    free(*to);
    *to = joined;
    return true;
}

static bool join_heads(struct tp_report *to, const struct tp_report *from)
{
    if (strcmp(from->made, to->made) > 0) {
        char *made = tp_strdup(from->made);
        if (made == NULL)
            return false;
        free(to->made);
        to->made = made;
    }
    return join(&to->version, from->version) && join(&to->spec.title, from->spec.title) &&
           join(&to->spec.recordist, from->spec.recordist) && join(&to->spec.roll, from->spec.roll) &&
           join(&to->spec.date, from->spec.date) && join(&to->spec.scene, from->spec.scene);
}

/* Moves `count` elements behind those of *items; the source list is then empty. False when memory is short. */
static bool move_list(void *items_pointer, size_t *count, void *more_pointer, size_t *more_count, size_t size)
{
    void *items, *more;
    memcpy(&items, items_pointer, sizeof items);
    memcpy(&more, more_pointer, sizeof more);
    if (*more_count == 0)
        return true;
    char *grown = *count + *more_count <= SIZE_MAX / size ? realloc(items, (*count + *more_count) * size) : NULL;
    if (grown == NULL)
        return false;
    memcpy(grown + *count * size, more, *more_count * size);
    *count += *more_count;
    *more_count = 0;
    free(more);
    more = NULL;
    items = grown;
    memcpy(items_pointer, &items, sizeof items);
    memcpy(more_pointer, &more, sizeof more);
    return true;
}

static void shift(size_t *index, size_t by)
{
    if (*index != TP_NO_INDEX)
        *index += by;
}

static void shift_findings(struct tp_finding *findings, size_t count, size_t files)
{
    for (size_t i = 0; i < count; i++)
        shift(&findings[i].file, files);
}

static void shift_signal(struct tp_signal *signal, size_t files)
{
    shift(&signal->channel.file, files);
    shift(&signal->use.file, files);
    shift(&signal->copy.file, files);
    shift(&signal->dead_partner.file, files);
    shift(&signal->same_as.file, files);
    if (signal->pair == NULL)
        return;
    shift(&signal->pair->main.file, files);
    shift(&signal->pair->safety.file, files);
}

/* Makes every index of `from` fit behind what `to` holds. */
static void shift_all(struct tp_report *from, const struct tp_report *to)
{
    for (size_t i = 0; i < from->file_count; i++) {
        from->files[i].source += to->source_count;
        shift(&from->files[i].take, to->take_count);
    }
    for (size_t i = 0; i < from->other_count; i++)
        from->others[i].source += to->source_count;
    for (size_t i = 0; i < from->take_count; i++) {
        struct tp_take *take = &from->takes[i];
        for (size_t k = 0; k < take->file_count; k++)
            take->files[k] += to->file_count;
        for (size_t k = 0; k < take->signal_count; k++)
            shift_signal(&take->signals[k], to->file_count);
        shift_findings(take->findings, take->finding_count, to->file_count);
    }
    shift_findings(from->findings, from->finding_count, to->file_count);
    for (size_t i = 0; i < from->excerpt_count; i++) {
        from->excerpts[i].take += to->take_count;
        from->excerpts[i].file += to->file_count;
    }
}

static bool append(struct tp_report *to, struct tp_report *from)
{
    shift_all(from, to);
    return join_heads(to, from) &&
           move_list(&to->sources, &to->source_count, &from->sources, &from->source_count, sizeof *to->sources) &&
           move_list(&to->source_specs, &to->source_spec_count, &from->source_specs, &from->source_spec_count,
                     sizeof *to->source_specs) &&
           move_list(&to->files, &to->file_count, &from->files, &from->file_count, sizeof *to->files) &&
           move_list(&to->takes, &to->take_count, &from->takes, &from->take_count, sizeof *to->takes) &&
           move_list(&to->others, &to->other_count, &from->others, &from->other_count, sizeof *to->others) &&
           move_list(&to->excerpts, &to->excerpt_count, &from->excerpts, &from->excerpt_count, sizeof *to->excerpts) &&
           move_list(&to->findings, &to->finding_count, &from->findings, &from->finding_count, sizeof *to->findings);
}

/* What one card's report said of the set is judged anew over all of them. */
static void drop_set_findings(struct tp_report *report)
{
    size_t kept = 0;
    for (size_t i = 0; i < report->finding_count; i++) {
        if (tp_rules_set_owns(report->findings[i].code))
            tp_finding_clear(&report->findings[i]);
        else
            report->findings[kept++] = report->findings[i];
    }
    report->finding_count = kept;
}

/* ---- parts ---- */

static bool tells_missing_parts(const struct tp_finding *finding)
{
    return finding->code == TP_CODE_SEGMENT_GAP && !tp_exists(finding->value) && finding->file != TP_NO_INDEX;
}

static bool is_of_parts(const struct tp_observation *seen)
{
    return seen->code == TP_CODE_SEGMENT_GAP && !tp_exists(seen->value);
}

/* Reports that come from a check in the same process still hold what was observed then. */
static void forget_parts(struct tp_file *file)
{
    size_t kept = 0;
    for (size_t i = 0; i < file->observations.count; i++) {
        if (is_of_parts(&file->observations.items[i]))
            free(file->observations.items[i].detail);
        else
            file->observations.items[kept++] = file->observations.items[i];
    }
    file->observations.count = kept;
}

static void drop_finding(struct tp_report *report, size_t take_number, size_t at)
{
    struct tp_take *take = &report->takes[take_number];
    tp_finding_clear(&take->findings[at]);
    take->finding_count--;
    memmove(&take->findings[at], &take->findings[at + 1], (take->finding_count - at) * sizeof *take->findings);
    for (size_t i = 0; i < report->excerpt_count; i++)
        if (report->excerpts[i].take == take_number && report->excerpts[i].finding > at)
            report->excerpts[i].finding--;
}

/* The severities of what is still found are the verdict of take and file. */
static void judge_again(struct tp_report *report, struct tp_take *take, struct tp_file *file)
{
    enum tp_verdict of_take = TP_VERDICT_PASS, of_file = TP_VERDICT_PASS;
    for (size_t i = 0; i < take->finding_count; i++) {
        const struct tp_finding *finding = &take->findings[i];
        enum tp_verdict verdict = finding->severity == TP_FAIL     ? TP_VERDICT_FAIL
                                  : finding->severity == TP_LISTEN ? TP_VERDICT_LISTEN
                                                                   : TP_VERDICT_PASS;
        of_take = verdict > of_take ? verdict : of_take;
        if (finding->file != TP_NO_INDEX && &report->files[finding->file] == file)
            of_file = verdict > of_file ? verdict : of_file;
    }
    take->verdict = of_take;
    file->verdict = of_file;
}

/* Gives the finding the words that hold over all cards; drops it when the part is on one of them. False without memory.
 */
static bool reword(struct tp_report *report, size_t take_number, size_t at)
{
    struct tp_take *take = &report->takes[take_number];
    struct tp_file *file = &report->files[take->findings[at].file];
    const char *words = NULL;
    for (size_t i = 0; i < file->observations.count; i++)
        if (is_of_parts(&file->observations.items[i]))
            words = file->observations.items[i].detail;
    if (words == NULL) {
        drop_finding(report, take_number, at);
        judge_again(report, take, file);
        return true;
    }
    char *copy = tp_strdup(words);
    if (copy == NULL)
        return false;
    free(take->findings[at].message);
    take->findings[at].message = copy;
    return true;
}

/* The part that one card lacks may be on another: what each report said of its own card is held against all of them. */
static enum tp_status judge_parts(struct tp_report *report, struct tp_error *error)
{
    for (size_t i = 0; i < report->file_count; i++)
        forget_parts(&report->files[i]);
    enum tp_status status = tp_parts_observe(report, error);
    for (size_t t = 0; status == TP_OK && t < report->take_count; t++)
        for (size_t i = report->takes[t].finding_count; status == TP_OK && i-- > 0;)
            if (tells_missing_parts(&report->takes[t].findings[i]) && !reword(report, t, i))
                status = out_of_memory(error);
    return status;
}

static const struct tp_file *file_like(const struct tp_report *report, size_t source, const struct tp_file *like)
{
    for (size_t i = 0; i < report->file_count; i++) {
        const struct tp_file *file = &report->files[i];
        if (file->source == source && !tp_file_differs(file, like) && strcmp(file->path_raw, like->path_raw) == 0)
            return file;
    }
    return NULL;
}

/* Whether every recording of one source is one of the other's, by path and content. */
static bool holds_all(const struct tp_report *report, size_t source, const struct tp_report *in, size_t in_source)
{
    size_t files = 0;
    for (size_t i = 0; i < report->file_count; i++) {
        if (report->files[i].source != source)
            continue;
        if (file_like(in, in_source, &report->files[i]) == NULL)
            return false;
        files++;
    }
    return files > 0;
}

/* The name of a source that both reports are about, as when one report is given twice; NULL when there is none. */
static const char *source_in_both(const struct tp_report *to, const struct tp_report *from)
{
    for (size_t a = 0; a < to->source_count; a++)
        for (size_t b = 0; b < from->source_count; b++)
            if (strcmp(to->sources[a], from->sources[b]) == 0 &&
                (holds_all(from, b, to, a) || holds_all(to, a, from, b)))
                return to->sources[a];
    return NULL;
}

static bool have_different_specs(struct tp_report **reports, size_t count)
{
    bool differ = false;
    for (size_t i = 0; i < count; i++)
        differ = differ || reports[i]->source_spec_count > 0 || !same_limits(&reports[0]->spec, &reports[i]->spec);
    return differ;
}

/* Gives each source of a report its own copy of the spec. False when memory is short. */
static bool name_specs(struct tp_report *report)
{
    if (report->source_spec_count > 0 || report->source_count == 0)
        return true;
    report->source_specs = calloc(report->source_count, sizeof *report->source_specs);
    if (report->source_specs == NULL)
        return false;
    while (report->source_spec_count < report->source_count) {
        if (tp_spec_copy(&report->source_specs[report->source_spec_count], &report->spec, NULL) != TP_OK)
            return false;
        report->source_spec_count++;
    }
    return true;
}

static enum tp_status merge(struct tp_report **reports, size_t count, struct tp_error *error)
{
    struct tp_report *to = reports[0];
    if (have_different_specs(reports, count))
        for (size_t i = 0; i < count; i++)
            if (!name_specs(reports[i]))
                return out_of_memory(error);
    for (size_t i = 1; i < count; i++) {
        const char *twice = source_in_both(to, reports[i]);
        if (twice != NULL)
            return tp_error_set(error, TP_ERR_USAGE, 0,
                                "two of the reports are about the same recordings of '%s': everything would count "
                                "double; name one of them",
                                twice);
        if (!append(to, reports[i]))
            return out_of_memory(error);
    }
    /* Of several cards nothing is said together: whether one may be wiped stands in its own report. */
    if (count > 1) {
        tp_handoff_free(to->handoff);
        to->handoff = NULL;
        free(to->compared);
        to->compared = NULL;
        to->merged = true;
    }
    drop_set_findings(to);
    enum tp_status status = tp_takes_name(to, error);
    if (status == TP_OK && count > 1)
        status = judge_parts(to, error);
    if (status == TP_OK)
        status = tp_rules_judge_set(to, error);
    if (status == TP_OK)
        tp_rules_sum_up(to);
    return status;
}

enum tp_status tp_report_merge(struct tp_report **reports, size_t count, struct tp_report **merged,
                               struct tp_error *error)
{
    if (count == 0)
        return tp_error_set(error, TP_ERR_USAGE, 0, "nothing to merge: name at least one report.json");
    enum tp_status status = merge(reports, count, error);
    if (status == TP_OK) {
        *merged = reports[0];
        reports[0] = NULL;
    }
    for (size_t i = 0; i < count; i++) {
        tp_report_free(reports[i]);
        reports[i] = NULL;
    }
    return status;
}
