/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "measure/fault_parts.h"

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

struct sums {
    float squares, slopes, sum;
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

void tp_steady_block(struct tp_steady *steady, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    const float *block = signal->samples + first_frame % TP_FAULT_RING;
    uint32_t step_cells = (uint32_t)(STEP_S * signal->sample_rate_hz / (EVERY * TP_FAULT_CELL)) + 1;
    for (size_t c = 0; c + 1 <= TP_FAULT_BLOCK_CELLS; c += EVERY) {
        if (first_frame + (c + 1) * TP_FAULT_CELL > signal->end)
            return;
        const float *x = block + c * TP_FAULT_CELL;
        struct sums sums = TP_CHOSEN(sum_up)(x);
        steady->squares += (double)sums.squares;
        steady->slopes += (double)sums.slopes;
        steady->sum += (double)sums.sum;
        steady->frames += SUMMED;
        if (++steady->cells == step_cells)
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
