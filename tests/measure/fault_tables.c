/* SPDX-License-Identifier: MIT */
/*
 * Prints two tables of the fault detectors: false alarms per hour on clean sound, and the smallest seeded fault found.
 * Run by `make fault-tables`. Real recordings come from Debian packages (alsa-utils, klettres-data,
 * asterisk-core-sounds-en-wav, asterisk-moh-opsound-wav, sonic-pi-samples) and are read where those install them; a
 * package that is not there is said so. Conversions are SoX's and FFmpeg's. Arguments: words of the corpora to run.
 */
#include "base/observe.h"
#include "support/faultlab.h"

#include <glob.h>
#include <math.h>
#include <sndfile.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const enum tp_code codes[] = {TP_CODE_DROPOUT, TP_CODE_REPEATED_BLOCK, TP_CODE_CLICK,       TP_CODE_HUM,
                                     TP_CODE_RUMBLE,  TP_CODE_NOISE_ONLY,     TP_CODE_INTERFERENCE};
#define CODES (sizeof codes / sizeof *codes)

static bool show_each;

/* False alarms */

struct tally {
    size_t files;
    double hours;
    size_t found[CODES];
};

static void count(struct tally *tally, const char *name, const struct faultlab_sound *sound)
{
    double working_dbfs;
    struct tp_observations o = faultlab_measure(sound, &working_dbfs);
    tally->files++;
    tally->hours += (double)sound->frames / sound->rate_hz / 3600.0;
    for (size_t c = 0; c < CODES; c++)
        tally->found[c] += tp_observations_count(&o, codes[c]);
    for (size_t i = 0; show_each && i < o.count; i++)
        fprintf(stderr, "%s (working level %.1f): %s %.4f-%.4f %.1f (%.1f) %s\n", name, working_dbfs,
                tp_finding_info(o.items[i].code)->name, o.items[i].start_s, o.items[i].end_s, o.items[i].value,
                o.items[i].limit, o.items[i].detail);
    tp_observations_clear(&o);
}

static bool load_file(const char *path, struct faultlab_sound *sound)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file || info.channels < 1 || info.frames < 1)
        return false;
    float *all = faultlab_must(malloc((size_t)(info.frames * info.channels) * sizeof *all));
    sf_count_t got = sf_readf_float(file, all, info.frames);
    sf_close(file);
    for (sf_count_t f = 0; f < got; f++) /* the first channel, in place */
        all[f] = all[f * info.channels];
    *sound = (struct faultlab_sound){all, (size_t)got, (uint32_t)info.samplerate};
    return got > 0;
}

/* Raw 32-bit floats, one channel, from a command. */
static bool load_command(const char *command, uint32_t rate_hz, struct faultlab_sound *sound)
{
    FILE *pipe = popen(command, "r");
    if (!pipe)
        return false;
    size_t capacity = 1u << 20, frames = 0, got;
    float *samples = faultlab_must(malloc(capacity * sizeof *samples));
    while ((got = fread(samples + frames, sizeof *samples, capacity - frames, pipe)) > 0) {
        frames += got;
        if (frames == capacity)
            samples = faultlab_must(realloc(samples, (capacity *= 2) * sizeof *samples));
    }
    pclose(pipe);
    *sound = (struct faultlab_sound){samples, frames, rate_hz};
    return frames > 0;
}

enum treatment { AS_IS, TO_48K, TO_96K, QUIET_24, DITHER_16, MP3, PADDED };

