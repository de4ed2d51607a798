/* SPDX-License-Identifier: MIT */
#include "handoff/ledger.h"

#include "base/io.h"
#include "base/text.h"
#include "handoff/copier.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
}

enum tp_status tp_ledger_open(struct tp_ledger *ledger, const char *card, size_t target_capacity,
                              struct tp_error *error)
{
    *ledger = (struct tp_ledger){0};
    struct stat status;
    if (stat(card, &status) != 0)
        return tp_error_set(error, TP_ERR_OPEN, errno, "cannot find the card '%s': %s", card, strerror(errno));
    if (!S_ISDIR(status.st_mode))
        return tp_error_set(error, TP_ERR_OPEN, 0, "'%s' is no folder: give the card's mount point", card);
    ledger->card_device = status.st_dev;
    ledger->card = tp_strdup(card);
    ledger->targets = calloc(target_capacity, sizeof *ledger->targets);
    ledger->bytes_copied = calloc(target_capacity, sizeof *ledger->bytes_copied);
    if (ledger->card == NULL || ledger->targets == NULL || ledger->bytes_copied == NULL)
        return no_memory(error);
    enum tp_status listed = tp_tree_list(card, &ledger->plan, error);
    if (listed != TP_OK)
        return listed;
    ledger->records = calloc(ledger->plan.count + 1, sizeof *ledger->records);
    if (ledger->records == NULL)
        return no_memory(error);
    for (size_t i = 0; i < ledger->plan.count; i++) {
        struct tp_record *record = &ledger->records[i];
        record->copies = calloc(target_capacity, sizeof *record->copies);
        if (record->copies == NULL)
            return no_memory(error);
        for (size_t t = 0; t < target_capacity; t++)
            record->copies[t].state = TP_COPY_SKIPPED;
    }
    return TP_OK;
}

static void record_clear(struct tp_record *record, size_t target_count)
{
    for (size_t t = 0; record->copies != NULL && t < target_count; t++)
        free(record->copies[t].message);
    free(record->copies);
    free(record->message);
    free(record->gaps);
    *record = (struct tp_record){0};
}

void tp_ledger_clear(struct tp_ledger *ledger)
{
    for (size_t i = 0; ledger->records != NULL && i < ledger->plan.count; i++)
        record_clear(&ledger->records[i], ledger->target_count);
    free(ledger->records);
    for (size_t t = 0; t < ledger->target_count; t++)
        tp_target_close(&ledger->targets[t]);
    free(ledger->targets);
    free(ledger->bytes_copied);
    free(ledger->card);
    tp_tree_clear(&ledger->plan);
    *ledger = (struct tp_ledger){0};
}

/* ASCII only: what every file system that ignores case agrees on. The account at the end finds the rest. */
static int fold_order(const char *a, const char *b)
{
    for (;; a++, b++) {
        int left = (unsigned char)*a, right = (unsigned char)*b;
        left += left >= 'A' && left <= 'Z' ? 'a' - 'A' : 0;
        right += right >= 'A' && right <= 'Z' ? 'a' - 'A' : 0;
        if (left != right || left == 0)
            return left - right;
    }
}

struct folded {
    const char *path;
    size_t index;
};

static int by_folded_path(const void *a, const void *b)
{
    const struct folded *left = a, *right = b;
    int order = fold_order(left->path, right->path);
    return order != 0 ? order : strcmp(left->path, right->path);
}

enum tp_status tp_ledger_find_clashes(struct tp_ledger *ledger, struct tp_error *error)
{
    struct folded *names = calloc(ledger->plan.count + 1, sizeof *names);
    if (names == NULL)
        return no_memory(error);
    for (size_t i = 0; i < ledger->plan.count; i++)
        names[i] = (struct folded){ledger->plan.entries[i].path, i};
    qsort(names, ledger->plan.count, sizeof *names, by_folded_path);
    for (size_t i = 1; i < ledger->plan.count; i++)
        if (fold_order(names[i - 1].path, names[i].path) == 0)
            ledger->records[names[i].index].clashes = true;
    free(names);
    return TP_OK;
}

/* ---- the account ---- */

