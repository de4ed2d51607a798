/* SPDX-License-Identifier: MIT */
/* For lanes.h alone, which includes it once for each instruction set: see there. */

#define lanes TP_LEVEL(lanes)
#define lanes_bits TP_LEVEL(lanes_bits)
#define lanes_four TP_LEVEL(lanes_four)
#define lanes_turn TP_LEVEL(lanes_turn)
#define lanes_four_of_rows TP_LEVEL(lanes_four_of_rows)
#define lanes_eight_of_rows TP_LEVEL(lanes_eight_of_rows)
#define lanes_turn_fours TP_LEVEL(lanes_turn_fours)
#define lanes_wide TP_LEVEL(lanes_wide)
#define lanes_load TP_LEVEL(lanes_load)
#define lanes_magnitude TP_LEVEL(lanes_magnitude)
#define lanes_larger TP_LEVEL(lanes_larger)
#define lanes_smaller TP_LEVEL(lanes_smaller)
#define lanes_larger_magnitude TP_LEVEL(lanes_larger_magnitude)
#define lanes_top TP_LEVEL(lanes_top)
#define lanes_total TP_LEVEL(lanes_total)
#define lanes_four_of_each TP_LEVEL(lanes_four_of_each)

typedef float lanes __attribute__((vector_size(4 * TP_LANES)));
typedef float lanes_four __attribute__((vector_size(16)));
typedef float TP_LEVEL(lanes_half) __attribute__((vector_size(2 * TP_LANES)));
typedef int32_t lanes_bits __attribute__((vector_size(4 * TP_LANES)));
typedef double lanes_wide __attribute__((vector_size(8 * TP_LANES)));

/* From any address. */
static inline lanes lanes_load(const float *from)
{
    lanes x;
    memcpy(&x, from, sizeof x);
    return x;
}

static inline lanes lanes_magnitude(lanes a)
{
    return (lanes)((lanes_bits)a & 0x7fffffff);
}

/* a > b ? a : b, in each lane, and so b where either is NaN; plain C has no single instruction for it. */
static inline lanes lanes_larger(lanes a, lanes b)
{
#if TP_LANES == 16 && defined(__AVX512F__)
    return __builtin_ia32_maxps512_mask(a, b, a, (short)-1, 4);
#elif TP_LANES == 8 && defined(__AVX__)
    return __builtin_ia32_maxps256(a, b);
#elif TP_LANES == 4 && defined(__SSE__)
    return __builtin_ia32_maxps(a, b);
#else
    lanes_bits is_a = a > b;
    return (lanes)((is_a & (lanes_bits)a) | (~is_a & (lanes_bits)b));
#endif
}

/* a < b ? a : b. */
static inline lanes lanes_smaller(lanes a, lanes b)
{
#if TP_LANES == 16 && defined(__AVX512F__)
    return __builtin_ia32_minps512_mask(a, b, a, (short)-1, 4);
#elif TP_LANES == 8 && defined(__AVX__)
    return __builtin_ia32_minps256(a, b);
#elif TP_LANES == 4 && defined(__SSE__)
    return __builtin_ia32_minps(a, b);
#else
    lanes_bits is_a = a < b;
    return (lanes)((is_a & (lanes_bits)a) | (~is_a & (lanes_bits)b));
#endif
}

/* The larger of two that are neither negative nor NaN. Their bits are in the same order, and whole numbers may be
 * compared while the units for additions, which otherwise compare, have more than enough to do. */
static inline lanes lanes_larger_magnitude(lanes a, lanes b)
{
#if TP_LANES == 16 && defined(__AVX512F__)
    return (lanes)__builtin_ia32_pmaxsd512_mask((lanes_bits)a, (lanes_bits)b, (lanes_bits)a, (unsigned short)-1);
#elif TP_LANES == 8 && defined(__AVX2__)
    return (lanes)__builtin_ia32_pmaxsd256((lanes_bits)a, (lanes_bits)b);
#else
    return lanes_larger(a, b);
#endif
}

/* The largest of the lanes and 0. */
static inline float lanes_top(lanes x)
{
    float top = 0.0F;
    for (size_t lane = 0; lane < TP_LANES; lane++)
        top = x[lane] > top ? x[lane] : top;
    return top;
}

#if TP_LANES <= TP_EIGHT
/* Of TP_EIGHT partial sums, one after another. */
static inline float lanes_total(const lanes parts[TP_EIGHT / TP_LANES])
{
    float sum = 0.0F;
    for (size_t i = 0; i < TP_EIGHT; i++)
        sum += parts[i / TP_LANES][i % TP_LANES];
    return sum;
}
#endif

#if TP_LANES == 16
/* One after another. Written so that each but the first goes to its place as it is loaded. */
static inline lanes TP_LEVEL(sixteen)(lanes_four a, lanes_four b, lanes_four c, lanes_four d)
{
    lanes row = __builtin_ia32_ps512_ps(a);
    row = __builtin_ia32_insertf32x4_mask(row, b, 1, row, (unsigned short)-1);
    row = __builtin_ia32_insertf32x4_mask(row, c, 2, row, (unsigned short)-1);
    return __builtin_ia32_insertf32x4_mask(row, d, 3, row, (unsigned short)-1);
}
#endif

