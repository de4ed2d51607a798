/* SPDX-License-Identifier: MIT */
#include "measure/overview.h"

#include <math.h>
#include <stdlib.h>

void tp_overview_init(struct tp_overview_meter *meter)
{
    meter->bins = 0;
    meter->cells_per_bin = 1;
    meter->cells_in_last = 0;
}

static void halve(struct tp_overview_meter *meter)
{
    for (uint32_t bin = 0; bin < TP_OVERVIEW_BINS_MAX / 2; bin++) {
        meter->min[bin] = fminf(meter->min[2 * bin], meter->min[2 * bin + 1]);
        meter->max[bin] = fmaxf(meter->max[2 * bin], meter->max[2 * bin + 1]);
    }
    meter->bins = TP_OVERVIEW_BINS_MAX / 2;
    meter->cells_per_bin *= 2;
}

static void widen(float *min, float *max, float low, float high)
{
    *min = low < *min ? low : *min;
    *max = high > *max ? high : *max;
}

void tp_overview_push(struct tp_overview_meter *meter, const struct tp_cells *cells)
{
    for (size_t at = 0; at < cells->count;) {
        if (meter->bins == 0 || meter->cells_in_last == meter->cells_per_bin) {
            if (meter->bins == TP_OVERVIEW_BINS_MAX)
                halve(meter);
            meter->min[meter->bins] = cells->low[at];
            meter->max[meter->bins] = cells->high[at];
            meter->bins++;
            meter->cells_in_last = 0;
        }
        uint64_t room = meter->cells_per_bin - meter->cells_in_last;
        size_t left = cells->count - at, take = room < left ? (size_t)room : left;
        float *min = &meter->min[meter->bins - 1], *max = &meter->max[meter->bins - 1];
        if (take == cells->count)
            widen(min, max, cells->lowest, cells->highest);
        for (size_t c = at; take < cells->count && c < at + take; c++)
            widen(min, max, cells->low[c], cells->high[c]);
        meter->cells_in_last += take;
        at += take;
    }
}

/* In 1/127 of full scale, away from zero, so that no sound at all is drawn as silence. */
static int8_t drawn(float value)
{
    float scaled = value < 0.0f ? floorf(value * 127.0f) : ceilf(value * 127.0f);
    return (int8_t)(scaled > 127.0f ? 127.0f : scaled < -127.0f ? -127.0f : scaled);
}

bool tp_overview_finish(const struct tp_overview_meter *meter, struct tp_overview *overview)
{
    *overview = (struct tp_overview){.frames_per_bin = meter->cells_per_bin * TP_CELL_FRAMES};
    if (meter->bins == 0)
        return true;
    int8_t *min = malloc(meter->bins), *max = malloc(meter->bins);
    if (min == NULL || max == NULL) {
        free(min);
        free(max);
        return false;
    }
    for (uint32_t bin = 0; bin < meter->bins; bin++) {
        min[bin] = drawn(meter->min[bin]);
        max[bin] = drawn(meter->max[bin]);
    }
    overview->min = min;
    overview->max = max;
    overview->bin_count = meter->bins;
    return true;
}
