/* SPDX-License-Identifier: MIT */
/*
 * The clean track of each main/safety pair: the main, with the level-matched safety over its damaged spans.
 *
 *   choice main     the main as it is, alone in a file
 *   choice splice   the main; over each damaged span the safety at the main's level, polarity and time (whole samples),
 *                   crossfaded inside 10 ms before and behind
 *   choice safety   the safety, matched likewise, from end to end
 *   choice none     no track: nothing clean to make it from
 *
 * Outside the replaced stretches every sample is the main's own, to the bit. A track is as long as the main and starts
 * at the same timecode. It is 24-bit PCM (32-bit PCM from 32-bit PCM that uses more than 24 bits), or 32-bit float when
 * the source is float or peaks would pass full scale (64-bit float from 64-bit float, and from 32-bit PCM).
 * Sources are opened read-only. Each file appears whole or not at all.
 */
#ifndef TAKEPROOF_SPLICE_H
#define TAKEPROOF_SPLICE_H

#include <takeproof/takeproof.h>

#ifdef __cplusplus
extern "C" {
#endif

struct tp_splice_options {
    const struct tp_report *report; /* from tp_check() in this process: lists of damage are not in report.json */
    const char *const *sources;     /* as they were given to tp_check() */
    size_t source_count;
    const char *directory;    /* made when missing; may not lie inside a source, nor on its card */
    bool not_on_card;         /* the caller knows that directory does not lie on a card, whatever it looks like */
    bool replace;             /* files of the same names may be replaced */
    bool headroom;            /* where peaks would pass full scale: keep PCM and lower the whole track by whole
                                 dB instead of going to float */
    bool only_damaged;        /* no track where the main is used as recorded */
    tp_progress_fn *progress; /* or NULL; counts tracks, and bytes of them */
    void *progress_user;
    const volatile sig_atomic_t *cancel; /* or NULL */
};

/* One replaced stretch of a track. */
struct tp_spliced_span {
    double start_s, end_s; /* replaced, fades included */
    double damage_start_s, damage_end_s;
    char start_timecode[16], end_timecode[16]; /* of the replaced stretch; "" when the take has no timecode */
    double fade_in_s, fade_out_s;              /* lengths; 0 at the ends of the file */
    bool fade_in_equal_power, fade_out_equal_power;
    int64_t lag_samples;            /* applied here */
    double gain_in_db, gain_out_db; /* of the safety before and behind the damage; they differ from the track's where
                                       the pair's offset changes from quiet to loud (a limiter) */
    enum tp_code cause;             /* of its first damaged span */
};

/* What became of one pair. */
struct tp_spliced_track {
    size_t take, signal;   /* in the report */
    enum tp_choice choice; /* MAIN and no name: only_damaged left it out */
    char *name;            /* of the file in the directory; "" when none was written */
    char *why_not;         /* a sentence when none was written, else "" */
    char *caution;         /* what else is wrong with it: another rate than agreed, what the take fails for; else "" */
    uint32_t sample_rate_hz;
    enum tp_encoding encoding;
    uint32_t bit_depth;
    uint64_t frames;
    double gain_db;    /* of the safety: minus the pair's offset */
    double lowered_db; /* 0, or by how much the whole track was lowered for headroom */
    double peak_dbfs;  /* of the track as written; NaN for silence */
    struct tp_spliced_span *spans;
    size_t span_count;
    double spliced_s; /* replaced in all */
};

struct tp_splice_result {
    const struct tp_report *report;  /* borrowed */
    struct tp_spliced_track *tracks; /* a pair each, in the report's order */
    size_t track_count;
    size_t written;
};

/*
 * Writes the tracks and splices.csv into `directory`. Either all names are free (or may be replaced) or nothing is
 * written. A splices.csv that is there keeps its rows of other takes; one that is no such list is left alone, and is
 * TP_ERR_EXISTS. On an error later on, tracks already complete stay, none is half there.
 * Errors: TP_ERR_USAGE (directory inside a source, or it seems to lie on its card: see tp_output_check()),
 * TP_ERR_EXISTS, TP_ERR_READ (also when a source has changed since the check), TP_ERR_WRITE, TP_ERR_SPACE,
 * TP_ERR_MEMORY, TP_ERR_CANCELLED. *result is set only on TP_OK.
 */
TP_API enum tp_status tp_splice_write(const struct tp_splice_options *options, struct tp_splice_result **result,
                                      struct tp_error *error) TP_MUST_USE;
TP_API void tp_splice_result_free(struct tp_splice_result *result); /* NULL is fine */

/* splices.csv: RFC 4180, one row a replaced stretch, and one for a pair without any. Leaves errors to ferror(out). */
TP_API void tp_splice_write_csv(const struct tp_splice_result *result, FILE *out);
/* {"format": 1, "tracks": [...]}. Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_splice_write_json(const struct tp_splice_result *result, FILE *out,
                                           struct tp_error *error) TP_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
