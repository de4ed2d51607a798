/* SPDX-License-Identifier: MIT */
#include "handoff/copier.h"

#include "base/io.h"
#include "base/text.h"
#include "base/xxh.h"
#include "handoff/hash.h"
#include "handoff/ledger.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* Files that may wait to be proven at all destinations: bounds open files and memory. */
#define QUEUE_MAX 128

/* One file on its way to one destination. */
struct job {
    struct tp_copy *copy;
    struct tp_target_file file;
    struct job *next;
};

struct tp_copy {
    struct tp_copier *copier;
    size_t index; /* into plan and records */
    char *opened;
    struct stat before;
    uint64_t seen;
    XXH128_hash_t *marks;
    size_t mark_count, mark_capacity;
    XXH3_state_t *mark;
    uint64_t mark_fill;
    bool no_memory;
    struct job *jobs; /* one a destination */
    size_t pending;   /* jobs not settled; guarded by the copier's lock */
    bool whole;       /* read to its end, without gaps, unchanged meanwhile */
    bool keep;        /* worth keeping as incomplete */
    char *why;        /* when not whole */
};

struct line {
    struct tp_copier *copier;
    size_t target;
    pthread_t thread;
    bool running;
    struct job *first, *last;
    size_t length;
};

struct tp_copier {
    struct tp_ledger ledger;
    unsigned copies_wanted;
    bool set_aside;
    bool closing, abandoned; /* guarded by lock */
    pthread_mutex_t lock;
    pthread_cond_t changed;
    struct line *lines;
};

/* ---- settling, one thread a destination ---- */

static void copy_free(struct tp_copy *copy)
{
    if (copy == NULL)
        return;
    for (size_t i = 0; copy->jobs != NULL && i < copy->copier->ledger.target_count; i++)
        tp_target_file_clear(&copy->jobs[i].file);
    free(copy->jobs);
    free(copy->marks);
    XXH3_freeState(copy->mark);
    free(copy->opened);
    free(copy->why);
    free(copy);
}

static void settle(struct line *line, struct job *job, bool abandoned)
{
    struct tp_copy *copy = job->copy;
    struct tp_ledger *ledger = &line->copier->ledger;
    const struct tp_true_bytes expected = {
        .marks = copy->marks, .bytes = copy->seen, .modified = copy->before.st_mtim, .accessed = copy->before.st_atim};
    if (abandoned)
        tp_target_give_up(&job->file, "the run was stopped", false);
    else if (copy->whole)
        tp_target_settle(&job->file, &expected);
    else
        tp_target_give_up(&job->file, copy->why != NULL ? copy->why : "the file could not be read", copy->keep);
    struct tp_offload_copy *copied = &ledger->records[copy->index].copies[line->target];
    copied->state = job->file.state;
    copied->readback = job->file.readback;
    copied->message = job->file.message;
    job->file.message = NULL;
    if (copied->state == TP_COPY_COPIED)
        ledger->bytes_copied[line->target] += copy->seen;
}

static void *work(void *user)
{
    struct line *line = user;
    struct tp_copier *copier = line->copier;
    pthread_mutex_lock(&copier->lock);
    for (;;) {
        while (line->first == NULL && !copier->closing)
            pthread_cond_wait(&copier->changed, &copier->lock);
        struct job *job = line->first;
        if (job == NULL)
            break;
        bool abandoned = copier->abandoned;
        pthread_mutex_unlock(&copier->lock);
        settle(line, job, abandoned);
        pthread_mutex_lock(&copier->lock);
        line->first = job->next;
        if (line->first == NULL)
            line->last = NULL;
        line->length--;
        bool last = --job->copy->pending == 0;
        pthread_cond_broadcast(&copier->changed);
        if (last)
            copy_free(job->copy);
    }
    pthread_mutex_unlock(&copier->lock);
    return NULL;
}

