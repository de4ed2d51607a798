/* SPDX-License-Identifier: MIT */
#include "cli/progress.h"

#include <string.h>
#include <unistd.h>

#define BETWEEN_LINES_S 0.2

static double seconds_between(const struct timespec *from, const struct timespec *to)
{
    return (double)(to->tv_sec - from->tv_sec) + (double)(to->tv_nsec - from->tv_nsec) / 1e9;
}

void tp_cli_progress_init(struct tp_cli_progress *progress, const struct tp_cli *cli,
                          const struct tp_cli_common *common)
{
    *progress = (struct tp_cli_progress){0};
    if (!common->quiet && isatty(fileno(cli->err)) == 1)
        progress->err = cli->err;
    clock_gettime(CLOCK_MONOTONIC, &progress->started);
}

static void time_left(char *text, size_t size, double seconds)
{
    unsigned whole = seconds < 360000 ? (unsigned)(seconds + 0.5) : 359999;
    if (whole >= 3600)
        snprintf(text, size, "%u:%02u:%02u left", whole / 3600, whole / 60 % 60, whole % 60);
    else
        snprintf(text, size, "%u:%02u left", whole / 60, whole % 60);
}

static void print_line(struct tp_cli_progress *progress, const struct tp_progress *now, double elapsed_s)
{
    const double mb = 1e6;
    double bytes_per_s = elapsed_s > 0 ? (double)now->bytes_done / elapsed_s : 0;
    char left[40] = "";
    if (bytes_per_s > 0 && elapsed_s > 1 && now->bytes_total >= now->bytes_done)
        time_left(left, sizeof left, (double)(now->bytes_total - now->bytes_done) / bytes_per_s);
    char line[160];
    int length =
        snprintf(line, sizeof line, "%zu of %zu files  %.0f of %.0f MB  %.0f MB/s  %s", now->files_done,
                 now->files_total, (double)now->bytes_done / mb, (double)now->bytes_total / mb, bytes_per_s / mb, left);
    unsigned columns = tp_cli_columns(progress->err);
    int shown = length < (int)columns ? length : (int)columns - 1;
    fprintf(progress->err, "\r\033[K%.*s", shown, line);
    fflush(progress->err);
    progress->line_open = true;
}

void tp_cli_progress_show(void *user, const struct tp_progress *now)
{
    struct tp_cli_progress *progress = user;
    progress->last = *now;
    progress->last.path = NULL;
    if (progress->err == NULL)
        return;
    struct timespec time_now;
    clock_gettime(CLOCK_MONOTONIC, &time_now);
    if (progress->line_open && seconds_between(&progress->printed, &time_now) < BETWEEN_LINES_S)
        return;
    progress->printed = time_now;
    print_line(progress, now, seconds_between(&progress->started, &time_now));
}

void tp_cli_progress_end(struct tp_cli_progress *progress)
{
    if (progress->line_open)
        fputs("\r\033[K", progress->err);
    progress->line_open = false;
}

void tp_cli_progress_words(const struct tp_cli_progress *progress, char *text, size_t size)
{
    snprintf(text, size, "%zu of %zu files had been read", progress->last.files_done, progress->last.files_total);
}
