/* SPDX-License-Identifier: MIT */
#include "measure/trace.h"

#include "base/num.h"
#include "base/text.h"

#include <stdlib.h>

#define LOWEST_DBFS (-180.0)

static uint8_t step_of(double power, double with_dc, double slope_power)
{
    if (!isfinite(power) || !isfinite(slope_power)) /* the largest floats have squares beyond all numbers */
        return TP_TRACE_LEVEL;
    if (!(slope_power > 0.0))
        return with_dc > 0.0 ? 0 : TP_TRACE_ZEROS;
    double flatness = power > 0.0 ? slope_power / power : 0.0;
    double level = power > 0.0 ? ceil((tp_db_from_power(power) + TP_AES17_DB - LOWEST_DBFS) / TP_TRACE_DB) : 1.0;
    uint8_t code = level > 1.0 ? level < (double)TP_TRACE_LEVEL ? (uint8_t)level : TP_TRACE_LEVEL : 1;
    return flatness >= TP_TRACE_FLATNESS_MIN ? (uint8_t)(code | TP_TRACE_FLAT) : code;
}

static uint8_t both(uint8_t a, uint8_t b)
{
    uint8_t level_a = a & TP_TRACE_LEVEL, level_b = b & TP_TRACE_LEVEL, flag = a & b & TP_TRACE_FLAT;
    /* What is still says nothing of the spectrum of the other. */
    if (level_a == 0 && level_b > 0)
        flag = b & TP_TRACE_FLAT;
    else if (level_b == 0 && level_a > 0)
        flag = a & TP_TRACE_FLAT;
    return (uint8_t)((level_a > level_b ? level_a : level_b) | flag);
}

static void halve(struct tp_trace_meter *meter)
{
    for (size_t i = 0; i + 1 < meter->count; i += 2)
        meter->steps[i / 2] = both(meter->steps[i], meter->steps[i + 1]);
    meter->count /= 2;
    meter->merged *= 2;
}

static void keep(struct tp_trace_meter *meter, uint8_t step)
{
    if (meter->failed || !tp_grow(&meter->steps, &meter->capacity, meter->count, sizeof *meter->steps)) {
        meter->failed = true;
        return;
    }
    meter->steps[meter->count++] = step;
}

void tp_trace_add(struct tp_trace_meter *meter, double power, double with_dc, double slope_power)
{
    uint8_t step = step_of(power, with_dc, slope_power);
    meter->merged = meter->merged > 0 ? meter->merged : 1;
    meter->pending = meter->pending_count > 0 ? both(meter->pending, step) : step;
    if (++meter->pending_count < meter->merged)
        return;
    meter->pending_count = 0;
    keep(meter, meter->pending);
    if (meter->count == TP_TRACE_STEPS_MAX)
        halve(meter);
}

bool tp_trace_finish(struct tp_trace_meter *meter, uint64_t step_frames, struct tp_trace *trace)
{
    if (meter->pending_count > 0)
        keep(meter, meter->pending);
    *trace = (struct tp_trace){.steps = meter->steps,
                               .step_count = (uint32_t)meter->count,
                               .frames_per_step = step_frames * (meter->merged > 0 ? meter->merged : 1)};
    bool failed = meter->failed;
    *meter = (struct tp_trace_meter){0};
    return !failed;
}

void tp_trace_clear(struct tp_trace_meter *meter)
{
    free(meter->steps);
    *meter = (struct tp_trace_meter){0};
}

double tp_trace_dbfs(uint8_t step)
{
    return tp_trace_is_still(step) ? -INFINITY : LOWEST_DBFS + TP_TRACE_DB * (double)(step & TP_TRACE_LEVEL);
}
