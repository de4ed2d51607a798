/* SPDX-License-Identifier: MIT */
/* Files held against each other by contents and by name. What counts is common practice, no source. */
#include "judge/rules_set.h"

#include "judge/rules_file.h"
#include "result.h"
#include "support/cards.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILES_MAX 4
static const char sha_a[] = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa";
static const char sha_b[] = "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb";

struct one_file {
    const char *path, *sha256;
    size_t source;
    bool is_empty;
};
struct set {
    const char *name;
    size_t sources, count;
    struct one_file files[FILES_MAX];
    const char *findings; /* severity code@file, worst first */
    const char *words;    /* in the first of them; NULL: any */
};

static char source_names[3][8] = {"card1", "card2", "card3"};

static const struct set sets[] = {
    {"nothing alike", 1, 2, {{"a.wav", sha_a, 0, false}, {"b.wav", sha_b, 0, false}}, "", NULL},
    {"the same twice",
     1,
     2,
     {{"a.wav", sha_a, 0, false}, {"copy/b.wav", sha_a, 0, false}},
     "listen duplicate-content@0 ",
     "'a.wav' and 'copy/b.wav' are equal to the last byte."},
    {"the same on two cards is told with the cards' names",
     2,
     2,
     {{"a.wav", sha_a, 0, false}, {"a.wav", sha_a, 1, false}},
     "note duplicate-content@0 ",
     "'card1: a.wav' and 'card2: a.wav' are equal to the last byte."},
    {"the same four times is one finding",
     1,
     4,
     {{"d.wav", sha_a, 0, false}, {"c.wav", sha_a, 0, false}, {"b.wav", sha_a, 0, false}, {"a.wav", sha_a, 0, false}},
     "listen duplicate-content@0 ",
     "'d.wav', 'c.wav' and 2 more are equal to the last byte."},
    {"empty files are all alike and say nothing",
     1,
     2,
     {{"a.wav", sha_a, 0, true}, {"b.wav", sha_a, 0, true}},
     "",
     NULL},
    {"what could not be read to its end is equal to nothing",
     1,
     2,
     {{"a.wav", "", 0, false}, {"b.wav", "", 0, false}},
     "",
     NULL},
    {"one name in two folders of a card",
     1,
     2,
     {{"day1/T01.wav", sha_a, 0, false}, {"day2/T01.wav", sha_b, 0, false}},
     "note duplicate-name@0 ",
     "'day1/T01.wav' and 'day2/T01.wav' are different recordings under one name."},
    {"one name on two cards",
     2,
     2,
     {{"T01.wav", sha_a, 0, false}, {"T01.wav", sha_b, 1, false}},
     "listen duplicate-name@0 ",
     "'card1: T01.wav' and 'card2: T01.wav' are different recordings under one name."},
    {"names differ by case alone: one name on a card",
     2,
     2,
     {{"t01.WAV", sha_a, 0, false}, {"T01.wav", sha_b, 1, false}},
     "listen duplicate-name@0 ",
     NULL},
    {"names differ by their end", 2, 2, {{"T01.wav", sha_a, 0, false}, {"T01.wav2", sha_b, 1, false}}, "", NULL},
    {"one name, and one of them unreadable: not known to be the same",
     2,
     2,
     {{"T01.wav", sha_a, 0, false}, {"T01.wav", "", 1, false}},
     "listen duplicate-name@0 ",
     NULL},
    {"one name, both unreadable",
     2,
     2,
     {{"T01.wav", "", 0, false}, {"T01.wav", "", 1, false}},
     "listen duplicate-name@0 ",
     NULL},
    {"a copy and another recording under one name",
     2,
     3,
     {{"T01.wav", sha_a, 0, false}, {"T01.wav", sha_b, 1, false}, {"copy/T01.wav", sha_a, 1, false}},
     "listen duplicate-name@0 note duplicate-content@0 ",
     "'card1: T01.wav', 'card2: T01.wav' and 1 more are different recordings under one name."},
    {"a source without a file",
     3,
     2,
     {{"a.wav", sha_a, 0, false}, {"b.wav", sha_b, 2, false}},
     "fail missing-take@none ",
     "No WAV file was found in 'card2'."},
    {"no file at all", 1, 0, {{NULL, NULL, 0, false}}, "fail missing-take@none ", "'card1'"},
    {"no source at all", 0, 0, {{NULL, NULL, 0, false}}, "", NULL},
};

