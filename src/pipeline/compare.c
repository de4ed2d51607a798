/* SPDX-License-Identifier: MIT */
#include "base/text.h"
#include "handoff/expected.h"
#include "handoff/verify.h"
#include "judge/finding_list.h"
#include "judge/rules.h"
#include "result.h"

#include <stdlib.h>
#include <string.h>
#include <takeproof/compare.h>

#define SOURCES_TOLD_MAX 20

static enum tp_status list_one(struct tp_listing *listing, const char *path, const char *const hashes[TP_HASH_COUNT],
                               uint64_t bytes, struct tp_error *error)
{
    bool hashed = false;
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        hashed = hashed || hashes[hash][0] != '\0';
    return hashed ? tp_listing_add(listing, path, hashes, &bytes, error)
                  : tp_listing_add_unhashed(listing, path, bytes, error);
}

/* Which manifest is whose; as many as a line of words bears. */
static enum tp_status refuse_several(const struct tp_report *report, struct tp_error *error)
{
    struct tp_text words = {0};
    for (size_t i = 0; i < report->source_count && i < SOURCES_TOLD_MAX; i++)
        tp_text_format(&words, "%s\n  '%s': manifest-%zu.%s", i > 0 ? "," : "", report->sources[i], i + 1,
                       tp_hash_kinds[tp_report_manifest_hash(report, i)].key);
    if (report->source_count > SOURCES_TOLD_MAX)
        tp_text_add(&words, ", and so on");
    enum tp_status status =
        tp_error_set(error, TP_ERR_USAGE, 0,
                     "the report is about %zu cards: compare with the manifest of one, which stands "
                     "beside report.json:%s",
                     report->source_count, words.failed ? "" : words.bytes);
    tp_text_clear(&words);
    return status;
}

static enum tp_status list_report(const struct tp_report *report, struct tp_listing *listing, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    if (report->source_count > 1)
        return refuse_several(report, error);
    for (size_t i = 0; status == TP_OK && i < report->file_count; i++) {
        const struct tp_file *file = &report->files[i];
        const char *path = file->path_raw != NULL ? file->path_raw : file->path;
        status = list_one(listing, path, (const char *const[])TP_HASHES_OF(file), file->bytes, error);
    }
    for (size_t i = 0; status == TP_OK && i < report->other_count; i++) {
        const struct tp_other *other = &report->others[i];
        const char *path = other->path_raw != NULL ? other->path_raw : other->path;
        status = list_one(listing, path, (const char *const[])TP_HASHES_OF(other), other->bytes, error);
    }
    return status == TP_OK ? tp_listing_settle(listing, error) : status;
}

static enum tp_status read_expected(const char *path, struct tp_expected *expected, struct tp_error *error)
{
    enum tp_status status = tp_expected_read(expected, path, error);
    if (status != TP_OK || !expected->is_report)
        return status;
    struct tp_report *report;
    status = tp_report_read_json(path, &report, error);
    if (status == TP_OK) {
        status = list_report(report, &expected->listing, error);
        tp_report_free(report);
    }
    if (status != TP_OK)
        tp_expected_clear(expected);
    return status;
}

static enum tp_status compare(const struct tp_compare_options *options, struct tp_expected *expected,
                              struct tp_comparison *made, struct tp_error *error)
{
    if (expected->listing.count == 0)
        return tp_error_set(error, TP_ERR_FORMAT, 0, "'%s' lists no file: there is nothing to compare with",
                            options->expected);
    made->expected = tp_strdup(options->expected);
    made->folder = tp_strdup(options->folder);
    made->kind = expected->kind;
    expected->kind = NULL;
    if (made->expected == NULL || made->folder == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    return tp_verify(&expected->listing, options, made, error);
}

enum tp_status tp_compare(const struct tp_compare_options *options, struct tp_comparison **comparison,
                          struct tp_error *error)
{
    struct tp_expected expected;
    enum tp_status status = read_expected(options->expected, &expected, error);
    if (status != TP_OK)
        return status;
    struct tp_comparison *made = calloc(1, sizeof *made);
    status = made != NULL ? compare(options, &expected, made, error)
                          : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    tp_expected_clear(&expected);
    if (status != TP_OK) {
        tp_comparison_free(made);
        return status;
    }
    *comparison = made;
    return TP_OK;
}

static bool add_difference(struct tp_finding_list *list, const struct tp_compare_item *item, enum tp_code code)
{
    char *path = tp_utf8_repair(item->path, strlen(item->path));
    if (path != NULL)
        tp_finding_add(list, code, tp_finding_info(code)->severity, tp_nowhere(), "'%s': %s.", path, item->message);
    free(path);
    return path != NULL;
}

/* "NOT what left the set: 1 missing, 1 changed"; owned by the caller. */
static char *headline(const struct tp_comparison *comparison)
{
    static const enum tp_compare_state told[] = {TP_COMPARE_MISSING, TP_COMPARE_CHANGED, TP_COMPARE_UNREADABLE,
                                                 TP_COMPARE_RENAMED, TP_COMPARE_EXTRA,   TP_COMPARE_UNPROVEN};
    if (comparison->equal)
        return tp_strdup("Everything that left the set is here, unchanged");
    struct tp_text words = {0};
    tp_text_add(&words, comparison->all_there ? "Everything that left the set is here, but not alone or not as listed"
                                              : "NOT what left the set");
    const char *comma = ": ";
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++) {
        if (comparison->counts[told[i]] == 0)
            continue;
        tp_text_format(&words, "%s%zu %s", comma, comparison->counts[told[i]], tp_compare_state_name(told[i]));
        comma = ", ";
    }
    char *made = words.failed ? NULL : tp_strdup(words.bytes);
    tp_text_clear(&words);
    return made;
}

enum tp_status tp_report_add_comparison(struct tp_report *report, const struct tp_comparison *comparison,
                                        struct tp_error *error)
{
    struct tp_finding_list list = {
        .items = report->findings, .count = report->finding_count, .capacity = report->finding_count};
    size_t told = 0, more = 0;
    bool good = true;
    for (size_t i = 0; i < comparison->item_count && good; i++) {
        enum tp_code code = tp_compare_state_code(comparison->items[i].state);
        if (code == TP_CODE_COUNT)
            continue;
        if (told < TP_COMPARE_FINDINGS_MAX)
            good = add_difference(&list, &comparison->items[i], code);
        else if (more++ == 0)
            tp_finding_add(&list, code, tp_finding_info(code)->severity, tp_nowhere(),
                           "More files differ than are listed here: compare.txt and compare.json list all.");
        told++;
    }
    tp_finding_list_sort(&list);
    report->findings = list.items;
    report->finding_count = list.count;
    free(report->compared);
    report->compared = headline(comparison);
    report->compared_verdict = comparison->equal       ? TP_VERDICT_PASS
                               : comparison->all_there ? TP_VERDICT_LISTEN
                                                       : TP_VERDICT_FAIL;
    if (!good || list.failed || report->compared == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the findings of the comparison");
    tp_rules_sum_up(report);
    return TP_OK;
}
