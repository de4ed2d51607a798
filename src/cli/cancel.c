/* SPDX-License-Identifier: MIT */
#include "cli/cancel.h"

#include <stddef.h>

static volatile sig_atomic_t asked;

static void ask(int signal_number)
{
    (void)signal_number;
    asked = 1;
}

void tp_cli_cancel_catch(void)
{
    struct sigaction action = {.sa_handler = ask, .sa_flags = (int)SA_RESETHAND};
    sigemptyset(&action.sa_mask);
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
}

const volatile sig_atomic_t *tp_cli_cancel_flag(void)
{
    return &asked;
}
