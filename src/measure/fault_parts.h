/* SPDX-License-Identifier: MIT */
/*
 * The single fault detectors, each a part of one tp_fault_meter. `block` is called once for every block of the signal,
 * in order, with the first frame of the block to judge: one block behind the newest, except that after the last real
 * block an extra block of silence follows, so that every frame is judged. `finish` turns what was found into
 * observations. A part that is all zero is ready to start. Lists hold at most TP_OBSERVATIONS_PER_CODE places and keep
 * counting past it.
 */
#ifndef TP_MEASURE_FAULT_PARTS_H
#define TP_MEASURE_FAULT_PARTS_H

#include "measure/fault_signal.h"
#include "measure/trace.h"

#include <takeproof/result.h>

/* A place where something was found. */
struct tp_fault_place {
    uint64_t start_frame, end_frame;
    double value; /* meaning and unit: the part's */
};
struct tp_fault_places {
    struct tp_fault_place *items;
    size_t count, capacity;
    uint64_t total;
    bool failed; /* sticky: memory was short */
};
void tp_fault_places_add(struct tp_fault_places *places, uint64_t start_frame, uint64_t end_frame, double value);
void tp_fault_places_clear(struct tp_fault_places *places);
/* Does any come as near as `guard` frames to [start_frame, end_frame]? */
bool tp_fault_places_touch(const struct tp_fault_places *places, uint64_t start_frame, uint64_t end_frame,
                           uint64_t guard);
/* What is needed to write observations. */
struct tp_fault_out {
    const struct tp_fault_signal *signal;
    uint32_t channel;
    const struct tp_channel *levels;
    struct tp_observations *observations;
};

/*
 * Dropout: a run of exactly equal samples (zeros, or the last value held) with living signal right before and after,
 * and at least one edge that no fade would leave. Shortest run: 0.75 ms, at least 36 samples.
 */
