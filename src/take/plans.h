/* SPDX-License-Identifier: MIT */
/*
 * Plans of the FFT for real samples (kissfft), kept from one group of files to the next: making one takes longer than
 * a transform by it. For one thread: a plan holds the room that it works in.
 */
#ifndef TP_TAKE_PLANS_H
#define TP_TAKE_PLANS_H

#include <kiss_fftr.h>
#include <stdbool.h>
#include <stddef.h>

#define TP_PLANS_MAX 8 /* sizes: those of the excerpts are five in all */

struct tp_plan {
    size_t frames; /* of a transform; even */
    kiss_fftr_cfg forward, inverse;
};
/* Start as {0}. */
struct tp_plans {
    struct tp_plan items[TP_PLANS_MAX];
    size_t count;
};

/* Made when first asked for; owned by `plans`, valid until they are cleared. NULL when memory is short or there are too
 * many sizes. */
const struct tp_plan *tp_plans_get(struct tp_plans *plans, size_t frames);
void tp_plans_clear(struct tp_plans *plans);

#endif