static void enqueue(struct tp_copier *copier, struct tp_copy *copy)
{
    pthread_mutex_lock(&copier->lock);
    copy->pending = copier->ledger.target_count;
    for (size_t i = 0; i < copier->ledger.target_count; i++) {
        struct line *line = &copier->lines[i];
        while (line->length >= QUEUE_MAX / TP_DESTINATIONS_MAX)
            pthread_cond_wait(&copier->changed, &copier->lock);
        struct job *job = &copy->jobs[i];
        if (line->last != NULL)
            line->last->next = job;
        else
            line->first = job;
        line->last = job;
        line->length++;
        pthread_cond_broadcast(&copier->changed);
    }
    pthread_mutex_unlock(&copier->lock);
}

/* ---- one file ---- */

static void mark_end(struct tp_copy *copy)
{
    if (copy->mark_fill == 0)
        return;
    if (!tp_grow(&copy->marks, &copy->mark_capacity, copy->mark_count, sizeof *copy->marks)) {
        copy->no_memory = true;
        return;
    }
    copy->marks[copy->mark_count++] = XXH3_128bits_digest(copy->mark);
    (void)XXH3_128bits_reset(copy->mark);
    copy->mark_fill = 0;
}

static void mark_bytes(struct tp_copy *copy, const uint8_t *bytes, size_t size)
{
    while (size > 0 && !copy->no_memory) {
        uint64_t room = TP_MARK_BYTES - copy->mark_fill;
        size_t take = size < room ? size : (size_t)room;
        (void)XXH3_128bits_update(copy->mark, bytes, take);
        copy->mark_fill += take;
        bytes += take;
        size -= take;
        if (copy->mark_fill == TP_MARK_BYTES)
            mark_end(copy);
    }
}

static void tap_bytes(void *user, const uint8_t *bytes, size_t size)
{
    struct tp_copy *copy = user;
    if (copy == NULL || size == 0)
        return;
    copy->seen += size;
    mark_bytes(copy, bytes, size);
    for (size_t i = 0; i < copy->copier->ledger.target_count; i++)
        tp_target_write(&copy->jobs[i].file, bytes, size);
}

static struct tp_record *claim(struct tp_copier *copier, const char *path, size_t *index)
{
    const struct tp_tree_entry *entry = tp_tree_find(&copier->ledger.plan, path);
    if (entry == NULL || entry->kind != TP_TREE_FILE)
        return NULL;
    *index = (size_t)(entry - copier->ledger.plan.entries);
    struct tp_record *record = &copier->ledger.records[*index];
    pthread_mutex_lock(&copier->lock);
    bool mine = !record->begun;
    record->begun = true;
    pthread_mutex_unlock(&copier->lock);
    return mine ? record : NULL;
}

static struct tp_copy *copy_new(struct tp_copier *copier, const char *opened, size_t index)
{
    struct tp_copy *copy = calloc(1, sizeof *copy);
    if (copy == NULL)
        return NULL;
    copy->copier = copier;
    copy->index = index;
    copy->opened = tp_strdup(opened);
    copy->mark = XXH3_createState();
    copy->jobs = calloc(copier->ledger.target_count, sizeof *copy->jobs);
    for (size_t i = 0; copy->jobs != NULL && i < copier->ledger.target_count; i++)
        copy->jobs[i] = (struct job){.copy = copy, .file.fd = -1};
    if (copy->opened == NULL || copy->mark == NULL || copy->jobs == NULL || XXH3_128bits_reset(copy->mark) != XXH_OK) {
        copy_free(copy);
        return NULL;
    }
    return copy;
}

