/* SPDX-License-Identifier: MIT */
#include "measure/channel_meter.h"

#include "measure/loudness.h"
#include "measure/runs.h"
#include "support/tones.h"
#include "support/voice_plane.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double full_scale_16 = 32767.0 / 32768.0;

static void same_level(double a, double b)
{
    ck_assert((isnan(a) && isnan(b)) || a == b);
}

static void same_runs(const struct tp_clip_run *a, size_t a_count, const struct tp_clip_run *b, size_t b_count)
{
    ck_assert_uint_eq(a_count, b_count);
    for (size_t i = 0; i < a_count; i++) {
        ck_assert_uint_eq(a[i].start_frame, b[i].start_frame);
        ck_assert_uint_eq(a[i].frames, b[i].frames);
        ck_assert_double_eq(a[i].level_dbfs, b[i].level_dbfs);
    }
}

static void same_channel(const struct tp_channel *a, const struct tp_channel *b)
{
    same_level(a->sample_peak_dbfs, b->sample_peak_dbfs);
    same_level(a->true_peak_dbtp, b->true_peak_dbtp);
    same_level(a->integrated_lufs, b->integrated_lufs);
    same_level(a->momentary_max_lufs, b->momentary_max_lufs);
    same_level(a->short_term_max_lufs, b->short_term_max_lufs);
    same_level(a->loudness_range_lu, b->loudness_range_lu);
    same_level(a->rms_dbfs, b->rms_dbfs);
    same_level(a->dc_offset, b->dc_offset);
    same_level(a->noise_floor_dbfs, b->noise_floor_dbfs);
    same_level(a->working_level_dbfs, b->working_level_dbfs);
    same_level(a->active_s, b->active_s);
    ck_assert_uint_eq(a->clip_runs, b->clip_runs);
    ck_assert_uint_eq(a->clipped_samples, b->clipped_samples);
    ck_assert_uint_eq(a->longest_clip_run, b->longest_clip_run);
    same_runs(a->clips, a->clip_count, b->clips, b->clip_count);
    ck_assert_uint_eq(a->flat_top_runs, b->flat_top_runs);
    same_runs(a->flat_tops, a->flat_top_count, b->flat_tops, b->flat_top_count);
    ck_assert_uint_eq(a->damage.count, b->damage.count);
    for (size_t i = 0; i < a->damage.count; i++) {
        ck_assert_uint_eq(a->damage.items[i].start_frame, b->damage.items[i].start_frame);
        ck_assert_uint_eq(a->damage.items[i].end_frame, b->damage.items[i].end_frame);
    }
    ck_assert_uint_eq(a->overview.bin_count, b->overview.bin_count);
    ck_assert_uint_eq(a->overview.frames_per_bin, b->overview.frames_per_bin);
    if (a->overview.bin_count == 0)
        return;
    ck_assert_mem_eq(a->overview.min, b->overview.min, a->overview.bin_count);
    ck_assert_mem_eq(a->overview.max, b->overview.max, a->overview.bin_count);
}

START_TEST(channel__does_not_depend_on_the_blocks)
{
    const size_t blocks[] = {1, 7, 480, 5000, 1000000};
    struct plane plane = voice_plane_long(300000);
    for (size_t i = 0; i < plane.frames; i++) {
        double hot = 3.0 * (double)plane.samples[i];
        plane.samples[i] = (float)(hot > full_scale_16 ? full_scale_16 : hot < -0.7 ? -0.7 : hot);
    }
    const float *planes[1] = {plane.samples};
    struct measured whole;
    measure_planes(&whole, 48000, planes, 1, 0, plane.frames, full_scale_16, 4096);
    ck_assert_uint_gt(whole.channels[0].clip_runs, 10);
    ck_assert_uint_gt(whole.channels[0].flat_top_runs, 10);
    ck_assert(tp_exists(whole.channels[0].working_level_dbfs));
    for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++) {
        struct measured m;
        measure_planes(&m, 48000, planes, 1, 0, plane.frames, full_scale_16, blocks[i]);
        same_channel(&whole.channels[0], &m.channels[0]);
        same_level(whole.programme.integrated_lufs, m.programme.integrated_lufs);
        same_level(whole.programme.momentary_max_lufs, m.programme.momentary_max_lufs);
        same_level(whole.programme.loudness_range_lu, m.programme.loudness_range_lu);
        ck_assert_uint_eq(whole.observations.count, m.observations.count);
        measured_clear(&m);
    }
    measured_clear(&whole);
    plane_free(&plane);
}
END_TEST

