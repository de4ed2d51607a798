/* SPDX-License-Identifier: MIT */
#include "measure/fault_signal.h"

#include <math.h>
#include <string.h>

#if defined(__SSE2__)
#include <emmintrin.h>
#endif

#define HALF (TP_FAULT_CELL / 2)

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

static float vec4_largest(vec4 x)
{
    float v[4];
    vec4_store(v, x);
    float a = v[0] > v[1] ? v[0] : v[1], b = v[2] > v[3] ? v[2] : v[3];
    return a > b ? a : b;
}
static float vec4_total(vec4 x)
{
    float v[4];
    vec4_store(v, x);
    return (v[0] + v[2]) + (v[1] + v[3]);
}

/* x[-3] … x[31] must be readable. */
static inline void summarise_cell(struct tp_fault_signal *signal, size_t cell, const float *x)
{
    static const float first_places[4] = {1, 2, 3, 4};
    vec4 peak = vec4_all(0), sum = vec4_all(0), ramp = vec4_all(0), edges[2] = {vec4_all(0), vec4_all(0)},
         place = vec4_load(first_places);
    const vec4 three = vec4_all(3), four = vec4_all(4);
    for (size_t half = 0; half < 2; half++) {
        for (size_t i = 0; i < HALF; i += 4, x += 4) {
            vec4 now = vec4_load(x);
            vec4 inner = vec4_sub(vec4_load(x - 1), vec4_load(x - 2));
            vec4 edge = vec4_sub(vec4_sub(now, vec4_load(x - 3)), vec4_mul(three, inner));
            edges[half] = vec4_max_abs(edges[half], edge);
            peak = vec4_max_abs(peak, now);
            sum = vec4_add(sum, now);
            ramp = vec4_add(ramp, vec4_mul(now, place));
            place = vec4_add(place, four);
        }
    }
    float first = vec4_largest(edges[0]), second = vec4_largest(edges[1]);
    signal->peak[cell] = vec4_largest(peak);
    signal->edge[cell] = first > second ? first : second;
    signal->sum[cell] = vec4_total(sum);
    signal->ramp[cell] = vec4_total(ramp);
    signal->still[cell] = (uint8_t)((first == 0.0F ? 1 : 0) | (second == 0.0F ? 2 : 0));
}

void tp_fault_signal_block(struct tp_fault_signal *signal, const float *samples, size_t frames)
{
    size_t at = signal->filled % TP_FAULT_RING;
    float *block = signal->samples + at;
    if (frames > 0)
        memcpy(block, samples, frames * sizeof *block);
    memset(block + frames, 0, (TP_FAULT_BLOCK - frames) * sizeof *block);

    /* The first cell's differences reach back over the ring's seam. */
    float head[3 + TP_FAULT_CELL] = {0};
    for (size_t i = 0; signal->filled > 0 && i < 3; i++)
        head[i] = tp_fault_sample(signal, signal->filled - 3 + i);
    memcpy(head + 3, block, TP_FAULT_CELL * sizeof *head);

    size_t cell = at / TP_FAULT_CELL;
    summarise_cell(signal, cell, head + 3);
    for (size_t c = 1; c < TP_FAULT_BLOCK_CELLS; c++)
        summarise_cell(signal, cell + c, block + c * TP_FAULT_CELL);
    signal->filled += TP_FAULT_BLOCK;
    signal->end += frames;
}