struct tp_copy *tp_copier_begin(struct tp_copier *copier, const char *path, const char *opened, struct tp_tap *tap)
{
    *tap = (struct tp_tap){.bytes = tap_bytes};
    size_t index;
    struct tp_record *record = claim(copier, path, &index);
    if (record == NULL)
        return NULL;
    struct tp_copy *copy = copy_new(copier, opened, index);
    if (copy == NULL) {
        record->message = tp_format("not enough memory to copy '%s'", path);
        return NULL;
    }
    if (stat(opened, &copy->before) != 0)
        copy->before = (struct stat){.st_size = -1};
    for (size_t i = 0; i < copier->ledger.target_count; i++) {
        const struct tp_target *target = &copier->ledger.targets[i];
        struct tp_target_file *file = &copy->jobs[i].file;
        if (record->clashes && target->folds_case)
            tp_target_fail(
                file, TP_COPY_CONFLICT,
                "'%s' differs from another file of the card only in upper and lower case, and '%s' does not tell "
                "these apart: copy it to a folder of its own",
                path, target->path);
        else
            tp_target_start(file, target, path, (uint64_t)copy->before.st_size, index, copier->set_aside);
    }
    tap->user = copy;
    return copy;
}

static char *changed_words(const struct tp_copy *copy)
{
    struct stat now;
    const struct stat *before = &copy->before;
    if (stat(copy->opened, &now) != 0)
        return tp_format("'%s' vanished while it was read: %s", copy->opened, strerror(errno));
    if (now.st_size != before->st_size || now.st_ino != before->st_ino || now.st_dev != before->st_dev ||
        now.st_mtim.tv_sec != before->st_mtim.tv_sec || now.st_mtim.tv_nsec != before->st_mtim.tv_nsec ||
        now.st_ctim.tv_sec != before->st_ctim.tv_sec || now.st_ctim.tv_nsec != before->st_ctim.tv_nsec)
        return tp_format("'%s' changed while it was read: is something still writing to the card?", copy->opened);
    if (copy->seen != (uint64_t)before->st_size)
        return tp_format("'%s' was read only to byte %llu of %llu", copy->opened, (unsigned long long)copy->seen,
                         (unsigned long long)before->st_size);
    return NULL;
}

static char *gap_words(const struct tp_copy *copy, const struct tp_copy_outcome *outcome)
{
    uint64_t bytes = 0;
    for (size_t i = 0; i < outcome->gap_count; i++)
        bytes += outcome->gaps[i].bytes;
    return tp_format("'%s' cannot be read at byte %llu (%s); %llu bytes are missing in %zu places", copy->opened,
                     (unsigned long long)outcome->gaps[0].offset, strerror(outcome->gaps[0].os_errno),
                     (unsigned long long)bytes, outcome->gap_count);
}

static void note_gaps(struct tp_record *record, const struct tp_copy_outcome *outcome)
{
    record->gaps = calloc(outcome->gap_count + 1, sizeof *record->gaps);
    if (record->gaps == NULL)
        return;
    for (size_t i = 0; i < outcome->gap_count; i++)
        record->gaps[i] = (struct tp_offload_gap){.offset = outcome->gaps[i].offset,
                                                  .bytes = outcome->gaps[i].bytes,
                                                  .start_s = (double)NAN,
                                                  .end_s = (double)NAN};
    record->gap_count = outcome->gap_count;
}

/* Decides whether the card's file was read as a whole, and says why not. */
static void judge(struct tp_copy *copy, struct tp_record *record, const struct tp_copy_outcome *outcome)
{
    char *why = NULL;
    bool whole = outcome->status == TP_OK && outcome->gap_count == 0 && outcome->sha256 != NULL && !copy->no_memory;
    if (outcome->status != TP_OK)
        why = tp_format("%s", outcome->message != NULL ? outcome->message : tp_status_words(outcome->status));
    else if (outcome->gap_count > 0)
        why = gap_words(copy, outcome);
    else if (!whole)
        why = tp_format("not enough memory to copy '%s'", copy->opened);
    else
        whole = (why = changed_words(copy)) == NULL;
    if (outcome->gap_count > 0)
        note_gaps(record, outcome);
    copy->whole = record->read_whole = whole;
    copy->keep = outcome->status == TP_OK && outcome->gap_count > 0;
    copy->why = why;
    record->message = why != NULL ? tp_strdup(why) : NULL;
    if (whole) {
        memcpy(record->sha256, outcome->sha256, sizeof record->sha256);
        memcpy(record->xxh64, outcome->xxh64, sizeof record->xxh64);
    }
}

