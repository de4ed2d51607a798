/* SPDX-License-Identifier: MIT */
/*
 * Our figures beside those of FFmpeg (ebur128, astats), libebur128 (fed directly) and plain arithmetic, over real
 * recordings from Debian packages (alsa-utils, asterisk-core-sounds-en-wav, asterisk-moh-opsound-wav,
 * sonic-pi-samples), each converted by SoX to 48 kHz / 24 bit and to one other format. Prints the worst difference of
 * each figure; a bound that is passed fails. A machine without the recordings fails with what to install: nothing is
 * skipped in silence.
 */
#include "measure/loudness.h"
#include "measure/second_opinion.h"
#include "support/oversampled.h"
#include "support/scratch.h"
#include "support/tones.h"

#include <ebur128.h>
#include <glob.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define PACKAGES "alsa-utils asterisk-core-sounds-en-wav asterisk-moh-opsound-wav sonic-pi-samples"

static const struct source {
    const char *pattern;
    size_t take; /* the largest files */
} sources[] = {
    {"/usr/share/sounds/alsa/*.wav", 9},
    {"/usr/share/asterisk/sounds/en*/*.wav", 12},
    {"/usr/share/asterisk/moh/*.wav", 5},
    {"/usr/share/sonic-pi/samples/*.flac", 12},
};

static const struct format {
    const char *rate, *bits, *encoding;
    double full_scale_lin;
} formats[] = {
    {"48000", "24", "signed-integer", TONES_FULL_SCALE_24},
    {"44100", "16", "signed-integer", 32767.0 / 32768.0},
    {"96000", "24", "signed-integer", TONES_FULL_SCALE_24},
    {"192000", "32", "floating-point", 1.0},
    {"88200", "24", "signed-integer", TONES_FULL_SCALE_24},
    {"32000", "16", "signed-integer", 32767.0 / 32768.0},
    {"48000", "32", "floating-point", 1.0},
};
enum { FORMATS = sizeof formats / sizeof *formats };

/* One line of the closing table. */
enum figure {
    INTEGRATED_LIBRARY,
    RANGE_LIBRARY,
    MOMENTARY_LIBRARY,
    SHORT_TERM_LIBRARY,
    SAMPLE_PEAK_LIBRARY,
    TRUE_PEAK_FINE,
    TRUE_PEAK_LIBRARY,
    DC_SUM,
    INTEGRATED_FFMPEG,
    RANGE_FFMPEG,
    MOMENTARY_FFMPEG,
    SHORT_TERM_FFMPEG,
    SAMPLE_PEAK_FFMPEG,
    TRUE_PEAK_FFMPEG,
    RMS_FFMPEG,
    DC_FFMPEG,
    FIGURES
};
static struct row {
    const char *figure, *reference;
    double under, over; /* ours minus theirs may lie in [-under, over] */
    const char *unit, *why;
    double lowest, highest;
    unsigned compared, missed;
} rows[FIGURES] = {
    [INTEGRATED_LIBRARY] = {"integrated", "libebur128", 1e-6, 1e-6, "LU", "same blocks", 0, 0, 0, 0},
    [RANGE_LIBRARY] = {"loudness range", "libebur128", 1e-6, 1e-6, "LU", "same windows", 0, 0, 0, 0},
    [MOMENTARY_LIBRARY] = {"momentary max", "libebur128, 10 ms", 1e-6, 1e-6, "LU", "same windows", 0, 0, 0, 0},
    [SHORT_TERM_LIBRARY] = {"short-term max", "libebur128, 10 ms", 1e-6, 1e-6, "LU", "same windows", 0, 0, 0, 0},
    [SAMPLE_PEAK_LIBRARY] = {"sample peak", "libebur128", 0, 0, "dB", "exact", 0, 0, 0, 0},
    [TRUE_PEAK_FINE] = {"true peak", "32 x sinc", 0.1, 0.1, "dB", "", 0, 0, 0, 0},
    [TRUE_PEAK_LIBRARY] = {"true peak", "libebur128", 0.1, 0.4, "dB",
                           "it over-reads starts, under-reads on its coarser grid", 0, 0, 0, 0},
    [DC_SUM] = {"DC", "sum of samples", 1e-9, 1e-9, "FS", "a hundredth of a step of 24 bits", 0, 0, 0, 0},
    [INTEGRATED_FFMPEG] = {"integrated", "FFmpeg ebur128", 0.05, 0.05, "LU", "its histogram: 0.01 LU", 0, 0, 0, 0},
    [RANGE_FFMPEG] = {"loudness range", "FFmpeg ebur128", 1.0, 1.0, "LU", "it takes a value each 100 ms, we each 1 s",
                      0, 0, 0, 0},
    [MOMENTARY_FFMPEG] = {"momentary max", "FFmpeg ebur128", 0.01, 1.0, "LU", "it steps 100 ms, we 10 ms", 0, 0, 0, 0},
    [SHORT_TERM_FFMPEG] = {"short-term max", "FFmpeg ebur128", 0.01, 0.3, "LU", "it steps 100 ms, we 10 ms", 0, 0, 0,
                           0},
    [SAMPLE_PEAK_FFMPEG] = {"sample peak", "FFmpeg astats", 2e-6, 2e-6, "dB", "its 6 decimals", 0, 0, 0, 0},
    [TRUE_PEAK_FFMPEG] = {"true peak", "FFmpeg ebur128", 0.15, 0.3, "dB", "it resamples, silence around, 0.1 dB", 0, 0,
                          0, 0},
    [RMS_FFMPEG] = {"RMS", "FFmpeg astats", 1e-4, 1e-4, "dB", "after 3.01 dB and DC", 0, 0, 0, 0},
    [DC_FFMPEG] = {"DC", "FFmpeg astats", 1e-6, 1e-6, "FS", "its 6 decimals", 0, 0, 0, 0},
};

