/* SPDX-License-Identifier: MIT */
/*
 * The finding codes and what each means: one table for the rules, the reports, `takeproof explain`,
 * the manual and the tests. A finding is one thing established about a file or take.
 */
#ifndef TAKEPROOF_FINDINGS_H
#define TAKEPROOF_FINDINGS_H

#include <stddef.h>
#include <takeproof/error.h>

#ifdef __cplusplus
extern "C" {
#endif

/* X(ENUM_SUFFIX, "code-in-reports"), in report order. Codes are a contract with other people's scripts: add, never
 * rename. */
#define TP_FINDING_CODES(X)                                                                                            \
    X(WRONG_SAMPLE_RATE, "wrong-sample-rate")                                                                          \
    X(WRONG_BIT_DEPTH, "wrong-bit-depth")                                                                              \
    X(WRONG_ENCODING, "wrong-encoding")                                                                                \
    X(WRONG_CONTAINER, "wrong-container")                                                                              \
    X(WRONG_CHANNEL_COUNT, "wrong-channel-count")                                                                      \
    X(MISSING_BEXT, "missing-bext")                                                                                    \
    X(MISSING_IXML, "missing-ixml")                                                                                    \
    X(WRONG_TIMECODE_RATE, "wrong-timecode-rate")                                                                      \
    X(NAME_OFF_PATTERN, "name-off-pattern")                                                                            \
    X(TOO_SHORT, "too-short")                                                                                          \
    X(PADDED_BITS, "padded-bits")                                                                                      \
    X(EMPTY_FILE, "empty-file")                                                                                        \
    X(HEADER_ONLY, "header-only")                                                                                      \
    X(NOT_WAV, "not-wav")                                                                                              \
    X(UNREADABLE, "unreadable")                                                                                        \
    X(UNFINISHED_HEADER, "unfinished-header")                                                                          \
    X(TRUNCATED, "truncated")                                                                                          \
    X(SIZE_MISMATCH, "size-mismatch")                                                                                  \
    X(TRAILING_BYTES, "trailing-bytes")                                                                                \
    X(METADATA_CONFLICT, "metadata-conflict")                                                                          \
    X(CLIPPED, "clipped")                                                                                              \
    X(FLAT_TOPPED, "flat-topped")                                                                                      \
    X(TRUE_PEAK_OVER, "true-peak-over")                                                                                \
    X(LEVEL_LOW, "level-low")                                                                                          \
    X(LEVEL_HIGH, "level-high")                                                                                        \
    X(SILENT_CHANNEL, "silent-channel")                                                                                \
    X(DC_OFFSET, "dc-offset")                                                                                          \
    X(NOISE_HIGH, "noise-high")                                                                                        \
    X(DROPOUT, "dropout")                                                                                              \
    X(REPEATED_BLOCK, "repeated-block")                                                                                \
    X(CLICK, "click")                                                                                                  \
    X(HUM, "hum")                                                                                                      \
    X(RUMBLE, "rumble")                                                                                                \
    X(NOISE_ONLY, "noise-only")                                                                                        \
    X(INTERFERENCE, "interference")                                                                                    \
    X(SECOND_OPINION, "second-opinion")                                                                                \
    X(SAFETY_NEEDED, "safety-needed")                                                                                  \
    X(BOTH_CLIPPED, "both-clipped")                                                                                    \
    X(PAIR_OFFSET, "pair-offset")                                                                                      \
    X(PAIR_LAG, "pair-lag")                                                                                            \
    X(PAIR_POLARITY, "pair-polarity")                                                                                  \
    X(PAIR_LEVEL_CHANGE, "pair-level-change")                                                                          \
    X(CHANNEL_COPY, "channel-copy")                                                                                    \
    X(NOT_A_PAIR, "not-a-pair")                                                                                        \
    X(MAIN_SILENT, "main-silent")                                                                                      \
    X(SAFETY_SILENT, "safety-silent")                                                                                  \
    X(SEGMENT_GAP, "segment-gap")                                                                                      \
    X(TIMECODE_OVERLAP, "timecode-overlap")                                                                            \
    X(DUPLICATE_CONTENT, "duplicate-content")                                                                          \
    X(DUPLICATE_NAME, "duplicate-name")                                                                                \
    X(MISSING_TAKE, "missing-take")                                                                                    \
    X(CLOCK_JUMP, "clock-jump")                                                                                        \
    X(LOG_WITHOUT_FILE, "log-without-file")                                                                            \
    X(FILE_NOT_IN_LOG, "file-not-in-log")                                                                              \
    X(COPY_MISSING, "copy-missing")                                                                                    \
    X(COPY_CHANGED, "copy-changed")                                                                                    \
    X(COPY_EXTRA, "copy-extra")

enum tp_code {
#define TP_CODE_ENUM(suffix, text) TP_CODE_##suffix,
    TP_FINDING_CODES(TP_CODE_ENUM)
#undef TP_CODE_ENUM
        TP_CODE_COUNT
};

/* Ordered: a larger value is worse. */
enum tp_severity { TP_NOTE = 0, TP_LISTEN = 1, TP_FAIL = 2 };

enum tp_family {
    TP_FAMILY_SPEC,
    TP_FAMILY_CONTAINER,
    TP_FAMILY_LEVEL,
    TP_FAMILY_FAULT,
    TP_FAMILY_PAIR,
    TP_FAMILY_SET,
    TP_FAMILY_HANDOFF
};

/* One row of the table. All strings are static, UTF-8, plain text; none is NULL. */
struct tp_finding_info {
    enum tp_code code;
    const char *name; /* "clipped" */
    enum tp_family family;
    enum tp_severity severity; /* the usual one; a rule may lower it, never raise it silently */
    const char *value_unit; /* unit of tp_finding.value and .limit: "Hz", "bit", "dBFS", "ms"…; "" when there is none */
    const char *title;      /* a few words: "Overload: samples at full scale" */
    const char *meaning;    /* what it means */
    const char *method;     /* how it is found, its limits, and the source or "common practice, no source" */
    const char *on_set;     /* what to do now */
    const char *in_post;    /* what post can still do */
};

/* The row of a code. `code` must be < TP_CODE_COUNT. Never NULL. */
TP_API const struct tp_finding_info *tp_finding_info(enum tp_code code);

/* Looks a code up by its name; returns false (and leaves *code alone) when there is none. */
TP_API int tp_finding_code_from_name(const char *name, enum tp_code *code);

/* "spec", "container", …; "note", "listen", "fail". Never NULL. */
TP_API const char *tp_family_name(enum tp_family family);
TP_API const char *tp_severity_name(enum tp_severity severity);

#ifdef __cplusplus
}
#endif
#endif
