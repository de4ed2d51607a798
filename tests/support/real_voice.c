/* SPDX-License-Identifier: MIT */
#include "support/real_voice.h"

#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const names[REAL_VOICE_COUNT] = {
    "Front_Center.wav", "Front_Left.wav", "Front_Right.wav", "Rear_Center.wav",
    "Rear_Left.wav",    "Rear_Right.wav", "Side_Left.wav",   "Side_Right.wav",
};

static const char missing[] = "the sample recordings of ALSA are missing from " REAL_VOICE_FOLDER
                              ": install them (Debian: apt-get install alsa-utils)";

const char *real_voice_name(size_t index)
{
    return names[index % REAL_VOICE_COUNT];
}

int real_voice_load(size_t index, struct real_voice *voice, const char **why)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", REAL_VOICE_FOLDER, real_voice_name(index));
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    *why = missing;
    if (!file)
        return 0;
    double *samples = malloc(sizeof *samples * (size_t)(info.frames + 1));
    int good = samples && info.channels == 1 && sf_readf_double(file, samples, info.frames) == info.frames;
    sf_close(file);
    if (!good) {
        *why = "a sample recording of ALSA is not what it used to be: one channel, readable to its end";
        free(samples);
        return 0;
    }
    *voice = (struct real_voice){.name = real_voice_name(index), .samples = samples, .frames = (size_t)info.frames};
    return 1;
}

static int append(struct real_voice *all, const struct real_voice *one, size_t gap)
{
    size_t frames = all->frames + one->frames + gap;
    double *samples = realloc(all->samples, sizeof *samples * frames);
    if (!samples)
        return 0;
    memcpy(samples + all->frames, one->samples, sizeof *samples * one->frames);
    for (size_t i = all->frames + one->frames; i < frames; i++)
        samples[i] = 0.0;
    all->samples = samples;
    all->frames = frames;
    return 1;
}

int real_voice_load_long(size_t frames_min, size_t gap, struct real_voice *voice, const char **why)
{
    struct real_voice all = {.name = "all recordings"};
    for (size_t index = 0; all.frames < frames_min; index++) {
        struct real_voice one;
        if (!real_voice_load(index, &one, why)) {
            free(all.samples);
            return 0;
        }
        int good = append(&all, &one, gap);
        real_voice_clear(&one);
        if (!good) {
            *why = "memory";
            free(all.samples);
            return 0;
        }
    }
    *voice = all;
    return 1;
}

void real_voice_clear(struct real_voice *voice)
{
    free(voice->samples);
    *voice = (struct real_voice){0};
}
