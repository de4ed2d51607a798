/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "handoff/manifest.h"
#include "result.h"

#include <takeproof/takeproof.h>

enum tp_status tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out,
                                        struct tp_error *error)
{
    bool lost = false;
    struct tp_text line = {.lost = &lost};
    enum tp_hash hash = tp_report_manifest_hash(report, source);
    for (size_t i = 0; i < report->file_count; i++) {
        const char *hex = tp_file_hash(&report->files[i], hash);
        if (report->files[i].source != source || hex[0] == '\0')
            continue;
        tp_manifest_line(&line, hash, hex, report->files[i].path_raw);
        if (line.length > 0)
            fwrite(line.bytes, 1, line.length, out);
        tp_text_clear(&line);
    }
    return tp_written(out, lost, "the manifest", error);
}
