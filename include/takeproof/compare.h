/* SPDX-License-Identifier: MIT */
/*
 * In the edit bay: is this folder what left the set? Compares a folder, by content, with a report.json, a manifest of
 * checksums (sha256sum, xxhsum, xxhsum -H3) or an ASC MHL history.
 *
 * Strings are owned by the result. `path` members are raw bytes, relative to the folder; sentences are UTF-8.
 */
#ifndef TAKEPROOF_COMPARE_H
#define TAKEPROOF_COMPARE_H

#include <takeproof/takeproof.h>

#ifdef __cplusplus
extern "C" {
#endif

struct tp_compare_options {
    const char *expected; /* report.json, a manifest, a .mhl file, an ascmhl folder, or a folder that has one */
    const char *folder;
    tp_progress_fn *progress; /* or NULL */
    void *progress_user;
    const volatile sig_atomic_t *cancel; /* or NULL */
};

/* Ordered for the report: worst first. */
enum tp_compare_state {
    TP_COMPARE_MISSING = 0,    /* copy-missing: listed, not there, and its content is nowhere else */
    TP_COMPARE_CHANGED = 1,    /* copy-changed: there, or under its name in another folder, with other bytes */
    TP_COMPARE_UNREADABLE = 2, /* unreadable: there, and cannot be read: nothing is proven */
    TP_COMPARE_RENAMED = 3,    /* copy-extra: its content is there under `found` instead */
    TP_COMPARE_EXTRA = 4,      /* copy-extra: there and not listed */
    TP_COMPARE_UNPROVEN = 5,   /* there with the listed size; the list has no hash of it */
    TP_COMPARE_SAME = 6
};

struct tp_compare_item {
    enum tp_compare_state state;
    char *path;     /* as listed; for EXTRA as found */
    char *found;    /* RENAMED: where the content is; CHANGED, UNPROVEN: where the file is; NULL: where it is listed */
    uint64_t bytes; /* as found; 0 when missing */
    char *message;  /* a sentence; NULL for SAME */
    /* Of MISSING, CHANGED and UNREADABLE: the strongest hash that is listed, by which the right copy is told, and its
     * kind ("sha256", static). NULL when the list has none, and else. */
    char *listed_hash;
    const char *listed_hash_kind;
};

struct tp_comparison {
    char *expected, *folder;
    char *kind;                    /* "report", "manifest", "ASC MHL history of 2 generations" */
    struct tp_compare_item *items; /* worst first, then bytewise by path */
    size_t item_count;
    size_t counts[TP_COMPARE_SAME + 1];
    bool all_there; /* nothing is missing, changed or unreadable */
    bool equal;     /* and nothing is renamed, extra or unproven */
    char *words;    /* the last line */
    char *hint;     /* a sentence, when the folder seems to be one level off; else NULL */
    char *next;     /* what to do about what is missing, changed or unreadable; else NULL */
};

/* Errors: TP_ERR_USAGE, TP_ERR_OPEN, TP_ERR_READ, TP_ERR_FORMAT (the list is not what it should be, or lists nothing),
 * TP_ERR_MEMORY, TP_ERR_CANCELLED. A damaged copy is data. Free with tp_comparison_free(). */
TP_API enum tp_status tp_compare(const struct tp_compare_options *options, struct tp_comparison **comparison,
                                 struct tp_error *error) TP_MUST_USE;
TP_API void tp_comparison_free(struct tp_comparison *comparison);

/* The last line is `words`; with quiet it is the only one. */
TP_API void tp_comparison_write_text(const struct tp_comparison *comparison, bool quiet, FILE *out);
/* Errors: TP_ERR_MEMORY, TP_ERR_WRITE. */
TP_API enum tp_status tp_comparison_write_json(const struct tp_comparison *comparison, FILE *out,
                                               struct tp_error *error) TP_MUST_USE;

/* Writes compare.txt, the text above, and compare.json into `directory` (made when missing), each whole or not at all.
 * Errors: TP_ERR_USAGE when it lies inside the folder, TP_ERR_WRITE, TP_ERR_SPACE, TP_ERR_MEMORY. */
TP_API enum tp_status tp_comparison_write_set(const struct tp_comparison *comparison, const char *directory,
                                              struct tp_error *error) TP_MUST_USE;

/* Adds what differs to the findings of the set, the worst TP_COMPARE_FINDINGS_MAX one by one, and judges the report's
 * verdict anew. Errors: TP_ERR_MEMORY. */
#define TP_COMPARE_FINDINGS_MAX 1000
TP_API enum tp_status tp_report_add_comparison(struct tp_report *report, const struct tp_comparison *comparison,
                                               struct tp_error *error) TP_MUST_USE;

TP_API const char *tp_compare_state_name(enum tp_compare_state state); /* "missing" … */
/* The finding code that tells it; TP_CODE_COUNT for SAME and UNPROVEN. */
TP_API enum tp_code tp_compare_state_code(enum tp_compare_state state);

#ifdef __cplusplus
}
#endif
#endif
