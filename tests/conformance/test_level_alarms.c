/* SPDX-License-Identifier: MIT */
/*
 * How small an overload is found, and how often sound that has none is called overloaded. Two tables:
 * - real voice through a preamp that clips (support/overload.h), by how far its peak is driven over the ceiling;
 * - findings per hour over real recordings from Debian packages (alsa-utils, asterisk-core-sounds-en-wav,
 *   asterisk-moh-opsound-wav, sonic-pi-samples), each lowered by 0.9 so that nothing lies at full scale.
 * Speech and music must give none. Some of the drum and effect samples were clipped when they were made: they are told
 * apart by looking, in the file itself, for runs of equal samples at its own largest value.
 */
#include "support/overload.h"
#include "support/real_voice.h"
#include "support/tones.h"

#include <glob.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool detection_table(void)
{
    const double gains_db[] = {0, 0.25, 0.5, 1, 2, 3, 6, 12, 20};
    bool ok = true;
    printf("overload of the peak   voices found (of %d)   flat tops, median\n", REAL_VOICE_COUNT);
    for (size_t g = 0; g < sizeof gains_db / sizeof *gains_db; g++) {
        unsigned found = 0;
        uint64_t runs[REAL_VOICE_COUNT];
        for (size_t i = 0; i < REAL_VOICE_COUNT; i++) {
            struct plane plane = overload_voice(i, pow(10.0, gains_db[g] / 20.0), pow(10.0, -6.0 / 20.0));
            struct measured m;
            measure_plane(&m, 48000, &plane);
            runs[i] = m.channels[0].flat_top_runs;
            found += runs[i] > 0;
            ok = ok && m.channels[0].clip_runs == 0;
            measured_clear(&m);
            plane_free(&plane);
        }
        for (size_t i = 1; i < REAL_VOICE_COUNT; i++)
            for (size_t k = i; k > 0 && runs[k] < runs[k - 1]; k--) {
                uint64_t held = runs[k];
                runs[k] = runs[k - 1];
                runs[k - 1] = held;
            }
        printf("%14.2f dB   %19u   %18llu\n", gains_db[g], found, (unsigned long long)runs[REAL_VOICE_COUNT / 2]);
        /* no overload, no finding; from 3 dB on every voice */
        ok = ok && (gains_db[g] > 0.0 || found == 0) && (gains_db[g] < 3.0 || found == REAL_VOICE_COUNT);
    }
    return ok;
}

struct corpus {
    const char *name, *pattern;
    bool clean; /* known: speech and music made for broadcast or telephone */
    unsigned channels, clipped_before, flat, flat_unexplained, clips;
    double hours;
};

/* Three runs of three equal samples at the largest value, of either sign: it was clipped before. */
static bool was_clipped(const float *samples, size_t frames)
{
    for (int sign = -1; sign <= 1; sign += 2) {
        float top = 0.0f;
        for (size_t i = 0; i < frames; i++)
            top = fmaxf(top, samples[i] * (float)sign);
        size_t runs = 0, run = 0;
        for (size_t i = 0; i < frames; i++) {
            run = samples[i] * (float)sign >= top * 0.9999f && top > 0.1f ? run + 1 : 0;
            runs += run == 3;
        }
        if (runs >= 3)
            return true;
    }
    return false;
}

static void look_at(struct corpus *corpus, const char *path, const struct plane *plane, uint32_t rate_hz)
{
    bool before = was_clipped(plane->samples, plane->frames);
    struct measured m;
    measure_plane(&m, rate_hz, plane);
    corpus->channels++;
    corpus->hours += (double)plane->frames / rate_hz / 3600.0;
    corpus->clipped_before += before;
    corpus->clips += m.channels[0].clip_runs > 0;
    corpus->flat += m.channels[0].flat_top_runs > 0;
    if (m.channels[0].flat_top_runs > 0 && !before) {
        corpus->flat_unexplained++;
        printf("  %s: %llu flat tops at %.2f dBFS\n", strrchr(path, '/') + 1,
               (unsigned long long)m.channels[0].flat_top_runs, m.channels[0].flat_tops[0].level_dbfs);
    }
    measured_clear(&m);
}

static void look_at_file(struct corpus *corpus, const char *path)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (file == NULL)
        return;
    size_t channels = (size_t)info.channels;
    float *all = calloc((size_t)info.frames * channels + 1, sizeof *all);
    if (all == NULL)
        exit(99);
    size_t frames = (size_t)sf_readf_float(file, all, info.frames);
    sf_close(file);
    struct plane plane = plane_new(frames);
    for (size_t c = 0; c < channels; c++) {
        for (size_t i = 0; i < frames; i++)
            plane.samples[i] = 0.9f * all[i * channels + c];
        look_at(corpus, path, &plane, (uint32_t)info.samplerate);
    }
    plane_free(&plane);
    free(all);
}

static bool alarm_table(void)
{
    struct corpus corpora[] = {
        {.name = "voices, 48 kHz", .pattern = "/usr/share/sounds/alsa/*.wav", .clean = true},
        {.name = "telephone voices, 8 kHz", .pattern = "/usr/share/asterisk/sounds/en*/*.wav", .clean = true},
        {.name = "music, 8 kHz", .pattern = "/usr/share/asterisk/moh/*.wav", .clean = true},
        {.name = "drums, loops, effects, 44.1 kHz", .pattern = "/usr/share/sonic-pi/samples/*.flac", .clean = false},
    };
    const size_t count = sizeof corpora / sizeof *corpora;
    bool ok = true;
    for (size_t i = 0; i < count; i++) {
        glob_t found;
        if (glob(corpora[i].pattern, 0, NULL, &found) != 0) {
            printf("nothing at %s: apt-get install alsa-utils asterisk-core-sounds-en-wav asterisk-moh-opsound-wav "
                   "sonic-pi-samples\n",
                   corpora[i].pattern);
            return false;
        }
        for (size_t k = 0; k < found.gl_pathc; k++)
            look_at_file(&corpora[i], found.gl_pathv[k]);
        globfree(&found);
    }
    printf("%-34s %8s %6s %14s %11s %15s %10s %8s\n", "recordings", "channels", "hours", "clipped before",
           "flat-topped", "of clean sound", "per hour", "clipped");
    for (size_t i = 0; i < count; i++) {
        const struct corpus *c = &corpora[i];
        printf("%-34s %8u %6.2f %14u %11u %15u %10.2f %8u\n", c->name, c->channels, c->hours, c->clipped_before,
               c->flat, c->flat_unexplained, c->flat_unexplained / c->hours, c->clips);
        ok = ok && c->clips == 0 && (!c->clean || c->flat_unexplained == 0) && c->channels >= 5;
    }
    return ok;
}

int main(void)
{
    bool detection = detection_table(), alarms = alarm_table();
    printf("%d of 2 tables inside their bounds\n", detection + alarms);
    return detection && alarms ? 0 : 1;
}
