/* SPDX-License-Identifier: MIT */
/*
 * A report.json comes back from other people's machines. Every kind of member of a full one is left out, and replaced
 * by values of every JSON type: the file must be refused with a reason, or read so that what is written of it reads
 * back the same, to the byte, and every writer copes.
 */
#include "support/sample_report.h"
#include "support/scratch.h"

#include <check.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static const char *const values[] = {
    NULL, /* left out */
    "null", "true",   "\"word\"",   "\"\"", "\"fail\"",        "0", "1", "-1", "2", "-70.5", "1e300", "4294967296",
    "[]",   "[null]", "[\"a\", 7]", "{}",   "{\"format\": 1}",
};
enum { VALUES = sizeof values / sizeof *values, ONE_IN = 9 /* for time; leaving out is always tried */ };

struct trial {
    char *folder, *path;
    json_t *root;
    json_t *seen; /* kinds of members: paths without indexes */
    size_t refused, accepted, turn;
};

typedef enum tp_status write_fn(const struct tp_report *report, FILE *out, struct tp_error *error);

static char *written(write_fn *write, const struct tp_report *report, size_t *size)
{
    char *bytes = NULL;
    FILE *out = open_memstream(&bytes, size);
    struct tp_error error = {0};
    ck_assert_ptr_nonnull(out);
    ck_assert_msg(write(report, out, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_int_eq(fclose(out), 0);
    return bytes;
}

static struct tp_report *read_bytes(const struct trial *trial, const char *bytes, size_t size, struct tp_error *error)
{
    struct tp_report *report = NULL;
    scratch_write(trial->path, bytes, size);
    enum tp_status status = tp_report_read_json(trial->path, &report, error);
    ck_assert_int_eq(status == TP_OK, report != NULL);
    return report;
}

static void must_be_stable(const struct trial *trial, const struct tp_report *report, const char *what)
{
    static write_fn *const others[] = {tp_report_write_html, tp_report_write_csv, tp_report_write_findings_csv};
    size_t size, again_size;
    struct tp_error error = {0};
    char *bytes = written(tp_report_write_json, report, &size);
    struct tp_report *back = read_bytes(trial, bytes, size, &error);
    ck_assert_msg(back != NULL, "%s: what was written is refused: %s", what, tp_error_text(&error));
    char *again = written(tp_report_write_json, back, &again_size);
    ck_assert_msg(size == again_size && memcmp(bytes, again, size) == 0, "%s: not the same twice", what);
    free(written(others[trial->accepted % (sizeof others / sizeof *others)], report, &size));
    tp_report_free(back);
    free(bytes);
    free(again);
}

/* Reads trial->root as it stands. */
static void try_it(struct trial *trial, const char *path, const char *value)
{
    char *what = scratch_format("%s = %s", path, value != NULL ? value : "nothing");
    char *bytes = json_dumps(trial->root, JSON_COMPACT);
    struct tp_error error = {0};
    ck_assert_ptr_nonnull(bytes);
    struct tp_report *report = read_bytes(trial, bytes, strlen(bytes), &error);
    if (report != NULL) {
        must_be_stable(trial, report, what);
        trial->accepted++;
    } else {
        ck_assert_msg(*tp_error_text(&error) != '\0', "%s: refused without a word", what);
        trial->refused++;
    }
    tp_error_clear(&error);
    tp_report_free(report);
    free(bytes);
    free(what);
}

static void try_values(struct trial *trial, json_t *parent, const char *key, size_t index, const char *path)
{
    json_t *old = key != NULL ? json_object_get(parent, key) : json_array_get(parent, index);
    json_incref(old);
    for (size_t i = 0; i < VALUES; i++) {
        if (i > 0 && trial->turn++ % ONE_IN != 0)
            continue;
        json_t *value = values[i] != NULL ? json_loads(values[i], JSON_DECODE_ANY, NULL) : NULL;
        if (key != NULL && value != NULL)
            json_object_set_new(parent, key, value);
        else if (key != NULL)
            json_object_del(parent, key);
        else if (value != NULL)
            json_array_set_new(parent, index, value);
        else
            json_array_remove(parent, index);
        try_it(trial, path, values[i]);
        if (key != NULL)
            json_object_set(parent, key, old);
        else if (value != NULL)
            json_array_set(parent, index, old);
        else
            json_array_insert(parent, index, old);
    }
    json_decref(old);
}

static void walk(struct trial *trial, json_t *node, const char *path);

static void visit(struct trial *trial, json_t *parent, const char *key, size_t index, const char *path)
{
    char *here = scratch_format("%s/%s", path, key != NULL ? key : "");
    if (json_object_get(trial->seen, here) == NULL) {
        json_object_set_new(trial->seen, here, json_true());
        try_values(trial, parent, key, index, here);
    }
    walk(trial, key != NULL ? json_object_get(parent, key) : json_array_get(parent, index), here);
    free(here);
}

static void walk(struct trial *trial, json_t *node, const char *path)
{
    if (json_is_object(node)) {
        size_t count = 0;
        const char **keys = malloc(json_object_size(node) * sizeof *keys + 1);
        ck_assert_ptr_nonnull(keys);
        for (void *at = json_object_iter(node); at != NULL; at = json_object_iter_next(node, at))
            keys[count++] = strdup(json_object_iter_key(at));
        for (size_t i = 0; i < count; i++) {
            visit(trial, node, keys[i], 0, path);
            free((void *)(uintptr_t)keys[i]);
        }
        free((void *)keys);
    }
    for (size_t i = 0; i < json_array_size(node); i++)
        visit(trial, node, NULL, i, path);
}

START_TEST(json_changed__is_refused_or_read_as_it_is_written)
{
    struct trial trial = {.folder = scratch_new(), .seen = json_object()};
    trial.path = scratch_format("%s/report.json", trial.folder);
    struct tp_report *report = sample_report_offloaded(false);
    size_t size;
    char *bytes = written(tp_report_write_json, report, &size);
    trial.root = json_loadb(bytes, size, 0, NULL);
    ck_assert_ptr_nonnull(trial.root);
    walk(&trial, trial.root, "");
    /* Neither a reader that takes everything nor one that takes nothing. */
    ck_assert_uint_gt(json_object_size(trial.seen), 100);
    ck_assert_uint_gt(trial.refused, 500);
    ck_assert_uint_gt(trial.accepted, 150);
    json_decref(trial.root);
    json_decref(trial.seen);
    tp_report_free(report);
    free(bytes);
    free(trial.path);
    scratch_remove(trial.folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("json_changed");
    TCase *tcase = tcase_create("json_changed");
    tcase_set_timeout(tcase, 60);
    tcase_add_test(tcase, json_changed__is_refused_or_read_as_it_is_written);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
