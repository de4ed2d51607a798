/* SPDX-License-Identifier: MIT */
/*
 * The line check: a test recording of some seconds, made before the first take, with a quiet stretch and normal speech.
 * Says in order what is right and what to change, one action an item. It never claims what sound cannot show.
 *
 * Strings are owned by the result, UTF-8, never NULL.
 */
#ifndef TAKEPROOF_LINECHECK_H
#define TAKEPROOF_LINECHECK_H

#include <takeproof/takeproof.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Ordered: a larger value is worse. */
enum tp_line_state {
    TP_LINE_READY = 0,
    TP_LINE_ADJUST = 1,   /* usable, with something to change first */
    TP_LINE_NOT_READY = 2 /* do not record like this */
};

/* X(ENUM_SUFFIX, "name"), in the order of the answer. */
#define TP_LINE_TOPICS(X)                                                                                              \
    X(FORMAT, "format")     /* against the spec */                                                                     \
    X(SIGNAL, "signal")     /* is anything connected, is there speech */                                               \
    X(LEVEL, "level")       /* speech against the window, and how far to move the gain */                              \
    X(HEADROOM, "headroom") /* room for a shout */                                                                     \
    X(SAFETY, "safety")     /* does a second channel follow, at what offset and delay */                               \
    X(POLARITY, "polarity") /* of main and safety */                                                                   \
    X(NOISE, "noise")       /* noise floor */                                                                          \
    X(HUM, "hum")                                                                                                      \
    X(RUMBLE, "rumble") /* as far as the signal tells whether a low cut is on */                                       \
    X(DC, "dc")                                                                                                        \
    X(FAULT, "fault") /* clicks, dropouts and other faults of the chain */

enum tp_line_topic {
#define TP_LINE_TOPIC_ENUM(suffix, text) TP_LINE_##suffix,
    TP_LINE_TOPICS(TP_LINE_TOPIC_ENUM)
#undef TP_LINE_TOPIC_ENUM
        TP_LINE_TOPIC_COUNT
};

struct tp_line_item {
    enum tp_line_topic topic;
    enum tp_line_state state;
    uint32_t channel;    /* 0-based; TP_NO_CHANNEL = the whole recording */
    double value, limit; /* NaN when there is none; level and headroom in dB, hum and noise in dBFS */
    char *message;       /* what was found, a sentence with the numbers */
    char *action;        /* the one thing to do, "" when there is nothing */
};

struct tp_linecheck {
    enum tp_line_state verdict; /* the worst of the items */
    struct tp_line_item *items; /* in the order of the topics, channel by channel within the signals */
    size_t count;
    struct tp_report *report; /* what it was judged from */
};

/* How far the peaks of a shout are taken to go above the highest peak of normal speech: 12 dB, common practice, no
 * source. */
#define TP_LINE_SHOUT_DB 12.0

/*
 * Checks one recording: options->sources[0], a file and the only source. *result is set only on TP_OK; free it.
 * Errors: TP_ERR_USAGE (not exactly one source, or not one recording in it), and those of tp_check().
 */
TP_API enum tp_status tp_linecheck(const struct tp_check_options *options, struct tp_linecheck **result,
                                   struct tp_error *error) TP_MUST_USE;
/* NULL is fine. */
TP_API void tp_linecheck_free(struct tp_linecheck *result);

/* The answer for people, in 80 columns: the verdict, what must be done, worst first, and one line a channel; `quiet`
 * leaves only the verdict and what must be done, one line each.
 * Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_linecheck_write_text(const struct tp_linecheck *result, bool quiet, FILE *out,
                                              struct tp_error *error) TP_MUST_USE;
/* Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_linecheck_write_json(const struct tp_linecheck *result, FILE *out,
                                              struct tp_error *error) TP_MUST_USE;

TP_API const char *tp_line_topic_name(enum tp_line_topic topic); /* "format" … */
TP_API const char *tp_line_state_name(enum tp_line_state state); /* "ready", "adjust", "not ready" */

#ifdef __cplusplus
}
#endif
#endif