struct tp_dropout {
    uint64_t scanned_to; /* frames before this were looked at singly */
    uint64_t run_start;
    bool run_long; /* the open run is long enough; the next two hold what lay before it */
    bool alive_before, abrupt_before;
    float plateau_lin;             /* largest |x| before the run */
    uint64_t still_frames;         /* of all long runs, head and tail too */
    struct tp_fault_places places; /* value: 1 when all zeros, 0 when a held value */
};
void tp_dropout_block(struct tp_dropout *dropout, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_dropout_finish(struct tp_dropout *dropout, const struct tp_fault_out *out, struct tp_spans *damage);

/*
 * Repeated block: at least 64 samples that are exactly those of up to 16,384 samples before, as when a buffer is
 * written twice, or again one buffer later. Not reported: silence and near silence, held values, sounds with a shorter
 * period inside the block (generated tones), and endless loops. A cell is looked up by its sums, which finds any block
 * whose distance is a multiple of 32 samples; other distances are found by the value of a local peak
 * or of a local extreme of the third difference.
 */
#define TP_REPEAT_SLOTS 1024u
struct tp_repeat {
    /* Where a key was seen last: 16 bits of its hash over 16 of the cell's number, so that the tables stay in the
     * cache. A mistake costs a comparison of samples and no more. Cells that are not looked up have a slot of their
     * own, the last. */
    uint32_t cells[TP_REPEAT_SLOTS + 1], peaks[TP_REPEAT_SLOTS], edges[TP_REPEAT_SLOTS];
    bool following;
    uint64_t start_frame, checked_to; /* of the run being followed: equal to what lay `lag` before */
    uint64_t lag;
    struct tp_fault_places places; /* value: the distance in frames */
};
/* Judges the newest block. */
void tp_repeat_block(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_repeat_finish(struct tp_repeat *repeat, const struct tp_fault_out *out);

/*
 * Click: one step or spike of a few samples that the surroundings do not explain: its third difference stands out from
 * every other within 1 ms, and from all but a few of the 21 ms before and after.
 */
struct tp_click {
    struct tp_fault_places places; /* value: dB over the surroundings */
    float *heights_lin;            /* of each place: estimated height of the step or spike */
    size_t heights_capacity;
};
void tp_click_block(struct tp_click *click, const struct tp_fault_signal *signal, uint64_t first_frame);
/* `others`: what explains steps at its edges, as a dropout does. */
bool tp_click_finish(struct tp_click *click, const struct tp_fault_out *out,
                     const struct tp_fault_places *const others[], size_t other_count);

/*
 * Crackle: a burst of white noise, as of a bad contact, too long for a click: 8 samples to 43 ms (at 48 kHz), 24 dB
 * over the third differences of the 21 ms before and after, not much weaker at its first and last samples. Sounds of
 * a voice or of things die away. At rates from 32 kHz on.
 */
struct tp_crackle {
    uint64_t next_cell;            /* those before are done with */
    struct tp_fault_places places; /* value: dB over the surroundings */
};
void tp_crackle_block(struct tp_crackle *crackle, const struct tp_fault_signal *signal, uint64_t first_frame);
/* `others`: those that tell of the same place already. */
bool tp_crackle_finish(const struct tp_crackle *crackle, const struct tp_fault_out *out,
                       const struct tp_fault_places *const others[], size_t other_count);

/*
 * Foreign sectors: a stretch of whole sectors of the card whose bytes are no sound of this recording, as a rule because
 * they are cut through a sample or have another format or number of channels: noise, far above what is before and
 * behind, that begins and ends within a few samples of where a sector does. 64 frames and more. Sectors of another
 * recording in the same format, in step with this one, leave only two steps (see click) or nothing at all.
 */
struct tp_foreign {
    uint64_t audio_offset;           /* of the first frame in the file */
    uint32_t frame_bytes;            /* 0: not known, nothing is looked for */
    bool open;                       /* such a stretch may have begun: */
    uint64_t start_frame, next_cell; /* the next to look at */
    float before;                    /* largest third difference there */
    float weakest, strongest, peak;  /* inside: of the third differences of two cells, of the samples */
    struct tp_fault_places places;   /* value: dB over the surroundings, of the weakest part */
};
void tp_foreign_block(struct tp_foreign *foreign, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_foreign_finish(struct tp_foreign *foreign, const struct tp_fault_out *out);

/*
 * The bottom of the spectrum, for hum and rumble: the signal at 600 to 900 samples a second (less for rates under 38
 * kHz), made from the cells' sums. Cells weighted as a triangle of two cells, then halved by a seven-tap filter as
 * often as needed. `per_sample` frames of the recording make one sample of it.
 */
#define TP_LOW_STAGES 6u
#define TP_LOW_BLOCK TP_FAULT_BLOCK_CELLS
struct tp_low {
    float last_ramp;              /* of the cell before */
    float held[TP_LOW_STAGES][6]; /* oldest first */
    unsigned stages;
    double rate_hz;
    float samples[TP_LOW_BLOCK]; /* what the newest block gave */
    size_t count;
    uint64_t made; /* all samples so far */
};
void tp_low_start(struct tp_low *low, uint32_t sample_rate_hz);
void tp_low_block(struct tp_low *low, const struct tp_fault_signal *signal, uint64_t first_frame);
/* Half the rate, by (-1 0 9 16 9 0 -1)/32: flat at both ends (Lagrange interpolation). `count` is even, at most
 * TP_LOW_BLOCK; `out` may be `in`. `held`: the last six of what came before, oldest first. Returns count / 2. */
size_t tp_low_halve(float held[6], const float *in, size_t count, float *out);
/* What a sine of this frequency has lost on the way, as a factor of its power. */
double tp_low_power_gain(const struct tp_low *low, double frequency_hz);

/*
 * Hum: lines at 50 or 60 Hz and their multiples that stay, in the quietest eighth of 0.7 s spectra over 11 s, at least
 * 10 dB above the spectrum beside them.
 */
#define TP_HUM_FFT 512u
#define TP_HUM_SPECTRA 16u
#define TP_HUM_BINS 256u
#define TP_HUM_LINES 6u
struct tp_hum_find {
    uint64_t start_frame, end_frame;
    double level_dbfs;    /* of all lines found, AES17 */
    double prominence_db; /* of the strongest line */
    unsigned mains_hz;
    unsigned lines; /* bit h-1: multiple h was found */
};
struct tp_hum {
    float window[TP_HUM_FFT];
    float gathered[TP_HUM_FFT];
    size_t gathered_count;
    float power[TP_HUM_SPECTRA][TP_HUM_BINS];
    size_t spectra;
    uint64_t start_frame; /* of the first of the spectra */
    void *plan;           /* kiss_fftr_cfg */
    struct tp_hum_find *finds;
    size_t find_count, find_capacity;
    uint64_t total;
    bool failed;
};
void tp_hum_clear(struct tp_hum *hum);
void tp_hum_block(struct tp_hum *hum, const struct tp_low *low, uint64_t end_frame);
bool tp_hum_finish(struct tp_hum *hum, const struct tp_low *low, const struct tp_fault_out *out);

/* Rumble: stretches of 0.4 s and more whose sound between 5 and 60 Hz is strong, with much of it below 30 Hz, where
 * neither voices nor mains reach. */
#define TP_RUMBLE_SECTIONS 4u
struct tp_rumble {
    /* Second-order sections one after another: above 5 Hz, twice below 60 Hz, below 30 Hz. */
    struct {
        float b[3][TP_RUMBLE_SECTIONS], a[2][TP_RUMBLE_SECTIONS], state[2][TP_RUMBLE_SECTIONS];
    } sections;
    double rate_hz;
    bool halved; /* runs at half the rate of struct tp_low */
    float held[6];
    uint64_t made;                     /* samples at this rate so far */
    double low_sum, sub_sum;           /* of the step being gathered */
    double low_steps[4], sub_steps[4]; /* mean squares of the last steps of 0.1 s */
    size_t step_count, step_samples;
    uint64_t steps;
    struct tp_fault_places places; /* value: highest level, dBFS AES17 */
};
void tp_rumble_start(struct tp_rumble *rumble, const struct tp_low *low);
void tp_rumble_block(struct tp_rumble *rumble, const struct tp_low *low, uint64_t end_frame, uint32_t sample_rate_hz);
bool tp_rumble_finish(struct tp_rumble *rumble, const struct tp_fault_out *out);

/* Noise only: the level of 0.1 s steps never moves, is low, and the spectrum is as flat as that of a bare input.
 * Measured on every eighth cell. */
#define TP_STEADY_BINS 320u
struct tp_steady {
    double squares, slopes, sum; /* of the step being gathered */
    uint32_t frames, cells;
    double all_squares, all_slopes, all_sum;
    uint64_t all_frames;
    uint64_t steps;
    uint32_t histogram[TP_STEADY_BINS]; /* steps by level, half a dB from -150 dBFS up */
    struct tp_trace_meter trace;
    double traced_squares, traced_slopes, traced_sum; /* of the step of the trace being gathered */
    uint32_t traced_cells;
};
void tp_steady_block(struct tp_steady *steady, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_steady_finish(struct tp_steady *steady, const struct tp_fault_out *out);
/* Hands the trace over; false when memory was short. */
bool tp_steady_trace(struct tp_steady *steady, uint32_t sample_rate_hz, struct tp_trace *trace);

/* Interference: a train of short pulses at exactly 216.67 a second, the frame rate of time-division mobile radio
 * (eight slots in 120/26 ms), for about a second or longer. Looks at the logarithm of the cells' third differences. */
#define TP_BUZZ_BLOCKS 64u
struct tp_buzz {
    float cosine[TP_FAULT_BLOCK_CELLS], sine[TP_FAULT_BLOCK_CELLS];
    float cosines, sines; /* their sums */
    double cells_hz;
    double turn_cosine, turn_sine;   /* of one block */
    double phase_cosine, phase_sine; /* at the next block's first cell */
    float real[TP_BUZZ_BLOCKS], imaginary[TP_BUZZ_BLOCKS], variance[TP_BUZZ_BLOCKS], pulse[TP_BUZZ_BLOCKS];
    size_t blocks_in_window; /* 0: the rate is too low to tell */
    uint64_t blocks;
    struct tp_fault_places places; /* value: highest pulse, linear */
};
void tp_buzz_start(struct tp_buzz *buzz, uint32_t sample_rate_hz);
void tp_buzz_block(struct tp_buzz *buzz, const struct tp_fault_signal *signal, uint64_t first_frame);
bool tp_buzz_finish(struct tp_buzz *buzz, const struct tp_fault_out *out);

#endif