static char *judge(const struct tp_report *report, struct tp_finding_list *list)
{
    char *told = NULL;
    size_t size;
    FILE *out = open_memstream(&told, &size);
    ck_assert_ptr_nonnull(out);
    tp_rules_set(report, list);
    ck_assert(!list->failed);
    tp_finding_list_sort(list);
    for (size_t i = 0; i < list->count; i++) {
        const struct tp_finding *finding = &list->items[i];
        fprintf(out, "%s %s@", tp_severity_name(finding->severity), tp_finding_info(finding->code)->name);
        if (finding->file == TP_NO_INDEX)
            fputs("none ", out);
        else
            fprintf(out, "%zu ", finding->file);
        ck_assert_msg(tp_rules_set_owns(finding->code), "a merge would keep an old %s", told);
    }
    ck_assert_int_eq(fclose(out), 0);
    return told;
}

static void fill(struct tp_file *files, char paths[FILES_MAX][40], const struct set *set, enum tp_hash hash)
{
    for (size_t i = 0; i < set->count; i++) {
        snprintf(paths[i], sizeof paths[i], "%s", set->files[i].path);
        files[i] = (struct tp_file){.source = set->files[i].source,
                                    .path = paths[i],
                                    .path_raw = paths[i],
                                    .bytes = set->files[i].is_empty ? 0 : 1000};
        snprintf(files[i].sha256, sizeof files[i].sha256, "%s", set->files[i].sha256);
        card_hash_only(&files[i], hash);
    }
}

/* Whatever hash was computed, the same is found. */
START_TEST(rules_set__finds_what_is_alike)
{
    const struct set *set = &sets[_i / TP_HASH_COUNT];
    struct tp_file files[FILES_MAX];
    char paths[FILES_MAX][40];
    char *sources[] = {source_names[0], source_names[1], source_names[2]};
    fill(files, paths, set, (enum tp_hash)(_i % TP_HASH_COUNT));
    struct tp_report report = {
        .sources = sources, .source_count = set->sources, .files = files, .file_count = set->count};
    struct tp_finding_list list = {0};
    char *told = judge(&report, &list);
    ck_assert_msg(strcmp(told, set->findings) == 0, "%s: '%s', not '%s'", set->name, told, set->findings);
    if (set->words != NULL)
        ck_assert_msg(strstr(list.items[0].message, set->words) != NULL, "%s: %s", set->name, list.items[0].message);
    free(told);
    tp_finding_list_clear(&list);
}
END_TEST

/* More than fit on a page: the worst are told, the others counted. */
/* Two cards' reports, merged, may have different hashes: only what both have tells that two files are equal. */
START_TEST(rules_set__only_common_hashes_compare)
{
    struct tp_file both = {.sha256 = "a", .xxh64 = "b", .bytes = 5}, xxh64 = {.xxh64 = "b", .bytes = 5};
    struct tp_file xxh3 = {.xxh3 = "b", .bytes = 5}, longer = {.xxh64 = "b", .bytes = 6};
    struct tp_file other = {.sha256 = "c", .xxh64 = "b", .bytes = 5}, unread = {.bytes = 5};
    ck_assert(tp_file_equals(&both, &both) && tp_file_equals(&both, &xxh64) && tp_file_equals(&xxh64, &both));
    ck_assert(!tp_file_equals(&both, &xxh3) && !tp_file_equals(&xxh64, &xxh3));
    ck_assert(!tp_file_differs(&both, &xxh3) && !tp_file_differs(&xxh64, &xxh3) && !tp_file_differs(&both, &unread));
    ck_assert(tp_file_differs(&both, &other) && tp_file_differs(&xxh64, &longer) && !tp_file_differs(&both, &xxh64));
    ck_assert(!tp_file_equals(&xxh64, &longer) && !tp_file_equals(&both, &other) && !tp_file_equals(&unread, &unread));
}
END_TEST

