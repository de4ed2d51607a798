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
 * The filter on its way: the equations in kweight.h, four samples at a time, written with few additions, of which few
 * wait for one another. What rounding takes off z and w would grow, being summed up twice: it is added again with the
 * next four. Within four, w is used as it was before them, and what is missing comes from the z themselves. u is f
 * without its part of the last e: then `now` and `before`, whose digits would cancel at low frequencies, are in
 * `echo` together.
 */
struct run {
    lanes x, w, w_rest, z, z_rest, e, u, v, v_before;
    lanes e_now[4], z_now[4]; /* that wait for the shelf */
    lanes_wide energy, product[4];
    float slowing, slowing_pull, pull, now, keep, shelf_pull, echo;
};

/* Through the high-pass: the e and z of four samples. They wait for the shelf until the next four are here: the two
 * chains then run side by side, each in the time that the other waits. */
static inline void rise(struct run *run, const lanes x[4])
{
    lanes *e = run->e_now, *z = run->z_now;
    e[0] = ((x[0] - run->x) - run->slowing * run->z) - run->w;
    z[0] = run->z + e[0];
    e[1] = ((x[1] - x[0]) - run->slowing_pull * z[0]) - run->w;
    z[1] = z[0] + e[1];
    lanes two = z[0] + z[1];
    e[2] = ((x[2] - x[1]) - run->slowing * z[1]) - (run->w + run->pull * two);
    z[2] = z[1] + e[2];
    lanes three = two + z[2];
    e[3] = ((x[3] - x[2]) - run->slowing * z[2]) - (run->w + run->pull * three);
    lanes moved = ((e[0] + e[1]) + (e[2] + e[3])) + run->z_rest;
    z[3] = run->z + moved;
    run->z_rest = moved - (z[3] - run->z);
    run->z = z[3];
    lanes pulled = run->pull * (three + z[3]) + run->w_rest, w = run->w + pulled;
    run->w_rest = pulled - (w - run->w);
    run->w = w;
    run->x = x[3];
}

/* The same of one. */
static inline lanes rise_of(struct run *run, lanes x)
{
    lanes e = ((x - run->x) - run->slowing * run->z) - run->w;
    run->z += e;
    run->w += run->pull * run->z;
    run->x = x;
    return e;
}

/* Through the shelf: what comes out. */
static inline lanes out_of(struct run *run, lanes e, lanes z)
{
    run->u = (run->keep * run->u + run->echo * run->e) - run->shelf_pull * run->v_before;
    run->v_before = run->v;
    run->v += run->u + run->now * e;
    run->e = e;
    return z + run->v;
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
        for (size_t k = 0; k < 4; k++, response += 4) {
            lanes y = out_of(run, run->e_now[k], run->z_now[k]);
            squares += y * y;
            for (size_t s = 0; s < states; s++)
                products[s] += response[s] * y;
        }
        if (!is_last || four + 4 < count) {
            lanes x[4];
            lanes_four_of_each(at, i + four + 4, x);
            rise(run, x);
        }
    }
    add(&run->energy, squares);
    for (size_t s = 0; s < states; s++)
        add(&run->product[s], products[s]);
}

static inline struct run begin(const struct tp_kweight_form *form, const float *const at[TP_LANES])
{
    const float now = (float)form->now, keep = (float)(form->keep - form->shelf_pull);
    struct run run = {.slowing = (float)form->slowing,
                      .slowing_pull = (float)(form->slowing + form->pull),
                      .pull = (float)form->pull,
                      .now = now,
                      .keep = keep,
                      .shelf_pull = (float)form->shelf_pull,
                      .echo = (float)(form->now + form->before - (double)now * (1.0 - (double)keep))};
    float rise_to_step = (float)(1.0 / (1.0 - form->slowing));
    for (size_t lane = 0; lane < TP_LANES; lane++) {
        run.x[lane] = at[lane][-1];
        run.e[lane] = (at[lane][-1] - at[lane][-2]) * rise_to_step;
    }
    run.u = -now * run.e;
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
    if (i < filter->shelf_frames)
        stretch(&run, at, i, fours, filter->response + 4 * i, 4, true);
    else
        stretch(&run, at, i, fours, filter->response + 4 * i, 2, true);
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
    const lanes state[4] = {run.w + run.w_rest, run.z + run.z_rest, run.u + run.now * run.e, run.v};
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
