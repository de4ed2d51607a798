/* SPDX-License-Identifier: MIT */
#include "measure/fault_signal.h"

#include <math.h>
#include <string.h>

#if defined(__SSE2__)
#include <emmintrin.h>
#endif

#define HALF (TP_FAULT_CELL / 2)
#define FOUR_CELLS ((size_t)4 * TP_FAULT_CELL)

/* Four floats at a time. By hand, because the compiler may neither reorder floating point nor, at -O2, does it unroll
 * these loops into vectors; elsewhere plain C of the same order, so that both give the same sums. */
#if defined(__SSE2__)
typedef __m128 vec4;
static inline vec4 vec4_load(const float *x)
{
    return _mm_loadu_ps(x);
}
static inline vec4 vec4_all(float x)
{
    return _mm_set1_ps(x);
}
static inline vec4 vec4_add(vec4 a, vec4 b)
{
    return _mm_add_ps(a, b);
}
static inline vec4 vec4_sub(vec4 a, vec4 b)
{
    return _mm_sub_ps(a, b);
}
static inline vec4 vec4_mul(vec4 a, vec4 b)
{
    return _mm_mul_ps(a, b);
}
static inline vec4 vec4_max_abs(vec4 most, vec4 x)
{
    return _mm_max_ps(most, _mm_andnot_ps(_mm_set1_ps(-0.0F), x));
}
static inline void vec4_store(float *out, vec4 x)
{
    _mm_storeu_ps(out, x);
}
#else
typedef struct {
    float v[4];
} vec4;
#define VEC4_EACH(expression)                                                                                          \
    vec4 r;                                                                                                            \
    for (int i = 0; i < 4; i++)                                                                                        \
        r.v[i] = (expression);                                                                                         \
    return r
static inline vec4 vec4_load(const float *x)
{
    VEC4_EACH(x[i]);
}
static inline vec4 vec4_all(float x)
{
    VEC4_EACH(x);
}
static inline vec4 vec4_add(vec4 a, vec4 b)
{
    VEC4_EACH(a.v[i] + b.v[i]);
}
static inline vec4 vec4_sub(vec4 a, vec4 b)
{
    VEC4_EACH(a.v[i] - b.v[i]);
}
static inline vec4 vec4_mul(vec4 a, vec4 b)
{
    VEC4_EACH(a.v[i] * b.v[i]);
}
static inline vec4 vec4_max_abs(vec4 most, vec4 x)
{
    VEC4_EACH(most.v[i] > fabsf(x.v[i]) ? most.v[i] : fabsf(x.v[i]));
}
static inline void vec4_store(float *out, vec4 x)
{
    memcpy(out, x.v, sizeof x.v);
}
#endif

/* Across each of four vectors: the largest, the total. */
static inline void vec4_across(const vec4 most[4], const vec4 sums[4], float *largest, float *totals)
{
#if defined(__SSE2__)
    vec4 a = most[0], b = most[1], c = most[2], d = most[3];
    _MM_TRANSPOSE4_PS(a, b, c, d);
    _mm_storeu_ps(largest, _mm_max_ps(_mm_max_ps(a, b), _mm_max_ps(c, d)));
    a = sums[0], b = sums[1], c = sums[2], d = sums[3];
    _MM_TRANSPOSE4_PS(a, b, c, d);
    _mm_storeu_ps(totals, _mm_add_ps(_mm_add_ps(a, b), _mm_add_ps(c, d)));
#else
    for (size_t row = 0; row < 4; row++) {
        const float *m = most[row].v, *s = sums[row].v;
        largest[row] = fmaxf(fmaxf(m[0], m[1]), fmaxf(m[2], m[3]));
        totals[row] = (s[0] + s[1]) + (s[2] + s[3]);
    }
#endif
}

/* Four cells from `cell` on; x[-3] … x[127] must be readable, and is copied to `to`. */
static void summarise_cells(struct tp_fault_signal *signal, size_t cell, const float *x, float *to)
{
    static const float first_places[4] = {1, 2, 3, 4};
    const vec4 three = vec4_all(3), four = vec4_all(4);
    vec4 peaks[4], sums[4], ramps[4], first[4], second[4];
    for (size_t c = 0; c < 4; c++) {
        vec4 peak = vec4_all(0), sum = vec4_all(0), ramp = vec4_all(0), edges[2] = {vec4_all(0), vec4_all(0)},
             place = vec4_load(first_places);
        for (size_t half = 0; half < 2; half++) {
            for (size_t i = 0; i < HALF; i += 4, x += 4, to += 4) {
                vec4 now = vec4_load(x);
                vec4_store(to, now);
                vec4 inner = vec4_sub(vec4_load(x - 1), vec4_load(x - 2));
                vec4 edge = vec4_sub(vec4_sub(now, vec4_load(x - 3)), vec4_mul(three, inner));
                edges[half] = vec4_max_abs(edges[half], edge);
                peak = vec4_max_abs(peak, now);
                sum = vec4_add(sum, now);
                ramp = vec4_add(ramp, vec4_mul(now, place));
                place = vec4_add(place, four);
            }
        }
        peaks[c] = peak, sums[c] = sum, ramps[c] = ramp, first[c] = edges[0], second[c] = edges[1];
    }
    float firsts[4], seconds[4];
    vec4_across(peaks, sums, signal->peak + cell, signal->sum + cell);
    vec4_across(first, ramps, firsts, signal->ramp + cell);
    vec4_across(second, ramps, seconds, signal->ramp + cell);
    for (size_t c = 0; c < 4; c++) {
        signal->edge[cell + c] = firsts[c] > seconds[c] ? firsts[c] : seconds[c];
        signal->still[cell + c] = (uint8_t)((firsts[c] == 0.0F ? 1 : 0) | (seconds[c] == 0.0F ? 2 : 0));
    }
}

void tp_fault_signal_block(struct tp_fault_signal *signal, const float *samples, size_t frames)
{
    size_t at = signal->filled % TP_FAULT_RING, cell = at / TP_FAULT_CELL;
    float *block = signal->samples + at;
    if (frames < TP_FAULT_BLOCK) { /* the last one: padded in place, which the copy below then leaves as it is */
        if (frames > 0)
            memcpy(block, samples, frames * sizeof *block);
        memset(block + frames, 0, (TP_FAULT_BLOCK - frames) * sizeof *block);
        samples = block;
    }
    /* The first cells' differences reach back over the seam between blocks. */
    float head[3 + FOUR_CELLS] = {0};
    for (size_t i = 0; signal->filled > 0 && i < 3; i++)
        head[i] = tp_fault_sample(signal, signal->filled - 3 + i);
    memcpy(head + 3, samples, FOUR_CELLS * sizeof *head);
    summarise_cells(signal, cell, head + 3, block);
    for (size_t f = FOUR_CELLS; f < TP_FAULT_BLOCK; f += FOUR_CELLS)
        summarise_cells(signal, cell + f / TP_FAULT_CELL, samples + f, block + f);
    signal->filled += TP_FAULT_BLOCK;
    signal->end += frames;
}

float tp_fault_edge(const struct tp_fault_signal *signal, uint64_t frame)
{
    if (frame < 3)
        return 0.0F;
    float inner = tp_fault_sample(signal, frame - 1) - tp_fault_sample(signal, frame - 2);
    return fabsf((tp_fault_sample(signal, frame) - tp_fault_sample(signal, frame - 3)) - 3.0F * inner);
}
