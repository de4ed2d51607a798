/* SPDX-License-Identifier: MIT */
/*
 * The production's spec: the agreed format and limits, read from an INI file.
 * The built-in values are common practice for picture work (no source).
 *
 * INI: sections [production] [format] [level] [pair] [take] [names]; one key a member below, spelled the same,
 * in the section named in the comments. Unknown sections or keys, values out of range and impossible
 * ranges (a minimum above its maximum) are errors with file and line.
 */
#ifndef TAKEPROOF_SPEC_H
#define TAKEPROOF_SPEC_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <takeproof/error.h>

#ifdef __cplusplus
extern "C" {
#endif

enum tp_encoding { TP_ENCODING_NONE = 0, TP_ENCODING_PCM = 1, TP_ENCODING_FLOAT = 2 };
enum tp_container { TP_CONTAINER_NONE = 0, TP_CONTAINER_WAV = 1, TP_CONTAINER_RF64 = 2, TP_CONTAINER_BW64 = 3 };
enum tp_pair_policy {
    TP_PAIR_AUTO = 0,     /* use pairs where the signal shows them; say nothing where it does not */
    TP_PAIR_REQUIRED = 1, /* every take must have a pair: its absence is `not-a-pair`, severity fail; of wild tracks and
                             of takes too quiet to show one, listen */
    TP_PAIR_OFF = 2       /* never pair: every channel stands alone */
};

/* Timecode rates as a fraction of frames per second; 0/0 = not given. drop = drop-frame counting. */
struct tp_timecode_rate {
    uint32_t numerator;   /* 24000, 25, 30000 … */
    uint32_t denominator; /* 1001 or 1 */
    bool drop;
};

struct tp_spec {
    /* [production]; strings are owned, UTF-8, "" when not given, never NULL */
    char *title;
    char *recordist;
    char *roll;
    char *date;
    char *scene; /* used where neither metadata nor the file name gives a scene */

    /* [format] */
    uint32_t sample_rate_hz;     /* 0 = any */
    uint32_t bit_depth;          /* valid bits of PCM, or 32/64 of float; 0 = any */
    enum tp_encoding encoding;   /* NONE = any */
    enum tp_container container; /* NONE = any of the WAV family */
    uint32_t channel_count;      /* 0 = any */
    bool require_bext;           /* false */
    bool require_ixml;           /* false */
    struct tp_timecode_rate
        timecode_rate; /* also the rate for showing timecode when the file names none; 25/1 shown if 0/0 */

    /* [level] */
    double working_level_min_dbfs; /* -16 */
    double working_level_max_dbfs; /* -12 */
    double true_peak_max_dbtp;     /* -1 */
    double noise_floor_max_dbfs;   /* -50: common practice, no source */
    double dc_offset_max;          /* 0.01 of full scale: common practice, no source */

    /* [pair] */
    enum tp_pair_policy pair;   /* "auto" | "required" | "off" */
    double safety_below_min_db; /* 6 */
    double safety_below_max_db; /* 20 */
    uint32_t lag_max_samples;   /* a larger lag between main and safety is `pair-lag`; 1 */

    /* [take] */
    double duration_min_s; /* 1 */
    bool low_cut;          /* false: low cut is off unless said; true: rumble is not excused by it */

    /* [names] */
    char *pattern; /* "" = any name; words {scene} {take} {track} {date} {n} and literal text */

    bool is_default; /* as tp_spec_init() fills it: nobody gave a spec, nothing was agreed. Reading one clears it; who
                        fills in a spec by hand does too */
};

/* Fills *spec with the built-in values. Errors: TP_ERR_MEMORY. End with tp_spec_clear(). */
TP_API enum tp_status tp_spec_init(struct tp_spec *spec, struct tp_error *error) TP_MUST_USE;
TP_API void tp_spec_clear(struct tp_spec *spec);
/* Deep copy into an uninitialised *to. Errors: TP_ERR_MEMORY. */
TP_API enum tp_status tp_spec_copy(struct tp_spec *to, const struct tp_spec *from, struct tp_error *error) TP_MUST_USE;

/* Reads an INI file over the built-in values into an uninitialised *spec.
 * Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY, TP_ERR_SPEC ("'day.ini' line 7: …"). On error *spec needs no
 * clearing. */
TP_API enum tp_status tp_spec_read_file(struct tp_spec *spec, const char *path, struct tp_error *error) TP_MUST_USE;
/* The same from memory; `name` is used in messages. */
TP_API enum tp_status tp_spec_read_bytes(struct tp_spec *spec, const char *bytes, size_t size, const char *name,
                                         struct tp_error *error) TP_MUST_USE;

/* Prints the spec as an INI file with a comment for every key; reading it back gives the same spec.
 * Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_spec_print(const struct tp_spec *spec, FILE *out, struct tp_error *error) TP_MUST_USE;

/* The keys as a table, so that manual, completion and tests can iterate them. Ends with .key == NULL. */
struct tp_spec_key {
    const char *section;
    const char *key;
    const char *values;  /* "0 … 768000", "pcm | float | any" */
    const char *comment; /* one sentence or two */
};
TP_API const struct tp_spec_key *tp_spec_keys(void);

/* The value of the key at `index` of tp_spec_keys(), as the INI file writes it ("48000", "any", "yes").
 * Owned by the caller; NULL only when memory is short. */
TP_API char *tp_spec_value_text(const struct tp_spec *spec, size_t index) TP_MUST_USE;

/* The day's checklist: common practice, no source. In order, section by section; ends with .text == NULL. */
struct tp_checklist_item {
    const char *section; /* "Before the first take" … */
    const char *text;
};
TP_API const struct tp_checklist_item *tp_checklist(void);

#ifdef __cplusplus
}
#endif
#endif