static bool load_treated(const char *path, enum treatment treatment, struct faultlab_sound *sound)
{
    char command[1024];
    uint32_t rate_hz = treatment == TO_96K ? 96000 : 48000;
    switch (treatment) {
    case AS_IS: return load_file(path, sound);
    case TO_48K:
    case TO_96K:
        snprintf(command, sizeof command, "sox '%s' -t f32 -c 1 -r %u - gain -3 remix 1 2>/dev/null", path, rate_hz);
        break;
    case QUIET_24:
        snprintf(command, sizeof command, "sox '%s' -t f32 -c 1 -r 48000 - gain -30 remix 1 2>/dev/null", path);
        break;
    case DITHER_16:
        snprintf(command, sizeof command,
                 "sox '%s' -t s16 -c 1 -r 48000 - gain -20 remix 1 dither 2>/dev/null | "
                 "sox -t s16 -c 1 -r 48000 - -t f32 - 2>/dev/null",
                 path);
        break;
    case MP3:
        snprintf(command, sizeof command,
                 "ffmpeg -v quiet -i '%s' -ac 1 -ar 48000 -b:a 128k -f mp3 - | "
                 "ffmpeg -v quiet -f mp3 -i - -f f32le -",
                 path);
        break;
    case PADDED:
        snprintf(command, sizeof command, "sox '%s' -t f32 -c 1 -r 48000 - gain -3 remix 1 pad 0.7 0.7 2>/dev/null",
                 path);
        break;
    }
    if (!load_command(command, rate_hz, sound))
        return false;
    if (treatment == TO_48K || treatment == QUIET_24 || treatment == TO_96K)
        faultlab_quantise(sound, 24);
    return true;
}

static struct tally count_files(const char *pattern, enum treatment treatment, size_t most)
{
    struct tally tally = {0};
    glob_t paths = {0};
    glob(pattern, 0, NULL, &paths);
    size_t step = paths.gl_pathc > most ? paths.gl_pathc / most : 1;
    for (size_t i = 0; i < paths.gl_pathc; i += step) {
        struct faultlab_sound sound;
        if (!load_treated(paths.gl_pathv[i], treatment, &sound))
            continue;
        count(&tally, paths.gl_pathv[i], &sound);
        free(sound.samples);
    }
    globfree(&paths);
    return tally;
}

static struct tally count_dialogue(int bits)
{
    static const double levels_dbfs[] = {-20, -24, -30, -45};
    struct tally tally = {0};
    for (size_t i = 0; i < 12; i++) {
        char name[64];
        struct faultlab_sound sound = faultlab_dialogue(levels_dbfs[i % 4], i < 6 ? -65.0 : -80.0, i + 1, 300.0);
        faultlab_quantise(&sound, bits);
        snprintf(name, sizeof name, "dialogue %zu at %.0f dBFS", i, levels_dbfs[i % 4]);
        count(&tally, name, &sound);
        free(sound.samples);
    }
    return tally;
}

static struct tally count_commands(const char *const *commands, size_t command_count)
{
    struct tally tally = {0};
    for (size_t i = 0; i < command_count; i++) {
        struct faultlab_sound sound;
        if (!load_command(commands[i], 48000, &sound))
            continue;
        faultlab_quantise(&sound, 24);
        count(&tally, commands[i], &sound);
        free(sound.samples);
    }
    return tally;
}

#define SYNTH "sox -R -n -t f32 -c 1 -r 48000 - synth "
static const char *const noises[] = {
    SYNTH "120 whitenoise gain -20 2>/dev/null",
    SYNTH "120 pinknoise gain -20 2>/dev/null",
    SYNTH "120 brownnoise highpass 100 gain -30 2>/dev/null",
    SYNTH "120 pinknoise gain -50 2>/dev/null",
    SYNTH "120 whitenoise tremolo 4 80 gain -12 2>/dev/null",
    SYNTH "120 pinknoise tremolo 0.3 60 gain -12 2>/dev/null",
};
static const char *const tones[] = {
    SYNTH "30 sine 1000 gain -20 2>/dev/null",
    SYNTH "30 sine 440 gain -18 2>/dev/null",
    SYNTH "30 sine 997 gain -18 2>/dev/null",
    SYNTH "30 sine 220 gain -18 2>/dev/null",
    SYNTH "60 sine 20-20000 gain -12 2>/dev/null",
    SYNTH "30 square 250 gain -18 2>/dev/null",
    SYNTH "30 sawtooth 333 gain -18 2>/dev/null",
    SYNTH "30 triangle 187.5 gain -18 2>/dev/null",
    SYNTH "0.1 sine 1000 gain -18 pad 0 0.9 repeat 30 2>/dev/null",
    SYNTH "0.4 sine 440 fade t 0.005 0.4 0.005 gain -18 pad 0 0.6 repeat 30 2>/dev/null",
    SYNTH "3 pluck C3 synth 3 pluck mix E3 gain -12 repeat 10 2>/dev/null",
    SYNTH "2 pluck A2 gain -12 repeat 10 2>/dev/null",
};

