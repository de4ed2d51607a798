/* SPDX-License-Identifier: MIT */
#include "handoff/manifest.h"

#include <stdio.h>
#include <takeproof/takeproof.h>

void tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out)
{
    struct tp_text line = {0};
    for (size_t i = 0; i < report->file_count; i++) {
        if (report->files[i].source != source || report->files[i].sha256[0] == '\0')
            continue;
        tp_manifest_line(&line, report->files[i].sha256, report->files[i].path_raw);
        fwrite(line.bytes, 1, line.length, out);
        tp_text_clear(&line);
    }
}
