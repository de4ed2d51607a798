/* SPDX-License-Identifier: MIT */
#include "take/pair_overlay.h"

#include "base/vector.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#define NEAR_FULL_SCALE 0.985f
#define MARGIN 20     /* frames left out on either side; covers the taps */
#define ZEROS_MIN 64  /* frames of exact zeros that are no sound */
#define FLAT_MIN 3    /* frames of a plateau */
#define CHUNK 32      /* half of ZEROS_MIN: so many zeros fill one chunk at least */
#define LAG_VECTORS 5 /* of eight lags: the 33 wanted and a few more */
#define PAD 32        /* zeros around the planes: what taps and spare lags reach */
#define FLOAT_SUM 32  /* products summed as floats before they go into a double */

typedef int32_t v8i __attribute__((vector_size(32)));

struct stretch {
    size_t from, to;
};

struct tp_overlay {
    size_t frames, stretches_max;
    int64_t lag;
    const float *a, *b;
    struct stretch *bad_a, *bad_b, *clear;
    size_t bad_a_count, bad_b_count, clear_count;
    float *peaks; /* frames / CHUNK */
    float *store; /* the planes below, PAD zeros around each */
    float *x;     /* a without its mean */
    float *y;     /* b without its mean at i + lag; zero where left out */
    float *z;     /* what y is compared with: x, or x between frames; zero where left out */
};

struct tp_overlay *tp_overlay_new(size_t frames)
{
    struct tp_overlay *o = calloc(1, sizeof *o);
    if (o == NULL)
        return NULL;
    size_t plane = frames + PAD;
    o->frames = frames;
    /* Stretches left out lie apart by a frame at least, and but for the first and last hold both margins. */
    o->stretches_max = frames / (2 * MARGIN + 2) + 3;
    o->bad_a = calloc(o->stretches_max, sizeof *o->bad_a);
    o->bad_b = calloc(o->stretches_max, sizeof *o->bad_b);
    o->clear = calloc(2 * o->stretches_max, sizeof *o->clear);
    o->peaks = calloc(frames / CHUNK + 1, sizeof *o->peaks);
    o->store = calloc(3 * plane + PAD, sizeof *o->store);
    if (o->bad_a == NULL || o->bad_b == NULL || o->clear == NULL || o->peaks == NULL || o->store == NULL) {
        tp_overlay_free(o);
        return NULL;
    }
    o->x = o->store + PAD;
    o->y = o->x + plane;
    o->z = o->y + plane;
    return o;
}

void tp_overlay_free(struct tp_overlay *o)
{
    if (o == NULL)
        return;
    free(o->bad_a);
    free(o->bad_b);
    free(o->clear);
    free(o->peaks);
    free(o->store);
    free(o);
}

/* The largest magnitude of each chunk. Without their sign floats order as integers do. */
TP_CLONES static void chunk_peaks(const float *samples, size_t chunks, float *peaks)
{
    for (size_t c = 0; c < chunks; c++) {
        v8i peak = {0};
        for (size_t i = 0; i < CHUNK; i += 8) {
            v8i bits;
            TP_LOAD8(bits, samples + c * CHUNK + i);
            bits &= 0x7fffffff;
            v8i larger = bits > peak;
            peak = (bits & larger) | (peak & ~larger);
        }
        int32_t top = 0;
        for (int lane = 0; lane < 8; lane++)
            top = peak[lane] > top ? peak[lane] : top;
        memcpy(&peaks[c], &top, sizeof top);
    }
}

/* Leaves out from … to and the margins; joined with the one before where they touch. */
static size_t leave_out(struct stretch *bad, size_t count, size_t from, size_t to, size_t frames)
{
    from = from > MARGIN ? from - MARGIN : 0;
    to = to + MARGIN < frames ? to + MARGIN : frames;
    if (count > 0 && from <= bad[count - 1].to)
        bad[count - 1].to = to;
    else
        bad[count++] = (struct stretch){from, to};
    return count;
}