static void compare(enum figure figure, const char *name, double ours, double theirs)
{
    struct row *row = &rows[figure];
    double difference = ours - theirs;
    if (isnan(theirs) && isnan(ours))
        return;
    row->compared++;
    row->lowest = row->compared == 1 ? difference : fmin(row->lowest, difference);
    row->highest = row->compared == 1 ? difference : fmax(row->highest, difference);
    if (difference >= -row->under && difference <= row->over)
        return;
    row->missed++;
    printf("outside: %s: %s %.7f, %s %.7f\n", name, row->figure, ours, row->reference, theirs);
}

static struct plane read_plane(const char *path, uint32_t *rate_hz)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (file == NULL || info.channels != 1) {
        printf("cannot read %s as one channel\n", path);
        exit(1);
    }
    struct plane plane = plane_new((size_t)info.frames);
    plane.frames = (size_t)sf_readf_float(file, plane.samples, info.frames);
    *rate_hz = (uint32_t)info.samplerate;
    sf_close(file);
    return plane;
}

/* libebur128's own momentary and short-term loudness, asked after each of our hops: whole windows only. */
static void library_maxima(const struct plane *plane, uint32_t rate_hz, double *momentary, double *short_term)
{
    ebur128_state *state = ebur128_init(1, rate_hz, EBUR128_MODE_M | EBUR128_MODE_S);
    uint32_t block = tp_block_frames(rate_hz);
    *momentary = *short_term = (double)NAN;
    for (uint64_t hop = 0; tp_hop_start(block, hop + 1) <= plane->frames; hop++) {
        size_t from = (size_t)tp_hop_start(block, hop), to = (size_t)tp_hop_start(block, hop + 1);
        ebur128_add_frames_float(state, plane->samples + from, to - from);
        double value;
        if (hop + 1 >= 40 && ebur128_loudness_momentary(state, &value) == EBUR128_SUCCESS && isfinite(value))
            *momentary = fmax(*momentary, value);
        if (hop + 1 >= 300 && ebur128_loudness_shortterm(state, &value) == EBUR128_SUCCESS && isfinite(value))
            *short_term = fmax(*short_term, value);
    }
    ebur128_destroy(&state);
}

