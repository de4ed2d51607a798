/* SPDX-License-Identifier: MIT */
/* Stopping on SIGINT and SIGTERM. The flag is the program's only mutable global: a signal handler can reach nothing
 * else. */
#ifndef TP_CLI_CANCEL_H
#define TP_CLI_CANCEL_H

#include <signal.h>

/* From now on the first signal sets the flag; a second one ends the program at once. */
void tp_cli_cancel_catch(void);
/* For the `cancel` member of the library's options. */
const volatile sig_atomic_t *tp_cli_cancel_flag(void);

#endif