/* Stretches of noise, tones, silence, held values, repeats, overloads, clicks and what only float can hold. */
static float rough_sample(const float *samples, size_t i, uint32_t rate_hz, uint64_t key)
{
    double noise = wavgen_random(i + 77777), level = pow(10.0, -2.5 * fabs(wavgen_random(key + 1)));
    double phase = (double)i * 6.28318 * (0.001 + 0.05 * fabs(wavgen_random(key + 2)));
    size_t back = 1 + (size_t)(3000.0 * fabs(wavgen_random(key + 3)));
    switch ((int)(5.0 + 5.0 * wavgen_random(key + 4))) {
    case 0: return (float)(level * noise);
    case 1: return (float)(1.6 * sin(phase));
    case 2: return 0.0f;
    case 3: return i > 0 ? samples[i - 1] : 0.0f;
    case 4: return (float)(level * sin(phase) + 0.01 * noise);
    case 5: return i > back ? samples[i - back] : (float)(0.3 * noise);
    case 6: return (float)fmin(0.6, 4.0 * level * sin(phase));
    case 7: return (float)(fabs(noise) > 0.998 ? noise : 1e-3 * noise);
    case 8: return (float)(fabs(noise) > 0.99 ? 1e30 * noise : level * noise);
    default: return (float)(0.01 * level * noise + 0.3 * sin(6.28318 * 50.0 / rate_hz * (double)i));
    }
}

/* Around the ends of cells, of chunks and of groups of hops. */
static size_t odd_length(uint32_t rate_hz, uint64_t seed)
{
    double share = fabs(wavgen_random(seed + 5));
    const size_t whole[] = {32 * (size_t)(3000.0 * share), TP_CHANNEL_METER_CHUNK * (size_t)(24.0 * share),
                            tp_hop_start(tp_block_frames(rate_hz), 16 * (uint64_t)(6.0 * share)),
                            tp_hop_start(tp_block_frames(rate_hz), (uint64_t)(50.0 * share)), (size_t)(1e5 * share)};
    size_t length = whole[seed % 5] + seed / 5 % 3;
    return length > 0 ? length - 1 : 0;
}

static void same_observations(const struct tp_observations *a, const struct tp_observations *b)
{
    ck_assert_uint_eq(a->count, b->count);
    ck_assert_uint_eq(a->total, b->total);
    for (size_t i = 0; i < a->count; i++) {
        ck_assert_int_eq(a->items[i].code, b->items[i].code);
        same_level(a->items[i].start_s, b->items[i].start_s);
        same_level(a->items[i].end_s, b->items[i].end_s);
        same_level(a->items[i].value, b->items[i].value);
    }
}

START_TEST(channel__does_not_depend_on_the_blocks_at_any_rate_and_length)
{
    static const uint32_t rates[] = {3999,  4000,  8000,   11025,  22050,  44100,  48000,
                                     88200, 96000, 176400, 192000, 384000, 768000, 1500000};
    uint32_t rate_hz = rates[_i];
    for (uint64_t seed = 0; seed < 12; seed++) {
        size_t frames = odd_length(rate_hz, seed * 7 + (uint64_t)_i);
        double full_scale_lin = seed % 2 == 0 ? 1.0 : full_scale_16;
        struct plane plane = plane_new(frames + 1);
        uint64_t key = seed;
        for (size_t i = 0; i < frames; i++) {
            key = wavgen_random(i) > 0.998 ? i * 1000 : key;
            double sample = (double)rough_sample(plane.samples, i, rate_hz, key);
            plane.samples[i] = (float)(seed % 2 == 0 ? sample : fmax(-1.0, fmin(sample, full_scale_16)));
        }
        const float *planes[1] = {plane.samples};
        struct measured chunks, pieces;
        measure_planes(&chunks, rate_hz, planes, 1, 0, frames, full_scale_lin, TP_CHANNEL_METER_CHUNK);
        const size_t blocks[] = {1 + frames, 1 + seed * 977 % 9000, 1 + seed % 40};
        for (size_t i = 0; i < sizeof blocks / sizeof *blocks; i++) {
            measure_planes(&pieces, rate_hz, planes, 1, 0, frames, full_scale_lin, blocks[i]);
            same_channel(&chunks.channels[0], &pieces.channels[0]);
            same_observations(&chunks.observations, &pieces.observations);
            measured_clear(&pieces);
        }
        measured_clear(&chunks);
        plane_free(&plane);
    }
}
END_TEST

/* Against sums over the integers in 64 bits: nothing is rounded there. The peak is exact; DC is -180 dB near, RMS 1e-6
 * dB.
 */
