/* SPDX-License-Identifier: MIT */
/* Parts for tp_kweight_parts() that lie one after another. */
#ifndef SUPPORT_KWEIGHT_ROW_H
#define SUPPORT_KWEIGHT_ROW_H

#include "measure/kweight.h"

/* Part p is samples[starts[p]] to samples[starts[p + 1] - 1]. */
static inline void kweight_row(struct tp_kweight_part parts[TP_KWEIGHT_PARTS], const float *samples,
                               const size_t starts[TP_KWEIGHT_PARTS + 1])
{
    for (size_t p = 0; p < TP_KWEIGHT_PARTS; p++)
        parts[p] = (struct tp_kweight_part){samples + starts[p], starts[p + 1] - starts[p]};
}

#endif
