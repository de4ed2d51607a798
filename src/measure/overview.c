/* SPDX-License-Identifier: MIT */
#include "measure/overview.h"

#include "measure/level.h"

#include <stdlib.h>

void tp_overview_init(struct tp_overview_meter *meter)
{
    meter->bins = 0;
    meter->blocks_per_bin = 1;
    meter->blocks_in_last = 0;
}

static void halve(struct tp_overview_meter *meter)
{
    for (uint32_t bin = 0; bin < TP_OVERVIEW_BINS_MAX / 2; bin++) {
        meter->min[bin] = fminf(meter->min[2 * bin], meter->min[2 * bin + 1]);
        meter->max[bin] = fmaxf(meter->max[2 * bin], meter->max[2 * bin + 1]);
    }
    meter->bins = TP_OVERVIEW_BINS_MAX / 2;
    meter->blocks_per_bin *= 2;
    meter->blocks_in_last = meter->blocks_per_bin;
}

void tp_overview_push(struct tp_overview_meter *meter, float min, float max)
{
    if (meter->bins > 0 && meter->blocks_in_last < meter->blocks_per_bin) {
        uint32_t last = meter->bins - 1;
        meter->min[last] = min < meter->min[last] ? min : meter->min[last];
        meter->max[last] = max > meter->max[last] ? max : meter->max[last];
        meter->blocks_in_last++;
        return;
    }
    if (meter->bins == TP_OVERVIEW_BINS_MAX)
        halve(meter);
    meter->min[meter->bins] = min;
    meter->max[meter->bins] = max;
    meter->bins++;
    meter->blocks_in_last = 1;
}

/* In 1/127 of full scale, away from zero, so that no sound at all is drawn as silence. */
static int8_t drawn(float value)
{
    float scaled = value < 0.0f ? floorf(value * 127.0f) : ceilf(value * 127.0f);
    return (int8_t)(scaled > 127.0f ? 127.0f : scaled < -127.0f ? -127.0f : scaled);
}

bool tp_overview_finish(const struct tp_overview_meter *meter, struct tp_overview *overview)
{
    *overview = (struct tp_overview){.frames_per_bin = meter->blocks_per_bin * TP_EXTREMES_FRAMES};
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