static void compare_library(const char *name, const struct plane *plane, uint32_t rate_hz,
                            const struct tp_channel *ours)
{
    struct tp_second_opinion *opinion = tp_second_opinion_new(rate_hz, 1, 0);
    struct tp_second_opinion_channel channel, programme;
    const float *planes[1] = {plane->samples};
    if (opinion == NULL || !tp_second_opinion_push(opinion, planes, plane->frames) ||
        !tp_second_opinion_finish(opinion, &channel, &programme))
        exit(99);
    tp_second_opinion_free(opinion);
    compare(INTEGRATED_LIBRARY, name, ours->integrated_lufs, channel.integrated_lufs);
    if (tp_exists(ours->loudness_range_lu)) /* of fewer than two values it says 0 */
        compare(RANGE_LIBRARY, name, ours->loudness_range_lu, channel.loudness_range_lu);
    compare(SAMPLE_PEAK_LIBRARY, name, ours->sample_peak_dbfs, channel.sample_peak_dbfs);
    compare(TRUE_PEAK_LIBRARY, name, ours->true_peak_dbtp, channel.true_peak_dbtp);
    double momentary, short_term;
    library_maxima(plane, rate_hz, &momentary, &short_term);
    compare(MOMENTARY_LIBRARY, name, ours->momentary_max_lufs, momentary);
    compare(SHORT_TERM_LIBRARY, name, ours->short_term_max_lufs, short_term);
}

static void compare_arithmetic(const char *name, const struct plane *plane, const struct tp_channel *ours)
{
    long double sum = 0.0L;
    for (size_t i = 0; i < plane->frames; i++)
        sum += (long double)plane->samples[i];
    compare(DC_SUM, name, ours->dc_offset, (double)(sum / plane->frames));
    compare(TRUE_PEAK_FINE, name, ours->true_peak_dbtp,
            20.0 * log10(oversampled_peak(plane->samples, plane->frames, 2.0)));
}

/* Largest or last value of "key=value" lines; NaN when there is none above -120. */
static double value_of(const char *text, const char *key, bool largest)
{
    double found = (double)NAN;
    size_t length = strlen(key);
    for (const char *at = strstr(text, key); at != NULL; at = strstr(at + length, key)) {
        double value = strtod(at + length, NULL);
        if (value > -120.0)
            found = largest && !isnan(found) ? fmax(found, value) : value;
    }
    return found;
}

static void compare_ffmpeg(const char *name, const char *path, const struct tp_channel *ours, double seconds)
{
    const char *const argv[] = {"ffmpeg",
                                "-hide_banner",
                                "-nostats",
                                "-nostdin",
                                "-i",
                                path,
                                "-af",
                                "aformat=sample_fmts=dbl,astats=measure_perchannel=none,"
                                "ebur128=peak=true+sample:metadata=1:framelog=verbose,ametadata=mode=print:file=-",
                                "-f",
                                "null",
                                "-",
                                NULL};
    struct run run;
    run_program(argv, NULL, NULL, 120, &run);
    if (run.exit_status != 0) {
        printf("FFmpeg failed:\n%s", run.err);
        exit(1);
    }
    double integrated = value_of(run.out, "lavfi.r128.I=", false);
    if (seconds >= 0.5 && tp_exists(ours->integrated_lufs) && integrated > -70.0)
        compare(INTEGRATED_FFMPEG, name, ours->integrated_lufs, integrated);
    if (seconds >= 10.0)
        compare(RANGE_FFMPEG, name, ours->loudness_range_lu, value_of(run.out, "lavfi.r128.LRA=", false));
    if (seconds >= 0.5)
        compare(MOMENTARY_FFMPEG, name, ours->momentary_max_lufs, value_of(run.out, "lavfi.r128.M=", true));
    if (seconds >= 3.1)
        compare(SHORT_TERM_FFMPEG, name, ours->short_term_max_lufs, value_of(run.out, "lavfi.r128.S=", true));
    const char *closing = strstr(run.err, "True peak:");
    if (closing != NULL)
        compare(TRUE_PEAK_FFMPEG, name, ours->true_peak_dbtp, value_of(closing, "Peak:", false));
    compare(SAMPLE_PEAK_FFMPEG, name, ours->sample_peak_dbfs, value_of(run.err, "Peak level dB:", false));
    compare(DC_FFMPEG, name, ours->dc_offset, value_of(run.err, "DC offset:", false));
    double plain = 10.0 * log10(pow(10.0, (ours->rms_dbfs - 3.0102999566) / 10.0) + ours->dc_offset * ours->dc_offset);
    compare(RMS_FFMPEG, name, plain, value_of(run.err, "RMS level dB:", false));
    run_clear(&run);
}

