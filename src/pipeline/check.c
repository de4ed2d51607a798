/* SPDX-License-Identifier: MIT */
#include "pipeline/check.h"

#include "base/io.h"
#include "base/text.h"
#include "judge/log_match.h"
#include "judge/rules.h"
#include "pipeline/assemble.h"
#include "pipeline/lockstep.h"
#include "pipeline/others.h"
#include "read/log.h"
#include "read/scan.h"
#include "result.h"
#include "take/group.h"
#include "take/parts.h"
#include "take/segments.h"

#include <errno.h>
#include <pthread.h>
#include <sched.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define JOBS_MAX 16

struct run {
    const struct tp_check_options *options;
    struct tp_copier *copier;
    struct tp_scan scan;
    struct tp_log log;  /* empty without options->log_path */
    size_t *candidates; /* entry of each report file */
    size_t *others;     /* entries that are only copied */
    size_t other_count;
    struct tp_head *heads; /* of the others, where they are copied; else NULL */
    struct tp_groups groups;
    struct tp_lockstep_pairs *pairs; /* one a group */
    struct tp_report *report;
    size_t spare_processors; /* of each worker */

    pthread_mutex_t mutex; /* guards all below */
    size_t next;           /* group, then other, to be taken up */
    enum tp_status status;
    struct tp_error *error;
    struct tp_progress progress;
    const char *path; /* shown with progress */
};

static enum tp_status out_of_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to check the source");
}

/* --- progress --- */

static void tell_progress(struct run *run)
{
    if (run->options->progress == NULL)
        return;
    run->progress.path = run->path;
    run->options->progress(run->options->progress_user, &run->progress);
}

static void count_bytes(void *user, const uint8_t *bytes, size_t size)
{
    (void)bytes;
    struct run *run = user;
    pthread_mutex_lock(&run->mutex);
    run->progress.bytes_done += size;
    tell_progress(run);
    pthread_mutex_unlock(&run->mutex);
}

/* --- workers --- */

static struct tp_lockstep_job plain_job(struct run *run)
{
    struct tp_lockstep_job job = {.spec = run->options->spec,
                                  .second_opinion = run->options->second_opinion,
                                  .hashes = run->options->hashes,
                                  .spare_processors = run->spare_processors,
                                  .cancel = run->options->cancel,
                                  .copier = run->copier};
    if (run->options->progress != NULL)
        job.progress = (struct tp_tap){.bytes = count_bytes, .user = run};
    return job;
}

static enum tp_status measure_group(struct run *run, size_t number, struct tp_plans *plans, struct tp_error *error)
{
    const struct tp_group *group = &run->groups.items[number];
    struct tp_lockstep_job job = plain_job(run);
    for (size_t i = 0; i < group->file_count; i++) {
        job.entries[i] = &run->scan.entries[run->candidates[group->files[i]]];
        job.files[i] = &run->report->files[group->files[i]];
        job.file_numbers[i] = group->files[i];
    }
    job.count = group->file_count;
    job.plans = plans;
    return tp_lockstep_measure(&job, &run->pairs[number], error);
}

struct other_read {
    struct run *run;
    struct tp_head *head;
};

static void see_other(void *user, const uint8_t *bytes, size_t size)
{
    const struct other_read *read = user;
    tp_head_add(read->head, bytes, size);
    if (read->run->options->progress != NULL)
        count_bytes(read->run, bytes, size);
}

static enum tp_status copy_other(struct run *run, size_t number, struct tp_error *error)
{
    struct tp_file scratch = {0};
    struct tp_lockstep_pairs none;
    struct tp_lockstep_job job = plain_job(run);
    job.entries[0] = &run->scan.entries[run->others[number]];
    job.files[0] = &scratch;
    job.count = 1;
    job.copy_only = true;
    struct other_read read = {run, &run->heads[number]};
    job.progress = (struct tp_tap){.bytes = see_other, .user = &read};
    enum tp_status status = tp_lockstep_measure(&job, &none, error);
    if (status == TP_OK) {
        struct tp_other *other = &run->report->others[number];
        memcpy(other->sha256, scratch.sha256, sizeof other->sha256);
        memcpy(other->xxh64, scratch.xxh64, sizeof other->xxh64);
        memcpy(other->xxh3, scratch.xxh3, sizeof other->xxh3);
        free(none.items);
    }
    tp_file_clear(&scratch);
    return status;
}

