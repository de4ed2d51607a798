/* SPDX-License-Identifier: MIT */
/*
 * libtakeproof: check a day's sound recordings and say what to use.
 *
 *     struct tp_spec spec;                      // the production's agreement
 *     tp_spec_init(&spec, NULL);
 *     struct tp_check_options options = {0};
 *     options.sources = &path; options.source_count = 1; options.spec = &spec;
 *     struct tp_report *report;
 *     if (tp_check(&options, &report, &error) == TP_OK) … report->verdict …
 *     tp_report_free(report);
 *
 * The library never prints, never exits, keeps no global state, and never writes to a source.
 * Threads: any number of checks may run at once.
 */
#ifndef TAKEPROOF_H
#define TAKEPROOF_H

#include <signal.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <takeproof/error.h>
#include <takeproof/findings.h>
#include <takeproof/result.h>
#include <takeproof/spec.h>

#ifdef __cplusplus
extern "C" {
#endif

#define TP_VERSION "0.1.0"

/* "0.1.0": of the library that was linked. */
TP_API const char *tp_version(void);

struct tp_progress {
    size_t files_done, files_total;
    uint64_t bytes_done, bytes_total;
    const char *path; /* of a file just begun or ended; may be NULL */
};
/* Called from worker threads, one at a time; must be quick. */
typedef void tp_progress_fn(void *user, const struct tp_progress *progress);

/* What is computed of every byte read: SHA-256 and XXH64, or one alone. SHA-256 without processor support for it takes
 * longer than all measuring; XXH3 (64 bits) takes the least. */
enum tp_hashes { TP_HASHES_BOTH = 0, TP_HASHES_XXH64 = 1, TP_HASHES_XXH3 = 2 };

struct tp_check_options {
    const char *const *sources; /* files or folders */
    size_t source_count;
    const struct tp_spec *spec; /* required */
    unsigned jobs;              /* takes at once; 0 = one for each processor, at most 16 */
    int64_t made_s;             /* Unix time to stamp the report with */
    enum tp_hashes hashes;
    const char *log_path;     /* the set's notes as CSV, or NULL */
    bool second_opinion;      /* measure again through libsndfile and libebur128 alone and report differences */
    tp_progress_fn *progress; /* or NULL */
    void *progress_user;
    const volatile sig_atomic_t *cancel; /* set to 1 (from a signal handler, say) to stop: TP_ERR_CANCELLED; or NULL */
};

/* An empty log (tp_check_options.log_path) with every column and two invented rows, as CSV. Static. */
TP_API const char *tp_log_template(void);

/*
 * Scans, measures, pairs, chooses and judges. A damaged file is a finding, not an error.
 * Errors: TP_ERR_USAGE (no sources), TP_ERR_OPEN (a source is not there or cannot be listed),
 * TP_ERR_MEMORY, TP_ERR_FORMAT (the log), TP_ERR_CANCELLED. *report is set only on TP_OK; free with tp_report_free().
 */
TP_API enum tp_status tp_check(const struct tp_check_options *options, struct tp_report **report,
                               struct tp_error *error) TP_MUST_USE;

/*
 * Listening excerpts: reads the sound again at the marked spots of findings that must be heard or fail, and adds short
 * pieces of main and safety to the report (report->excerpts), worst first, until `findings_max` spots or
 * TP_EXCERPT_BYTES_MAX bytes are reached. Each is FLAC, mono, 16 bit, with a second of context on both sides, at most
 * TP_EXCERPT_SECONDS_MAX long, turned down so that no sample is above -12 dBFS, and faded in.
 * Files that cannot be read any more, or not be encoded, are passed over. A source is only read.
 * Errors: TP_ERR_USAGE (other sources than the report's), TP_ERR_MEMORY, TP_ERR_CANCELLED; the report is then without
 * excerpts.
 */
#define TP_EXCERPT_FINDINGS_DEFAULT 40
#define TP_EXCERPT_BYTES_MAX ((size_t)3 << 20)
#define TP_EXCERPT_SECONDS_MAX 4.0
struct tp_excerpt_options {
    const char *const *sources; /* as given to tp_check() */
    size_t source_count;
    size_t findings_max;
    const volatile sig_atomic_t *cancel; /* or NULL */
};
TP_API enum tp_status tp_report_add_excerpts(struct tp_report *report, const struct tp_excerpt_options *options,
                                             struct tp_error *error) TP_MUST_USE;
/* Keeps the excerpts of the worst `findings_max` spots within TP_EXCERPT_BYTES_MAX: what one run over all sources would
 * have cut, for merged reports. Errors: TP_ERR_MEMORY. */
TP_API enum tp_status tp_report_limit_excerpts(struct tp_report *report, size_t findings_max,
                                               struct tp_error *error) TP_MUST_USE;

/* How the terminal summary is laid out. */
struct tp_text_options {
    bool colour;
    bool quiet;              /* the verdict alone: one line, or one of the copies and one of the takes */
    unsigned columns;        /* width of the terminal; 0 = 80 */
    const char *report_path; /* report.html to name at the end, or NULL */
    const char *spec_name;   /* what the spec in force is called, or NULL: nothing is said */
    bool offloaded;          /* the copies are told beside this: nothing here about wiping the card or copying it */
};
TP_API enum tp_status tp_report_write_text(const struct tp_report *report, const struct tp_text_options *options,
                                           FILE *out, struct tp_error *error) TP_MUST_USE;

/* The formats of the report set, as UTF-8. Errors of these and of the text: TP_ERR_MEMORY (what was written is not
 * whole), TP_ERR_WRITE (so far: what stdio still holds is told by fflush() or fclose()). */
TP_API enum tp_status tp_report_write_csv(const struct tp_report *report, FILE *out,
                                          struct tp_error *error) TP_MUST_USE;
TP_API enum tp_status tp_report_write_findings_csv(const struct tp_report *report, FILE *out,
                                                   struct tp_error *error) TP_MUST_USE;
TP_API enum tp_status tp_report_write_json(const struct tp_report *report, FILE *out,
                                           struct tp_error *error) TP_MUST_USE;
TP_API enum tp_status tp_report_write_html(const struct tp_report *report, FILE *out,
                                           struct tp_error *error) TP_MUST_USE;
/* Lines that `sha256sum -c` reads from the source folder, or `xxhsum -c` when no file of the source has a SHA-256; one
 * source a manifest. Of several sources the first line of a SHA-256 manifest is a comment that names it, which
 * sha256sum passes over. */
TP_API enum tp_status tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out,
                                               struct tp_error *error) TP_MUST_USE;

