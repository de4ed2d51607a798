/* SPDX-License-Identifier: MIT */
#include "judge/set.h"

#include "base/num.h"
#include "base/text.h"
#include "result.h"
#include "take/names.h"
#include "take/segments.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* `more`: places of the same kind that share the finding. */
static void add_some(struct tp_finding_list *list, enum tp_code code, size_t file, double value, size_t more,
                     char *message)
{
    struct tp_finding_place place = tp_nowhere();
    place.file = file;
    place.value = value;
    place.more_places = more;
    if (message == NULL)
        list->failed = true;
    else
        tp_finding_add(list, code, tp_finding_info(code)->severity, place, "%s", message);
    free(message);
}

static void add(struct tp_finding_list *list, enum tp_code code, size_t file, double value, char *message)
{
    add_some(list, code, file, value, 0, message);
}

/* Days since 1970 of "yyyy-mm-dd" with any separator; false when it is no date. */
static bool day_of(const char *text, int64_t *day)
{
    int64_t parts[3] = {0};
    static const size_t at[3] = {0, 5, 8}, digits[3] = {4, 2, 2};
    if (strlen(text) < 10)
        return false;
    for (size_t p = 0; p < 3; p++)
        for (size_t i = 0; i < digits[p]; i++) {
            char c = text[at[p] + i];
            if (c < '0' || c > '9')
                return false;
            parts[p] = parts[p] * 10 + (c - '0');
        }
    if (parts[1] < 1 || parts[1] > 12 || parts[2] < 1 || parts[2] > 31 || parts[0] < 1)
        return false;
    /* Civil date to day number: the Gregorian rule with the year begun in March. */
    int64_t year = parts[0] - (parts[1] <= 2);
    int64_t month = (parts[1] + 9) % 12;
    *day = 365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + parts[2] - 719469;
    return true;
}

/* One take, as the checks below want it; or the name that a renamed file had, which only fills gaps of the counters. */
struct entry {
    const struct tp_take *take;
    size_t take_index, file; /* first file */
    const struct tp_file *first;
    bool has_start, has_day, has_number;
    int64_t day;
    double start_s, end_s; /* of the day */
    const char *label;     /* the take's id, or that earlier name */
    bool is_former_name;
    const char *scene; /* "" when neither the take nor the counter that it stands in tells it */
    bool has_take, by_counter;
    uint64_t take_number;
    struct tp_name_fields name;
    bool by_pattern; /* the number is that of {n}: all names of the folder that follow the pattern share the counter */
    size_t folder;   /* length of the folder and the name up to the number, in first->path */
};

static bool read_take_number(const struct tp_take *take, uint64_t *number)
{
    size_t digits = strspn(take->take, "0123456789");
    return digits > 0 && digits <= 9 && take->take[digits] == '\0' && tp_u64_read(take->take, number);
}

static void fill_entry(const struct tp_report *report, size_t index, struct entry *e)
{
    const struct tp_take *take = &report->takes[index];
    *e = (struct entry){
        .take = take, .take_index = index, .file = take->files[0], .first = &report->files[take->files[0]]};
    uint64_t start = tp_start_samples(e->first);
    e->has_start = start != TP_NO_TIMECODE && e->first->sample_rate_hz != 0 && e->first->frames > 0;
    if (e->has_start) {
        e->start_s = (double)start / e->first->sample_rate_hz;
        e->end_s = e->start_s + take->duration_s;
    }
    e->has_day = e->first->bext != NULL && day_of(e->first->bext->origination_date, &e->day);
    e->scene = take->scene;
    e->has_take = read_take_number(take, &e->take_number);
    /* The take's id is the name without its track, so that "T012_1" counts as 12. */
    e->label = take->id;
    (void)tp_name_read(NULL, take->id, &e->name);
    struct tp_name_fields by_pattern;
    const char *pattern = tp_report_file_spec(report, e->first)->pattern;
    if (strstr(pattern, "{n}") != NULL && tp_name_read(pattern, e->first->path_raw, &by_pattern)) {
        e->name = by_pattern;
        e->by_pattern = true;
    }
    e->has_number = e->name.has_number;
    e->folder = (size_t)(base_name(e->first->path) - e->first->path);
}

/* ---- numbers ---- */