static size_t zeros_around(const float *samples, size_t frames, size_t *from)
{
    size_t to = *from;
    while (*from > 0 && samples[*from - 1] == 0.0f)
        (*from)--;
    while (to < frames && samples[to] == 0.0f)
        to++;
    return to;
}

/* Where the run at i of samples at full scale or on a plateau at the top ends; i when there is none. */
static size_t loud_end(const float *samples, size_t frames, size_t i, float flat)
{
    float x = samples[i];
    size_t end = i + 1;
    if (fabsf(x) >= NEAR_FULL_SCALE)
        return end;
    if (fabsf(x) < flat)
        return i;
    while (end < frames && fabsf(samples[end]) >= flat && (samples[end] > 0.0f) == (x > 0.0f))
        end++;
    return end - i >= FLAT_MIN ? end : i;
}

/* Most chunks are calm by their peak, and skipped. */
static size_t find_bad(struct tp_overlay *o, const float *samples, struct stretch *bad)
{
    size_t count = 0, chunks = o->frames / CHUNK, done = 0;
    float top = 0.0f;
    chunk_peaks(samples, chunks, o->peaks);
    for (size_t c = 0; c < chunks; c++)
        top = o->peaks[c] > top ? o->peaks[c] : top;
    float flat = 0.999f * top, threshold = flat < NEAR_FULL_SCALE ? flat : NEAR_FULL_SCALE;
    for (size_t c = 0; c < chunks; c++) {
        size_t i = c * CHUNK > done ? c * CHUNK : done;
        if (o->peaks[c] == 0.0f && i == c * CHUNK) {
            done = zeros_around(samples, o->frames, &i);
            if (done - i >= ZEROS_MIN)
                count = leave_out(bad, count, i, done, o->frames);
        } else if (o->peaks[c] >= threshold) {
            while (i < (c + 1) * CHUNK) {
                size_t end = loud_end(samples, o->frames, i, flat);
                if (end > i)
                    count = leave_out(bad, count, i, end, o->frames);
                i = end > i ? end : i + 1;
            }
            done = i;
        }
    }
    return count;
}

/* What of `from` … `to` neither channel leaves out, in a's frames. */
static void find_clear(struct tp_overlay *o, size_t from, size_t to)
{
    size_t na = 0, nb = 0;
    o->clear_count = 0;
    while (from < to) {
        /* The next stretch of either channel that ends behind `from`. */
        while (na < o->bad_a_count && o->bad_a[na].to <= from)
            na++;
        while (nb < o->bad_b_count && (int64_t)o->bad_b[nb].to - o->lag <= (int64_t)from)
            nb++;
        int64_t bad_from = (int64_t)to, bad_to = (int64_t)to;
        if (na < o->bad_a_count && (int64_t)o->bad_a[na].from < bad_from) {
            bad_from = (int64_t)o->bad_a[na].from;
            bad_to = (int64_t)o->bad_a[na].to;
        }
        if (nb < o->bad_b_count && (int64_t)o->bad_b[nb].from - o->lag < bad_from) {
            bad_from = (int64_t)o->bad_b[nb].from - o->lag;
            bad_to = (int64_t)o->bad_b[nb].to - o->lag;
        }
        if (bad_from > (int64_t)from)
            o->clear[o->clear_count++] = (struct stretch){from, (size_t)bad_from};
        from = (size_t)bad_to;
    }
}

TP_CLONES static void subtract(const float *from, float value, size_t frames, float *out)
{
    for (size_t i = 0; i < frames; i++)
        out[i] = from[i] - value;
}