/* Reads a report.json back (format 1). Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY, TP_ERR_FORMAT. */
TP_API enum tp_status tp_report_read_json(const char *path, struct tp_report **report,
                                          struct tp_error *error) TP_MUST_USE;

/* Whether tp_report_write_set() may write into `directory`, to be asked before a long check. Errors: TP_ERR_USAGE when
 * it lies inside a source, TP_ERR_WRITE when it (or the folder it would be made in) cannot be written to,
 * TP_ERR_MEMORY. */
TP_API enum tp_status tp_report_folder_check(const char *directory, const char *const *sources, size_t source_count,
                                             struct tp_error *error) TP_MUST_USE;

/* What is to be written where, and from which recordings. */
enum tp_output_kind { TP_OUTPUT_REPORTS = 0, TP_OUTPUT_COMPARISON, TP_OUTPUT_TRACKS };
struct tp_output_options {
    enum tp_output_kind kind; /* COMPARISON: compare.txt and compare.json without a report set */
    const char *directory;    /* perhaps not there yet */
    const char *const *sources;
    size_t source_count;
    const struct tp_report *report; /* what will be written, when it is known; or NULL: the sources are listed */
    bool not_on_card;               /* the caller knows that `directory` is on no card, whatever it looks like */
    bool replace;                   /* what tells of another source may be replaced */
};
/*
 * Whether `directory` may be written to, to be asked before a long check: as tp_report_folder_check(), and besides
 *  - it does not seem to lie on the card of a source. For a source that is a file it is not the folder of that file
 *    (never), nor below it, nor in the folder through which the file is reached from the working folder; for every
 *    source it is not on the same removable disk or card file system. `not_on_card` allows all but the first.
 *  - report.json, offload.json and compare.json that are there already are about these recordings: at least half of
 *    the shorter list is in both, by name and size; where one list is empty, the sources are the same. Unless
 *    `replace`. Not asked for TRACKS.
 * Nothing is made. Errors: TP_ERR_USAGE, TP_ERR_EXISTS (about another source), TP_ERR_OPEN, TP_ERR_WRITE,
 * TP_ERR_MEMORY.
 */
TP_API enum tp_status tp_output_check(const struct tp_output_options *options, struct tp_error *error) TP_MUST_USE;
/* With `replace`: removes the reports, comparisons and records of offloads that are about another source, so that none
 * stays beside what is written next. Errors: as tp_output_check(). */
TP_API enum tp_status tp_output_clear(const struct tp_output_options *options, struct tp_error *error) TP_MUST_USE;

/*
 * Puts the reports of several cards, days or machines together, in the order given, as if all sources had been checked
 * in one run: totals, ids of takes, clashes of names and equal contents across the cards are judged anew. Production
 * fields that differ are joined with ", ". Reports that were checked against different specs keep them
 * (source_specs), and no verdict of a take is judged anew. Merged from several, the report has no handoff. The reports
 * are used up in every case, also on failure: each is freed and its place set to NULL. Errors: TP_ERR_USAGE (none
 * given, two are about the same recordings of one source), TP_ERR_MEMORY.
 */
TP_API enum tp_status tp_report_merge(struct tp_report **reports, size_t count, struct tp_report **merged,
                                      struct tp_error *error) TP_MUST_USE;

/*
 * Writes report.html, report.csv, findings.csv, report.json and manifest.sha256 into `directory` (made when missing).
 * Each file is written whole or not at all (temporary name, fsync, rename); earlier reports of the same name are
 * replaced. With several sources, one manifest each: manifest-1.sha256, manifest-2.sha256 … Of hashes other than
 * SHA-256 the manifest is manifest.xxh64 or manifest.xxh3. Errors: TP_ERR_USAGE when `directory` lies inside a source
 * (a source is never written to), TP_ERR_WRITE, TP_ERR_SPACE, TP_ERR_MEMORY.
 */
TP_API enum tp_status tp_report_write_set(const struct tp_report *report, const char *directory,
                                          struct tp_error *error) TP_MUST_USE;

#ifdef __cplusplus
}
#endif
#endif
