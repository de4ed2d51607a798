/* SPDX-License-Identifier: MIT */
/* Sums over samples against their definition in long double: the mean and, as in AES17-2015, the RMS of what differs
 * from it. */
#include "measure/level.h"
#include "support/tones.h"
#include "support/voice_plane.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

enum { KINDS = 12 };

/* Sound that single precision is bad at. */
static float sample_of(int kind, size_t i, float noise)
{
    const double x = (double)noise, slow = sin((double)i * 1e-3);
    const double kinds[KINDS] = {x,
                                 1e-6 * x,
                                 0.9 + 1e-3 * x,
                                 -0.99 + 1e-4 * slow,
                                 0.9 * slow + 1e-5 * x,
                                 i % 256 == 0 ? 1.0 : 1e-3 * x, /* each stretch begins with a click */
                                 i / 300 % 2 != 0 ? 1.0 : -1.0,
                                 i % 2 != 0 ? 0.7 : -0.7,
                                 1e-18 * x,
                                 1e-30 * x,
                                 1e18 * x,
                                 1e30 * x};
    /* Two of 24 bits add up exactly; of more, an offset of nearly full scale would hide what is 60 dB below. */
    return (float)(kind == 2 || kind == 3 ? tones_round24(kinds[kind]) : kinds[kind]);
}

static void check_sums(const float *samples, size_t frames, const char *what)
{
    long double sum = 0.0L, squares = 0.0L;
    float peak = 0.0F;
    for (size_t i = 0; i < frames; i++) {
        sum += (long double)samples[i];
        peak = fabsf(samples[i]) > peak ? fabsf(samples[i]) : peak;
    }
    long double mean = sum / (long double)frames;
    for (size_t i = 0; i < frames; i++)
        squares += ((long double)samples[i] - mean) * ((long double)samples[i] - mean);
    struct tp_sums sums = tp_sums_of(samples, frames);
    ck_assert_uint_eq(sums.frames, frames);
    ck_assert_msg(sums.peak == peak, "%s: peak %g instead of %g", what, (double)sums.peak, (double)peak);
    double dc = tp_sums_dc(&sums);
    ck_assert_msg(fabs(dc - (double)mean) <= 3e-8 * (double)peak, "%s: DC %g instead of %g", what, dc, (double)mean);
    if (squares == 0.0L) {
        ck_assert(isnan(tp_sums_rms_dbfs(&sums)));
        return;
    }
    double rms_dbfs = 10.0 * log10(2.0 * (double)(squares / (long double)frames));
    ck_assert_msg(fabs(tp_sums_rms_dbfs(&sums) - rms_dbfs) <= 1e-6, "%s, %zu samples: RMS %.9f instead of %.9f", what,
                  frames, tp_sums_rms_dbfs(&sums), rms_dbfs);
}

START_TEST(kernels__sums_equal_their_definition)
{
    struct plane plane = tones_noise((uint64_t)_i + 1, 1.0, 20000);
    char what[32];
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = sample_of(_i, i, plane.samples[i]);
    snprintf(what, sizeof what, "kind %d", _i);
    for (size_t frames = 2000; frames <= 20000; frames += 1801)
        check_sums(plane.samples + 20000 - frames, frames, what);
    plane_free(&plane);
}
END_TEST

START_TEST(kernels__sums_equal_their_definition_on_real_voices)
{
    struct plane plane = voice_plane((size_t)_i);
    for (size_t at = 0; at + 4800 <= plane.frames; at += 4800)
        check_sums(plane.samples + at, 4800, real_voice_name((size_t)_i));
    check_sums(plane.samples, plane.frames, real_voice_name((size_t)_i));
    plane_free(&plane);
}
END_TEST

START_TEST(kernels__a_constant_has_no_rms)
{
    float samples[5000];
    const float constants[] = {0.0F, 0.125F, -0.7F, 1e-7F, 0.333333F};
    for (size_t i = 0; i < sizeof samples / sizeof *samples; i++)
        samples[i] = constants[_i];
    struct tp_sums sums = tp_sums_of(samples, sizeof samples / sizeof *samples);
    ck_assert(isnan(tp_sums_rms_dbfs(&sums)));
    ck_assert_double_eq_tol(tp_sums_dc(&sums), (double)constants[_i], 1e-15);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("kernels");
    TCase *tcase = tcase_create("all");
    tcase_add_loop_test(tcase, kernels__sums_equal_their_definition, 0, KINDS);
    tcase_add_loop_test(tcase, kernels__sums_equal_their_definition_on_real_voices, 0, REAL_VOICE_COUNT);
    tcase_add_loop_test(tcase, kernels__a_constant_has_no_rms, 0, 5);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    bool ran = srunner_ntests_run(runner) > 0;
    srunner_free(runner);
    return failed > 0 || !ran ? 1 : 0;
}
