/* SPDX-License-Identifier: MIT */
/*
 * Structure-aware mutations of healthy files (support/damage.h) through the whole check: no crash (build it with the
 * sanitizers), no file over two seconds of processor time, no memory over 256 MB, and above all no `pass` for a file
 * whose sound was cut, zeroed, repeated or replaced. Where only header or metadata were damaged a pass may be right: if
 * the sound reads as in the healthy file.
 *
 * Usage: mutations COUNT [SEED [JOBS]]. Prints a table of damage against what was found; fails on any of the above.
 * The figures do not depend on JOBS. Each job is a process that is started anew where one died.
 * MUTATIONS_ONLY=n runs that one alone and tells the report; MUTATIONS_KEEP=FOLDER keeps what passed wrongly.
 *
 * What nobody could find is not among the damage: a repeat inside digital silence changes nothing, and a mutation that
 * leaves the file as it was is not counted.
 */
#include "support/damage.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <takeproof/takeproof.h>
#include <time.h>
#include <unistd.h>

#define SECONDS_MAX 2
#define MEMORY_MAX_MB 256.0
#define JOBS_MAX 64
#define CHANNELS 2

enum state { NOT_RUN, UNCHANGED, FAIL, LISTEN, PASS, CRASHED, HUNG, STOPPED, STATES };

struct outcome {
    uint8_t state; /* enum state */
    bool is_wrong_pass, is_heavy;
    float seconds;
};

/* How a file's sound was read: what must not change where only other parts were damaged. */
struct sound {
    uint64_t frames;
    uint32_t rate_hz, channels, bits;
    enum tp_encoding encoding;
    double sample_peak_dbfs[CHANNELS], integrated_lufs[CHANNELS], dc_offset[CHANNELS];
};

/* Shared by all processes. */
struct shared {
    bool healthy; /* all bases pass; their sound: */
    struct sound sounds[DAMAGE_BASES];
    size_t at[JOBS_MAX]; /* the mutation at which each job is */
    float peak_mb[JOBS_MAX];
    struct outcome outcomes[];
};

struct run {
    struct damage_base bases[DAMAGE_BASES];
    struct tp_spec spec;
    size_t count, jobs;
    uint64_t seed;
    struct shared *shared;
};

static struct sound sound_of(const struct tp_report *report)
{
    struct sound sound;
    memset(&sound, 0, sizeof sound);
    if (report->file_count != 1 || report->files[0].channels == NULL)
        return sound;
    const struct tp_file *file = &report->files[0];
    sound.frames = file->frames;
    sound.rate_hz = file->sample_rate_hz;
    sound.channels = file->channel_count;
    sound.bits = file->bit_depth;
    sound.encoding = file->encoding;
    for (uint32_t c = 0; c < file->channel_count && c < CHANNELS; c++) {
        sound.sample_peak_dbfs[c] = file->channels[c].sample_peak_dbfs;
        sound.integrated_lufs[c] = file->channels[c].integrated_lufs;
        sound.dc_offset[c] = file->channels[c].dc_offset;
    }
    return sound;
}

static bool is_same_sound(const struct sound *a, const struct sound *b)
{
    return a->frames == b->frames && a->rate_hz == b->rate_hz && a->channels == b->channels && a->bits == b->bits &&
           a->encoding == b->encoding &&
           memcmp(a->sample_peak_dbfs, b->sample_peak_dbfs, sizeof a->sample_peak_dbfs) == 0 &&
           memcmp(a->integrated_lufs, b->integrated_lufs, sizeof a->integrated_lufs) == 0 &&
           memcmp(a->dc_offset, b->dc_offset, sizeof a->dc_offset) == 0;
}

static void path_of_job(char *path, size_t size)
{
    snprintf(path, size, "%s/tp-mutation-%ld.wav", access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp", (long)getpid());
}

/* False when the check itself stopped. */
static bool check(const struct run *run, const uint8_t *bytes, size_t size, enum tp_verdict *verdict,
                  struct sound *sound)
{
    char path[64];
    const char *source = path;
    path_of_job(path, sizeof path);
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(bytes, 1, size, file) != size || fclose(file) != 0)
        exit(3);
    struct tp_check_options options = {.sources = &source, .source_count = 1, .spec = &run->spec, .jobs = 1};
    struct tp_report *report;
    struct tp_error error = {0};
    if (tp_check(&options, &report, &error) != TP_OK) {
        printf("the check stopped: %s\n", tp_error_text(&error));
        return false;
    }
    *verdict = report->verdict;
    *sound = sound_of(report);
    struct tp_text_options text = {.columns = 100};
    if (getenv("MUTATIONS_ONLY") != NULL)
        (void)!tp_report_write_text(report, &text, stdout, NULL);
    tp_report_free(report);
    return true;
}