void tp_copier_end(struct tp_copier *copier, struct tp_copy *copy, const struct tp_copy_outcome *outcome)
{
    if (copy == NULL)
        return;
    mark_end(copy);
    judge(copy, &copier->ledger.records[copy->index], outcome);
    enqueue(copier, copy);
}

/* ---- the whole ---- */

static enum tp_status refuse_overlaps(const struct tp_copier_options *options, size_t at, struct tp_error *error)
{
    const char *path = options->destinations[at];
    switch (tp_folders_overlap(path, options->card)) {
    case TP_OVERLAP_INSIDE:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "the destination '%s' lies inside the card '%s', which is never written to", path,
                            options->card);
    case TP_OVERLAP_AROUND:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "the card '%s' lies inside the destination '%s': choose another folder", options->card,
                            path);
    case TP_OVERLAP_UNCLEAR:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "the destination '%s' is not there and its path goes back with '..'", path);
    case TP_OVERLAP_NONE: break;
    }
    for (size_t i = 0; i < at; i++)
        if (tp_folders_overlap(path, options->destinations[i]) != TP_OVERLAP_NONE)
            return tp_error_set(error, TP_ERR_USAGE, 0,
                                "the destinations '%s' and '%s' are the same or lie inside each other",
                                options->destinations[i], path);
    return TP_OK;
}

static enum tp_status open_targets(struct tp_copier *copier, const struct tp_copier_options *options,
                                   struct tp_error *error)
{
    struct tp_ledger *ledger = &copier->ledger;
    bool folds_case = false;
    uint64_t needed[TP_DESTINATIONS_MAX];
    for (size_t i = 0; i < options->destination_count; i++) {
        enum tp_status status = refuse_overlaps(options, i, error);
        if (status == TP_OK)
            status = tp_target_open(&ledger->targets[i], options->destinations[i], error);
        if (status != TP_OK)
            return status;
        ledger->target_count++;
        folds_case = folds_case || ledger->targets[i].folds_case;
        uint64_t reserved = 0;
        for (size_t before = 0; before < i; before++)
            reserved += ledger->targets[before].device == ledger->targets[i].device ? needed[before] : 0;
        status = tp_target_check_room(&ledger->targets[i], &ledger->plan, reserved, &needed[i], error);
        if (status != TP_OK)
            return status;
    }
    return folds_case ? tp_ledger_find_clashes(ledger, error) : TP_OK;
}

/* Empty folders are part of the card too. A folder that cannot be made shows in the account. */
static void make_folders(const struct tp_ledger *ledger)
{
    for (size_t t = 0; t < ledger->target_count; t++) {
        for (size_t i = 0; i < ledger->plan.count; i++) {
            if (ledger->plan.entries[i].kind != TP_TREE_FOLDER)
                continue;
            char *path = tp_path_join(ledger->targets[t].path, ledger->plan.entries[i].path);
            if (path != NULL)
                (void)mkdir(path, 0777);
            free(path);
        }
    }
}

