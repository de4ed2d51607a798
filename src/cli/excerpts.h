/* SPDX-License-Identifier: MIT */
/* The --excerpts option that check and report share. */
#ifndef TP_CLI_EXCERPTS_H
#define TP_CLI_EXCERPTS_H

#include <stdbool.h>
#include <stddef.h>

/* "none" or a number up to 10000; NULL (not given) gives `by_default`. False when it is neither. */
bool tp_cli_excerpts_read(const char *text, size_t by_default, size_t *count);

#endif
