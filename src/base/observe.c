/* SPDX-License-Identifier: MIT */
#include "base/observe.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdlib.h>

size_t tp_observations_count(const struct tp_observations *observations, enum tp_code code)
{
    size_t count = 0;
    for (size_t i = 0; i < observations->count; i++)
        count += observations->items[i].code == code;
    return count;
}

/* Capacity is not stored: it is the power of two at or above count. */
static bool reserve(struct tp_observations *observations)
{
    size_t count = observations->count;
    if ((count & (count - 1)) != 0)
        return true;
    size_t capacity = count == 0 ? 1 : count * 2;
    void *items = realloc(observations->items, capacity * sizeof *observations->items);
    if (items == NULL)
        return false;
    observations->items = items;
    return true;
}

bool tp_observe(struct tp_observations *observations, enum tp_code code, uint32_t channel, double start_s, double end_s,
                double value, double limit, const char *detail_format, ...)
{
    observations->total++;
    if (tp_observations_count(observations, code) >= TP_OBSERVATIONS_PER_CODE)
        return true;
    if (!reserve(observations))
        return false;
    char *detail = NULL;
    if (detail_format != NULL) {
        va_list values;
        va_start(values, detail_format);
        detail = tp_vformat(detail_format, values);
        va_end(values);
        if (detail == NULL)
            return false;
    }
    observations->items[observations->count++] = (struct tp_observation){.code = code,
                                                                         .channel = channel,
                                                                         .start_s = start_s,
                                                                         .end_s = end_s,
                                                                         .value = value,
                                                                         .limit = limit,
                                                                         .detail = detail};
    return true;
}

void tp_observations_clear(struct tp_observations *observations)
{
    for (size_t i = 0; i < observations->count; i++)
        free(observations->items[i].detail);
    free(observations->items);
    *observations = (struct tp_observations){0};
}
