/* SPDX-License-Identifier: MIT */
#include "judge/log_match.h"

#include "base/num.h"
#include "base/text.h"
#include "judge/finding_list.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *back = strrchr(path, '\\');
    if (back != NULL && (slash == NULL || back > slash))
        slash = back;
    return slash != NULL ? slash + 1 : path;
}

static size_t stem_length(const char *name)
{
    const char *dot = strrchr(name, '.');
    return dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
}

static bool same_text(const char *a, size_t a_length, const char *b, size_t b_length)
{
    return a_length == b_length && strncasecmp(a, b, a_length) == 0;
}

/* "T003" and "3" are one take: a leading word of T, TK or TAKE and leading zeros say nothing. */
static const char *plain_take(const char *take)
{
    static const char *const words[] = {"take", "tk", "t"};
    for (size_t i = 0; i < 3; i++) {
        size_t length = strlen(words[i]);
        if (strncasecmp(take, words[i], length) == 0 && strspn(take + length, " .#0123456789") > 0) {
            take += length;
            take += strspn(take, " .#");
            break;
        }
    }
    while (take[0] == '0' && take[1] != '\0')
        take++;
    return take;
}

static bool file_matches(const struct tp_report *report, const struct tp_take *take, const char *wanted)
{
    const char *name = base_name(wanted);
    size_t length = strlen(name), stem = stem_length(name);
    if (same_text(take->id, strlen(take->id), name, length) || same_text(take->id, strlen(take->id), name, stem))
        return true;
    for (size_t i = 0; i < take->file_count; i++) {
        const char *file = base_name(report->files[take->files[i]].path);
        if (same_text(file, strlen(file), name, length) || same_text(file, stem_length(file), name, length))
            return true;
    }
    return false;
}

static bool slate_matches(const struct tp_take *take, const struct tp_log_entry *entry)
{
    return entry->scene[0] != '\0' && entry->take[0] != '\0' && take->take[0] != '\0' &&
           strcasecmp(take->scene, entry->scene) == 0 &&
           strcasecmp(plain_take(take->take), plain_take(entry->take)) == 0;
}

/* The first take that no row has yet, else the first that fits; TP_NO_INDEX when none does. */
static size_t find_take(const struct tp_report *report, const struct tp_log_entry *entry, const bool *matched)
{
    size_t again = TP_NO_INDEX;
    for (int by_slate = 0; by_slate <= 1; by_slate++) {
        for (size_t i = 0; i < report->take_count; i++) {
            const struct tp_take *take = &report->takes[i];
            bool fits = by_slate ? slate_matches(take, entry)
                                 : entry->file[0] != '\0' && file_matches(report, take, entry->file);
            if (fits && !matched[i])
                return i;
            if (fits && again == TP_NO_INDEX)
                again = i;
        }
        /* A row that names a file means that file: its slate must not pick another. */
        if (again != TP_NO_INDEX || (entry->file[0] != '\0' && !by_slate && strchr(entry->file, '.') != NULL))
            return again;
    }
    return again;
}

static void say(struct tp_finding_list *list, enum tp_code code, size_t file, char *message)
{
    struct tp_finding_place place = tp_nowhere();
    place.file = file;
    if (message == NULL)
        list->failed = true;
    else
        tp_finding_add(list, code, tp_finding_info(code)->severity, place, "%s", message);
    free(message);
}

static char *entry_words(const struct tp_log_entry *entry)
{
    if (entry->file[0] != '\0')
        return tp_format("'%s'", entry->file);
    return tp_format("scene %s take %s", entry->scene, entry->take);
}

static void compare_start(const struct tp_report *report, const struct tp_take *take, const struct tp_log_entry *entry,
                          struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[take->files[0]];
    double noted = tp_clock_read(entry->start);
    if (!tp_exists(noted) || take->start_samples == TP_NO_TIMECODE || file->sample_rate_hz == 0)
        return;
    double apart = fabs((double)take->start_samples / file->sample_rate_hz - noted);
    apart = apart > 43200.0 ? fabs(86400.0 - apart) : apart;
    if (apart > TP_LOG_START_APART_S)
        say(list, TP_CODE_METADATA_CONFLICT, take->files[0],
            tp_format("The notes (line %zu) say that '%s' starts at %s, its timecode says %s.", entry->line, take->id,
                      entry->start, take->start_timecode));
}

static void compare_slate(const struct tp_take *take, const struct tp_log_entry *entry, struct tp_finding_list *list)
{
    bool other_scene = entry->scene[0] != '\0' && take->scene[0] != '\0' && strcasecmp(entry->scene, take->scene) != 0;
    bool other_take = entry->take[0] != '\0' && take->take[0] != '\0' &&
                      strcasecmp(plain_take(entry->take), plain_take(take->take)) != 0;
    if (other_scene || other_take)
        say(list, TP_CODE_METADATA_CONFLICT, take->files[0],
            tp_format("The notes (line %zu) call '%s' scene %s take %s, the file calls itself scene %s take %s.",
                      entry->line, take->id, entry->scene, entry->take, take->scene, take->take));
}