#if TP_LANES == 16
#define EACH_FOUR(i, j, k, l)                                                                                          \
    i, j, k, l, i + 4, j + 4, k + 4, l + 4, i + 8, j + 8, k + 8, l + 8, i + 12, j + 12, k + 12, l + 12
#elif TP_LANES == 8
#define EACH_FOUR(i, j, k, l) i, j, k, l, i + 4, j + 4, k + 4, l + 4
#else
#define EACH_FOUR(i, j, k, l) i, j, k, l
#endif
/* Of each four of a and of b: the first or the last two, of a and b by turns; the first or the last two of a, then of
 * b. */
#define ZIPPED(i) EACH_FOUR(i, TP_LANES + i, i + 1, TP_LANES + i + 1)
#define IN_PAIRS(i) EACH_FOUR(i, i + 1, TP_LANES + i, TP_LANES + i + 1)

/* In each four lanes by themselves: of four vectors, the first ones in x[0] and so on. */
static inline void lanes_turn_fours(const lanes from[4], lanes x[4])
{
    lanes ab = __builtin_shufflevector(from[0], from[1], ZIPPED(0)),
          cd = __builtin_shufflevector(from[2], from[3], ZIPPED(0)),
          ab_late = __builtin_shufflevector(from[0], from[1], ZIPPED(2)),
          cd_late = __builtin_shufflevector(from[2], from[3], ZIPPED(2));
    x[0] = __builtin_shufflevector(ab, cd, IN_PAIRS(0));
    x[1] = __builtin_shufflevector(ab, cd, IN_PAIRS(2));
    x[2] = __builtin_shufflevector(ab_late, cd_late, IN_PAIRS(0));
    x[3] = __builtin_shufflevector(ab_late, cd_late, IN_PAIRS(2));
}
#undef EACH_FOUR
#undef ZIPPED
#undef IN_PAIRS

/* Of four samples of each row, a lane for each row: the first ones in x[0] and so on. */
static inline void lanes_turn(const lanes_four now[TP_LANES], lanes x[4])
{
    lanes from[4];
#pragma GCC unroll 4
    for (size_t i = 0; i < 4; i++)
#if TP_LANES == 16
        from[i] = TP_LEVEL(sixteen)(now[i], now[i + 4], now[i + 8], now[i + 12]);
#elif TP_LANES == 8
        from[i] = __builtin_shufflevector(now[i], now[i + 4], 0, 1, 2, 3, 4, 5, 6, 7);
#else
        from[i] = now[i];
#endif
    lanes_turn_fours(from, x);
}

/* Four samples of each row, from its i-th on. */
static inline void lanes_four_of_each(const float *const from[TP_LANES], size_t i, lanes x[4])
{
    lanes_four now[TP_LANES];
    for (size_t lane = 0; lane < TP_LANES; lane++)
        memcpy(&now[lane], from[lane] + i, sizeof now[lane]);
    lanes_turn(now, x);
}

/* The same of rows that lie `stride` samples apart, known when this is compiled. */
static inline __attribute__((always_inline)) void lanes_four_of_rows(const float *first, size_t stride, lanes x[4])
{
    lanes_four now[TP_LANES];
#pragma GCC unroll 16
    for (size_t lane = 0; lane < TP_LANES; lane++)
        memcpy(&now[lane], first + lane * stride, sizeof now[lane]);
    lanes_turn(now, x);
}

/* The next eight of each. Of sixteen rows with less moving about than in two fours: eight at once to their half. */
static inline __attribute__((always_inline)) void lanes_eight_of_rows(const float *first, size_t stride, lanes x[8])
{
#if TP_LANES == 16
    lanes turned[2][4]; /* rows 0 to 7, then 8 to 15: by fours, first and second four samples of a row by turns */
#pragma GCC unroll 2
    for (size_t half = 0; half < 2; half++) {
        lanes from[4];
#pragma GCC unroll 4
        for (size_t row = 0; row < 4; row++) {
            TP_LEVEL(lanes_half) low, high;
            memcpy(&low, first + (8 * half + row) * stride, sizeof low);
            memcpy(&high, first + (8 * half + row + 4) * stride, sizeof high);
            from[row] = __builtin_shufflevector(low, high, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
        }
        lanes_turn_fours(from, turned[half]);
    }
#pragma GCC unroll 4
    for (size_t i = 0; i < 4; i++) {
        x[i] = __builtin_shufflevector(turned[0][i], turned[1][i], 0, 1, 2, 3, 8, 9, 10, 11, 16, 17, 18, 19, 24, 25, 26,
                                       27);
        x[i + 4] = __builtin_shufflevector(turned[0][i], turned[1][i], 4, 5, 6, 7, 12, 13, 14, 15, 20, 21, 22, 23, 28,
                                           29, 30, 31);
    }
#else
    lanes_four_of_rows(first, stride, x);
    lanes_four_of_rows(first + 4, stride, x + 4);
#endif
}
