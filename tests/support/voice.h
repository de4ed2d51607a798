/* SPDX-License-Identifier: MIT */
/*
 * Invented speech: glottal pulses through moving formants, hiss and bursts, syllables, phrases, pauses and breath over
 * room tone. Deterministic. It says nothing, but it is as uneven as dialogue is: crest factor 12 to 20 dB over a take,
 * silences between phrases, loud and soft syllables. For the demo and for invented data only; claims about speech are
 * tested with real voices (real_voice.h).
 *
 * Method: source and filter, as described in any textbook of speech acoustics (a cascade of second-order resonators
 * over a pulse train); the figures for vowels are rounded averages from memory.
 */
#ifndef TESTS_SUPPORT_VOICE_H
#define TESTS_SUPPORT_VOICE_H

#include <stddef.h>
#include <stdint.h>

/* Somebody speaks from start_s for length_s. */
struct voice_line {
    double start_s, length_s;
    double level_db;  /* over the working level: 0 as directed, +20 a shout */
    double effort;    /* 0 calm … 1 shouted: higher pitch, brighter, fewer pauses */
    unsigned speaker; /* 0 low voice, 1 high voice, 2 between */
};

struct voice_script {
    uint64_t seed;
    double rate_hz;    /* 0 = 48000 */
    double level_dbfs; /* AES17 RMS of the speech itself (its loudest-half stretches of 50 ms) at level_db 0 */
    double room_dbfs;  /* AES17 RMS of the room tone; 0 = no room tone at all */
    const struct voice_line *lines;
    size_t line_count;
};

/* Fills out[0 … frames). Full scale 1.0; never limited: a shout may exceed it. Ends the process when memory is short.
 */
void voice_render(const struct voice_script *script, double *out, size_t frames);

#endif
