/* SPDX-License-Identifier: MIT */
#include "judge/rules_set.h"

#include "base/text.h"
#include "judge/rules_file.h"
#include "judge/set.h"
#include "read/timecode.h"
#include "result.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* A file in an order: by contents or by name. */
struct entry {
    const struct tp_file *file;
    size_t index;
    const char *key;
};

bool tp_rules_set_owns(enum tp_code code)
{
    return code == TP_CODE_DUPLICATE_CONTENT || code == TP_CODE_DUPLICATE_NAME || code == TP_CODE_MISSING_TAKE ||
           code == TP_CODE_TIMECODE_OVERLAP || code == TP_CODE_CLOCK_JUMP || code == TP_CODE_WRONG_TIMECODE_RATE;
}

static int compare_entries(const void *a, const void *b)
{
    const struct entry *first = a;
    const struct entry *second = b;
    int order = strcasecmp(first->key, second->key); /* a FAT card knows no case */
    return order != 0 ? order : first->index < second->index ? -1 : first->index > second->index;
}

static const char *base_name(const struct tp_file *file)
{
    const char *slash = strrchr(file->path_raw, '/');
    return slash != NULL ? slash + 1 : file->path_raw;
}

/* "card1: day 1/T01.WAV", or the path alone when there is one source. */
static void place_words(const struct tp_report *report, const struct entry *entry, const char *parts[3])
{
    bool several = report->source_count > 1 && entry->file->source < report->source_count;
    parts[0] = several ? report->sources[entry->file->source] : "";
    parts[1] = several ? ": " : "";
    parts[2] = entry->file->path;
}

static void add_group(const struct tp_report *report, struct tp_finding_list *list, enum tp_code code,
                      enum tp_severity severity, const struct entry *group, size_t count, const char *words)
{
    struct tp_finding_place place = tp_nowhere();
    const char *first[3], *second[3];
    place.file = group[0].index;
    place_words(report, &group[0], first);
    place_words(report, &group[1], second);
    if (count == 2)
        tp_finding_add(list, code, severity, place, "'%s%s%s' and '%s%s%s' %s.", first[0], first[1], first[2],
                       second[0], second[1], second[2], words);
    else
        tp_finding_add(list, code, severity, place, "'%s%s%s', '%s%s%s' and %zu more %s.", first[0], first[1], first[2],
                       second[0], second[1], second[2], count - 2, words);
}

/* Empty files are all alike and say nothing. */
static size_t by_content(const struct tp_report *report, struct entry *entries)
{
    size_t count = 0;
    for (size_t i = 0; i < report->file_count; i++)
        if (tp_file_strongest_hash(&report->files[i])[0] != '\0' && report->files[i].bytes > 0)
            entries[count++] = (struct entry){&report->files[i], i, tp_file_strongest_hash(&report->files[i])};
    qsort(entries, count, sizeof *entries, compare_entries);
    return count;
}

static size_t by_name(const struct tp_report *report, struct entry *entries)
{
    for (size_t i = 0; i < report->file_count; i++)
        entries[i] = (struct entry){&report->files[i], i, base_name(&report->files[i])};
    qsort(entries, report->file_count, sizeof *entries, compare_entries);
    return report->file_count;
}

static bool is_one_content(const struct entry *group, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (!tp_file_equals(group[i].file, group[0].file))
            return false;
    return true;
}

static bool is_one_source(const struct entry *group, size_t count)
{
    for (size_t i = 1; i < count; i++)
        if (group[i].file->source != group[0].file->source)
            return false;
    return true;
}

static void judge_group(const struct tp_report *report, struct tp_finding_list *list, enum tp_code code,
                        const struct entry *group, size_t count)
{
    bool equal = is_one_content(group, count);
    if (code == TP_CODE_DUPLICATE_CONTENT && equal)
        /* Twice on one card, one of two takes may be lost; on two sources it is likely the copy of a copy. */
        add_group(report, list, code, is_one_source(group, count) ? TP_LISTEN : TP_NOTE, group, count,
                  "are equal to the last byte");
    /* Folders of one card keep equal names apart; two cards may meet in one folder when they are copied. */
    if (code == TP_CODE_DUPLICATE_NAME && !equal)
        add_group(report, list, code, is_one_source(group, count) ? TP_NOTE : TP_LISTEN, group, count,
                  "are different recordings under one name");
}

static void judge_groups(const struct tp_report *report, struct tp_finding_list *list, enum tp_code code,
                         struct entry *entries, size_t count)
{
    size_t told = 0, untold = 0;
    struct tp_finding_list found = {0};
    for (size_t i = 0; i < count;) {
        size_t end = i + 1;
        while (end < count && strcasecmp(entries[end].key, entries[i].key) == 0)
            end++;
        if (end - i > 1)
            judge_group(report, &found, code, &entries[i], end - i);
        i = end;
    }
    tp_finding_list_sort(&found);
    for (size_t i = 0; i < found.count; i++) {
        struct tp_finding_place place = tp_nowhere();
        place.file = found.items[i].file;
        if (told < TP_FINDINGS_PER_CODE)
            tp_finding_add(list, code, found.items[i].severity, place, "%s", found.items[i].message);
        else
            untold++;
        told++;
    }
    if (untold > 0)
        tp_finding_add(list, code, TP_NOTE, tp_nowhere(), "%zu more of this kind.", untold);
    list->failed = list->failed || found.failed;
    tp_finding_list_clear(&found);
}