/* Text before the number, folder included: takes that share it share a counter. */
static int compare_counters(const struct entry *a, const struct entry *b)
{
    if (a->first->source != b->first->source)
        return a->first->source < b->first->source ? -1 : 1;
    if (a->folder != b->folder || memcmp(a->first->path, b->first->path, a->folder) != 0) {
        int order = strncmp(a->first->path, b->first->path, a->folder < b->folder ? a->folder : b->folder);
        return order != 0 ? order : a->folder < b->folder ? -1 : 1;
    }
    if (a->by_pattern || b->by_pattern)
        return a->by_pattern == b->by_pattern ? 0 : a->by_pattern ? -1 : 1;
    size_t shorter = a->name.number_at < b->name.number_at ? a->name.number_at : b->name.number_at;
    int order = memcmp(a->label, b->label, shorter);
    if (order != 0 || a->name.number_at != b->name.number_at)
        return order != 0 ? order : a->name.number_at < b->name.number_at ? -1 : 1;
    /* "T012" and "T012b" or "12A" and "12B": what follows the number names other things. */
    const char *rest = a->label + a->name.number_at + a->name.number_digits;
    const char *other = b->label + b->name.number_at + b->name.number_digits;
    size_t length = a->is_former_name ? strcspn(rest, ".") : strlen(rest);
    size_t other_length = b->is_former_name ? strcspn(other, ".") : strlen(other);
    order = strncmp(rest, other, length < other_length ? length : other_length);
    return order != 0 ? order : length < other_length ? -1 : length > other_length;
}

static int compare_by_counter(const void *a, const void *b)
{
    const struct entry *first = a, *second = b;
    int order = compare_counters(first, second);
    if (order == 0 && first->name.number != second->name.number)
        order = first->name.number < second->name.number ? -1 : 1;
    return order != 0 ? order : first->take_index < second->take_index ? -1 : first->take_index > second->take_index;
}

static char *missing_words(const char *what, uint64_t from, uint64_t to, const char *before, const char *after)
{
    if (from == to)
        return tp_format("%s %" PRIu64 " is missing between %s and %s.", what, from, before, after);
    if (to - from < TP_SET_GAP_LISTED)
        return tp_format("%s %" PRIu64 " to %" PRIu64 " are missing between %s and %s.", what, from, to, before, after);
    return tp_format("The numbering leaps: %s %" PRIu64 " to %" PRIu64 " are not here, between %s and %s.", what, from,
                     to, before, after);
}

/* Where the number in the name is the take number, the scene's own count tells the gap. */
static bool counts_takes(const struct entry *e)
{
    return e->scene[0] != '\0' && e->has_take && e->take_number == e->name.number;
}

/* Entries in the order of counters: those of one counter from `from` to before the end that is given back. */
static size_t counter_end(const struct entry *entries, size_t count, size_t from)
{
    size_t end = from + 1;
    while (end < count && compare_counters(&entries[from], &entries[end]) == 0)
        end++;
    return end;
}

/* An empty or damaged file says no scene and take; where its neighbours count takes in their names, its name does. */
static void read_by_counter(struct entry *entries, size_t count)
{
    const char *scene = NULL;
    for (size_t i = 0; i < count; i++) {
        if (entries[i].is_former_name || entries[i].take->take[0] == '\0')
            continue;
        if (!counts_takes(&entries[i]) || (scene != NULL && strcasecmp(scene, entries[i].scene) != 0))
            return;
        scene = entries[i].scene;
    }
    for (size_t i = 0; scene != NULL && i < count; i++) {
        struct entry *e = &entries[i];
        if (e->is_former_name || e->take->take[0] != '\0' || !e->has_number ||
            (e->scene[0] != '\0' && strcasecmp(e->scene, scene) != 0))
            continue;
        e->scene = scene;
        e->take_number = e->name.number;
        e->has_take = e->by_counter = true;
    }
}

/* Gaps between takes; a former name only fills one. */
static void check_counter(const struct entry *entries, size_t count, struct tp_finding_list *list)
{
    const struct entry *a = NULL; /* the last take */
    for (size_t i = 0, next = 0; i < count; i++) {
        bool is_gap = i > 0 && entries[i].has_number && entries[i - 1].has_number &&
                      entries[i].name.number > entries[i - 1].name.number + 1;
        next = next < i ? i : next;
        while (next < count && entries[next].is_former_name)
            next++;
        if (next == count)
            return;
        const struct entry *b = &entries[next];
        bool by_scene = a != NULL && counts_takes(a) && counts_takes(b) && strcasecmp(a->scene, b->scene) == 0;
        if (is_gap && a != NULL && !by_scene)
            add(list, TP_CODE_MISSING_TAKE, b->file, (double)NAN,
                missing_words("Number", entries[i - 1].name.number + 1, entries[i].name.number - 1, a->take->id,
                              b->take->id));
        if (!entries[i].is_former_name)
            a = &entries[i];
    }
}