static void worsen(struct tp_offload_copy *copy, enum tp_copy_state state, char *message)
{
    copy->state = state;
    free(copy->message);
    copy->message = message;
}

static bool is_proven(const struct tp_offload_copy *copy)
{
    return copy->state <= TP_COPY_KEPT;
}

struct placed {
    dev_t device;
    ino_t inode;
    size_t index;
};

static int by_place(const void *a, const void *b)
{
    const struct placed *left = a, *right = b;
    if (left->device != right->device)
        return left->device < right->device ? -1 : 1;
    return (left->inode > right->inode) - (left->inode < right->inode);
}

static int by_place_and_index(const void *a, const void *b)
{
    const struct placed *left = a, *right = b;
    int order = by_place(a, b);
    return order != 0 ? order : (left->index > right->index) - (left->index < right->index);
}

/* Is there an entry of exactly these bytes? A file system that ignores case finds "A" under "a". */
static bool is_listed(const struct tp_tree *tree, const char *path)
{
    return tp_tree_find(tree, path) != NULL;
}

/* Two files of the card under one entry of the destination are one copy. */
static void refuse_shared(struct tp_ledger *ledger, size_t t, const struct tp_tree *listing, struct placed *places,
                          size_t count)
{
    qsort(places, count, sizeof *places, by_place_and_index);
    for (size_t i = 1; i < count; i++) {
        if (by_place(&places[i], &places[i - 1]) != 0)
            continue;
        const char *one = ledger->plan.entries[places[i - 1].index].path;
        const char *other = ledger->plan.entries[places[i].index].path;
        if (is_listed(listing, one) && is_listed(listing, other))
            continue; /* hard links: two names indeed */
        worsen(&ledger->records[places[i].index].copies[t], TP_COPY_CONFLICT,
               tp_format("'%s' and '%s' are one file at '%s': only one of them is there", one, other,
                         ledger->targets[t].path));
    }
}

/* What our own runs leave at a destination, besides copies. */
static bool is_own(const char *path)
{
    return strncmp(path, "ascmhl/", 7) == 0 || strncmp(path, TP_COPY_FOLDER "/", sizeof TP_COPY_FOLDER) == 0 ||
           strstr(path, TP_COPY_INCOMPLETE) != NULL;
}

/* Files of the destination that are the card's neither by name nor, under a name in another case, by place. `places` is
 * in order. */
static size_t count_others(const struct tp_ledger *ledger, const struct tp_tree *listing, const struct placed *places,
                           size_t count)
{
    size_t others = 0;
    for (size_t i = 0; i < listing->count; i++) {
        const struct tp_tree_entry *entry = &listing->entries[i];
        if (entry->kind != TP_TREE_FILE || is_listed(&ledger->plan, entry->path) || is_own(entry->path))
            continue;
        const struct placed sought = {entry->device, entry->inode, 0};
        others += bsearch(&sought, places, count, sizeof *places, by_place) == NULL;
    }
    return others;
}

/* Looks at every proven copy of one destination again, by name. */
static enum tp_status look_again(struct tp_ledger *ledger, size_t t, struct tp_error *error)
{
    struct placed *places = calloc(ledger->plan.count + 1, sizeof *places);
    struct tp_tree listing;
    if (places == NULL)
        return no_memory(error);
    struct tp_error cause = {0};
    if (tp_tree_list(ledger->targets[t].path, &listing, &cause) != TP_OK)
        listing = (struct tp_tree){0};
    tp_error_clear(&cause);
    size_t count = 0;
    for (size_t i = 0; i < ledger->plan.count; i++) {
        struct tp_offload_copy *copy = &ledger->records[i].copies[t];
        if (ledger->plan.entries[i].kind != TP_TREE_FILE || !is_proven(copy))
            continue;
        char *path = tp_path_join(ledger->targets[t].path, ledger->plan.entries[i].path);
        struct stat status;
        if (path == NULL || stat(path, &status) != 0)
            worsen(copy, TP_COPY_FAILED,
                   tp_format("the copy '%s' is gone again: %s", path != NULL ? path : "", strerror(errno)));
        else if (!S_ISREG(status.st_mode) || (uint64_t)status.st_size != ledger->plan.entries[i].bytes)
            worsen(copy, TP_COPY_CONFLICT, tp_format("the copy '%s' changed after it was proven", path));
        else
            places[count++] = (struct placed){status.st_dev, status.st_ino, i};
        free(path);
    }
    refuse_shared(ledger, t, &listing, places, count);
    ledger->targets[t].other_files = count_others(ledger, &listing, places, count);
    tp_tree_clear(&listing);
    free(places);
    return TP_OK;
}