static size_t work_count(const struct run *run)
{
    return run->groups.count + (run->copier != NULL ? run->other_count : 0);
}

/* Takes up the next piece of work; false when there is none or the run has failed. */
static bool take_up(struct run *run, size_t *number)
{
    pthread_mutex_lock(&run->mutex);
    bool any = run->status == TP_OK && run->next < work_count(run);
    if (any) {
        *number = run->next++;
        size_t entry = *number < run->groups.count ? run->candidates[run->groups.items[*number].files[0]]
                                                   : run->others[*number - run->groups.count];
        run->path = run->scan.entries[entry].path;
        tell_progress(run);
    }
    pthread_mutex_unlock(&run->mutex);
    return any;
}

static void put_down(struct run *run, size_t number, enum tp_status status, const struct tp_error *error)
{
    pthread_mutex_lock(&run->mutex);
    if (number < run->groups.count)
        run->progress.files_done += run->groups.items[number].file_count;
    if (status != TP_OK && run->status == TP_OK) {
        run->status = status;
        tp_error_set(run->error, status, error->os_errno, "%s", tp_error_text(error));
    }
    tell_progress(run);
    pthread_mutex_unlock(&run->mutex);
}

static void *work(void *user)
{
    struct run *run = user;
    struct tp_plans plans = {0};
    size_t number;
    while (take_up(run, &number)) {
        struct tp_error error = {0};
        enum tp_status status = number < run->groups.count ? measure_group(run, number, &plans, &error)
                                                           : copy_other(run, number - run->groups.count, &error);
        put_down(run, number, status, &error);
        tp_error_clear(&error);
    }
    tp_plans_clear(&plans);
    return NULL;
}

/* That this process may run on. */
static unsigned processor_count(void)
{
#ifdef CPU_COUNT
    cpu_set_t allowed;
    if (sched_getaffinity(0, sizeof allowed, &allowed) == 0 && CPU_COUNT(&allowed) > 0)
        return (unsigned)CPU_COUNT(&allowed);
#endif
    long online = sysconf(_SC_NPROCESSORS_ONLN);
    return online > 0 ? (unsigned)online : 1;
}

/* Sets how many workers there are, and what is left of the processors for each of them. */
static unsigned job_count(struct run *run)
{
    unsigned processors = processor_count();
    unsigned jobs = run->options->jobs != 0 ? run->options->jobs : processors;
    jobs = jobs < JOBS_MAX ? jobs : JOBS_MAX;
    size_t busy = work_count(run) < jobs ? work_count(run) : jobs;
    run->spare_processors = busy > 0 && processors > busy ? processors / busy - 1 : 0;
    return jobs;
}

static enum tp_status measure_all(struct run *run, struct tp_error *error)
{
    pthread_t threads[JOBS_MAX];
    unsigned jobs = job_count(run);
    unsigned started = 0;
    run->error = error;
    if (pthread_mutex_init(&run->mutex, NULL) != 0)
        return out_of_memory(error);
    /* This thread is a worker too; fewer threads than asked for is slower, not wrong. */
    while (started + 1 < jobs && pthread_create(&threads[started], NULL, work, run) == 0)
        started++;
    work(run);
    for (unsigned i = 0; i < started; i++)
        pthread_join(threads[i], NULL);
    pthread_mutex_destroy(&run->mutex);
    return run->status;
}

/* --- setting up --- */

