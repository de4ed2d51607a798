/* SPDX-License-Identifier: MIT */
#include "judge/finding_list.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *format_sentence(const char *format, va_list values)
{
    va_list again;
    va_copy(again, values);
    int length = vsnprintf(NULL, 0, format, again);
    va_end(again);
    char *sentence = length >= 0 ? malloc((size_t)length + 1) : NULL;
    if (sentence != NULL)
        vsnprintf(sentence, (size_t)length + 1, format, values);
    return sentence;
}

void tp_finding_add(struct tp_finding_list *list, enum tp_code code, enum tp_severity severity,
                    struct tp_finding_place place, const char *format, ...)
{
    if (list->failed)
        return;
    va_list values;
    va_start(values, format);
    char *message = format_sentence(format, values);
    va_end(values);
    if (message == NULL || !tp_grow(&list->items, &list->capacity, list->count, sizeof *list->items)) {
        free(message);
        list->failed = true;
        return;
    }
    list->items[list->count++] = (struct tp_finding){.code = code,
                                                     .severity = severity,
                                                     .file = place.file,
                                                     .channel = place.channel,
                                                     .start_s = place.start_s,
                                                     .end_s = place.end_s,
                                                     .value = place.value,
                                                     .limit = place.limit,
                                                     .message = message,
                                                     .more_places = place.more_places};
}

static int compare_sizes(size_t a, size_t b)
{
    return a < b ? -1 : a > b;
}

static int compare_findings(const void *a, const void *b)
{
    const struct tp_finding *first = a;
    const struct tp_finding *second = b;
    if (first->severity != second->severity)
        return first->severity > second->severity ? -1 : 1;
    if (first->code != second->code)
        return first->code < second->code ? -1 : 1;
    int order = compare_sizes(first->file, second->file);
    if (order == 0)
        order = compare_sizes(first->channel, second->channel);
    if (order != 0)
        return order;
    double first_s = tp_exists(first->start_s) ? first->start_s : -1.0;
    double second_s = tp_exists(second->start_s) ? second->start_s : -1.0;
    if (first_s != second_s)
        return first_s < second_s ? -1 : 1;
    /* qsort keeps no order of its own: the reports must come out the same everywhere. */
    return strcmp(first->message, second->message);
}

void tp_finding_list_sort(struct tp_finding_list *list)
{
    if (list->count > 1)
        qsort(list->items, list->count, sizeof *list->items, compare_findings);
}

enum tp_verdict tp_finding_list_verdict(const struct tp_finding_list *list)
{
    enum tp_severity worst = TP_NOTE;
    for (size_t i = 0; i < list->count; i++)
        if (list->items[i].severity > worst)
            worst = list->items[i].severity;
    return worst == TP_FAIL ? TP_VERDICT_FAIL : worst == TP_LISTEN ? TP_VERDICT_LISTEN : TP_VERDICT_PASS;
}

void tp_finding_list_clear(struct tp_finding_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        free(list->items[i].message);
    free(list->items);
    *list = (struct tp_finding_list){0};
}