static enum tp_status start_lines(struct tp_copier *copier, struct tp_error *error)
{
    copier->lines = calloc(copier->ledger.target_count, sizeof *copier->lines);
    if (copier->lines == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    for (size_t i = 0; i < copier->ledger.target_count; i++) {
        struct line *line = &copier->lines[i];
        line->copier = copier;
        line->target = i;
        int cause = pthread_create(&line->thread, NULL, work, line);
        if (cause != 0)
            return tp_error_set(error, TP_ERR_MEMORY, cause, "cannot start a thread: %s", strerror(cause));
        line->running = true;
    }
    return TP_OK;
}

enum tp_status tp_copier_open(struct tp_copier **copier, const struct tp_copier_options *options,
                              struct tp_error *error)
{
    if (options->destination_count == 0 || options->destination_count > TP_DESTINATIONS_MAX)
        return tp_error_set(error, TP_ERR_USAGE, 0, "give between 1 and %d destinations", TP_DESTINATIONS_MAX);
    struct tp_copier *made = calloc(1, sizeof *made);
    if (made == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    pthread_mutex_init(&made->lock, NULL);
    pthread_cond_init(&made->changed, NULL);
    made->copies_wanted = options->copies_wanted > 0 ? options->copies_wanted : 2;
    made->set_aside = options->set_aside;
    enum tp_status status = tp_ledger_open(&made->ledger, options->card, options->destination_count, error);
    if (status == TP_OK)
        status = open_targets(made, options, error);
    if (status == TP_OK) {
        make_folders(&made->ledger);
        status = start_lines(made, error);
    }
    if (status != TP_OK) {
        tp_copier_close(made);
        return status;
    }
    *copier = made;
    return TP_OK;
}

static enum tp_status read_one(struct tp_copier *copier, const char *path, struct tp_error *error)
{
    struct tp_hasher *hasher = NULL;
    struct tp_stream *stream = NULL;
    struct tp_error cause = {0};
    struct tp_hash_values hashes = {0};
    char *opened = tp_path_join(copier->ledger.card, path);
    if (opened == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    struct tp_tap taps[2];
    struct tp_copy *copy = tp_copier_begin(copier, path, opened, &taps[0]);
    enum tp_status status = tp_hasher_new(&hasher, tp_hashes_wanted(TP_HASHES_BOTH), &cause);
    if (status == TP_OK) {
        taps[1] = tp_hasher_tap(hasher);
        status = tp_stream_open(&stream, opened, taps, 2, &cause);
    }
    if (status == TP_OK) {
        tp_stream_forgive(stream);
        status = tp_stream_skip(stream, UINT64_MAX, &cause);
    }
    if (status == TP_OK)
        status = tp_hasher_finish(hasher, &hashes, &cause);
    struct tp_copy_outcome outcome = {.status = status,
                                      .message = status == TP_OK ? NULL : tp_error_text(&cause),
                                      .sha256 = hashes.hex[TP_HASH_SHA256],
                                      .xxh64 = hashes.hex[TP_HASH_XXH64]};
    if (stream != NULL)
        outcome.gap_count = tp_stream_gaps(stream, &outcome.gaps);
    tp_copier_end(copier, copy, &outcome);
    tp_stream_close(stream);
    tp_hasher_free(hasher);
    tp_error_clear(&cause);
    free(opened);
    return TP_OK;
}

enum tp_status tp_copier_rest(struct tp_copier *copier, const volatile sig_atomic_t *cancel, struct tp_error *error)
{
    for (size_t i = 0; i < copier->ledger.plan.count; i++) {
        const struct tp_tree_entry *entry = &copier->ledger.plan.entries[i];
        if (cancel != NULL && *cancel != 0)
            return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped: what was proven stays, run again to go on");
        if (entry->kind != TP_TREE_FILE || copier->ledger.records[i].begun)
            continue;
        enum tp_status status = read_one(copier, entry->path, error);
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}

static void stop_lines(struct tp_copier *copier, bool abandon)
{
    pthread_mutex_lock(&copier->lock);
    copier->closing = true;
    copier->abandoned = abandon;
    pthread_cond_broadcast(&copier->changed);
    pthread_mutex_unlock(&copier->lock);
    for (size_t i = 0; copier->lines != NULL && i < copier->ledger.target_count; i++) {
        if (copier->lines[i].running)
            pthread_join(copier->lines[i].thread, NULL);
        copier->lines[i].running = false;
    }
}

enum tp_status tp_copier_finish(struct tp_copier *copier, struct tp_offload_result **result, struct tp_error *error)
{
    stop_lines(copier, false);
    return tp_ledger_account(&copier->ledger, copier->copies_wanted, result, error);
}

void tp_copier_close(struct tp_copier *copier)
{
    if (copier == NULL)
        return;
    stop_lines(copier, true);
    free(copier->lines);
    tp_ledger_clear(&copier->ledger);
    pthread_cond_destroy(&copier->changed);
    pthread_mutex_destroy(&copier->lock);
    free(copier);
}