void tp_overlay_lay(struct tp_overlay *o, const float *a, const float *b, int64_t lag)
{
    int64_t last = (int64_t)o->frames - (lag > 0 ? lag : 0) - TP_LAG_TAPS;
    size_t from = (size_t)(lag < 0 ? -lag : 0) + TP_LAG_TAPS, to = last > 0 ? (size_t)last : 0, count = 0;
    double sum_a = 0.0, sum_b = 0.0, sum, squares;
    o->a = a;
    o->b = b;
    o->lag = lag;
    o->bad_a_count = find_bad(o, a, o->bad_a);
    o->bad_b_count = find_bad(o, b, o->bad_b);
    find_clear(o, from, to);
    for (size_t c = 0; c < o->clear_count; c++) {
        struct stretch s = o->clear[c];
        tp_lag_power(a + s.from, s.to - s.from, &sum, &squares);
        sum_a += sum;
        tp_lag_power(b + (int64_t)s.from + lag, s.to - s.from, &sum, &squares);
        sum_b += sum;
        count += s.to - s.from;
    }
    float mean_a = count > 0 ? (float)(sum_a / (double)count) : 0.0f;
    float mean_b = count > 0 ? (float)(sum_b / (double)count) : 0.0f;
    subtract(a, mean_a, o->frames, o->x);
    memset(o->y, 0, o->frames * sizeof *o->y);
    for (size_t c = 0; c < o->clear_count; c++) {
        struct stretch s = o->clear[c];
        subtract(b + (int64_t)s.from + lag, mean_b, s.to - s.from, o->y + s.from);
    }
}

/* products[8 v + n]: sum of x[i - TAPS + 8 v + n] * y[i]. */
TP_CLONES static void correlate(const float *x, const float *y, size_t frames, double *products)
{
    tp_v8d total[LAG_VECTORS] = {{0}};
    for (size_t i = 0; i < frames; i += FLOAT_SUM) {
        tp_v8f even[LAG_VECTORS] = {{0}}, odd[LAG_VECTORS] = {{0}};
        for (size_t n = i; n < i + FLOAT_SUM; n += 2) {
            for (size_t v = 0; v < LAG_VECTORS; v++) {
                tp_v8f first, second;
                TP_LOAD8(first, x + n + 8 * v - TP_LAG_TAPS);
                TP_LOAD8(second, x + n + 1 + 8 * v - TP_LAG_TAPS);
                even[v] += first * y[n];
                odd[v] += second * y[n + 1];
            }
        }
        for (size_t v = 0; v < LAG_VECTORS; v++)
            total[v] += __builtin_convertvector(even[v] + odd[v], tp_v8d);
    }
    memcpy(products, total, sizeof total);
}

static double square(float x)
{
    return (double)x * (double)x;
}

void tp_overlay_correlate(struct tp_overlay *o, double r[TP_LAG_SHIFTS], double energy_a[TP_LAG_SHIFTS])
{
    double products[8 * LAG_VECTORS];
    correlate(o->x, o->y, o->frames, products);
    for (size_t k = 0; k < TP_LAG_SHIFTS; k++) {
        r[k] = products[TP_LAG_SHIFTS - 1 - k];
        energy_a[k] = 0.0;
    }
    for (size_t c = 0; c < o->clear_count; c++) {
        double sum, middle;
        struct stretch s = o->clear[c];
        tp_lag_power(o->x + s.from, s.to - s.from, &sum, &middle);
        double earlier = middle, later = middle;
        energy_a[TP_LAG_TAPS] += middle;
        /* A step more of lag takes in a sample at one end and drops one at the other. */
        for (size_t k = 1; k <= TP_LAG_TAPS; k++) {
            earlier += square(o->x[s.from - k]) - square(o->x[s.to - k]);
            later += square(o->x[s.to + k - 1]) - square(o->x[s.from + k - 1]);
            energy_a[TP_LAG_TAPS + k] += fmax(earlier, 0.0);
            energy_a[TP_LAG_TAPS - k] += fmax(later, 0.0);
        }
    }
}