START_TEST(level__equals_sums_over_integers)
{
    for (uint64_t seed = 0; seed < 10; seed++) {
        struct plane plane = tones_noise(seed, 0.3 + 0.06 * (double)seed, 48000 + (size_t)seed * 777);
        int64_t sum = 0, peak = 0;
        double squares = 0.0;
        for (size_t i = 0; i < plane.frames; i++) {
            plane.samples[i] = (float)tones_round24((double)plane.samples[i] + 0.01 * (double)seed);
            int64_t code = llround((double)plane.samples[i] * 8388608.0);
            sum += code;
            peak = llabs(code) > peak ? llabs(code) : peak;
        }
        double mean = (double)sum / (double)plane.frames;
        for (size_t i = 0; i < plane.frames; i++)
            squares += pow((double)plane.samples[i] * 8388608.0 - mean, 2.0);
        struct measured m;
        measure_plane(&m, 48000, &plane);
        ck_assert_double_eq(m.channels[0].sample_peak_dbfs, 20.0 * log10((double)peak / 8388608.0));
        ck_assert_double_eq_tol(m.channels[0].dc_offset, mean / 8388608.0, 1e-9);
        double rms_dbfs = 10.0 * log10(2.0 * squares / (double)plane.frames / 8388608.0 / 8388608.0);
        ck_assert_double_eq_tol(m.channels[0].rms_dbfs, rms_dbfs, 1e-6);
        ck_assert_double_ge(m.channels[0].true_peak_dbtp, m.channels[0].sample_peak_dbfs);
        measured_clear(&m);
        plane_free(&plane);
    }
}
END_TEST

/* The same, of sound that sums in single precision are bad at: nearly all offset, or slow, or in bursts, in long double
 * and at rates whose 10 ms are and are no whole cells. */
START_TEST(level__of_offsets_equals_its_definition)
{
    const uint32_t rates_hz[] = {44100, 48000};
    for (int kind = 0; kind < 6; kind++) {
        struct plane plane = tones_noise((uint64_t)kind + 20, 1.0, 150000);
        long double sum = 0.0L, squares = 0.0L;
        for (size_t i = 0; i < plane.frames; i++) {
            const double x = (double)plane.samples[i], slow = sin((double)i * 1e-4),
                         burst = i / 9000 % 3 != 0 ? 1e-3 : 1;
            const double kinds[] = {0.5 + 1e-4 * x,
                                    -0.9 + 1e-2 * x,
                                    0.9 * slow + 1e-4 * x,
                                    0.05 + 0.5 * burst * x,
                                    (double)i * 6e-6 + 1e-3 * x,
                                    0.3 * slow + 1e-6 * x};
            plane.samples[i] = (float)tones_round24(kinds[kind]);
            sum += (long double)plane.samples[i];
        }
        long double mean = sum / (long double)plane.frames;
        for (size_t i = 0; i < plane.frames; i++)
            squares += ((long double)plane.samples[i] - mean) * ((long double)plane.samples[i] - mean);
        double rms_dbfs = 10.0 * log10(2.0 * (double)(squares / (long double)plane.frames));
        for (size_t r = 0; r < 2; r++) {
            struct measured m;
            measure_plane(&m, rates_hz[r], &plane);
            ck_assert_double_eq_tol(m.channels[0].dc_offset, (double)mean, 1e-9);
            ck_assert_double_eq_tol(m.channels[0].rms_dbfs, rms_dbfs, 1e-6);
            measured_clear(&m);
        }
        plane_free(&plane);
    }
}
END_TEST

START_TEST(level__of_a_chunk_is_there_when_a_push_ends_with_it)
{
    enum { CHUNK = TP_CHANNEL_METER_CHUNK };
    struct plane plane = voice_plane_long(20 * CHUNK);
    struct tp_channel_meter *meter = tp_channel_meter_new(48000, 1.0);
    ck_assert_ptr_nonnull(meter);
    ck_assert_uint_eq(tp_channel_meter_sums(meter).frames, 0);
    for (size_t at = 0, step; at + CHUNK <= plane.frames; at += step) {
        step = at / CHUNK % 3 == 0 ? CHUNK : CHUNK / 2;
        tp_channel_meter_push(meter, plane.samples + at, step);
        struct tp_sums sums = tp_channel_meter_sums(meter);
        bool is_whole = (at + step) % CHUNK == 0;
        ck_assert_uint_eq(sums.frames, is_whole ? CHUNK : 0);
        if (!is_whole)
            continue;
        struct tp_sums exact = tp_sums_of(plane.samples + at + step - CHUNK, CHUNK);
        ck_assert(sums.peak == exact.peak);
        ck_assert_double_eq_tol(sums.sum, exact.sum, 1e-6 * CHUNK * (double)exact.peak + 1e-30);
        ck_assert_double_eq_tol(sums.sum_squares, exact.sum_squares, 1e-6 * exact.sum_squares + 1e-30);
    }
    tp_channel_meter_free(meter);
    plane_free(&plane);
}
END_TEST

