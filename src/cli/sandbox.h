/* SPDX-License-Identifier: MIT */
/*
 * From here on the process may write, make, rename and remove files only below `folders`, start no program and open no
 * TCP connection, whatever a hostile file makes of a mistake in us. Reading is not limited. Landlock of the Linux
 * kernel (Documentation/userspace-api/landlock.rst); where it is missing, older or forbidden, less or nothing is held,
 * quietly: the checks in the library do not rest on it.
 *
 * A folder that is not there yet stands for the nearest one above it that is: name a folder that exists when the source
 * lies beside it. Threads that run already are not bound, so call it before any are started.
 */
#ifndef TP_CLI_SANDBOX_H
#define TP_CLI_SANDBOX_H

#include <stddef.h>

/* NULLs among the folders are passed over. */
void tp_cli_write_only_below(const char *const *folders, size_t count);

#endif
