/* SPDX-License-Identifier: MIT */
/*
 * Faults of the recording chain, seeded in real voices and generated dialogue in known sizes: for the table of
 * detection thresholds and for the tests that hold the important ones. Deterministic. Failures of the chores end the
 * process (99).
 */
#ifndef TESTS_SUPPORT_FAULTLAB_H
#define TESTS_SUPPORT_FAULTLAB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/result.h>

/* One channel, full scale 1.0; samples are the caller's. */
struct faultlab_sound {
    float *samples;
    size_t frames;
    uint32_t rate_hz;
};
struct faultlab_seeder {
    uint32_t state;
};

struct faultlab_fault {
    const char *name, *unit;
    enum tp_code code;
    /* Puts a fault of `size` at a frame of the sound. */
    void (*seed)(struct faultlab_sound *, size_t, double, struct faultlab_seeder *);
    double reach_s;   /* how far around the place it may be reported; 0: anywhere */
    bool in_dialogue; /* generated, with pauses, at -20 dBFS over a room tone of -65; else in the real voices */
    double sure;      /* the size at which a test expects every one to be found */
    double sizes[12]; /* falling; 0 ends */
};
extern const struct faultlab_fault faultlab_faults[];
extern const size_t faultlab_fault_count;

void *faultlab_must(void *memory);                      /* ends the process when NULL */
double faultlab_chance(struct faultlab_seeder *seeder); /* 0 ... 1 */
void faultlab_quantise(struct faultlab_sound *sound, int bits);

#define FAULTLAB_OFFSET 44
#define FAULTLAB_FRAME_BYTES 6
/* Through the whole channel meter, as a check does for one of two channels of 24 bits, their sound at byte 44.
 * `working_dbfs` may be NULL. End with tp_observations_clear(). */
struct tp_observations faultlab_measure(const struct faultlab_sound *sound, double *working_dbfs);
/* Through the fault meter alone, in pushes of `block` frames, as channel `channel` of a file whose sound begins at
 * `audio_offset` in frames of `frame_bytes` (0: not known). Nothing is known of the levels. `damage`: NULL, or where
 * the spans go, which are the caller's then. End with tp_observations_clear(). */
struct tp_observations faultlab_faults_of(const struct faultlab_sound *sound, size_t block, uint32_t channel,
                                          uint64_t audio_offset, uint32_t frame_bytes, struct tp_spans *damage);
bool faultlab_found(const struct tp_observations *o, const struct faultlab_fault *fault, double at_s);

/* Real voices one after another over a room tone of -68 dBFS RMS, with short rests. */
struct faultlab_sound faultlab_voices(void);
struct faultlab_sound faultlab_dialogue(double level_dbfs, double room_dbfs, uint64_t seed, double seconds);

#endif
