/* SPDX-License-Identifier: MIT */
/* One line of progress on stderr, only when that is a terminal; and what was done so far, for the words of an
 * interruption. */
#ifndef TP_CLI_PROGRESS_H
#define TP_CLI_PROGRESS_H

#include "cli/cli.h"

#include <time.h>

struct tp_cli_progress {
    FILE *err; /* NULL = say nothing */
    struct timespec started, printed;
    bool line_open;
    struct tp_progress last; /* .path is NULL */
};

void tp_cli_progress_init(struct tp_cli_progress *progress, const struct tp_cli *cli,
                          const struct tp_cli_common *common);
/* A tp_progress_fn: `user` is the struct. */
void tp_cli_progress_show(void *user, const struct tp_progress *now);
/* Removes the line. */
void tp_cli_progress_end(struct tp_cli_progress *progress);
/* "3 of 12 files were read" */
void tp_cli_progress_words(const struct tp_cli_progress *progress, char *text, size_t size);

#endif
