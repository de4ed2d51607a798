/* SPDX-License-Identifier: MIT */
#include "support/oversampled.h"

#include <math.h>
#include <stdlib.h>

enum { REACH = 128, FINE = 32 };

static void design(double taps[FINE][2 * REACH])
{
    const double pi = 3.14159265358979323846;
    for (int phase = 0; phase < FINE; phase++)
        for (int k = 0; k < 2 * REACH; k++) {
            double t = k - (REACH - 1) - (double)phase / FINE;
            double w = 0.42 + 0.5 * cos(pi * t / REACH) + 0.08 * cos(2.0 * pi * t / REACH);
            taps[phase][k] = fabs(t) < 1e-12 ? 1.0 : sin(pi * t) / (pi * t) * w;
        }
}

/* The samples with REACH reflected ones on each side. */
static double *reflected(const float *samples, size_t count)
{
    double *long_one = calloc(count + 2 * REACH, sizeof *long_one);
    if (long_one == NULL)
        abort();
    ptrdiff_t period = count > 1 ? 2 * ((ptrdiff_t)count - 1) : 1;
    for (ptrdiff_t i = -REACH; i < (ptrdiff_t)count + REACH; i++) {
        ptrdiff_t at = (i % period + period) % period;
        long_one[i + REACH] = (double)samples[at < (ptrdiff_t)count ? at : period - at];
    }
    return long_one;
}

static double largest(const double *samples, size_t count)
{
    double peak = 0.0;
    for (size_t i = 0; i < count; i++)
        peak = fmax(peak, fabs(samples[i]));
    return peak;
}

double oversampled_peak(const float *samples, size_t count, double headroom)
{
    double taps[FINE][2 * REACH];
    design(taps);
    double *long_one = reflected(samples, count);
    double rough = largest(long_one + REACH, count), peak = rough;
    for (size_t i = 0; i + 1 < count; i++) {
        if (largest(long_one + REACH + i - 8, 18) < rough / headroom)
            continue;
        for (int phase = 1; phase < FINE; phase++) {
            double y = 0.0;
            for (int k = 0; k < 2 * REACH; k++)
                y += taps[phase][k] * long_one[i + (size_t)k + 1];
            peak = fmax(peak, fabs(y));
        }
    }
    free(long_one);
    return peak;
}
