/* SPDX-License-Identifier: MIT */
#include "take/parts.h"

#include "base/observe.h"
#include "base/text.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define NUMBER_DIGITS_MAX 9
#define NAMED_MAX 4 /* missing parts given by name */
#define RHYTHM_SLACK_S 1.0

/* ---- one file ---- */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

bool tp_part_of_name(const char *path, struct tp_part_name *part)
{
    const char *slash = strrchr(path, '/');
    size_t base = slash != NULL ? (size_t)(slash - path) + 1 : 0;
    const char *dot = strrchr(path + base, '.');
    size_t end = dot != NULL && dot != path + base ? (size_t)(dot - path) : strlen(path);
    size_t start = end;
    while (start > base && is_digit(path[start - 1]))
        start--;
    size_t stem = start;
    while (stem > base && strchr("_-. ", path[stem - 1]) != NULL)
        stem--;
    if (start == end || end - start > NUMBER_DIGITS_MAX || stem == start || stem == base)
        return false;
    *part = (struct tp_part_name){.stem_length = stem, .number_at = start, .digits = end - start};
    for (size_t i = start; i < end; i++)
        part->number = part->number * 10 + (uint64_t)(path[i] - '0');
    return true;
}

uint32_t tp_set_total(const struct tp_file *file)
{
    uint32_t total = file->ixml != NULL ? file->ixml->file_set_total : 0;
    return total >= 2 && total <= TP_PARTS_MAX ? total : 0;
}

/* Place in a set of `total` files, from 1; 0 when it is not known, or when index and name contradict. */
static uint32_t position_of(const struct tp_file *file, uint32_t total)
{
    uint32_t index =
        file->ixml != NULL && file->ixml->file_set_index_number <= total ? file->ixml->file_set_index_number : 0;
    struct tp_part_name part;
    if (!tp_part_of_name(file->path_raw, &part) || part.number == 0 || part.number > total)
        return index;
    return index == 0 || index == part.number ? (uint32_t)part.number : 0;
}

/* By how many b's number is higher than a's; 0 when the names are not those of one recording. */
static uint64_t name_step(const struct tp_file *a, const struct tp_file *b)
{
    struct tp_part_name first, second;
    if (a->source != b->source || !tp_part_of_name(a->path_raw, &first) || !tp_part_of_name(b->path_raw, &second) ||
        first.number_at != second.number_at || memcmp(a->path_raw, b->path_raw, first.number_at) != 0)
        return 0;
    return second.number > first.number ? second.number - first.number : 0;
}

static bool same_family(const struct tp_file *a, const struct tp_file *b)
{
    return a->ixml != NULL && b->ixml != NULL && a->ixml->family_uid[0] != '\0' &&
           strcmp(a->ixml->family_uid, b->ixml->family_uid) == 0;
}

bool tp_part_follows(const struct tp_file *a, const struct tp_file *b, int64_t gap, bool same_slate)
{
    uint32_t total = tp_set_total(a) > tp_set_total(b) ? tp_set_total(a) : tp_set_total(b);
    uint64_t step = name_step(a, b);
    double rate = a->sample_rate_hz;
    if (same_family(a, b) && total > 0)
        return (double)gap >= -RHYTHM_SLACK_S * rate &&
               (step > 0 || (position_of(a, total) > 0 && position_of(b, total) > position_of(a, total)));
    /* A recorder that splits by size makes parts of one length: where some are lost, the next starts that much later.
     */
    double lost = ((double)step - 1.0) * (double)a->frames;
    return same_slate && step > 1 && (double)gap > 0.0 && lost - (double)gap <= RHYTHM_SLACK_S * rate &&
           (double)gap - lost <= RHYTHM_SLACK_S * rate;
}

/* ---- words ---- */

static int compare_to_path(const void *key, const void *item)
{
    const struct tp_file *wanted = key, *file = item;
    if (wanted->source != file->source)
        return wanted->source < file->source ? -1 : 1;
    return strcmp(wanted->path_raw, file->path_raw);
}

/* The path that the part `by` numbers after `file` would have, raw; NULL when the names tell nothing (or without
 * memory, which sets *failed). */
static char *path_of_part(const struct tp_file *file, int64_t by, bool *failed)
{
    struct tp_part_name part;
    if (!tp_part_of_name(file->path_raw, &part) || (int64_t)part.number + by < 0)
        return NULL;
    char *path = tp_format("%.*s%0*" PRId64 "%s", (int)part.number_at, file->path_raw, (int)part.digits,
                           (int64_t)part.number + by, file->path_raw + part.number_at + part.digits);
    *failed = *failed || path == NULL;
    return path;
}