TP_CLONES static void interpolate(const float *x, const float *taps, size_t frames, float *out)
{
    for (size_t i = 0; i < frames; i += 16) {
        tp_v8f first = {0}, second = {0};
        for (size_t k = 0; k < TP_LAG_SHIFTS; k++) {
            tp_v8f low, high;
            TP_LOAD8(low, x + i + k - TP_LAG_TAPS);
            TP_LOAD8(high, x + i + 8 + k - TP_LAG_TAPS);
            first += low * taps[k];
            second += high * taps[k];
        }
        memcpy(out + i, &first, sizeof first);
        memcpy(out + i + 8, &second, sizeof second);
    }
}

TP_CLONES static void sum_products(const float *z, const float *y, size_t frames, struct tp_overlay_segment *segment)
{
    tp_v8d aa = {0}, ab = {0}, bb = {0};
    for (size_t i = 0; i < frames; i += 8) {
        tp_v8f narrow_z, narrow_y;
        TP_LOAD8(narrow_z, z + i);
        TP_LOAD8(narrow_y, y + i);
        tp_v8d wide_z = __builtin_convertvector(narrow_z, tp_v8d), wide_y = __builtin_convertvector(narrow_y, tp_v8d);
        aa += wide_z * wide_z;
        ab += wide_z * wide_y;
        bb += wide_y * wide_y;
    }
    for (int lane = 0; lane < 8; lane++) {
        segment->aa += aa[lane];
        segment->ab += ab[lane];
        segment->bb += bb[lane];
    }
}

/* Makes zero of what is left out. */
static void keep_clear(const struct tp_overlay *o, float *plane)
{
    size_t at = 0;
    for (size_t c = 0; c < o->clear_count; c++) {
        memset(plane + at, 0, (o->clear[c].from - at) * sizeof *plane);
        at = o->clear[c].to;
    }
    memset(plane + at, 0, (o->frames - at) * sizeof *plane);
}

static size_t clear_between(const struct tp_overlay *o, size_t from, size_t to)
{
    size_t count = 0;
    for (size_t c = 0; c < o->clear_count; c++) {
        size_t low = o->clear[c].from > from ? o->clear[c].from : from;
        size_t high = o->clear[c].to < to ? o->clear[c].to : to;
        count += high > low ? high - low : 0;
    }
    return count;
}

void tp_overlay_sum(struct tp_overlay *o, const double *taps, struct tp_overlay_segment segments[TP_OVERLAY_SEGMENTS])
{
    size_t length = o->frames / TP_OVERLAY_SEGMENTS;
    if (taps != NULL) {
        float narrow[TP_LAG_SHIFTS];
        for (size_t k = 0; k < TP_LAG_SHIFTS; k++)
            narrow[k] = (float)taps[k];
        interpolate(o->x, narrow, o->frames, o->z);
    } else {
        memcpy(o->z, o->x, o->frames * sizeof *o->z);
    }
    keep_clear(o, o->z);
    for (size_t s = 0; s < TP_OVERLAY_SEGMENTS; s++) {
        segments[s] = (struct tp_overlay_segment){.count = (double)clear_between(o, s * length, (s + 1) * length)};
        sum_products(o->z + s * length, o->y + s * length, length, &segments[s]);
    }
}

struct tp_overlay_segment tp_overlay_sum_curvature(struct tp_overlay *o)
{
    struct tp_overlay_segment sums = {0};
    for (size_t c = 0; c < o->clear_count; c++) {
        for (size_t i = o->clear[c].from; i < o->clear[c].to; i++) {
            const float *a = o->a + i, *b = o->b + (int64_t)i + o->lag;
            double da = (double)a[1] - 2.0 * (double)a[0] + (double)a[-1];
            double db = (double)b[1] - 2.0 * (double)b[0] + (double)b[-1];
            sums.aa += da * da;
            sums.ab += da * db;
            sums.bb += db * db;
            sums.count += 1.0;
        }
    }
    return sums;
}