/* Marks words that there was no memory for: what they warn of must not pass unsaid. */
static char *kept(char *words, bool *lost)
{
    *lost = *lost || words == NULL;
    return words;
}

/* NULL, or what is wrong. `entry` NULL: the root of the destination. */
static char *settle_folder(const struct tp_target *target, const struct tp_tree_entry *entry, bool *lost)
{
    char *path = entry != NULL ? tp_path_join(target->path, entry->path) : tp_strdup(target->path);
    int fd = path != NULL ? open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC) : -1;
    char *message = NULL;
    if (fd < 0) {
        message =
            kept(tp_format("the folder '%s' could not be made: %s", path != NULL ? path : "", strerror(errno)), lost);
    } else {
        const struct timespec times[2] = {entry != NULL ? entry->accessed : (struct timespec){.tv_nsec = UTIME_OMIT},
                                          entry != NULL ? entry->modified : (struct timespec){.tv_nsec = UTIME_OMIT}};
        (void)futimens(fd, times);
        /* Some file systems cannot sync a folder (EINVAL); a medium that fails says something else. */
        if (fsync(fd) != 0 && errno != EINVAL && errno != ENOTSUP && errno != EINTR)
            message = kept(tp_format("the folder '%s' could not be flushed: %s", path, strerror(errno)), lost);
        close(fd);
    }
    free(path);
    return message;
}

/* Inner folders first: a folder's time changes with its entries. */
static char *settle_folders(const struct tp_ledger *ledger, size_t t, bool *lost)
{
    char *first = NULL;
    for (size_t i = ledger->plan.count + 1; i-- > 0;) {
        const struct tp_tree_entry *entry = i > 0 ? &ledger->plan.entries[i - 1] : NULL;
        if (entry != NULL && entry->kind != TP_TREE_FOLDER)
            continue;
        char *message = settle_folder(&ledger->targets[t], entry, lost);
        if (first == NULL)
            first = message;
        else
            free(message);
    }
    return first;
}

struct sentences {
    char **items;
    size_t count, capacity;
    bool failed;
};

/* Takes `words`. */
static void say(struct sentences *list, char *words)
{
    if (words == NULL || !tp_grow(&list->items, &list->capacity, list->count, sizeof *list->items)) {
        list->failed = true;
        free(words);
        return;
    }
    list->items[list->count++] = words;
}

static void compare_entry(const struct tp_ledger *ledger, const struct tp_tree *now, size_t i, struct sentences *list)
{
    const struct tp_tree_entry *then = &ledger->plan.entries[i], *found = tp_tree_find(now, then->path);
    if (then->kind == TP_TREE_SPECIAL || then->kind == TP_TREE_UNREADABLE)
        say(list, tp_format("'%s' was not copied: %s", then->path, then->why));
    else if (then->kind == TP_TREE_FILE && !ledger->records[i].begun)
        say(list, tp_format("'%s' was not read", then->path));
    else if (found == NULL || found->kind != then->kind)
        say(list, tp_format("'%s' is no longer on the card", then->path));
    else if (then->kind == TP_TREE_FILE &&
             (found->bytes != then->bytes || found->modified.tv_sec != then->modified.tv_sec ||
              found->modified.tv_nsec != then->modified.tv_nsec))
        say(list, tp_format("'%s' changed on the card while it was copied", then->path));
}

static void compare_card(const struct tp_ledger *ledger, struct sentences *list)
{
    struct tp_tree now;
    struct tp_error cause = {0};
    if (tp_tree_list(ledger->card, &now, &cause) != TP_OK) {
        say(list, tp_format("the card could not be listed again: %s", tp_error_text(&cause)));
        tp_error_clear(&cause);
        return;
    }
    for (size_t i = 0; i < ledger->plan.count; i++)
        compare_entry(ledger, &now, i, list);
    for (size_t i = 0; i < now.count; i++)
        if (tp_tree_find(&ledger->plan, now.entries[i].path) == NULL)
            say(list, tp_format("'%s' appeared on the card while it was copied", now.entries[i].path));
    tp_tree_clear(&now);
}