static enum tp_status name_file(struct tp_file *file, const struct tp_scan_entry *entry)
{
    size_t length = strlen(entry->path);
    file->source = entry->source;
    file->bytes = entry->bytes;
    file->modified_s = entry->modified_s;
    file->path_raw = tp_strdup(entry->path);
    file->path = tp_utf8_repair(entry->path, length);
    file->path_is_utf8 = tp_utf8_is_valid(entry->path, length);
    return file->path != NULL && file->path_raw != NULL ? TP_OK : TP_ERR_MEMORY;
}

static enum tp_status name_other(struct tp_other *other, const struct tp_scan_entry *entry)
{
    size_t length = strlen(entry->path);
    other->source = entry->source;
    other->bytes = entry->bytes;
    other->path_raw = tp_strdup(entry->path);
    other->path = tp_utf8_repair(entry->path, length);
    other->path_is_utf8 = tp_utf8_is_valid(entry->path, length);
    other->why =
        entry->os_errno != 0 ? tp_format("%s: %s", entry->why, strerror(entry->os_errno)) : tp_strdup(entry->why);
    return other->path != NULL && other->path_raw != NULL && other->why != NULL ? TP_OK : TP_ERR_MEMORY;
}

/* Divides the scan into files to check and others. */
static enum tp_status list_files(struct run *run)
{
    struct tp_report *report = run->report;
    size_t count = run->scan.count;
    report->files = calloc(count + 1, sizeof *report->files);
    report->others = calloc(count + 1, sizeof *report->others);
    run->candidates = calloc(count + 1, sizeof *run->candidates);
    run->others = calloc(count + 1, sizeof *run->others);
    if (run->copier != NULL)
        run->heads = calloc(count + 1, sizeof *run->heads);
    if (report->files == NULL || report->others == NULL || run->candidates == NULL || run->others == NULL ||
        (run->copier != NULL && run->heads == NULL))
        return TP_ERR_MEMORY;
    for (size_t i = 0; i < count; i++) {
        const struct tp_scan_entry *entry = &run->scan.entries[i];
        enum tp_status status;
        if (entry->why == NULL) {
            run->candidates[report->file_count] = i;
            status = name_file(&report->files[report->file_count++], entry);
            run->progress.bytes_total += entry->bytes;
        } else {
            run->others[run->other_count++] = i;
            status = name_other(&report->others[report->other_count++], entry);
            run->progress.bytes_total += run->copier != NULL ? entry->bytes : 0;
        }
        if (status != TP_OK)
            return status;
    }
    run->progress.files_total = report->file_count;
    return TP_OK;
}

/* Files named one by one are sources of their own; those of one folder may still be the tracks of one take. */
static size_t grouping_source(const struct run *run, size_t file)
{
    const struct tp_scan_entry *entry = &run->scan.entries[run->candidates[file]];
    size_t folder = strlen(entry->opened) - strlen(entry->path);
    if (strcmp(entry->opened, run->options->sources[entry->source]) != 0)
        return entry->source;
    for (size_t i = 0; i < file; i++) {
        const struct tp_scan_entry *earlier = &run->scan.entries[run->candidates[i]];
        if (strcmp(earlier->opened, run->options->sources[earlier->source]) == 0 &&
            strlen(earlier->opened) - strlen(earlier->path) == folder &&
            strncmp(earlier->opened, entry->opened, folder) == 0)
            return earlier->source;
    }
    return entry->source;
}

static enum tp_status group_files(struct run *run, struct tp_error *error)
{
    struct tp_report *report = run->report;
    struct tp_group_file *names = calloc(report->file_count + 1, sizeof *names);
    if (names == NULL)
        return out_of_memory(error);
    for (size_t i = 0; i < report->file_count; i++)
        names[i] = (struct tp_group_file){grouping_source(run, i), report->files[i].path_raw, report->files[i].bytes};
    enum tp_status status = tp_groups_make(names, report->file_count, &run->groups, error);
    free(names);
    if (status != TP_OK)
        return status;
    run->pairs = calloc(run->groups.count + 1, sizeof *run->pairs);
    return run->pairs != NULL ? TP_OK : out_of_memory(error);
}