/* ---- timecode rates ---- */

enum { RATES_MAX = 16, ODD_NAMED = 3 };
struct rate_use {
    struct tp_timecode_rate rate;
    size_t files;
};

static bool same_rate(struct tp_timecode_rate a, struct tp_timecode_rate b)
{
    return a.numerator == b.numerator && a.denominator == b.denominator && a.drop == b.drop;
}

static bool has_rate(const struct tp_file *file)
{
    return file->ixml != NULL && tp_timecode_rate_is_known(file->ixml->timecode_rate);
}

/* The rate that most files have, of equals the one that came first; `distinct` = how many there are. */
static struct rate_use common_rate(const struct tp_report *report, size_t *distinct)
{
    struct rate_use uses[RATES_MAX] = {0};
    size_t common = 0;
    *distinct = 0;
    for (size_t i = 0; i < report->file_count; i++) {
        if (!has_rate(&report->files[i]))
            continue;
        size_t k = 0;
        while (k < *distinct && !same_rate(uses[k].rate, report->files[i].ixml->timecode_rate))
            k++;
        if (k == RATES_MAX)
            continue;
        *distinct += k == *distinct;
        uses[k].rate = report->files[i].ixml->timecode_rate;
        uses[k].files++;
    }
    for (size_t k = 1; k < *distinct; k++)
        common = uses[k].files > uses[common].files ? k : common;
    return uses[common];
}

static double frames_per_second(struct tp_timecode_rate rate)
{
    return (double)rate.numerator / rate.denominator;
}

/* For every file. */
static bool is_rate_agreed(const struct tp_report *report)
{
    bool agreed = tp_timecode_rate_is_known(report->spec.timecode_rate);
    for (size_t i = 0; i < report->source_spec_count; i++)
        agreed = agreed && tp_timecode_rate_is_known(report->source_specs[i].timecode_rate);
    return agreed;
}

/* Where no rate was agreed, the files must still agree among themselves. */
static void judge_rates(const struct tp_report *report, struct tp_finding_list *list)
{
    size_t distinct, odd = 0;
    struct rate_use common = common_rate(report, &distinct);
    struct tp_finding_place place = tp_nowhere();
    struct tp_text names = {0};
    if (distinct < 2 || is_rate_agreed(report))
        return;
    for (size_t i = 0; i < report->file_count; i++) {
        const struct entry entry = {&report->files[i], i, ""};
        const char *words[3];
        if (!has_rate(entry.file) || same_rate(entry.file->ixml->timecode_rate, common.rate) || odd++ >= ODD_NAMED)
            continue;
        struct tp_timecode_rate rate = entry.file->ixml->timecode_rate;
        place_words(report, &entry, words);
        tp_text_format(&names, "%s%s in '%s%s%s'", odd > 1 ? ", " : "", tp_timecode_rate_name(rate), words[0], words[1],
                       words[2]);
        if (odd > 1)
            continue;
        place.file = i;
        place.value = frames_per_second(rate);
        place.limit = frames_per_second(common.rate);
    }
    if (odd > ODD_NAMED)
        tp_text_format(&names, " and in %zu more", odd - ODD_NAMED);
    char *list_of_names = tp_text_take(&names);
    if (list_of_names != NULL)
        tp_finding_add(list, TP_CODE_WRONG_TIMECODE_RATE, TP_LISTEN, place,
                       "The files disagree about the timecode rate: it is %s in %zu %s, but %s.",
                       tp_timecode_rate_name(common.rate), common.files, common.files == 1 ? "file" : "files",
                       list_of_names);
    list->failed = list->failed || list_of_names == NULL;
    free(list_of_names);
}

static void judge_empty_sources(const struct tp_report *report, struct tp_finding_list *list)
{
    for (size_t s = 0; s < report->source_count; s++) {
        bool has_file = false;
        for (size_t i = 0; i < report->file_count && !has_file; i++)
            has_file = report->files[i].source == s;
        if (!has_file)
            tp_finding_add(list, TP_CODE_MISSING_TAKE, TP_FAIL, tp_nowhere(),
                           "No WAV file was found in '%s'. Is this the right card or folder?", report->sources[s]);
    }
}

void tp_rules_set(const struct tp_report *report, struct tp_finding_list *list)
{
    struct entry *entries = calloc(report->file_count + 1, sizeof *entries);
    if (entries == NULL) {
        list->failed = true;
        return;
    }
    judge_groups(report, list, TP_CODE_DUPLICATE_CONTENT, entries, by_content(report, entries));
    judge_groups(report, list, TP_CODE_DUPLICATE_NAME, entries, by_name(report, entries));
    judge_empty_sources(report, list);
    judge_rates(report, list);
    tp_set_takes(report, list);
    free(entries);
}