static void check_counters(struct entry *entries, size_t count, struct tp_finding_list *list)
{
    qsort(entries, count, sizeof *entries, compare_by_counter);
    for (size_t i = 0, end; i < count; i = end) {
        end = counter_end(entries, count, i);
        read_by_counter(&entries[i], end - i);
        check_counter(&entries[i], end - i, list);
    }
}

static int compare_by_scene(const void *a, const void *b)
{
    const struct entry *first = a, *second = b;
    int order = strcasecmp(first->scene, second->scene);
    if (order == 0 && first->has_take != second->has_take)
        order = first->has_take ? -1 : 1;
    if (order == 0 && first->has_take && first->take_number != second->take_number)
        order = first->take_number < second->take_number ? -1 : 1;
    return order != 0 ? order : first->take_index < second->take_index ? -1 : first->take_index > second->take_index;
}

/* Of two files of one take number whose checksums are not the same. */
static const char *difference_words(const struct entry *a, const struct entry *b)
{
    if (tp_file_strongest_hash(a->first)[0] == '\0' || tp_file_strongest_hash(b->first)[0] == '\0')
        return "not to be compared: one could not be read";
    if (!tp_file_differs(a->first, b->first))
        return "not to be compared: their checksums are of two kinds";
    bool same_length = a->first->frames == b->first->frames && a->first->sample_rate_hz == b->first->sample_rate_hz;
    return same_length ? "same length, contents differ" : "lengths and contents differ";
}

static void check_scene(const struct tp_report *report, const struct entry *a, const struct entry *b,
                        struct tp_finding_list *list)
{
    uint64_t x = a->take_number, y = b->take_number;
    char *what = tp_format("Scene %s: take", a->scene);
    if (what == NULL)
        list->failed = true;
    else if (y > x + 1)
        /* At a file that says the scene itself, for whoever lists findings by scene. */
        add_some(list, TP_CODE_MISSING_TAKE, b->by_counter && !a->by_counter ? a->file : b->file, (double)(x + 1),
                 (size_t)(y - x - 2), missing_words(what, x + 1, y - 1, a->take->id, b->take->id));
    /* Parts of one recording are not joined when an empty file lies between them. */
    else if (y == x && !tp_file_equals(a->first, b->first) && !a->by_counter && !b->by_counter &&
             !tp_take_follows(report, a->take, b->take))
        add(list, TP_CODE_DUPLICATE_NAME, b->file, (double)NAN,
            tp_format("%s %" PRIu64 " is there twice: '%s' and '%s' (%s).", what, x, a->first->path, b->first->path,
                      difference_words(a, b)));
    free(what);
}

static void check_scenes(const struct tp_report *report, struct entry *entries, size_t count,
                         struct tp_finding_list *list)
{
    qsort(entries, count, sizeof *entries, compare_by_scene);
    for (size_t i = 1; i < count; i++) {
        const struct entry *a = &entries[i - 1], *b = &entries[i];
        if (a->scene[0] != '\0' && strcasecmp(a->scene, b->scene) == 0 && a->has_take && b->has_take)
            check_scene(report, a, b, list);
    }
}

/* ---- time ---- */

static bool same_day(const struct entry *a, const struct entry *b)
{
    return !a->has_day || !b->has_day || a->day == b->day;
}

/* One finding a counter, at the first jump; after it, time is compared anew. */
static void check_clock(const struct entry *entries, size_t count, struct tp_finding_list *list)
{
    for (size_t i = 1; i < count; i++) {
        const struct entry *a = &entries[i - 1], *b = &entries[i];
        if (!a->has_number || !b->has_number || !a->has_start || !b->has_start || compare_counters(a, b) != 0)
            continue;
        bool dated = a->has_day && b->has_day;
        int64_t days = dated ? b->day - a->day : 0;
        double jump = (double)days * 86400.0 + b->start_s - a->start_s;
        /* Without dates, late evening to early morning is midnight. */
        bool midnight = !dated && a->start_s > 18 * 3600.0 && b->start_s < 6 * 3600.0;
        char text[TP_NUMBER_SIZE];
        if (jump < -1.0 && !midnight)
            add(list, TP_CODE_CLOCK_JUMP, b->file, jump,
                tp_format("'%s' follows '%s' by number but starts %s earlier (h:mm:ss): the clock was set back, lost "
                          "or never set.",
                          b->take->id, a->take->id, tp_duration_text(text, -jump, 0)));
        else if (days > TP_SET_LEAP_DAYS)
            add(list, TP_CODE_CLOCK_JUMP, b->file, jump,
                tp_format("'%s' follows '%s' by number but is dated %" PRId64 " days later: one of the dates is wrong.",
                          b->take->id, a->take->id, days));
    }
}