/* Equal digits of two lengths of file, or of two kinds of hash, are no equal contents. */
START_TEST(rules_set__equal_digits_alone_are_no_copy)
{
    char path[2][6] = {"a.wav", "b.wav"}, *sources[] = {source_names[0]};
    struct tp_file files[] = {{.path = path[0], .path_raw = path[0], .bytes = 5, .xxh64 = "0123456789abcdef"},
                              {.path = path[1], .path_raw = path[1], .bytes = 6, .xxh64 = "0123456789abcdef"}};
    struct tp_report report = {.sources = sources, .source_count = 1, .files = files, .file_count = 2};
    struct tp_finding_list list = {0};
    tp_rules_set(&report, &list);
    ck_assert_uint_eq(list.count, 0);
    files[1].bytes = 5;
    memcpy(files[1].xxh3, files[1].xxh64, sizeof files[1].xxh3);
    files[1].xxh64[0] = '\0';
    tp_rules_set(&report, &list);
    ck_assert_uint_eq(list.count, 0);
    tp_finding_list_clear(&list);
}
END_TEST

START_TEST(rules_set__lists_the_worst_and_counts_the_rest)
{
    enum { NAMES = TP_FINDINGS_PER_CODE + 20 };
    static struct tp_file files[2 * NAMES];
    static char paths[2 * NAMES][20];
    char *sources[] = {source_names[0], source_names[1]};
    for (size_t i = 0; i < 2 * NAMES; i++) {
        /* The first ten names lie twice on one card, which is but a note. */
        size_t number = i / 2;
        snprintf(paths[i], sizeof paths[i], "%zu/T%03zu.wav", i % 2, number);
        files[i] =
            (struct tp_file){.source = number < 10 ? 0 : i % 2, .path = paths[i], .path_raw = paths[i], .bytes = 1000};
        snprintf(files[i].sha256, sizeof files[i].sha256, "%064zu", i);
    }
    struct tp_report report = {.sources = sources, .source_count = 2, .files = files, .file_count = 2 * NAMES};
    struct tp_finding_list list = {0};
    char *told = judge(&report, &list);
    ck_assert_uint_eq(list.count, TP_FINDINGS_PER_CODE + 1);
    for (size_t i = 0; i < TP_FINDINGS_PER_CODE; i++) {
        ck_assert_int_eq(list.items[i].severity, TP_LISTEN);
        ck_assert_uint_eq(list.items[i].file, 20 + 2 * i);
    }
    ck_assert_str_eq(list.items[TP_FINDINGS_PER_CODE].message, "20 more of this kind.");
    free(told);
    tp_finding_list_clear(&list);
}
END_TEST

START_TEST(rules_set__owns_nothing_of_a_take)
{
    ck_assert(!tp_rules_set_owns(TP_CODE_CLIPPED));
    ck_assert(!tp_rules_set_owns(TP_CODE_DROPOUT));
    ck_assert(!tp_rules_set_owns(TP_CODE_UNREADABLE));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("rules_set");
    TCase *tests = tcase_create("rules_set");
    tcase_add_loop_test(tests, rules_set__finds_what_is_alike, 0, (int)(TP_HASH_COUNT * sizeof sets / sizeof sets[0]));
    tcase_add_test(tests, rules_set__only_common_hashes_compare);
    tcase_add_test(tests, rules_set__equal_digits_alone_are_no_copy);
    tcase_add_test(tests, rules_set__lists_the_worst_and_counts_the_rest);
    tcase_add_test(tests, rules_set__owns_nothing_of_a_take);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
