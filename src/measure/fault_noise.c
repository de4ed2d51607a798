/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "measure/fault_parts.h"

#include <string.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define EVERY 8u /* cells */
#define STEP_S 0.1
#define STEPS_MIN 20u
#define LOWEST_DBFS -150.0
#define BINS_PER_DB 2.0
#define SPREAD_MAX_DB 3.0
#define LEVEL_MAX_DBFS -45.0
#define FLATNESS_MIN                                                                                                   \
    0.5 /* mean square of neighbours' difference over mean square: white 2, pink 0.5, rooms under 0.2 */

#define SUMMED_CELLS (TP_FAULT_BLOCK_CELLS / EVERY)
struct sums {
    float squares[SUMMED_CELLS], slopes[SUMMED_CELLS], sum[SUMMED_CELLS];
};

#define SUMMED (TP_FAULT_CELL - TP_EIGHT) /* samples of a cell whose next one lies in it, too */
#define TP_LANES_SOURCE "measure/fault_noise_lanes.h"
#include "measure/lanes.h"

static double level_dbfs(double squares, double sum, double frames)
{
    double power = (squares - sum * sum / frames) / frames;
    return power > 0.0 ? 10.0 * log10(power) + TP_AES17_DB : -INFINITY;
}

static void end_step(struct tp_steady *steady)
{
    double level = level_dbfs(steady->squares, steady->sum, steady->frames);
    double bin = (level - LOWEST_DBFS) * BINS_PER_DB;
    size_t at = bin > 0.0 ? (size_t)bin : 0;
    steady->histogram[at < TP_STEADY_BINS ? at : TP_STEADY_BINS - 1]++;
    steady->steps++;
    steady->all_squares += steady->squares;
    steady->all_slopes += steady->slopes;
    steady->all_sum += steady->sum;
    steady->all_frames += steady->frames;
    steady->squares = steady->slopes = steady->sum = 0.0;
    steady->frames = steady->cells = 0;
}

/* Into the step in hand: cells [from, to). */
static void add_cells(struct tp_steady *steady, const struct sums *sums, size_t from, size_t to)
{
    double squares = steady->squares, slopes = steady->slopes, sum = steady->sum;
    for (size_t c = from; c < to; c++) {
        squares += (double)sums->squares[c];
        slopes += (double)sums->slopes[c];
        sum += (double)sums->sum[c];
    }
    steady->squares = squares, steady->slopes = slopes, steady->sum = sum;
    steady->frames += (uint32_t)(to - from) * SUMMED;
    steady->cells += (uint32_t)(to - from);
}

static size_t traced_cells(uint32_t sample_rate_hz)
{
    double cells = round(TP_TRACE_STEP_S * sample_rate_hz / (EVERY * TP_FAULT_CELL));
    return cells > 1.0 ? (size_t)cells : 1;
}

static void end_traced(struct tp_steady *steady)
{
    double frames = (double)steady->traced_cells * SUMMED, mean = steady->traced_sum / frames;
    double with_dc = steady->traced_squares / frames;
    tp_trace_add(&steady->trace, with_dc - mean * mean, with_dc, steady->traced_slopes / frames);
    steady->traced_squares = steady->traced_slopes = steady->traced_sum = 0.0;
    steady->traced_cells = 0;
}

static void trace(struct tp_steady *steady, const struct sums *sums, size_t count, size_t step_cells)
{
    for (size_t c = 0; c < count; c++) {
        steady->traced_squares += (double)sums->squares[c];
        steady->traced_slopes += (double)sums->slopes[c];
        steady->traced_sum += (double)sums->sum[c];
        if (++steady->traced_cells == step_cells)
            end_traced(steady);
    }
}

void tp_steady_block(struct tp_steady *steady, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    size_t count = SUMMED_CELLS; /* whole ones */
    while (count > 0 && first_frame + ((count - 1) * EVERY + 1) * TP_FAULT_CELL > signal->end)
        count--;
    size_t step_cells = (size_t)(STEP_S * signal->sample_rate_hz / (EVERY * TP_FAULT_CELL)) + 1;
    struct sums sums;
    if (count > 0)
        TP_CHOSEN(sum_up)(signal->samples + first_frame % TP_FAULT_RING, &sums);
    trace(steady, &sums, count, traced_cells(signal->sample_rate_hz));
    for (size_t c = 0; c < count;) {
        size_t left = step_cells - steady->cells, take = left < count - c ? left : count - c;
        add_cells(steady, &sums, c, c + take);
        c += take;
        if (steady->cells == step_cells)
            end_step(steady);
    }
}

/* Level under which `share` of the steps lie. */
static double share_dbfs(const struct tp_steady *steady, double share)
{
    double below = 0.0;
    for (size_t i = 0; i < TP_STEADY_BINS; i++) {
        below += steady->histogram[i];
        if (below >= share * (double)steady->steps)
            return LOWEST_DBFS + (double)i / BINS_PER_DB;
    }
    return 0.0;
}

bool tp_steady_finish(struct tp_steady *steady, const struct tp_fault_out *out)
{
    if (steady->steps < STEPS_MIN)
        return true;
    double frames = (double)steady->all_frames, level = level_dbfs(steady->all_squares, steady->all_sum, frames);
    double power = steady->all_squares - steady->all_sum * steady->all_sum / frames;
    double spread_db = share_dbfs(steady, 0.98) - share_dbfs(steady, 0.02);
    if (!(level > LOWEST_DBFS && level <= LEVEL_MAX_DBFS) || spread_db > SPREAD_MAX_DB ||
        steady->all_slopes < FLATNESS_MIN * power)
        return true;
    char at[TP_NUMBER_SIZE], spread[TP_NUMBER_SIZE];
    return tp_observe(
        out->observations, TP_CODE_NOISE_ONLY, out->channel, 0.0, tp_fault_seconds(out->signal, out->signal->end),
        level, LEVEL_MAX_DBFS,
        "nothing but steady noise at %s dBFS, moving by no more than %s dB: no microphone, no phantom power or "
        "a muted transmitter?",
        tp_number_text(at, level, 1), tp_number_text(spread, spread_db + 1.0 / BINS_PER_DB, 1));
}

bool tp_steady_trace(struct tp_steady *steady, uint32_t sample_rate_hz, struct tp_trace *trace)
{
    return tp_trace_finish(&steady->trace, (uint64_t)traced_cells(sample_rate_hz) * EVERY * TP_FAULT_CELL, trace);
}
