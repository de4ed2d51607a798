/* SPDX-License-Identifier: MIT */
/*
 * Real speech for the tests: ALSA's sample recordings (Debian package alsa-utils), 48,000 Hz, 16 bit, one channel, some
 * seconds each, read through libsndfile. A machine without them fails the test with the command that brings them: a
 * test that skips in silence proves nothing.
 */
#ifndef TESTS_SUPPORT_REAL_VOICE_H
#define TESTS_SUPPORT_REAL_VOICE_H

#include <stddef.h>
#include <stdint.h>

#define REAL_VOICE_FOLDER "/usr/share/sounds/alsa"
#define REAL_VOICE_COUNT 8 /* the spoken ones; Noise.wav is not among them */

struct real_voice {
    const char *name; /* "Front_Center.wav" */
    double *samples;  /* full scale 1.0; owned */
    size_t frames;
};

/* Loads recording `index` (0 … REAL_VOICE_COUNT-1). On failure *why gets a sentence with what to install (static or
 * owned by nobody) and 0 is returned. */
int real_voice_load(size_t index, struct real_voice *voice, const char **why);

/* Loads several one after another with `gap` frames of silence between, at least `frames_min` long (repeating). */
int real_voice_load_long(size_t frames_min, size_t gap, struct real_voice *voice, const char **why);

void real_voice_clear(struct real_voice *voice);

/* Base name of recording `index`. */
const char *real_voice_name(size_t index);

#endif