static enum tp_status set_made(struct tp_report *report, int64_t made_s)
{
    time_t when = (time_t)made_s;
    struct tm utc;
    char text[40];
    if (gmtime_r(&when, &utc) == NULL || strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0)
        text[0] = '\0';
    report->made = tp_strdup(text);
    report->version = tp_strdup(TP_VERSION);
    return report->made != NULL && report->version != NULL ? TP_OK : TP_ERR_MEMORY;
}

static enum tp_status start_report(struct run *run, struct tp_error *error)
{
    const struct tp_check_options *options = run->options;
    struct tp_report *report = calloc(1, sizeof *report);
    run->report = report;
    if (report == NULL)
        return out_of_memory(error);
    enum tp_status status = tp_spec_copy(&report->spec, options->spec, error);
    if (status != TP_OK)
        return status;
    report->sources = calloc(options->source_count, sizeof(char *));
    if (report->sources == NULL || set_made(report, options->made_s) != TP_OK)
        return out_of_memory(error);
    for (size_t i = 0; i < options->source_count; i++) {
        report->sources[i] = tp_utf8_repair(options->sources[i], strlen(options->sources[i]));
        if (report->sources[i] == NULL)
            return out_of_memory(error);
        report->source_count++;
    }
    return TP_OK;
}

static enum tp_status check_sources(struct run *run, struct tp_error *error)
{
    enum tp_status status = start_report(run, error);
    /* Before the long part: a mistake in the notes should not cost the minutes of a check. */
    if (status == TP_OK && run->options->log_path != NULL)
        status = tp_log_read(run->options->log_path, &run->log, error);
    if (status == TP_OK)
        status = tp_scan_sources(run->options->sources, run->options->source_count, &run->scan, error);
    if (status == TP_OK && list_files(run) != TP_OK)
        status = out_of_memory(error);
    if (status == TP_OK)
        status = group_files(run, error);
    if (status == TP_OK)
        status = measure_all(run, error);
    if (status == TP_OK && tp_others_judge(&run->scan, run->others, run->heads, run->report) != TP_OK)
        status = out_of_memory(error);
    if (status == TP_OK)
        status = tp_assemble_takes(run->report, &run->groups, run->pairs, error);
    if (status == TP_OK)
        status = tp_segments_join(run->report, error);
    if (status == TP_OK)
        status = tp_parts_observe(run->report, error);
    /* A joined take is named without what numbered its parts. */
    if (status == TP_OK)
        status = tp_takes_name(run->report, error);
    if (status == TP_OK && run->options->log_path != NULL)
        status = tp_log_match(run->report, &run->log, error);
    if (status == TP_OK)
        status = tp_rules_judge(run->report, error);
    return status;
}

enum tp_status tp_check_copying(const struct tp_check_options *options, struct tp_copier *copier,
                                struct tp_report **report, struct tp_error *error)
{
    if (options->source_count == 0 || options->spec == NULL)
        return tp_error_set(error, TP_ERR_USAGE, 0, "nothing to check: name a card, a folder or a file");
    struct run run = {.options = options, .copier = copier};
    enum tp_status status = check_sources(&run, error);
    for (size_t g = 0; run.pairs != NULL && g < run.groups.count; g++)
        free(run.pairs[g].items);
    free(run.pairs);
    free(run.candidates);
    free(run.others);
    free(run.heads);
    tp_groups_clear(&run.groups);
    tp_scan_clear(&run.scan);
    tp_log_clear(&run.log);
    if (status != TP_OK) {
        tp_report_free(run.report);
        return status;
    }
    *report = run.report;
    return TP_OK;
}

enum tp_status tp_check(const struct tp_check_options *options, struct tp_report **report, struct tp_error *error)
{
    return tp_check_copying(options, NULL, report, error);
}

const char *tp_version(void)
{
    return TP_VERSION;
}
