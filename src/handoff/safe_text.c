/* SPDX-License-Identifier: MIT */
#include "handoff/safe_text.h"

#include "base/text.h"

#include <string.h>

void tp_safe_print(FILE *out, const char *text)
{
    size_t length = strlen(text);
    for (size_t i = 0; i < length;) {
        size_t size = tp_utf8_length(text + i, length - i);
        unsigned char first = (unsigned char)text[i];
        bool control =
            first < 0x20 || first == 0x7f || (first == 0xc2 && size == 2 && (unsigned char)text[i + 1] < 0xa0);
        if (size == 0 || control)
            fputs("\xef\xbf\xbd", out);
        else
            fwrite(text + i, 1, size, out);
        i += size > 0 ? size : 1;
    }
}
