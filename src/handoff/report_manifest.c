/* SPDX-License-Identifier: MIT */
#include "handoff/manifest.h"
#include "result.h"

#include <stdio.h>
#include <takeproof/takeproof.h>

void tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out)
{
    struct tp_text line = {0};
    bool sha256 = tp_report_has_sha256(report);
    for (size_t i = 0; i < report->file_count; i++) {
        const char *hash = sha256 ? report->files[i].sha256 : report->files[i].xxh64;
        if (report->files[i].source != source || hash[0] == '\0')
            continue;
        tp_manifest_line(&line, hash, report->files[i].path_raw);
        fwrite(line.bytes, 1, line.length, out);
        tp_text_clear(&line);
    }
}