static void convert(const char *from, const char *to, const struct format *format)
{
    /* -3 dB: a changed rate may overshoot; dither would make two runs differ. */
    const char *const argv[] = {
        "sox", "-D", "-v", "0.7",  from, "-r", format->rate, "-b", format->bits, "-e", format->encoding,
        "-c",  "1",  to,   "trim", "0",  "25", NULL};
    struct run run;
    run_program(argv, NULL, NULL, 60, &run);
    if (run.exit_status != 0) {
        printf("SoX failed: %s", run.err);
        exit(1);
    }
    run_clear(&run);
}

static void compare_recording(const char *folder, const char *recording, const struct format *format)
{
    char *path = scratch_format("%s/x.wav", folder);
    const char *base = strrchr(recording, '/') + 1;
    char *name = scratch_format("%s (%s/%s)", base, format->rate, format->bits);
    convert(recording, path, format);
    uint32_t rate_hz;
    struct plane plane = read_plane(path, &rate_hz);
    struct measured m;
    const float *planes[1] = {plane.samples};
    measure_planes(&m, rate_hz, planes, 1, 0, plane.frames, format->full_scale_lin, 4096);
    compare_library(name, &plane, rate_hz, &m.channels[0]);
    compare_arithmetic(name, &plane, &m.channels[0]);
    compare_ffmpeg(name, path, &m.channels[0], (double)plane.frames / rate_hz);
    measured_clear(&m);
    plane_free(&plane);
    free(name);
    free(path);
}

static int larger_first(const void *left, const void *right)
{
    struct stat a, b;
    if (stat(*(char *const *)left, &a) != 0 || stat(*(char *const *)right, &b) != 0)
        return 0;
    return a.st_size != b.st_size ? (a.st_size < b.st_size) - (a.st_size > b.st_size)
                                  : strcmp(*(char *const *)left, *(char *const *)right);
}

int main(void)
{
    char *folder = scratch_new();
    size_t recordings = 0;
    for (size_t s = 0; s < sizeof sources / sizeof *sources; s++) {
        glob_t found;
        if (glob(sources[s].pattern, 0, NULL, &found) != 0 || found.gl_pathc < sources[s].take) {
            printf("too few recordings at %s: apt-get install " PACKAGES "\n", sources[s].pattern);
            return 1;
        }
        qsort(found.gl_pathv, found.gl_pathc, sizeof *found.gl_pathv, larger_first);
        for (size_t i = 0; i < sources[s].take; i++, recordings++) {
            compare_recording(folder, found.gl_pathv[i], &formats[0]);
            compare_recording(folder, found.gl_pathv[i], &formats[1 + recordings % (FORMATS - 1)]);
        }
        globfree(&found);
    }
    scratch_remove(folder);
    printf("%-16s %-18s %8s %22s %26s %s\n", "figure", "reference", "compared", "ours minus theirs", "allowed", "why");
    unsigned missed = 0;
    bool all = true;
    for (size_t i = 0; i < FIGURES; i++) {
        const struct row *row = &rows[i];
        printf("%-16s %-18s %8u %+10.7f … %+10.7f %+10.6f … %+10.6f %-3s %s\n", row->figure, row->reference,
               row->compared, row->lowest, row->highest, -row->under, row->over, row->unit, row->why);
        missed += row->missed;
        all = all && row->compared >= 10;
    }
    printf("%zu of %zu recordings compared in two formats each, %u differences outside\n", recordings, recordings,
           missed);
    return recordings >= 30 && all && missed == 0 ? 0 : 1;
}
