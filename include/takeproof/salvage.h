/* SPDX-License-Identifier: MIT */
/*
 * A playable copy of an interrupted or damaged recording. The original is only read.
 *
 *     struct tp_salvage_options options = {.path = "card/T012.wav", .directory = "rescued"};
 *     struct tp_salvage_result *result;
 *     if (tp_salvage(&options, &result, &error) == TP_OK && result->written != NULL) …
 *     tp_salvage_result_free(result);
 *
 * What the copy holds: every whole frame that is there, bit for bit, behind a header with the right sizes (RF64 past 4
 * GiB), and the undamaged bext, iXML, cue and LIST chunks byte for byte. What was assumed or left out is said in notes.
 */
#ifndef TAKEPROOF_SALVAGE_H
#define TAKEPROOF_SALVAGE_H

#include <takeproof/takeproof.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The format of the sound, where the file itself no longer tells it. */
struct tp_salvage_format {
    enum tp_encoding encoding; /* NONE = guess */
    uint32_t bit_depth, channel_count;
    uint32_t sample_rate_hz; /* 0 = 48000: a rate cannot be guessed from samples */
};

struct tp_salvage_options {
    const char *path;      /* the damaged file */
    const char *directory; /* made when missing; the copy is NAME-salvaged.wav in it, never over an existing file */
    struct tp_salvage_format format;
    bool keep_tail;           /* keep zeros and random bytes at the end that were never recorded */
    bool even_if_healthy;     /* write a copy of a file with nothing wrong, too */
    bool not_on_card;         /* the caller knows that directory does not lie on a card, whatever it looks like */
    tp_progress_fn *progress; /* or NULL; bytes of the copy */
    void *progress_user;
    const volatile sig_atomic_t *cancel; /* or NULL */
};

struct tp_salvage_result {
    char *written; /* path of the copy; NULL when the file is healthy and none was made */
    struct tp_salvage_format format;
    enum tp_container container;
    bool format_guessed;
    bool listen; /* the notes hold an assumption about the sound that only a listener can confirm */
    uint64_t frames;
    double duration_s;
    uint64_t source_offset;      /* where the sound begins in the damaged file */
    struct tp_finding *findings; /* what is wrong with the damaged file; codes of the container family */
    size_t finding_count;
    char **notes; /* sentences: what was assumed, repaired and left out */
    size_t note_count;
};

/* Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_FORMAT (no sound to be found, or a format that cannot be guessed: give it),
 * TP_ERR_EXISTS (the copy is there already), TP_ERR_USAGE (the path is a folder; the directory is that of the file, or
 * seems to lie on its card: see not_on_card; or no directory, or a format that cannot be), TP_ERR_WRITE, TP_ERR_SPACE,
 * TP_ERR_CANCELLED, TP_ERR_MEMORY. *result is set only on TP_OK. */
TP_API enum tp_status tp_salvage(const struct tp_salvage_options *options, struct tp_salvage_result **result,
                                 struct tp_error *error) TP_MUST_USE;
TP_API void tp_salvage_result_free(struct tp_salvage_result *result);

/* What became of one file, for the result of several. */
struct tp_salvage_outcome {
    const char *path;
    const struct tp_salvage_result *result; /* NULL: nothing was salvaged, and `problem` says why */
    const char *problem;
};
/* The outcomes as JSON. Errors: TP_ERR_WRITE, TP_ERR_MEMORY. */
TP_API enum tp_status tp_salvage_write_json(const struct tp_salvage_outcome *outcomes, size_t count, FILE *out,
                                            struct tp_error *error) TP_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