static double processor_s(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

/* The system ends a process that takes too long; a minute for one that waits for nothing. */
static void set_limits(long processor_s_max, unsigned wall_s_max)
{
    struct itimerval timer = {.it_value = {.tv_sec = processor_s_max}};
    setitimer(ITIMER_PROF, &timer, NULL);
    alarm(wall_s_max);
}

static float memory_mb(void)
{
    struct rusage usage = {0};
    getrusage(RUSAGE_SELF, &usage);
    return (float)usage.ru_maxrss / 1024.0f; /* Linux counts in KiB */
}

static void keep(const struct damage *damage, size_t number)
{
    const char *folder = getenv("MUTATIONS_KEEP");
    char path[4096];
    if (folder == NULL || snprintf(path, sizeof path, "%s/wrong-pass-%zu.wav", folder, number) >= (int)sizeof path)
        return;
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(damage->bytes, 1, damage->size, file) != damage->size || fclose(file) != 0)
        exit(3);
}

static void mutate(const struct run *run, size_t number, size_t job)
{
    struct outcome *outcome = &run->shared->outcomes[number];
    struct damage damage;
    enum tp_verdict verdict = TP_VERDICT_FAIL;
    struct sound sound;
    bool changed = damage_make(run->bases, run->seed, number, &damage);
    double start_s = processor_s();
    set_limits(SECONDS_MAX, 60);
    bool done = check(run, damage.bytes, damage.size, &verdict, &sound);
    set_limits(0, 0);
    outcome->seconds = (float)(processor_s() - start_s);
    run->shared->peak_mb[job] = memory_mb();
    outcome->is_heavy = run->shared->peak_mb[job] > (float)MEMORY_MAX_MB;
    const enum state states[] = {[TP_VERDICT_PASS] = PASS, [TP_VERDICT_LISTEN] = LISTEN, [TP_VERDICT_FAIL] = FAIL};
    outcome->state = (uint8_t)(!done ? STOPPED : !changed ? UNCHANGED : states[verdict]);
    outcome->is_wrong_pass =
        outcome->state == PASS &&
        (damage.kind->hurts_sound || !is_same_sound(&sound, &run->shared->sounds[damage.base - run->bases]));
    if (outcome->is_wrong_pass) {
        printf("wrong pass: %s, mutation %zu, base %d: %zu bytes at %zu of the file\n", damage.kind->name, number,
               (int)(damage.base - run->bases), damage.length, damage.at);
        keep(&damage, number);
    }
    free(damage.bytes);
}

/* --- processes --- */

static void check_bases(const struct run *run)
{
    run->shared->healthy = true;
    for (size_t i = 0; i < DAMAGE_BASES; i++) {
        enum tp_verdict verdict;
        if (!check(run, run->bases[i].bytes, run->bases[i].size, &verdict, &run->shared->sounds[i]) ||
            verdict != TP_VERDICT_PASS || run->shared->sounds[i].frames == 0) {
            printf("healthy file %zu does not pass: the test proves nothing\n", i);
            run->shared->healthy = false;
        }
    }
}

static void work(const struct run *run, size_t job)
{
    struct shared *shared = run->shared;
    for (; shared->at[job] < run->count; shared->at[job] += run->jobs) {
        mutate(run, shared->at[job], job);
        /* The peak of a process never falls: one that was too large makes room for another. */
        if (shared->outcomes[shared->at[job]].is_heavy) {
            shared->at[job] += run->jobs;
            return;
        }
    }
}

/* `job` JOBS_MAX: the healthy files. */
static pid_t start(struct run *run, size_t job)
{
    fflush(stdout);
    pid_t pid = fork();
    if (pid < 0)
        exit(3);
    if (pid > 0)
        return pid;
    if (job == JOBS_MAX)
        check_bases(run);
    else
        work(run, job);
    char path[64];
    path_of_job(path, sizeof path);
    unlink(path);
    damage_bases_clear(run->bases);
    tp_spec_clear(&run->spec);
    munmap(run->shared, sizeof *run->shared + run->count * sizeof *run->shared->outcomes);
    exit(0);
}

/* A leak that the sanitizer finds at the end of a job counts as a crash of the job's last mutation. */
static void note_death(const struct run *run, size_t job, int status)
{
    size_t number = run->shared->at[job] < run->count ? run->shared->at[job] : run->shared->at[job] - run->jobs;
    bool hung = WIFSIGNALED(status) && (WTERMSIG(status) == SIGPROF || WTERMSIG(status) == SIGALRM);
    printf("%s: mutation %zu, %s\n", hung ? "hang" : "crash", number, damage_kinds[number % damage_kind_count].name);
    run->shared->outcomes[number].state = hung ? HUNG : CRASHED;
    run->shared->at[job] += run->jobs;
}

static size_t count_done(const struct run *run)
{
    size_t done = 0;
    for (size_t i = 0; i < run->count; i++)
        done += run->shared->outcomes[i].state != NOT_RUN;
    return done;
}