/* Is on the card all the same, say as an empty file: that has its own finding. */
static bool is_here(const struct tp_report *report, size_t source, char *path)
{
    struct tp_file wanted = {.source = source, .path_raw = path};
    return bsearch(&wanted, report->files, report->file_count, sizeof *report->files, compare_to_path) != NULL;
}

struct missing {
    uint64_t numbers[NAMED_MAX];
    struct tp_text names;
    size_t count, named;
    bool failed;
};

/* Adds part `number`, which is `by` numbers after `file`, unless a file of its name is here. */
static void add_missing(struct missing *missing, const struct tp_report *report, const struct tp_file *file, int64_t by,
                        uint64_t number)
{
    char *path = path_of_part(file, by, &missing->failed);
    if (path != NULL && is_here(report, file->source, path)) {
        free(path);
        return;
    }
    if (missing->count < NAMED_MAX)
        missing->numbers[missing->count] = number;
    if (missing->count < NAMED_MAX && path != NULL) {
        const char *slash = strrchr(path, '/');
        const char *name = slash != NULL ? slash + 1 : path;
        char *shown = tp_utf8_repair(name, strlen(name));
        if (shown != NULL)
            tp_text_format(&missing->names, "%s'%s'", missing->named > 0 ? ", " : "", shown);
        missing->failed = missing->failed || shown == NULL;
        missing->named++;
        free(shown);
    }
    missing->count++;
    free(path);
}

static void list_numbers(const struct missing *missing, struct tp_text *text)
{
    size_t listed = missing->count < NAMED_MAX ? missing->count : NAMED_MAX;
    tp_text_add(text, missing->count == 1 ? "Part " : "Parts ");
    for (size_t i = 0; i < listed; i++)
        tp_text_format(text, "%s%" PRIu64, i == 0 ? "" : i + 1 == missing->count ? " and " : ", ", missing->numbers[i]);
    if (missing->count > listed)
        tp_text_format(text, " and %zu more", missing->count - listed);
}

#define ADVICE "Look on the recorder and on other cards before anything is wiped."

/* `total` 0: not known. NULL without memory. */
static char *missing_words(struct missing *missing, uint32_t total)
{
    struct tp_text text = {0};
    list_numbers(missing, &text);
    if (total > 0)
        tp_text_format(&text, " of %" PRIu32, total);
    tp_text_format(&text, " of this recording %s not here", missing->count == 1 ? "is" : "are");
    char *names = tp_text_take(&missing->names);
    if (missing->named > 0 && names != NULL)
        tp_text_format(&text, "; by the name of the others it would be %s%s", names,
                       missing->count > missing->named ? " and so on" : "");
    missing->failed = missing->failed || (missing->named > 0 && names == NULL);
    free(names);
    tp_text_add(&text, ". " ADVICE);
    return tp_text_take(&text);
}

static bool observe(struct tp_file *file, char *words)
{
    bool ok = words != NULL && tp_observe(&file->observations, TP_CODE_SEGMENT_GAP, TP_NO_CHANNEL, (double)NAN,
                                          (double)NAN, (double)NAN, (double)NAN, "%s", words);
    free(words);
    return ok;
}

/* ---- file sets ---- */

struct member {
    const struct tp_file *file;
    const char *key; /* family, else the path as far as key_length */
    size_t key_length, index;
    bool by_family;
};

static int compare_keys(const struct member *a, const struct member *b)
{
    if (a->by_family != b->by_family)
        return a->by_family ? -1 : 1;
    if (!a->by_family && a->file->source != b->file->source)
        return a->file->source < b->file->source ? -1 : 1;
    size_t shorter = a->key_length < b->key_length ? a->key_length : b->key_length;
    int order = memcmp(a->key, b->key, shorter);
    return order != 0 ? order : a->key_length < b->key_length ? -1 : a->key_length > b->key_length;
}

static int compare_members(const void *a, const void *b)
{
    const struct member *first = a, *second = b;
    int order = compare_keys(first, second);
    if (order == 0 && first->file->take != second->file->take)
        order = first->file->take < second->file->take ? -1 : 1;
    return order != 0 ? order : first->index < second->index ? -1 : first->index > second->index;
}

static struct member member_of(const struct tp_file *file, size_t index)
{
    struct member member = {.file = file, .index = index, .by_family = file->ixml->family_uid[0] != '\0'};
    struct tp_part_name part;
    member.key = member.by_family ? file->ixml->family_uid : file->path_raw;
    member.key_length = strlen(member.key);
    if (!member.by_family && tp_part_of_name(file->path_raw, &part))
        member.key_length = part.stem_length;
    return member;
}

