/* SPDX-License-Identifier: MIT */
/*
 * What a check found: plain data, the pivot between measuring and reporting. report.json is its faithful print.
 *
 * Rules for every member
 * - A level that does not exist (digital silence, too short to gate) is NaN: ask tp_exists(). Never 0, never -inf.
 * - Levels: `_dbfs` re full scale 2^(bits-1) (float: 1.0); `_dbtp` true peak; `_lufs`/`_lu` ITU-R BS.1770.
 * - Times `_s` are seconds from the start of the file; an unknown time is NaN. Frames are 0-based.
 * - Channels are 0-based here and 1-based in every report (the writers add 1). TP_NO_CHANNEL = the whole file.
 * - Strings are owned by the report, UTF-8 (invalid bytes replaced by U+FFFD), never NULL unless said.
 *   They come from hostile files: bounded in length, not escaped.
 * - Lists are pointer + count; pointer is NULL when count is 0.
 */
#ifndef TAKEPROOF_RESULT_H
#define TAKEPROOF_RESULT_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/error.h>
#include <takeproof/findings.h>
#include <takeproof/spec.h>

#ifdef __cplusplus
extern "C" {
#endif

#define TP_NO_CHANNEL UINT32_MAX
#define TP_NO_INDEX SIZE_MAX
#define TP_NO_TIMECODE UINT64_MAX
#define TP_IXML_SYNC_POINTS_MAX 1024
#define TP_IXML_EXTRAS_MAX 256
#define TP_CLIPS_MAX 1000 /* clip runs listed per channel: the worst; counts go on */

static inline bool tp_exists(double level)
{
    return !isnan(level);
}

/* Ordered: a larger value is worse. */
enum tp_verdict { TP_VERDICT_PASS = 0, TP_VERDICT_LISTEN = 1, TP_VERDICT_FAIL = 2 };

enum tp_choice {
    TP_CHOICE_MAIN = 0,   /* the main is clean */
    TP_CHOICE_SAFETY = 1, /* the main is damaged too widely, or dead */
    TP_CHOICE_SPLICE = 2, /* main, with the safety over the damaged spans */
    TP_CHOICE_NONE = 3,   /* no clean channel */
    TP_CHOICE_SINGLE = 4  /* a channel that has no partner */
};

/* One finding. `file` indexes tp_report.files (TP_NO_INDEX: the take or set as a whole). */
struct tp_finding {
    enum tp_code code;
    enum tp_severity severity;
    size_t file;
    uint32_t channel;
    double start_s, end_s; /* NaN when it has no place in time; for a list of places, the first/worst */
    double value, limit;   /* NaN when there is none; unit: tp_finding_info(code)->value_unit */
    char *message;         /* a whole sentence for people, with the numbers */
    size_t more_places;    /* further places of the same kind that have no finding of their own; mostly 0 */
};

/* A raw observation made while reading or measuring, before the spec is applied; judge/rules turns it into a finding.
 */
struct tp_observation {
    enum tp_code code;
    uint32_t channel;
    double start_s, end_s;
    double value, limit;
    char *detail; /* may be NULL: the rule then words it */
};
struct tp_observations {
    struct tp_observation *items;
    size_t count; /* kept, at most 1000 of a code */
    size_t total; /* seen */
};

struct tp_clip_run {
    uint64_t start_frame;
    uint64_t frames;
    double level_dbfs;
};

/* Half-open span of frames [start, end). */
struct tp_span {
    uint64_t start_frame, end_frame;
};
struct tp_spans {
    struct tp_span *items; /* sorted, disjoint */
    size_t count;
};

/* Waveform for drawing: the extremes of each bin in 1/127 of full scale (rounded away from zero, clamped). */
#define TP_OVERVIEW_BINS_MAX 1024
struct tp_overview {
    int8_t *min, *max; /* bin_count each */
    uint32_t bin_count;
    uint64_t frames_per_bin;
};

/* Levels along the time, for whoever compares channels while takes are put together; in no report, and empty after
 * that. A step: see measure/trace.h. */
struct tp_trace {
    uint8_t *steps;
    uint32_t step_count;
    uint64_t frames_per_step; /* the last step may be shorter */
};

struct tp_channel {
    char *name; /* from iXML, else "" */
    double sample_peak_dbfs;
    double true_peak_dbtp; /* never below sample_peak_dbfs */
    double integrated_lufs;
    double momentary_max_lufs;
    double short_term_max_lufs;
    double loudness_range_lu;
    double rms_dbfs;           /* AES17: a full-scale sine reads 0; DC removed */
    double dc_offset;          /* mean, full scale = 1 */
    double noise_floor_dbfs;   /* AES17 RMS of the quietest stretches; see takeproof(1) */
    double working_level_dbfs; /* where a meter sits while the dialogue runs; see takeproof(1) */
    double active_s;           /* seconds of signal well above the noise floor */
    uint64_t clip_runs;
    uint64_t whole_clip_runs; /* of them: float sound beyond full scale whose shape is not cut off; no damage */
    uint64_t clipped_samples;
    uint64_t longest_clip_run; /* samples */
    struct tp_clip_run *clips; /* at most TP_CLIPS_MAX, the longest ones, in time order */
    size_t clip_count;
    uint64_t flat_top_runs;        /* plateaus below full scale */
    struct tp_clip_run *flat_tops; /* like clips */
    size_t flat_top_count;
    uint64_t non_finite_samples; /* NaN or Inf in a float file: measured as 0 */
    bool digital_silence;        /* every sample is 0 */
    struct tp_spans
        damage; /* clip runs that are not whole, flat tops and dropouts merged with a guard; what a splice must cover */
    struct tp_spans dead; /* where the sound breaks off and nothing but zeros or the noise of an input is left */
    struct tp_trace trace;
    struct tp_overview overview;
};

struct tp_programme {
    double integrated_lufs;
    double momentary_max_lufs;
    double short_term_max_lufs;
    double loudness_range_lu;
    double true_peak_max_dbtp;
    double sample_peak_max_dbfs;
};

/* EBU Tech 3285. Text is UTF-8, trimmed at the first NUL and of trailing space. */
struct tp_bext {
    char *description, *originator, *originator_reference, *origination_date, *origination_time;
    uint64_t time_reference_samples; /* since midnight, at the file's rate */
    uint32_t version;
    char *umid; /* hex, "" when all zero */
    double loudness_value_lufs, loudness_range_lu, max_true_peak_dbtp, max_momentary_lufs,
        max_short_term_lufs; /* NaN unless version >= 2 and set */
    char *coding_history;
};

struct tp_ixml_track {
    uint32_t channel_index;    /* 1-based, as in the file; 0 = not given */
    uint32_t interleave_index; /* 1-based position in this file; 0 = not given */
    char *name, *function;
};

/* A place that the recordist or a device marked. */
struct tp_sync_point {
    char *type; /* "RELATIVE": counted from the start of the file; "ABSOLUTE": since midnight */
    char *function, *comment;
    uint64_t samples;
    uint64_t duration_samples; /* 0: a marker */
};
/* An element that has no member of its own: name below BWFXML ("BEXT/BWF_DESCRIPTION"), and its text. */
struct tp_ixml_extra {
    char *name, *value;
};

/* iXML (open specification). Absent text is "". */
struct tp_ixml {
    char *version, *project, *scene, *take, *tape, *note, *file_uid, *family_uid, *family_name;
    char *timecode_rate_text, *timecode_flag; /* "25/1"; "NDF"/"DF" */
    char *take_type;                          /* the list as it is written: "NO_GOOD, PICKUP" */
    char *ubits;
    char *original_filename, *parent_filename, *parent_uid; /* what the file was made from */
    char *master_speed, *current_speed, *speed_note;
    int circled;                                    /* 1 yes, 0 no, -1 not said */
    int no_good, false_start, wild_track;           /* likewise */
    struct tp_timecode_rate timecode_rate;          /* 0/0 when not given or not understood */
    uint32_t file_sample_rate_hz;                   /* 0 = not given */
    uint32_t audio_bit_depth;                       /* 0 = not given */
    uint32_t timestamp_sample_rate_hz;              /* 0 = not given */
    uint64_t timestamp_samples;                     /* since midnight; TP_NO_TIMECODE = not given */
    uint32_t track_count;                           /* 0 = not given */
    uint32_t digitizer_sample_rate_hz;              /* 0 = not given */
    uint64_t bwf_time_reference_samples;            /* the copy of bext's; TP_NO_TIMECODE = not given */
    uint32_t file_set_total, file_set_index_number; /* 0 = not given */
    struct tp_ixml_track *tracks;
    size_t tracks_count;
    struct tp_sync_point *sync_points; /* at most TP_IXML_SYNC_POINTS_MAX, in file order */
    size_t sync_point_count;
    struct tp_ixml_extra *extras; /* at most TP_IXML_EXTRAS_MAX, in file order */
    size_t extra_count;
    bool damaged; /* the XML broke off; what came before is kept */
};

/* One chunk as found on disk. */
struct tp_chunk {
    char id[5];      /* printable; other bytes as '?' */
    uint64_t offset; /* of the id */
    uint64_t size;   /* as declared (ds64 applied) */
    char *problem;   /* NULL when healthy */
};
struct tp_cue {
    uint64_t frame;
    char *label; /* "" when it has none */
};
struct tp_info_text {
    char id[5];
    char *text;
};

struct tp_file {
    size_t source;  /* index into tp_report.sources */
    char *path;     /* relative to its source, '/' separated, UTF-8 */
    char *path_raw; /* the bytes of the name, NUL-terminated; equals path when that is valid UTF-8 */
    bool path_is_utf8;
    uint64_t bytes;
    int64_t modified_s; /* Unix time */
    /* Lower-case hex; "" when it was not computed or the file could not be read to its end. */
    char sha256[65], xxh64[17], xxh3[17];
    enum tp_container container;
    enum tp_encoding encoding; /* NONE: not readable as WAV */
    bool extensible;
    uint32_t bit_depth; /* of the container */
    uint32_t valid_bits;
    uint32_t effective_bits; /* from the samples; 0 = none (silence, float, unreadable) */
    uint32_t sample_rate_hz;
    uint32_t channel_count;
    uint32_t channel_mask;              /* 0 = tracks without a place */
    uint64_t frames;                    /* really there and decoded */
    uint64_t declared_frames;           /* what the header claims */
    uint64_t audio_offset, audio_bytes; /* where the sound lies in the file */
    double duration_s;
    struct tp_bext *bext; /* NULL when there is none */
    struct tp_ixml *ixml;
    struct tp_chunk *chunks;
    size_t chunk_count;
    struct tp_cue *cues;
    size_t cue_count;
    struct tp_info_text *infos;
    size_t info_count;
    struct tp_observations observations;
    enum tp_verdict verdict;
    struct tp_programme programme;
    struct tp_channel *channels; /* channel_count; NULL when no sound could be measured */
    size_t take;                 /* index into tp_report.takes */
};

struct tp_channel_ref {
    size_t file; /* TP_NO_INDEX when there is none */
    uint32_t channel;
};

struct tp_use {
    enum tp_choice choice;
    size_t file; /* of the channel to use; TP_NO_INDEX with TP_CHOICE_NONE */
    uint32_t channel;
    char *reason; /* one sentence with the numbers */
};

/* A damaged stretch of a pair's main. */
struct tp_splice {
    double start_s, end_s;
    bool covered;       /* the safety is undamaged there */
    enum tp_code cause; /* CLIPPED, FLAT_TOPPED or DROPOUT */
};

struct tp_pair {
    struct tp_channel_ref main, safety;
    double offset_db;        /* safety minus main: negative */
    double offset_spread_db; /* half the interquartile range over the stretches used */
    int64_t lag_samples;     /* how much later the safety is */
    double lag_fraction;     /* sub-sample rest, -0.5 … +0.5 */
    double drift_ppm;        /* NaN when the take is too short to tell */
    bool inverted;
    double correlation; /* 0 … 1 after matching gain, lag and polarity */
    double
        offset_range_db; /* how much the offset changes between quiet and loud stretches: a limiter or automatic gain */
    double safety_noise_dbfs; /* noise floor of the safety once raised to the main's level */
    struct tp_splice *splices;
    size_t splice_count;
};

/* One microphone signal of a take: a pair, or a channel alone. */
struct tp_signal {
    char *name;                    /* track name, else "" */
    struct tp_channel_ref channel; /* the main of a pair, or the channel alone */
    struct tp_use use;
    struct tp_pair *pair; /* NULL for a channel alone */
    struct tp_channel_ref
        copy; /* a channel with the very same samples, no safety at all; .file TP_NO_INDEX when there is none */
    struct tp_channel_ref
        dead_partner; /* the silent other half of what should be a pair; .file TP_NO_INDEX when there is none */
    bool dead_partner_is_main;
    struct tp_channel_ref same_as; /* whose microphone this is once more, at another level: the main of a pair, or a
                                    * channel alone; mostly of a mix. .file TP_NO_INDEX when there is none */
    size_t part; /* of a recording that was split by size: the stretch of the take this is of, 0-based */
};

struct tp_take {
    char *id; /* unique in the report: the file name without extension and track token */
    char *scene, *take, *notes;
    int circled; /* 1 yes, 0 no, -1 not said */
    int no_good; /* 1: the notes or the recorder say so, 0: they deny it, -1 not said */
    enum tp_verdict verdict;
    size_t *files; /* indexes into tp_report.files */
    size_t file_count;
    size_t part_count;      /* stretches that follow each other, of a recording that was split by size; mostly 1 */
    uint64_t start_samples; /* since midnight, at the first file's rate; TP_NO_TIMECODE when unknown */
    struct tp_timecode_rate timecode_rate;
    char *start_timecode, *end_timecode; /* "10:00:00:00"; "" when unknown */
    double duration_s;
    struct tp_signal *signals; /* at least one when any file could be decoded; the first is the most important one (a
                                * pair before a channel alone, a microphone before a mix) and the JSON's `use` and
                                * `pair`, the others follow in the order of channels; where parts follow each other,
                                * those of one track stand side by side */
    size_t signal_count;
    struct tp_finding *findings; /* worst first, then in time */
    size_t finding_count;
};

struct tp_other {
    size_t source;
    char *path, *path_raw;
    bool path_is_utf8;
    uint64_t bytes;
    char *why; /* "not a WAV file", "named pipe, never opened" … */
    /* As in struct tp_file, when it was copied in the same run; else "": a check does not read it. */
    char sha256[65], xxh64[17], xxh3[17];
};

/* A short piece of one channel around a finding, made level-safe, for a person to hear. */
struct tp_sound_excerpt {
    size_t take, finding; /* takes[take].findings[finding] */
    size_t file;
    uint32_t channel;
    double start_s, end_s; /* in the file */
    double gain_db;        /* applied to it: 0 or negative */
    char *mime;            /* "audio/flac" */
    uint8_t *bytes;
    size_t size;
};

/* How a copy was read back. Ordered: larger proves less. */
enum tp_readback {
    TP_READBACK_NONE = 0,
    TP_READBACK_DIRECT = 1,  /* O_DIRECT: past the page cache */
    TP_READBACK_DROPPED = 2, /* the page cache was asked to drop the file first (posix_fadvise DONTNEED) */
    TP_READBACK_CACHED = 3   /* the system offers neither; the copy may have come from memory */
};

#define TP_DESTINATIONS_MAX 16
struct tp_handoff_destination {
    char *path; /* as given */
    uint64_t copied, kept,
        failed; /* files: written now and proven; there already and proven; all others. Sum: file_count */
    enum tp_readback readback; /* the weakest that was used */
    char *message;             /* NULL, or what is wrong with its folders: its copies are in doubt */
};

/* What an offload proved of the card's copies when it ended, in short; <takeproof/offload.h> has it file by file. */
struct tp_handoff {
    bool may_be_wiped;
    uint32_t copies_wanted; /* verified, of each file */
    uint64_t file_count;    /* on the card, sound or not */
    char *words;   /* whether the card may be wiped and why: "The card may be wiped: each of its 7 files …." */
    char *caution; /* NULL, or what to know besides, without a full stop */
    struct tp_handoff_destination *destinations; /* at most TP_DESTINATIONS_MAX */
    size_t destination_count;
};

struct tp_summary {
    size_t files, takes, pass, listen, fail;
    double duration_s;
    uint64_t bytes;
};

struct tp_report {
    char *version;  /* of the program that measured */
    char *made;     /* RFC 3339, UTC */
    char **sources; /* as given, UTF-8 */
    size_t source_count;
    struct tp_spec spec; /* in force; also carries the production's fields */
    struct tp_summary summary;
    struct tp_take *takes;
    size_t take_count;
    struct tp_file *files;
    size_t file_count;
    struct tp_other *others;
    size_t other_count;
    struct tp_finding *findings; /* of the set as a whole (missing takes, unreadable folders …) */
    size_t finding_count;
    struct tp_sound_excerpt *excerpts; /* none unless asked for; those of one finding side by side, main first */
    size_t excerpt_count;
    struct tp_handoff *handoff; /* of the one source; NULL after a check alone, and in a report merged from several */
    /* One a source, where reports are merged that were checked against different specs: each counts for its own
     * source, and `spec` for none but the first. Else NULL and 0. */
    struct tp_spec *source_specs;
    size_t source_spec_count;
    bool merged;    /* from several reports: nothing is said of copies */
    char *compared; /* NULL, or "Everything that left the set is here, unchanged" or the like: the source is
                       a folder that was compared with what left the set */
    enum tp_verdict compared_verdict; /* FAIL: something is missing or changed; LISTEN: renamed, extra or unproven */
    enum tp_verdict verdict;          /* the worst of takes and set findings; FAIL when there is not one take */
};

/* Frees everything. NULL is fine. */
TP_API void tp_report_free(struct tp_report *report);

/* Several tracks, none of which has a working level: too little sound to tell whether they hold main and safety. */
TP_API bool tp_take_is_too_quiet(const struct tp_report *report, const struct tp_take *take);

TP_API const char *tp_verdict_name(enum tp_verdict verdict);       /* "pass" … */
TP_API const char *tp_choice_name(enum tp_choice choice);          /* "main" … */
TP_API const char *tp_container_name(enum tp_container container); /* "wav" …; "" for NONE */
TP_API const char *tp_encoding_name(enum tp_encoding encoding);    /* "pcm" …; "" for NONE */
TP_API const char *tp_readback_name(enum tp_readback readback);    /* "direct" …; "none" for NONE */

#ifdef __cplusplus
}
#endif
#endif
