/* SPDX-License-Identifier: MIT */
/*
 * The format that a file is held against.
 *
 * With a spec it is the spec's. Without one (tp_spec.is_default) nothing was agreed: where more than half of a source's
 * recordings share a format that keeps all that the built-in one keeps (float, more bits, a whole multiple of the
 * rate), that is the card's format. It is told once for the card, and only the odd ones are findings of their takes.
 * Whatever keeps less (44,100 Hz, 16 bits) stays a finding of each. Common practice, no source.
 */
#ifndef TP_JUDGE_CARD_FORMAT_H
#define TP_JUDGE_CARD_FORMAT_H

#include "judge/finding_list.h"

struct tp_card_format {
    uint32_t sample_rate_hz; /* 0 = any */
    enum tp_encoding encoding;
    uint32_t bit_depth; /* 0 = any */
    bool own_rate, own_samples;
    size_t files, rate_files, sample_files; /* of the source: all with sound, and those of its own format */
};

/* One for each source of the report; owned by the caller. NULL when memory is short. */
struct tp_card_format *tp_card_formats(const struct tp_report *report);

/* Tells the formats that are the cards' own: one finding a card and kind, `listen` when all its files share it, else
 * `fail`. */
void tp_card_formats_tell(const struct tp_report *report, const struct tp_card_format *formats,
                          struct tp_finding_list *list);

#endif