/* Files of one name on two sources are one part, on the card and its copy. */
static bool is_first_of_name(const struct member *members, size_t at)
{
    for (size_t i = 0; i < at && at < TP_PARTS_MAX; i++)
        if (strcmp(members[i].file->path_raw, members[at].file->path_raw) == 0)
            return false;
    return true;
}

static const struct member *with_number(const struct member *members, size_t count)
{
    struct tp_part_name part;
    for (size_t i = 0; i < count; i++)
        if (tp_part_of_name(members[i].file->path_raw, &part))
            return &members[i];
    return members;
}

/* What is not here of the set; NULL in *words when all is. False without memory. */
static bool look_at_set(const struct tp_report *report, const struct member *members, size_t count, char **words)
{
    uint32_t total = 0;
    bool seen[TP_PARTS_MAX + 1] = {false}, places_known = true;
    size_t names = 0;
    for (size_t i = 0; i < count; i++)
        total = tp_set_total(members[i].file) > total ? tp_set_total(members[i].file) : total;
    for (size_t i = 0; i < count; i++) {
        uint32_t position = position_of(members[i].file, total);
        seen[position] = true;
        places_known = places_known && position > 0;
        names += is_first_of_name(members, i);
        if (report->takes[members[i].file->take].file_count >= total)
            names = total;
    }
    *words = NULL;
    if (names >= total)
        return true;
    if (!places_known) {
        *words = tp_format("The recorder made %" PRIu32 " files of this recording, and only %zu %s here. " ADVICE,
                           total, names, names == 1 ? "is" : "are");
        return *words != NULL;
    }
    struct missing missing = {0};
    const struct member *like = with_number(members, count);
    for (uint32_t p = 1; p <= total; p++)
        if (!seen[p])
            add_missing(&missing, report, like->file, (int64_t)p - position_of(like->file, total), p);
    if (missing.count > 0)
        *words = missing_words(&missing, total);
    bool ok = !missing.failed && (missing.count == 0 || *words != NULL);
    tp_text_clear(&missing.names);
    return ok;
}

static bool observe_set(struct tp_report *report, const struct member *members, size_t count)
{
    char *words;
    bool ok = look_at_set(report, members, count, &words);
    for (size_t i = 0; ok && words != NULL && i < count; i++)
        if (i == 0 || members[i].file->take != members[i - 1].file->take)
            ok = observe(&report->files[members[i].index], tp_strdup(words));
    free(words);
    return ok;
}

static bool observe_sets(struct tp_report *report)
{
    struct member *members = calloc(report->file_count + 1, sizeof *members);
    size_t count = 0;
    if (members == NULL)
        return false;
    for (size_t i = 0; i < report->file_count; i++)
        if (tp_set_total(&report->files[i]) > 0 && report->files[i].take < report->take_count)
            members[count++] = member_of(&report->files[i], i);
    if (count > 0)
        qsort(members, count, sizeof *members, compare_members);
    bool ok = true;
    for (size_t i = 0, end; ok && i < count; i = end) {
        for (end = i + 1; end < count && compare_keys(&members[i], &members[end]) == 0;)
            end++;
        ok = observe_set(report, &members[i], end - i);
    }
    free(members);
    return ok;
}

/* ---- parts that are told by names and time alone ---- */

static bool observe_holes(struct tp_report *report, const struct tp_take *take)
{
    struct missing missing = {0};
    for (size_t i = 1; i < take->file_count; i++) {
        const struct tp_file *a = &report->files[take->files[i - 1]];
        uint64_t step = name_step(a, &report->files[take->files[i]]);
        struct tp_part_name part = {0};
        (void)tp_part_of_name(a->path_raw, &part);
        for (uint64_t k = 1; k < step && k <= TP_PARTS_MAX; k++)
            add_missing(&missing, report, a, (int64_t)k, part.number + k);
    }
    bool ok =
        !missing.failed && (missing.count == 0 || observe(&report->files[take->files[0]], missing_words(&missing, 0)));
    tp_text_clear(&missing.names);
    return ok && !missing.failed;
}

enum tp_status tp_parts_observe(struct tp_report *report, struct tp_error *error)
{
    bool ok = observe_sets(report);
    for (size_t t = 0; ok && t < report->take_count; t++) {
        const struct tp_take *take = &report->takes[t];
        if (take->part_count > 1 && take->part_count == take->file_count &&
            tp_set_total(&report->files[take->files[0]]) == 0)
            ok = observe_holes(report, take);
    }
    return ok ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to look for the parts of a take");
}
