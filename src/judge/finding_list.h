/* SPDX-License-Identifier: MIT */
/* A growing list of findings. `failed` is sticky: adds after an allocation failed do nothing, so callers check once. */
#ifndef TP_JUDGE_FINDING_LIST_H
#define TP_JUDGE_FINDING_LIST_H

#include <takeproof/result.h>

struct tp_finding_list {
    struct tp_finding *items;
    size_t count, capacity;
    bool failed;
};

/* Where and how much; start from tp_nowhere(). */
struct tp_finding_place {
    size_t file;
    uint32_t channel;
    double start_s, end_s;
    double value, limit;
    size_t more_places;
};
static inline struct tp_finding_place tp_nowhere(void)
{
    return (struct tp_finding_place){TP_NO_INDEX, TP_NO_CHANNEL, (double)NAN, (double)NAN, (double)NAN, (double)NAN, 0};
}

/* Adds one with a sentence for people. */
void tp_finding_add(struct tp_finding_list *list, enum tp_code code, enum tp_severity severity,
                    struct tp_finding_place place, const char *format, ...) TP_PRINTF(5, 6);

/* Worst first, then by code, file, channel and time: the order of the reports. */
void tp_finding_list_sort(struct tp_finding_list *list);

/* The worst severity as a verdict; PASS for none. */
enum tp_verdict tp_finding_list_verdict(const struct tp_finding_list *list);

void tp_finding_list_clear(struct tp_finding_list *list);

#endif
