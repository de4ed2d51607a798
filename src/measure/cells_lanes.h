/* SPDX-License-Identifier: MIT */
/* Part of cells.c, compiled for each instruction set by lanes.h: cells side by side. */

#define run TP_LEVEL(run)
#define of_four TP_LEVEL(of_four)
#define take TP_LEVEL(take)
#define begin TP_LEVEL(begin)
#define make_lanes TP_LEVEL(make_lanes)

/* Cells on their way. */
struct run {
    lanes x, first, second; /* sample, first and second difference */
    lanes high, low, slope, edge, sum, ramp, squares;
};

static inline lanes of_four(lanes (*of)(lanes, lanes), const lanes x[4], lanes before)
{
    return of(of(of(x[0], x[1]), of(x[2], x[3])), before);
}

/* The next four samples of each. What can be is made of the four first, so that little waits for what was before. */
static inline void take(struct run *run, const lanes x[4], const float *place)
{
    lanes rise[4], bend[4];
    for (size_t k = 0; k < 4; k++) {
        lanes first = x[k] - run->x, second = first - run->first, third = second - run->second;
        run->x = x[k], run->first = first, run->second = second;
        rise[k] = lanes_magnitude(first);
        bend[k] = lanes_magnitude(third);
        run->sum += x[k];
        run->ramp += x[k] * place[k];
    }
    run->high = of_four(lanes_larger, x, run->high);
    run->low = of_four(lanes_smaller, x, run->low);
    run->slope = of_four(lanes_larger_magnitude, rise, run->slope);
    run->edge = of_four(lanes_larger_magnitude, bend, run->edge);
    run->squares += (x[0] * x[0] + x[1] * x[1]) + (x[2] * x[2] + x[3] * x[3]);
}

static inline void begin(struct run *run, const float *samples)
{
    const lanes none = {0};
    lanes before[4];
    lanes_four_of_rows(samples - BEFORE, CELL, before);
    *run = (struct run){.x = before[3], .first = before[3] - before[2]};
    run->second = run->first - (before[2] - before[1]);
    run->high = none - FLT_MAX, run->low = none + FLT_MAX;
}

static void make_lanes(struct tp_cells *cells, size_t cell, const float *samples)
{
    struct run run;
    lanes halves[2];
    begin(&run, samples);
    for (size_t half = 0; half < 2; half++) {
        run.edge = (lanes){0};
        for (size_t i = half * CELL / 2; i < (half + 1) * CELL / 2; i += 8) {
            lanes x[8];
            lanes_eight_of_rows(samples + i, CELL, x);
            take(&run, x, places + i);
            take(&run, x + 4, places + i + 4);
        }
        halves[half] = run.edge;
    }
    lanes edge = lanes_larger_magnitude(halves[0], halves[1]);
    lanes_bits still = ((halves[0] == 0.0F) & 1) | ((halves[1] == 0.0F) & 2);
    memcpy(cells->low + cell, &run.low, sizeof run.low);
    memcpy(cells->high + cell, &run.high, sizeof run.high);
    memcpy(cells->slope + cell, &run.slope, sizeof run.slope);
    memcpy(cells->edge + cell, &edge, sizeof edge);
    memcpy(cells->sum + cell, &run.sum, sizeof run.sum);
    memcpy(cells->ramp + cell, &run.ramp, sizeof run.ramp);
    memcpy(cells->squares + cell, &run.squares, sizeof run.squares);
    memcpy(cells->still + cell, &still, sizeof still);
}

/* Of whole groups; in as many partial sums as a group has cells, however wide the lanes are. */
static size_t TP_LEVEL(sum_up)(struct tp_cells *cells)
{
    lanes_wide sum[GROUP / TP_LANES] = {{0}}, squares[GROUP / TP_LANES] = {{0}};
    size_t whole = cells->count - cells->count % GROUP;
    for (size_t c = 0; c < whole; c += GROUP) {
        for (size_t part = 0; part < GROUP / TP_LANES; part++) {
            sum[part] += __builtin_convertvector(lanes_load(cells->sum + c + part * TP_LANES), lanes_wide);
            squares[part] += __builtin_convertvector(lanes_load(cells->squares + c + part * TP_LANES), lanes_wide);
        }
    }
    for (size_t cell = 0; cell < GROUP; cell++) {
        cells->total += sum[cell / TP_LANES][cell % TP_LANES];
        cells->total_squares += squares[cell / TP_LANES][cell % TP_LANES];
    }
    return whole;
}

static void TP_LEVEL(find_extremes)(struct tp_cells *cells)
{
    const lanes none = {0};
    lanes high = none - FLT_MAX, low = none + FLT_MAX;
    size_t c = 0;
    for (; c + TP_LANES <= cells->count; c += TP_LANES) {
        high = lanes_larger(lanes_load(cells->high + c), high);
        low = lanes_smaller(lanes_load(cells->low + c), low);
    }
    cells->lowest = FLT_MAX, cells->highest = -FLT_MAX;
    for (size_t lane = 0; lane < TP_LANES; lane++) {
        cells->highest = high[lane] > cells->highest ? high[lane] : cells->highest;
        cells->lowest = low[lane] < cells->lowest ? low[lane] : cells->lowest;
    }
    for (; c < cells->count; c++) {
        cells->highest = cells->high[c] > cells->highest ? cells->high[c] : cells->highest;
        cells->lowest = cells->low[c] < cells->lowest ? cells->low[c] : cells->lowest;
    }
}

/* A group of cells; samples[-BEFORE] must be readable. */
static void TP_LEVEL(make_group)(struct tp_cells *cells, size_t cell, const float *samples)
{
    for (size_t done = 0; done < GROUP; done += TP_LANES)
        make_lanes(cells, cell + done, samples + done * CELL);
}