START_TEST(level__of_silence_does_not_exist)
{
    struct plane plane = plane_new(10000);
    struct measured m;
    measure_plane(&m, 48000, &plane);
    const struct tp_channel *channel = &m.channels[0];
    ck_assert(!tp_exists(channel->sample_peak_dbfs) && !tp_exists(channel->true_peak_dbtp));
    ck_assert(!tp_exists(channel->rms_dbfs) && !tp_exists(channel->noise_floor_dbfs));
    ck_assert(!tp_exists(channel->working_level_dbfs));
    ck_assert_double_eq(channel->dc_offset, 0.0);
    ck_assert_double_eq(channel->active_s, 0.0);
    ck_assert(channel->digital_silence);
    measured_clear(&m);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = 0.125f; /* a constant has a peak and DC but no sound */
    measure_plane(&m, 48000, &plane);
    ck_assert(!tp_exists(m.channels[0].rms_dbfs) && !tp_exists(m.channels[0].noise_floor_dbfs));
    ck_assert_double_eq(m.channels[0].dc_offset, 0.125);
    ck_assert(!m.channels[0].digital_silence);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* One millisecond of each level at each place; what a spreadsheet would draw. */
START_TEST(overview__holds_the_extremes_of_every_bin)
{
    const size_t lengths[] = {1, 63, 64, 65, 65536, 65537, 1000000, 3333333};
    for (size_t l = 0; l < sizeof lengths / sizeof *lengths; l++) {
        struct plane plane = tones_noise(l, 0.8, lengths[l]);
        struct measured m;
        measure_plane(&m, 48000, &plane);
        const struct tp_overview *o = &m.channels[0].overview;
        ck_assert_uint_le(o->bin_count, TP_OVERVIEW_BINS_MAX);
        ck_assert_uint_eq(o->bin_count, (lengths[l] + o->frames_per_bin - 1) / o->frames_per_bin);
        if (lengths[l] > 65536)
            ck_assert_uint_gt(o->bin_count, TP_OVERVIEW_BINS_MAX / 2);
        for (size_t bin = 0; bin < o->bin_count; bin++) {
            float min = 1.0f, max = -1.0f;
            for (size_t i = bin * (size_t)o->frames_per_bin; i < (bin + 1) * o->frames_per_bin && i < lengths[l]; i++) {
                min = fminf(min, plane.samples[i]);
                max = fmaxf(max, plane.samples[i]);
            }
            ck_assert_int_eq(o->min[bin], (int)(min < 0 ? floorf(min * 127.0f) : ceilf(min * 127.0f)));
            ck_assert_int_eq(o->max[bin], (int)(max < 0 ? floorf(max * 127.0f) : ceilf(max * 127.0f)));
        }
        measured_clear(&m);
        plane_free(&plane);
    }
}
END_TEST

/* The definitions of activity.h applied to a signal where they can be computed by hand: noise at -60 dBFS AES17, and
 * from 2 s to 8 s a tone of -20 dBFS peak in bursts of 0.5 s with pauses of 0.5 s. */
START_TEST(activity__floor_and_working_level_of_a_known_signal)
{
    struct plane plane = tones_noise(3, pow(10.0, -60.0 / 20.0) * sqrt(1.5), 480000);
    for (size_t i = 96000; i < 384000; i++)
        if (i / 24000 % 2 == 0)
            plane.samples[i] += 0.1f * sinf(6.2831853f * (float)(i % 48) / 48.0f);
    struct measured m;
    measure_plane(&m, 48000, &plane);
    ck_assert_double_eq_tol(m.channels[0].noise_floor_dbfs, -60.0, 0.3);
    ck_assert_double_eq_tol(m.channels[0].active_s, 3.0, 0.11);
    /* on: -20 for half the time, then falling 5.9 dB in the pauses: half of all readings lie under -20 */
    ck_assert_double_le(m.channels[0].working_level_dbfs, -19.8);
    ck_assert_double_ge(m.channels[0].working_level_dbfs, -21.5);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

START_TEST(activity__moves_with_the_gain)
{
    struct plane plane = voice_plane_long(480000);
    struct measured a, b;
    measure_plane(&a, 48000, &plane);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] *= 0.25f;
    measure_plane(&b, 48000, &plane);
    ck_assert_double_eq_tol(a.channels[0].working_level_dbfs - b.channels[0].working_level_dbfs, 12.0412, 0.11);
    measured_clear(&a);
    measured_clear(&b);
    plane_free(&plane);
}
END_TEST

/* Steady noise, however loud, is not speech: no working level. */
START_TEST(activity__steady_noise_is_not_active)
{
    struct plane plane = tones_noise(4, 0.1, 480000);
    struct measured m;
    measure_plane(&m, 48000, &plane);
    ck_assert(!tp_exists(m.channels[0].working_level_dbfs));
    ck_assert_double_eq(m.channels[0].active_s, 0.0);
    measured_clear(&m);
    plane_free(&plane);
}
END_TEST

/* Any 32-bit number may come from a header. */
START_TEST(channel__any_rate_is_survived)
{
    const uint32_t rates[] = {1, 2, 9, 99, 3999, 4000, 5512, 768000, 2147483647, UINT32_MAX};
    struct plane plane = tones_noise(9, 0.5, 20000);
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        struct measured m;
        measure_plane(&m, rates[i], &plane);
        ck_assert(tp_exists(m.channels[0].sample_peak_dbfs) && tp_exists(m.channels[0].true_peak_dbtp));
        ck_assert(rates[i] >= 4000 || !tp_exists(m.channels[0].integrated_lufs));
        measured_clear(&m);
    }
    plane_free(&plane);
}
END_TEST