static int compare_by_start(const void *a, const void *b)
{
    const struct entry *first = a, *second = b;
    if (first->first->source != second->first->source)
        return first->first->source < second->first->source ? -1 : 1;
    if (first->has_day != second->has_day)
        return first->has_day ? -1 : 1;
    if (first->has_day && first->day != second->day)
        return first->day < second->day ? -1 : 1;
    if (first->start_s < second->start_s || first->start_s > second->start_s)
        return first->start_s < second->start_s ? -1 : 1;
    return first->take_index < second->take_index ? -1 : first->take_index > second->take_index;
}

/* A clock that was never set gives every take the start 0: that is no overlap but no time at all. */
static bool never_timed(const struct entry *a, const struct entry *b)
{
    return a->start_s <= 0.0 && b->start_s <= 0.0;
}

static void check_overlaps(struct entry *entries, size_t count, struct tp_finding_list *list)
{
    qsort(entries, count, sizeof *entries, compare_by_start);
    const struct entry *longest = NULL;
    for (size_t i = 0; i < count; i++) {
        const struct entry *e = &entries[i];
        if (!e->has_start)
            continue;
        bool comparable = longest != NULL && longest->first->source == e->first->source && same_day(longest, e) &&
                          longest->has_day == e->has_day && !never_timed(longest, e);
        double overlap = comparable ? longest->end_s - e->start_s : 0.0;
        if (comparable && e->end_s < longest->end_s)
            overlap = e->end_s - e->start_s;
        bool equal = comparable && tp_file_equals(e->first, longest->first);
        char text[TP_NUMBER_SIZE];
        if (comparable && overlap > TP_SET_OVERLAP_S && !equal)
            add(list, TP_CODE_TIMECODE_OVERLAP, e->file, overlap,
                tp_format("'%s' and '%s' claim the same %s s of the day.", longest->take->id, e->take->id,
                          tp_number_text(text, overlap, 1)));
        if (!comparable || e->end_s > longest->end_s)
            longest = e;
    }
}

/* ---- all of it ---- */

/* A file that was renamed on the card still fills the number that it had. */
static bool fill_former_name(const struct tp_report *report, const struct entry *of, struct entry *e)
{
    const struct tp_ixml *ixml = of->first->ixml;
    if (ixml == NULL || !tp_name_differs(ixml->original_filename, of->first->path))
        return false;
    *e = *of;
    e->label = base_name(ixml->original_filename);
    e->is_former_name = true;
    e->has_start = e->has_take = e->by_pattern = false;
    e->scene = "";
    (void)tp_name_read(NULL, e->label, &e->name);
    struct tp_name_fields by_pattern;
    const char *pattern = tp_report_file_spec(report, e->first)->pattern;
    if (strstr(pattern, "{n}") != NULL && tp_name_read(pattern, e->label, &by_pattern)) {
        e->name = by_pattern;
        e->by_pattern = true;
    }
    e->has_number = e->name.has_number;
    return e->has_number;
}

/* What is judged by take knows no former names. */
static size_t drop_former_names(struct entry *entries, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < count; i++)
        if (!entries[i].is_former_name)
            entries[kept++] = entries[i];
    return kept;
}

void tp_set_takes(const struct tp_report *report, struct tp_finding_list *list)
{
    struct entry *entries = calloc(2 * report->take_count + 1, sizeof *entries);
    size_t count = 0;
    if (entries == NULL) {
        list->failed = true;
        return;
    }
    for (size_t i = 0; i < report->take_count; i++) {
        if (report->takes[i].file_count == 0)
            continue;
        fill_entry(report, i, &entries[count++]);
        count += fill_former_name(report, &entries[count - 1], &entries[count]);
    }
    check_counters(entries, count, list);
    count = drop_former_names(entries, count);
    check_clock(entries, count, list); /* still in the order of the counters */
    check_scenes(report, entries, count, list);
    check_overlaps(entries, count, list);
    free(entries);
}
