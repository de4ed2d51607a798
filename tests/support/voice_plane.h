/* SPDX-License-Identifier: MIT */
/* A real voice as the meters take it. */
#ifndef TESTS_SUPPORT_VOICE_PLANE_H
#define TESTS_SUPPORT_VOICE_PLANE_H

#include "support/real_voice.h"
#include "support/tones.h"

#include <check.h>

/* Takes over the voice. */
static inline struct plane plane_of_voice(struct real_voice *voice)
{
    struct plane plane = plane_new(voice->frames);
    for (size_t i = 0; i < plane.frames; i++)
        plane.samples[i] = (float)voice->samples[i];
    real_voice_clear(voice);
    return plane;
}

/* Recording `index`; fails the test that runs where it is not there. */
static inline struct plane voice_plane(size_t index)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load(index, &voice, &why), "%s", why);
    return plane_of_voice(&voice);
}

/* Several, half a second apart. */
static inline struct plane voice_plane_long(size_t frames_min)
{
    struct real_voice voice;
    const char *why;
    ck_assert_msg(real_voice_load_long(frames_min, 24000, &voice, &why), "%s", why);
    return plane_of_voice(&voice);
}

#endif