START_TEST(runs__list_keeps_the_longest_in_time_order)
{
    struct tp_run_list list = {0};
    uint64_t samples = 0, at = 0;
    for (uint64_t i = 0; i < 5000; i++) {
        uint64_t length = 3 + i * 7919 % 5000;
        tp_run_list_add(&list, &(struct tp_clip_run){at, length, 0.0}, 480);
        samples += length;
        at += length + 2000;
    }
    ck_assert_uint_eq(list.runs, 5000);
    ck_assert_uint_eq(list.samples, samples);
    ck_assert_uint_eq(list.longest_run, 5002);
    ck_assert_uint_eq(list.span_count, TP_RUN_SPANS_MAX);
    ck_assert_uint_eq(list.spans[TP_RUN_SPANS_MAX - 1].end_frame, at - 2000 + 480);
    for (size_t i = 1; i < list.span_count; i++)
        ck_assert_uint_gt(list.spans[i].start_frame, list.spans[i - 1].end_frame);
    struct tp_clip_run *runs;
    size_t count;
    tp_run_list_take(&list, &runs, &count);
    ck_assert_uint_eq(count, TP_CLIPS_MAX);
    for (size_t i = 0; i < count; i++) {
        ck_assert_uint_ge(runs[i].frames, 4003); /* the longest 1000 of 3 … 5002 */
        ck_assert(i == 0 || runs[i].start_frame > runs[i - 1].start_frame);
    }
    free(runs);
    tp_run_list_clear(&list);
}
END_TEST

START_TEST(runs__spans_settle)
{
    struct tp_spans spans = {0};
    const struct tp_span items[] = {{50, 60}, {10, 20}, {15, 30}, {30, 31}, {90, 200}, {300, 400}, {5, 5}};
    ck_assert(tp_spans_append(&spans, items, 7));
    tp_spans_settle(&spans, 100);
    ck_assert_uint_eq(spans.count, 3);
    const struct tp_span expected[] = {{10, 31}, {50, 60}, {90, 100}};
    ck_assert_mem_eq(spans.items, expected, sizeof expected);
    free(spans.items);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("channel_meter");
    TCase *tcase = tcase_create("all");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, channel__does_not_depend_on_the_blocks);
    tcase_add_loop_test(tcase, channel__does_not_depend_on_the_blocks_at_any_rate_and_length, 0, 14);
    tcase_add_test(tcase, level__equals_sums_over_integers);
    tcase_add_test(tcase, level__of_offsets_equals_its_definition);
    tcase_add_test(tcase, level__of_a_chunk_is_there_when_a_push_ends_with_it);
    tcase_add_test(tcase, level__of_silence_does_not_exist);
    tcase_add_test(tcase, overview__holds_the_extremes_of_every_bin);
    tcase_add_test(tcase, activity__floor_and_working_level_of_a_known_signal);
    tcase_add_test(tcase, activity__moves_with_the_gain);
    tcase_add_test(tcase, activity__steady_noise_is_not_active);
    tcase_add_test(tcase, channel__any_rate_is_survived);
    tcase_add_test(tcase, runs__list_keeps_the_longest_in_time_order);
    tcase_add_test(tcase, runs__spans_settle);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) > 0 || srunner_ntests_run(runner) < 10;
    srunner_free(runner);
    return failed ? 1 : 0;
}