/* The notes are written later and by hand, so they count; a recorder writes "not circled" when nobody said anything. */
static void merge_good(struct tp_take *take, const struct tp_log_entry *entry, struct tp_finding_list *list)
{
    if (entry->good < 0)
        return;
    if (take->circled == 1 && entry->good == 0)
        say(list, TP_CODE_METADATA_CONFLICT, take->files[0],
            tp_format("The notes (line %zu) call '%s' no good, the file says it is circled.", entry->line, take->id));
    take->circled = entry->good;
    take->no_good = entry->good == 0;
}

static bool fill_empty(char **text, const char *value)
{
    if ((*text)[0] != '\0' || value[0] == '\0')
        return true;
    char *copy = tp_strdup(value);
    if (copy == NULL)
        return false;
    free(*text);
    *text = copy;
    return true;
}

static bool add_notes(struct tp_take *take, const char *notes)
{
    if (notes[0] == '\0' || strcmp(take->notes, notes) == 0)
        return true;
    char *both = take->notes[0] == '\0' ? tp_strdup(notes) : tp_format("%s; %s", take->notes, notes);
    if (both == NULL)
        return false;
    free(take->notes);
    take->notes = both;
    return true;
}

/* A scene that stands in the spec for want of a better one gives way to the notes. */
static void drop_default_scene(const struct tp_report *report, struct tp_take *take, const struct tp_log_entry *entry)
{
    const struct tp_ixml *ixml = report->files[take->files[0]].ixml;
    bool told_by_file = ixml != NULL && ixml->scene[0] != '\0';
    if (entry->scene[0] != '\0' && !told_by_file && strcmp(take->scene, report->spec.scene) == 0)
        take->scene[0] = '\0';
}

static void merge(struct tp_report *report, size_t index, const struct tp_log_entry *entry,
                  struct tp_finding_list *list)
{
    struct tp_take *take = &report->takes[index];
    drop_default_scene(report, take, entry);
    compare_slate(take, entry, list);
    compare_start(report, take, entry, list);
    merge_good(take, entry, list);
    if (!fill_empty(&take->scene, entry->scene) || !fill_empty(&take->take, entry->take) ||
        !add_notes(take, entry->notes))
        list->failed = true;
}

/* A slate finds nothing where the recordings carry none: then only names of files can. "" where that is not so, NULL
 * without memory. Owned by the caller. */
static char *file_column_hint(const struct tp_report *report, const struct tp_log *log)
{
    size_t bare = 0;
    for (size_t i = 0; i < report->take_count; i++)
        bare += report->takes[i].scene[0] == '\0' || report->takes[i].take[0] == '\0';
    if (bare == 0)
        return tp_strdup("");
    return tp_format(" %zu of %zu recordings carry no scene and take: %s.", bare, report->take_count,
                     log->has_file_column ? "fill the column 'file'" : "name them in a column 'file'");
}

static void tell_missing(const struct tp_log_entry *entry, const char *hint, struct tp_finding_list *list)
{
    char *words = entry_words(entry);
    say(list, TP_CODE_LOG_WITHOUT_FILE, TP_NO_INDEX,
        words == NULL ? NULL
                      : tp_format("The notes (line %zu) list %s; no such take is here.%s", entry->line, words, hint));
    free(words);
}

enum tp_status tp_log_match(struct tp_report *report, const struct tp_log *log, struct tp_error *error)
{
    struct tp_finding_list list = {
        .items = report->findings, .count = report->finding_count, .capacity = report->finding_count};
    bool *matched = calloc(report->take_count + 1, sizeof *matched);
    char *hint = file_column_hint(report, log);
    bool is_hinted = false;
    list.failed = matched == NULL || hint == NULL;
    for (size_t i = 0; i < log->count && !list.failed; i++) {
        const struct tp_log_entry *entry = &log->entries[i];
        size_t take = find_take(report, entry, matched);
        if (take != TP_NO_INDEX) {
            matched[take] = true;
            merge(report, take, entry, &list);
            continue;
        }
        bool wants_hint = entry->file[0] == '\0' && !is_hinted;
        tell_missing(entry, wants_hint ? hint : "", &list);
        is_hinted = is_hinted || wants_hint;
    }
    for (size_t i = 0; i < report->take_count && !list.failed; i++)
        if (!matched[i])
            say(&list, TP_CODE_FILE_NOT_IN_LOG, report->takes[i].files[0],
                tp_format("The notes do not mention '%s'.", report->takes[i].id));
    if (!list.failed)
        tp_finding_list_sort(&list);
    free(matched);
    free(hint);
    report->findings = list.items;
    report->finding_count = list.count;
    return list.failed ? tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to merge the notes") : TP_OK;
}