static void run_all(struct run *run)
{
    pid_t pids[JOBS_MAX] = {0};
    size_t running = 0;
    for (size_t job = 0; job < run->jobs; job++, running++) {
        run->shared->at[job] = job;
        pids[job] = start(run, job);
    }
    for (unsigned ticks = 1; running > 0; ticks++) {
        int status;
        for (pid_t pid; (pid = waitpid(-1, &status, WNOHANG)) > 0;) {
            size_t job = 0;
            while (pids[job] != pid)
                job++;
            if (status != 0)
                note_death(run, job, status);
            pids[job] = 0;
            running--;
            if (run->shared->at[job] < run->count) {
                pids[job] = start(run, job);
                running++;
            }
        }
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
        if (ticks % 600 == 0) /* every half minute */
            fprintf(stderr, "%zu of %zu\n", count_done(run), run->count);
    }
}

/* --- figures --- */

/* More than a share of `gap` explains: by four standard deviations of a binomial, so that chance hardly ever does. */
static bool is_beyond_gap(size_t wrong, size_t all, double gap)
{
    double expected = gap * (double)all;
    return (double)wrong > expected + 4.0 * sqrt(expected * (1.0 - gap));
}

static bool print_figures(const struct run *run)
{
    size_t all[STATES] = {0}, wrong = 0, heavy = 0;
    float slowest_s = 0.0f, peak_mb = 0.0f;
    bool beyond_gap = false;
    printf("%-42s %7s %7s %7s %7s %7s %7s\n", "damage", "fail", "listen", "pass", "wrong", "crash", "hang");
    for (size_t k = 0; k < damage_kind_count; k++) {
        size_t found[STATES] = {0}, wrong_here = 0;
        for (size_t i = k; i < run->count; i += damage_kind_count) {
            const struct outcome *outcome = &run->shared->outcomes[i];
            found[outcome->state]++;
            all[outcome->state]++;
            wrong_here += outcome->is_wrong_pass;
            heavy += outcome->is_heavy;
            slowest_s = outcome->seconds > slowest_s ? outcome->seconds : slowest_s;
        }
        printf("%-42s %7zu %7zu %7zu %7zu %7zu %7zu\n", damage_kinds[k].name, found[FAIL], found[LISTEN], found[PASS],
               wrong_here, found[CRASHED], found[HUNG]);
        beyond_gap = beyond_gap || is_beyond_gap(wrong_here, found[FAIL] + found[LISTEN] + found[PASS],
                                                 0.01 * damage_kinds[k].missed_percent);
        wrong += wrong_here;
    }
    for (size_t job = 0; job < run->jobs; job++)
        peak_mb = run->shared->peak_mb[job] > peak_mb ? run->shared->peak_mb[job] : peak_mb;
    printf("%zu crashes, %zu hangs over %d s, %zu over %.0f MB, %zu stopped checks, %zu changed nothing; slowest file "
           "%.3f s, peak memory %.0f MB\n",
           all[CRASHED], all[HUNG], SECONDS_MAX, heavy, MEMORY_MAX_MB, all[STOPPED], all[UNCHANGED], (double)slowest_s,
           (double)peak_mb);
    printf("%zu of %zu mutations without a wrong pass\n", run->count - wrong, run->count);
    return !beyond_gap && all[CRASHED] + all[HUNG] + all[STOPPED] + all[NOT_RUN] + heavy == 0;
}

static const char spec_text[] = "[format]\nsample_rate_hz = 48000\nbit_depth = any\nencoding = any\n"
                                "[level]\nworking_level_min_dbfs = -60\nworking_level_max_dbfs = 0\n"
                                "noise_floor_max_dbfs = -30\n";

int main(int argc, char **argv)
{
    struct run run = {.count = argc > 1 ? (size_t)atol(argv[1]) : 500,
                      .seed = argc > 2 ? (uint64_t)atol(argv[2]) : 1,
                      .jobs = argc > 3 ? (size_t)atol(argv[3]) : 1};
    struct tp_error error = {0};
    const char *only = getenv("MUTATIONS_ONLY");
    size_t size = sizeof *run.shared + run.count * sizeof *run.shared->outcomes;
    if (run.count == 0 || run.jobs == 0 || run.jobs > JOBS_MAX)
        return 3;
    run.shared = mmap(NULL, size, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (run.shared == MAP_FAILED ||
        tp_spec_read_bytes(&run.spec, spec_text, sizeof spec_text - 1, "mutations", &error) != TP_OK) {
        printf("%s\n", tp_error_text(&error));
        return 3;
    }
    damage_bases_init(run.bases);
    int status;
    waitpid(start(&run, JOBS_MAX), &status, 0);
    bool good = status == 0 && run.shared->healthy;
    if (good && only != NULL && (size_t)atol(only) < run.count) {
        mutate(&run, (size_t)atol(only), 0);
    } else if (good) {
        run_all(&run);
        good = print_figures(&run);
    }
    damage_bases_clear(run.bases);
    tp_spec_clear(&run.spec);
    munmap(run.shared, size);
    return good ? 0 : 1;
}
