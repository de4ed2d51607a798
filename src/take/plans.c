/* SPDX-License-Identifier: MIT */
#include "take/plans.h"

static void free_plan(struct tp_plan *plan)
{
    kiss_fftr_free(plan->forward);
    kiss_fftr_free(plan->inverse);
}

const struct tp_plan *tp_plans_get(struct tp_plans *plans, size_t frames)
{
    for (size_t i = 0; i < plans->count; i++)
        if (plans->items[i].frames == frames)
            return &plans->items[i];
    if (plans->count == TP_PLANS_MAX)
        return NULL;
    struct tp_plan *plan = &plans->items[plans->count];
    *plan = (struct tp_plan){.frames = frames,
                             .forward = kiss_fftr_alloc((int)frames, 0, NULL, NULL),
                             .inverse = kiss_fftr_alloc((int)frames, 1, NULL, NULL)};
    if (plan->forward == NULL || plan->inverse == NULL) {
        free_plan(plan);
        return NULL;
    }
    plans->count++;
    return plan;
}

void tp_plans_clear(struct tp_plans *plans)
{
    for (size_t i = 0; i < plans->count; i++)
        free_plan(&plans->items[i]);
    *plans = (struct tp_plans){0};
}
