/* SPDX-License-Identifier: MIT */
#include "take/group.h"

#include "base/text.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Chunks such as iXML may differ in length between the tracks of one take. */
#define NEARLY_EQUAL_BYTES ((uint64_t)64 << 10)

static bool is_separator(char c)
{
    return c == '_' || c == '-' || c == '.' || c == ' ';
}

static bool equals_word(const char *token, size_t length, const char *const *words)
{
    for (; *words != NULL; words++)
        if (strlen(*words) == length && strncasecmp(token, *words, length) == 0)
            return true;
    return false;
}

static enum tp_track_kind token_kind(const char *token, size_t length)
{
    static const char *const sure[] = {"main", "safety", "left", "right", NULL};
    static const char *const prefixes[] = {"tr", "trk", "track", "ch", "chan", "channel", NULL};
    size_t digits = 0;
    while (digits < length && isdigit((unsigned char)token[length - 1 - digits]))
        digits++;
    if (equals_word(token, length, sure))
        return TP_TRACK_SURE;
    if (digits >= 1 && digits <= 2 && equals_word(token, length - digits, prefixes))
        return TP_TRACK_SURE;
    bool letter = length == 1 && isalpha((unsigned char)token[0]);
    return letter || (digits == length && digits >= 1 && digits <= 2) ? TP_TRACK_MAYBE : TP_TRACK_NONE;
}

size_t tp_group_stem(const char *name, enum tp_track_kind *kind)
{
    const char *dot = strrchr(name, '.');
    size_t length = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    size_t start = length;
    while (start > 0 && !is_separator(name[start - 1]))
        start--;
    *kind = start > 1 ? token_kind(name + start, length - start) : TP_TRACK_NONE;
    if (*kind == TP_TRACK_NONE)
        return length;
    size_t stem = start;
    while (stem > 1 && is_separator(name[stem - 1]))
        stem--;
    return stem;
}

struct named_file {
    const struct tp_group_file *file;
    size_t index;
    size_t stem_length; /* of the path, folder included */
    enum tp_track_kind kind;
};

static void name_file(const struct tp_group_file *file, size_t index, struct named_file *named)
{
    const char *slash = strrchr(file->path, '/');
    size_t folder = slash != NULL ? (size_t)(slash - file->path) + 1 : 0;
    *named = (struct named_file){.file = file, .index = index};
    named->stem_length = folder + tp_group_stem(file->path + folder, &named->kind);
}

static int compare_stems(const struct named_file *a, const struct named_file *b)
{
    if (a->file->source != b->file->source)
        return a->file->source < b->file->source ? -1 : 1;
    size_t shorter = a->stem_length < b->stem_length ? a->stem_length : b->stem_length;
    int order = memcmp(a->file->path, b->file->path, shorter);
    if (order != 0)
        return order;
    return a->stem_length == b->stem_length ? 0 : a->stem_length < b->stem_length ? -1 : 1;
}

static int compare_named(const void *a, const void *b)
{
    const struct named_file *first = a;
    const struct named_file *second = b;
    int order = compare_stems(first, second);
    if (order != 0)
        return order;
    return first->index < second->index ? -1 : first->index > second->index;
}

static bool nearly_equal(uint64_t a, uint64_t b)
{
    return (a > b ? a - b : b - a) <= NEARLY_EQUAL_BYTES;
}

static bool belongs(const struct named_file *first, const struct named_file *next)
{
    if (first->kind == TP_TRACK_NONE || next->kind != first->kind || compare_stems(first, next) != 0)
        return false;
    return first->kind == TP_TRACK_SURE || nearly_equal(first->file->bytes, next->file->bytes);
}

static int compare_groups(const void *a, const void *b)
{
    const struct tp_group *first = a;
    const struct tp_group *second = b;
    return first->files[0] < second->files[0] ? -1 : first->files[0] > second->files[0];
}

/* `named` is sorted so that equal stems are neighbours. Files of one stem that are unlike in size start groups of their
 * own. */
static void collect(const struct named_file *named, size_t count, bool *taken, struct tp_groups *groups)
{
    for (size_t i = 0; i < count; i++) {
        if (taken[i])
            continue;
        struct tp_group *group = &groups->items[groups->count++];
        for (size_t j = i; j < count && group->file_count < TP_GROUP_FILES_MAX; j++) {
            if (j > i && compare_stems(&named[i], &named[j]) != 0)
                break;
            if (taken[j] || (j > i && !belongs(&named[i], &named[j])))
                continue;
            taken[j] = true;
            group->files[group->file_count++] = named[j].index;
        }
    }
}

enum tp_status tp_groups_make(const struct tp_group_file *files, size_t file_count, struct tp_groups *groups,
                              struct tp_error *error)
{
    *groups = (struct tp_groups){0};
    if (file_count == 0)
        return TP_OK;
    struct named_file *named = calloc(file_count, sizeof *named);
    bool *taken = calloc(file_count, sizeof *taken);
    groups->items = calloc(file_count, sizeof *groups->items);
    enum tp_status status = TP_OK;
    if (named == NULL || taken == NULL || groups->items == NULL) {
        tp_groups_clear(groups);
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to group the files");
    } else {
        for (size_t i = 0; i < file_count; i++)
            name_file(&files[i], i, &named[i]);
        qsort(named, file_count, sizeof *named, compare_named);
        collect(named, file_count, taken, groups);
        qsort(groups->items, groups->count, sizeof *groups->items, compare_groups);
    }
    free(named);
    free(taken);
    return status;
}

void tp_groups_clear(struct tp_groups *groups)
{
    free(groups->items);
    *groups = (struct tp_groups){0};
}