struct corpus {
    const char *name, *pattern;
    enum treatment treatment;
    size_t most;
};
static const struct corpus corpora[] = {
    {"alsa voices, as they are", "/usr/share/sounds/alsa/[FRS]*.wav", AS_IS, 1000},
    {"alsa voices, 96 kHz", "/usr/share/sounds/alsa/[FRS]*.wav", TO_96K, 1000},
    {"alsa voices, 30 dB lower", "/usr/share/sounds/alsa/[FRS]*.wav", QUIET_24, 1000},
    {"alsa voices, 16 bit dithered", "/usr/share/sounds/alsa/[FRS]*.wav", DITHER_16, 1000},
    {"alsa voices, through MP3", "/usr/share/sounds/alsa/[FRS]*.wav", MP3, 1000},
    {"alsa voices, zero-padded", "/usr/share/sounds/alsa/[FRS]*.wav", PADDED, 1000},
    {"klettres voices (1)", "/usr/share/klettres/*/*/*.ogg", AS_IS, 4000},
    {"klettres voices (1), 48 kHz", "/usr/share/klettres/*/*/*.ogg", TO_48K, 250},
    {"klettres voices (1), MP3", "/usr/share/klettres/*/*/*.ogg", MP3, 150},
    {"asterisk voices, 8 kHz", "/usr/share/asterisk/sounds/en_US_f_Allison/*.wav", AS_IS, 4000},
    {"asterisk voices, to 48 kHz", "/usr/share/asterisk/sounds/en_US_f_Allison/*.wav", TO_48K, 200},
    {"asterisk music, 8 kHz", "/usr/share/asterisk/moh/*.wav", AS_IS, 100},
    {"asterisk music, to 48 kHz", "/usr/share/asterisk/moh/*.wav", TO_48K, 100},
    {"sonic-pi drums and loops (2)", "/usr/share/sonic-pi/samples/*.flac", AS_IS, 1000},
};

static void print_tally(const char *name, const struct tally *tally)
{
    if (tally->files == 0) {
        printf("%-31s not installed\n", name);
        return;
    }
    printf("%-31s %5zu %6.2f", name, tally->files, tally->hours);
    for (size_t c = 0; c < CODES; c++)
        printf(" %6zu/%-5.1f", tally->found[c], (double)tally->found[c] / tally->hours);
    putchar('\n');
    fflush(stdout);
}

static bool wanted(int argc, char **argv, const char *name)
{
    bool any = false;
    for (int i = 1; i < argc; i++) {
        if (argv[i][0] == '-')
            continue;
        any = true;
        if (strstr(name, argv[i]))
            return true;
    }
    return !any;
}