static bool move_file(struct tp_ledger *ledger, size_t i, struct tp_offload_file *file)
{
    struct tp_record *record = &ledger->records[i];
    const struct tp_tree_entry *entry = &ledger->plan.entries[i];
    *file = (struct tp_offload_file){.path = tp_strdup(entry->path),
                                     .bytes = entry->bytes,
                                     .modified_s = (int64_t)entry->modified.tv_sec,
                                     .read_whole = record->read_whole,
                                     .message = record->message,
                                     .gaps = record->gaps,
                                     .gap_count = record->gap_count,
                                     .copies = record->copies};
    memcpy(file->sha256, record->sha256, sizeof file->sha256);
    memcpy(file->xxh64, record->xxh64, sizeof file->xxh64);
    *record = (struct tp_record){.begun = record->begun};
    for (size_t t = 0; t < ledger->target_count; t++)
        file->verified += is_proven(&file->copies[t]);
    return file->path != NULL;
}

static void count_copy(struct tp_offload_destination *destination, const struct tp_offload_copy *copy)
{
    if (copy->readback > destination->readback)
        destination->readback = copy->readback;
    destination->copied += copy->state == TP_COPY_COPIED;
    destination->kept += copy->state == TP_COPY_KEPT;
    destination->failed += copy->state > TP_COPY_KEPT;
}

static bool fill(struct tp_ledger *ledger, struct tp_offload_result *result)
{
    result->card = tp_strdup(ledger->card);
    result->destinations = calloc(ledger->target_count, sizeof *result->destinations);
    result->files = calloc(ledger->plan.count + 1, sizeof *result->files);
    if (result->card == NULL || result->destinations == NULL || result->files == NULL)
        return false;
    bool good = true;
    result->destination_count = ledger->target_count;
    for (size_t t = 0; t < ledger->target_count; t++) {
        result->destinations[t].path = tp_strdup(ledger->targets[t].path);
        result->destinations[t].bytes_copied = ledger->bytes_copied[t];
        good = good && result->destinations[t].path != NULL;
    }
    for (size_t i = 0; i < ledger->plan.count; i++) {
        if (ledger->plan.entries[i].kind != TP_TREE_FILE)
            continue;
        struct tp_offload_file *file = &result->files[result->file_count++];
        good = move_file(ledger, i, file) && good;
        for (size_t t = 0; t < ledger->target_count; t++)
            count_copy(&result->destinations[t], &file->copies[t]);
    }
    return good;
}

/* Two copies on one disk: that is what the count of copies does not show. */
static char *caution_of_disks(const struct tp_ledger *ledger, bool *lost)
{
    for (size_t a = 0; a < ledger->target_count; a++)
        for (size_t b = 0; b < a; b++)
            if (ledger->targets[a].device == ledger->targets[b].device)
                return kept(tp_format("'%s' and '%s' are on one file system: if that disk fails, both copies are gone",
                                      ledger->targets[b].path, ledger->targets[a].path),
                            lost);
    for (size_t t = 0; t < ledger->target_count; t++)
        if (ledger->targets[t].device == ledger->card_device)
            return kept(tp_format("'%s' is on the same file system as the card: if that disk fails, both are gone",
                                  ledger->targets[t].path),
                        lost);
    return NULL;
}

/* NULL when there is none. */
static char *caution(const struct tp_ledger *ledger, bool *lost)
{
    struct tp_text words = {0};
    char *disks = caution_of_disks(ledger, lost);
    if (disks != NULL)
        tp_text_add(&words, disks);
    free(disks);
    for (size_t t = 0; t < ledger->target_count; t++) {
        size_t others = ledger->targets[t].other_files;
        if (others > 0)
            tp_text_format(&words, "%s'%s' already holds %zu file%s not this card's", words.length > 0 ? "; " : "",
                           ledger->targets[t].path, others, others == 1 ? " that is" : "s that are");
    }
    char *kept_words = words.length > 0 && !words.failed ? kept(tp_strdup(words.bytes), lost) : NULL;
    *lost = *lost || words.failed;
    tp_text_clear(&words);
    return kept_words;
}

