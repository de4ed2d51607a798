/* SPDX-License-Identifier: MIT */
/* For lanes.h alone, which includes it once for each instruction set: see there. */

#define lanes TP_LEVEL(lanes)
#define lanes_bits TP_LEVEL(lanes_bits)
#define lanes_wide TP_LEVEL(lanes_wide)
#define lanes_magnitude TP_LEVEL(lanes_magnitude)
#define lanes_larger TP_LEVEL(lanes_larger)
#define lanes_four_of_each TP_LEVEL(lanes_four_of_each)

typedef float lanes __attribute__((vector_size(4 * TP_LANES)));
typedef int32_t lanes_bits __attribute__((vector_size(4 * TP_LANES)));
typedef double lanes_wide __attribute__((vector_size(8 * TP_LANES)));

static inline lanes lanes_magnitude(lanes a)
{
    return (lanes)((lanes_bits)a & 0x7fffffff);
}

/* a > b ? a : b, in each lane; plain C has no single instruction for it. */
static inline lanes lanes_larger(lanes a, lanes b)
{
#if TP_LANES == 8 && defined(__AVX__)
    return __builtin_ia32_maxps256(a, b);
#elif TP_LANES == 4 && defined(__SSE__)
    return __builtin_ia32_maxps(a, b);
#else
    lanes_bits is_a = a > b;
    return (lanes)((is_a & (lanes_bits)a) | (~is_a & (lanes_bits)b));
#endif
}

/* Four samples of each row, from its i-th on, a lane for each row: the first ones in x[0] and so on. */
static inline void lanes_four_of_each(const float *const from[TP_LANES], size_t i, lanes x[4])
{
    typedef float four __attribute__((vector_size(16)));
    four now[TP_LANES];
    for (size_t lane = 0; lane < TP_LANES; lane++)
        memcpy(&now[lane], from[lane] + i, sizeof now[lane]);
#if TP_LANES == 8
#define BOTH(a, b) __builtin_shufflevector(a, b, 0, 1, 2, 3, 4, 5, 6, 7)
    lanes a = BOTH(now[0], now[4]), b = BOTH(now[1], now[5]), c = BOTH(now[2], now[6]), d = BOTH(now[3], now[7]);
#else
    lanes a = now[0], b = now[1], c = now[2], d = now[3];
#endif
#if TP_LANES == 8
#define ZIPPED(i) i, 8 + i, i + 1, 9 + i, 4 + i, 12 + i, 5 + i, 13 + i
#define IN_PAIRS(i) i, i + 1, 8 + i, 9 + i, 4 + i, 5 + i, 12 + i, 13 + i
#else
#define ZIPPED(i) i, 4 + i, i + 1, 5 + i
#define IN_PAIRS(i) i, i + 1, 4 + i, 5 + i
#endif
    lanes ab = __builtin_shufflevector(a, b, ZIPPED(0)), cd = __builtin_shufflevector(c, d, ZIPPED(0)),
          ab_late = __builtin_shufflevector(a, b, ZIPPED(2)), cd_late = __builtin_shufflevector(c, d, ZIPPED(2));
    x[0] = __builtin_shufflevector(ab, cd, IN_PAIRS(0));
    x[1] = __builtin_shufflevector(ab, cd, IN_PAIRS(2));
    x[2] = __builtin_shufflevector(ab_late, cd_late, IN_PAIRS(0));
    x[3] = __builtin_shufflevector(ab_late, cd_late, IN_PAIRS(2));
}
#undef BOTH
#undef ZIPPED
#undef IN_PAIRS