static void print_alarms(int argc, char **argv)
{
    printf("Alarms on sound without seeded faults: count/per hour\n%-31s %5s %6s", "sound", "files", "hours");
    for (size_t c = 0; c < CODES; c++)
        printf(" %12s", tp_finding_info(codes[c])->name);
    putchar('\n');
    for (size_t i = 0; i < sizeof corpora / sizeof *corpora; i++) {
        if (!wanted(argc, argv, corpora[i].name))
            continue;
        struct tally tally = count_files(corpora[i].pattern, corpora[i].treatment, corpora[i].most);
        print_tally(corpora[i].name, &tally);
    }
    if (wanted(argc, argv, "generated dialogue, 24 bit")) {
        struct tally tally = count_dialogue(24);
        print_tally("generated dialogue, 24 bit", &tally);
    }
    if (wanted(argc, argv, "generated dialogue, 16 bit")) {
        struct tally tally = count_dialogue(16);
        print_tally("generated dialogue, 16 bit", &tally);
    }
    if (wanted(argc, argv, "noise")) {
        struct tally tally = count_commands(noises, sizeof noises / sizeof *noises);
        print_tally("noise (SoX)", &tally);
    }
    if (wanted(argc, argv, "tones")) {
        struct tally tally = count_commands(tones, sizeof tones / sizeof *tones);
        print_tally("tones and plucks (SoX)", &tally);
    }
    puts("(1) home-made, normalised, edited and lossily coded. Of 25 clicks looked at one by one nearly all are cuts "
         "and\n"
         "    single-sample spikes of the recordings (most in one English speaker); a few may be clicks of a tongue.\n"
         "(2) synthetic drums, cut samples and record crackle: clicks and rumble are in the sound.");
}

/* Seeded faults */

#define TRIALS 20u

static void print_row(const struct faultlab_fault *fault, const struct faultlab_sound *base, uint32_t seed)
{
    struct faultlab_sound trial = {faultlab_must(malloc(base->frames * sizeof(float))), base->frames, base->rate_hz};
    printf("%-25s %-8s", fault->name, fault->unit);
    for (size_t k = 0; k < sizeof fault->sizes / sizeof *fault->sizes && fault->sizes[k] != 0.0; k++) {
        unsigned hits = 0;
        struct faultlab_seeder seeder = {seed};
        for (unsigned t = 0; t < TRIALS; t++) {
            memcpy(trial.samples, base->samples, base->frames * sizeof(float));
            size_t at = (size_t)((0.15 + 0.6 * faultlab_chance(&seeder)) * (double)base->frames);
            fault->seed(&trial, at, fault->sizes[k], &seeder);
            faultlab_quantise(&trial, 24);
            struct tp_observations o = faultlab_measure(&trial, NULL);
            bool hit = faultlab_found(&o, fault, (double)at / trial.rate_hz);
            hits += hit;
            if (show_each && !hit)
                fprintf(stderr, "missed: %s, %g %s at %.4f s\n", fault->name, fault->sizes[k], fault->unit,
                        (double)at / trial.rate_hz);
            tp_observations_clear(&o);
        }
        printf("  %g:%u", fault->sizes[k], hits);
        fflush(stdout);
    }
    putchar('\n');
    free(trial.samples);
}

static void print_thresholds(int argc, char **argv)
{
    struct faultlab_sound bases[2] = {faultlab_voices(), faultlab_dialogue(-20.0, -65.0, 3, 20.0)};
    for (size_t b = 0; b < 2; b++) {
        double working_dbfs;
        faultlab_quantise(&bases[b], 24);
        struct tp_observations clean = faultlab_measure(&bases[b], &working_dbfs);
        printf("%s%s: working level %.1f dBFS, %zu alarms without a fault\n", b == 0 ? "\n" : "",
               b == 0 ? "real voices" : "generated dialogue", working_dbfs, clean.count);
        tp_observations_clear(&clean);
    }
    printf("Seeded faults, size:found of %u; in the real voices unless said\n", TRIALS);
    for (size_t i = 0; i < faultlab_fault_count; i++) {
        if (wanted(argc, argv, faultlab_faults[i].name))
            print_row(&faultlab_faults[i], &bases[faultlab_faults[i].in_dialogue], (uint32_t)(17 * i + 1));
    }
    free(bases[0].samples);
    free(bases[1].samples);
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++)
        show_each = show_each || strcmp(argv[i], "-v") == 0;
    print_alarms(argc, argv);
    print_thresholds(argc, argv);
    return 0;
}
