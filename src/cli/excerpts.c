/* SPDX-License-Identifier: MIT */
#include "cli/excerpts.h"

#include <string.h>

#define COUNT_MAX 10000

bool tp_cli_excerpts_read(const char *text, size_t by_default, size_t *count)
{
    size_t value = 0;
    if (text == NULL || strcmp(text, "none") == 0) {
        *count = text == NULL ? by_default : 0;
        return true;
    }
    if (*text == '\0')
        return false;
    for (; *text >= '0' && *text <= '9' && value <= COUNT_MAX; text++)
        value = value * 10 + (size_t)(*text - '0');
    *count = value;
    return *text == '\0' && value <= COUNT_MAX;
}