static const char *first_reason(const struct tp_offload_file *file, size_t target_count)
{
    if (file->message != NULL)
        return file->message;
    for (size_t t = 0; t < target_count; t++) {
        if (file->copies[t].message != NULL && file->copies[t].state == TP_COPY_CONFLICT)
            return "another file has its name already; give this card a folder of its own, or use --set-aside";
        if (file->copies[t].message != NULL)
            return file->copies[t].message;
    }
    return "it has too few verified copies";
}

/* Everything that keeps the card from being wiped is looked at here, and only here. */
static char *decide(struct tp_offload_result *result)
{
    size_t wanting = 0, imperfect = 0;
    const struct tp_offload_file *first = NULL;
    for (size_t i = 0; i < result->file_count; i++) {
        const struct tp_offload_file *file = &result->files[i];
        bool enough = file->read_whole && file->verified >= result->copies_wanted;
        wanting += !enough;
        imperfect += !file->read_whole || file->verified < result->destination_count;
        if (first == NULL && !enough)
            first = file;
    }
    bool folders_good = true;
    for (size_t t = 0; t < result->destination_count; t++)
        folders_good = folders_good && result->destinations[t].message == NULL;
    result->complete = imperfect == 0 && result->unaccounted_count == 0 && folders_good;
    result->may_be_wiped = wanting == 0 && result->unaccounted_count == 0 && folders_good && result->file_count > 0;
    const char *copies = result->copies_wanted == 1 ? "copy" : "copies";
    if (result->may_be_wiped)
        return tp_format("The card may be wiped: each of its %zu files has at least %u verified %s.",
                         result->file_count, result->copies_wanted, copies);
    if (result->file_count == 0 && result->unaccounted_count == 0)
        return tp_strdup("Do not wipe the card: nothing was found on it to copy. Is it the right one?");
    if (result->unaccounted_count > 0)
        return tp_format("Do NOT wipe the card: %s.", result->unaccounted[0]);
    if (wanting == 0)
        for (size_t t = 0; t < result->destination_count; t++)
            if (result->destinations[t].message != NULL)
                return tp_format("Do NOT wipe the card: %s.", result->destinations[t].message);
    if (first != NULL && first->message == NULL && imperfect == 0)
        return tp_format("Do NOT wipe the card yet: each file has %zu verified %s and %u are wanted.",
                         result->destination_count, result->destination_count == 1 ? "copy" : "copies",
                         result->copies_wanted);
    return tp_format("Do NOT wipe the card: %zu of %zu files have fewer than %u verified %s; the first is '%s': %s.",
                     wanting, result->file_count, result->copies_wanted, copies, first != NULL ? first->path : "",
                     first != NULL ? first_reason(first, result->destination_count) : "");
}

enum tp_status tp_ledger_account(struct tp_ledger *ledger, unsigned copies_wanted, struct tp_offload_result **result,
                                 struct tp_error *error)
{
    struct tp_offload_result *made = calloc(1, sizeof *made);
    struct sentences list = {0};
    enum tp_status status = made != NULL ? TP_OK : no_memory(error);
    for (size_t t = 0; t < ledger->target_count && status == TP_OK; t++)
        status = look_again(ledger, t, error);
    if (status != TP_OK) {
        free(made);
        return status;
    }
    made->copies_wanted = copies_wanted;
    compare_card(ledger, &list);
    made->unaccounted = list.items;
    made->unaccounted_count = list.count;
    bool lost = !fill(ledger, made) || list.failed;
    for (size_t t = 0; t < made->destination_count; t++)
        made->destinations[t].message = settle_folders(ledger, t, &lost);
    made->caution = caution(ledger, &lost);
    made->words = lost ? NULL : decide(made);
    if (made->words == NULL) {
        tp_offload_result_free(made);
        return no_memory(error);
    }
    *result = made;
    return TP_OK;
}
