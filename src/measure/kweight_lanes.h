/* SPDX-License-Identifier: MIT */
/* Part of kweight.c, compiled for each instruction set by lanes.h: parts side by side, each from rest. */

#define run TP_LEVEL(run)
#define rise_of TP_LEVEL(rise_of)
#define out_of TP_LEVEL(out_of)
#define rise TP_LEVEL(rise)
#define begin TP_LEVEL(begin)
#define stretch TP_LEVEL(stretch)
#define add TP_LEVEL(add)
#define run_lanes TP_LEVEL(run_lanes)

/*
 * The filter on its way: the equations in kweight.h, written so that few steps wait for one another. `w` is still
 * without the last z, which is in `slowing` instead (slowing + pull here); `keep` is keep - shelf_pull, which goes with
 * the v before; and `both` is now + before, whose digits would cancel at low frequencies. What rounding takes off w is
 * added again with the next z: it would grow, being summed up twice.
 */
struct run {
    lanes x, e, w, w_rest, z, z_rest, f, v, v_before;
    lanes e_now[4], z_now[4];
    lanes_wide energy, product[4];
    float slowing, pull, keep, shelf_pull, both, before;
};

/* Of the high-pass: e; z is in the run. */
static inline lanes rise_of(struct run *run, lanes x)
{
    lanes e = ((x - run->x) - run->w) - run->slowing * run->z;
    lanes pulled = run->pull * run->z + run->w_rest, w = run->w + pulled;
    run->w_rest = pulled - (w - run->w);
    run->w = w;
    run->x = x;
    lanes moved = e + run->z_rest, z = run->z + moved;
    run->z_rest = moved - (z - run->z);
    run->z = z;
    return e;
}

/* Of the shelf, for the high-pass's e and z: what comes out. */
static inline lanes out_of(struct run *run, lanes e, lanes z)
{
    lanes in = (run->both * e + run->before * (run->e - e)) - run->shelf_pull * run->v_before;
    run->e = e;
    run->v_before = run->v;
    run->f = run->keep * run->f + in;
    run->v += run->f;
    return z + run->v;
}

/* Four samples through the high-pass, which wait for the shelf: the two chains then run side by side, each in the time
 * that the other waits. */
static inline void rise(struct run *run, const lanes x[4])
{
    for (size_t k = 0; k < 4; k++) {
        run->e_now[k] = rise_of(run, x[k]);
        run->z_now[k] = run->z;
    }
}

static inline void add(lanes_wide *sum, lanes values)
{
    *sum += __builtin_convertvector(values, lanes_wide);
}

/* `count` samples, a multiple of four and known to the compiler but for the last time, like `states`: how many
 * responses are not over yet. */
static inline __attribute__((always_inline)) void stretch(struct run *run, const float *const at[TP_LANES], size_t i,
                                                          size_t count, const float *response, size_t states,
                                                          bool is_last)
{
    lanes squares = {0}, products[4] = {{0}, {0}, {0}, {0}};
    for (size_t four = 0; four < count; four += 4) {
        lanes x[4];
        bool has_next = !is_last || four + 4 < count;
        if (has_next)
            lanes_four_of_each(at, i + four + 4, x);
        for (size_t k = 0; k < 4; k++, response += 4) {
            lanes y = out_of(run, run->e_now[k], run->z_now[k]);
            squares += y * y;
            for (size_t s = 0; s < states; s++)
                products[s] += response[s] * y;
            if (has_next) {
                run->e_now[k] = rise_of(run, x[k]);
                run->z_now[k] = run->z;
            }
        }
    }
    add(&run->energy, squares);
    for (size_t s = 0; s < states; s++)
        add(&run->product[s], products[s]);
}

static inline struct run begin(const struct tp_kweight_form *form, const float *const at[TP_LANES])
{
    struct run run = {.pull = (float)form->pull,
                      .slowing = (float)(form->slowing + form->pull),
                      .keep = (float)(form->keep - form->shelf_pull),
                      .shelf_pull = (float)form->shelf_pull,
                      .both = (float)(form->now + form->before),
                      .before = (float)form->before};
    float rise_to_step = (float)(1.0 / (1.0 - form->slowing));
    for (size_t lane = 0; lane < TP_LANES; lane++) {
        run.x[lane] = at[lane][-1];
        run.e[lane] = (at[lane][-1] - at[lane][-2]) * rise_to_step;
    }
    return run;
}

static inline void run_lanes(const struct tp_kweight *filter, const float *const at[TP_LANES], size_t part,
                             struct sums *sums)
{
    struct run run = begin(&filter->form, at);
    size_t i = 0;
    lanes first[4];
    lanes_four_of_each(at, 0, first);
    rise(&run, first);
    for (; i < filter->shelf_frames && i + STRETCH + 4 <= filter->frames; i += STRETCH)
        stretch(&run, at, i, STRETCH, filter->response + 4 * i, 4, false);
    for (; i + STRETCH + 4 <= filter->frames; i += STRETCH)
        stretch(&run, at, i, STRETCH, filter->response + 4 * i, 2, false);
    size_t fours = (filter->frames - i) / 4 * 4;
    stretch(&run, at, i, fours, filter->response + 4 * i, 4, true);
    i += fours;
    for (; i < filter->frames; i++) {
        lanes x = {0};
        for (size_t lane = 0; lane < TP_LANES; lane++)
            x[lane] = at[lane][i];
        lanes e = rise_of(&run, x), y = out_of(&run, e, run.z);
        add(&run.energy, y * y);
        for (size_t s = 0; s < 4; s++)
            add(&run.product[s], filter->response[4 * i + s] * y);
    }
    const lanes state[4] = {run.w + (run.w_rest + run.pull * run.z), run.z, run.f, run.v};
    memcpy(sums->energy + part, &run.energy, sizeof run.energy);
    for (size_t s = 0; s < 4; s++) {
        memcpy(sums->product[s] + part, &run.product[s], sizeof run.product[s]);
        memcpy(sums->state[s] + part, &state[s], sizeof state[s]);
    }
}

static void TP_LEVEL(run_parts)(const struct tp_kweight *filter, const float *const at[PARTS], struct sums *sums)
{
    for (size_t part = 0; part < PARTS; part += TP_LANES)
        run_lanes(filter, at + part, part, sums);
}
