/* SPDX-License-Identifier: MIT */
/* Reports made by hand for the tests of everything that looks at a card as a whole: one file a take, nothing measured.
 */
#ifndef TESTS_SUPPORT_CARDS_H
#define TESTS_SUPPORT_CARDS_H

#include "base/hashes.h"

#include <takeproof/result.h>

#define CARD_RATE_HZ 48000
#define CARD_AT(h, m, s) ((((h)*60ull + (m)) * 60ull + (s)) * CARD_RATE_HZ)

struct card_take {
    const char *path;
    uint64_t start, seconds;                           /* start in samples; TP_NO_TIMECODE = no bext */
    const char *scene, *take, *date, *sha256, *family; /* NULL = "" (sha256: one of its own) */
    size_t source;
    uint64_t bytes; /* 0 = as the sound needs */
    int64_t more_frames;
    const char *recorded_as, *rate; /* of the iXML, which a card with one of these has; NULL = "" and none */
    uint32_t set_total, set_index;
};

/* A report with one take for each; end with tp_report_free(). */
struct tp_report *card_report(const struct card_take *takes, size_t count, size_t source_count);

/* As if this hash alone had been computed; its digits are the last ones of the SHA-256 that the file has. */
void card_hash_only(struct tp_file *file, enum tp_hash hash);

/* "missing-take@2 clock-jump@3": the report's findings by code and file, in order; owned by the caller. */
char *card_findings(const struct tp_report *report);

#endif
