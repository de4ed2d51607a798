/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "handoff/manifest.h"
#include "result.h"

#include <takeproof/takeproof.h>

/* Of several cards: which one it is of. sha256sum passes over such a line; xxhsum --strict does not. */
static void name_card(const struct tp_report *report, size_t source, enum tp_hash hash, FILE *out, bool *lost)
{
    if (report->source_count < 2 || source >= report->source_count || hash != TP_HASH_SHA256)
        return;
    struct tp_text line = {.lost = lost};
    tp_text_format(&line, "# %zu of %zu: ", source + 1, report->source_count);
    for (const char *at = report->sources[source]; *at != '\0'; at++)
        tp_text_append(&line, (unsigned char)*at < 0x20 || *at == 0x7F ? "?" : at, 1);
    tp_text_add(&line, "\n");
    if (line.length > 0)
        fwrite(line.bytes, 1, line.length, out);
    tp_text_clear(&line);
}

enum tp_status tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out,
                                        struct tp_error *error)
{
    bool lost = false;
    struct tp_text line = {.lost = &lost};
    enum tp_hash hash = tp_report_manifest_hash(report, source);
    name_card(report, source, hash, out, &lost);
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
