/* SPDX-License-Identifier: MIT */
/*
 * The findings of a take as a person wants them told: what repeats in one line with its times, the most important
 * first, so that sixty clicks hide nothing else. findings.csv and report.json list each finding on its own.
 */
#ifndef TP_REPORT_TOPICS_H
#define TP_REPORT_TOPICS_H

#include "base/text.h"

#include <takeproof/result.h>

/* Findings that are told together: of one code, of one place in time or channel each; or the very same sentence. */
struct tp_topic {
    const struct tp_finding *first; /* the worst of them, then the earliest in the take's list */
    size_t count;
    int rank;        /* within a severity; smaller is more important */
    bool is_covered; /* damage of a main that its safety covers: the advice is to use the safety */
};

struct tp_topics {
    struct tp_topic *items; /* most important first */
    size_t count;
};

/* The topics of what a person must know (listen and fail). Within a severity: what cannot be read, damage without a
 * clean channel, pair and choice, damage that a safety covers, format, levels and faults, name and metadata. On lack of
 * memory false and no topics. Free with tp_topics_clear(). */
bool tp_topics_of(const struct tp_take *take, struct tp_topics *topics);
void tp_topics_clear(struct tp_topics *topics);

/* The sentence of one finding; of several "Click, at 16 places: 0:01.0, 0:03.2, 0:04.7, 0:09.0 and 12 more." */
void tp_topic_words(const struct tp_report *report, const struct tp_take *take, const struct tp_topic *topic,
                    struct tp_text *out);

/* Whether the advice of the topic at `index` is to be given with a take's first lines: that of the two most important
 * that no safety covers, and that the safety is to be used. */
bool tp_topic_is_advised(const struct tp_topics *topics, size_t index);

#endif
