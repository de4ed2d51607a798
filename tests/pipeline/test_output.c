/* SPDX-License-Identifier: MIT */
/* Whether reports may go into a folder. Nothing outside the project says what counts as the same card: the rule is in
 * takeproof-check(1). Whether files are really kept off a card is tested with the program, tests/e2e/test_first_use.sh.
 */
#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>
#include <unistd.h>

static char *root;

static void put(const char *path, const char *bytes)
{
    scratch_write(path, bytes, strlen(bytes));
}

/* card with T1.wav to T4.wav of 1 to 4 bytes, report beside it; the working folder is root. */
static void set_up(void)
{
    root = scratch_new();
    ck_assert_int_eq(chdir(root), 0);
    scratch_folder("card");
    scratch_folder("report");
    put("card/T1.wav", "1");
    put("card/T2.wav", "22");
    put("card/T3.wav", "333");
    put("card/T4.wav", "4444");
}

static void tear_down(void)
{
    ck_assert_int_eq(chdir("/"), 0);
    scratch_remove(root);
}

#define FILE_(name, bytes) "{\"path\":\"" name "\",\"bytes\":" bytes "}"
static const struct {
    const char *name, *json;
    enum tp_status reports, comparison;
} there[] = {
    {"report.json", "{\"sources\":[\"card\"],\"files\":[" FILE_("T1.wav", "1") "]}", TP_OK, TP_OK},
    {"report.json", "{\"sources\":[\"other\"],\"files\":[" FILE_("S01/T1.wav", "1") "]}", TP_OK, TP_OK}, /* a copy */
    {"report.json", "{\"sources\":[\"card\"],\"files\":[" FILE_("T1.wav", "9") "]}", TP_ERR_EXISTS, TP_OK},
    {"report.json", "{\"sources\":[\"card\"],\"files\":[" FILE_("X.wav", "1") "]}", TP_ERR_EXISTS, TP_OK},
    /* Half of the shorter list is enough, less is not. */
    {"report.json", "{\"sources\":[\"card\"],\"files\":[" FILE_("T1.wav", "1") "," FILE_("X.wav", "1") "]}", TP_OK,
     TP_OK},
    {"report.json",
     "{\"sources\":[\"card\"],\"files\":[" FILE_("T1.wav", "1") "," FILE_("X.wav", "1") "," FILE_("Y.wav", "1") "]}",
     TP_ERR_EXISTS, TP_OK},
    {"report.json", "{\"sources\":[\"card\"],\"files\":[]}", TP_OK, TP_OK},
    {"report.json", "{\"sources\":[\"other\"],\"files\":[]}", TP_ERR_EXISTS, TP_OK},
    /* What every card holds tells nothing. */
    {"offload.json",
     "{\"card\":\"other\",\"files\":[" FILE_("X.wav", "7") "," FILE_("spec.ini", "1") "," FILE_("a.txt", "1") "]}",
     TP_ERR_EXISTS, TP_OK},
    {"offload.json", "{\"card\":\"card\",\"files\":[" FILE_("T4.wav", "4") "]}", TP_OK, TP_OK},
    {"compare.json", "{\"folder\":\"other\",\"files\":[" FILE_("X.wav", "7") "]}", TP_ERR_EXISTS, TP_ERR_EXISTS},
    {"compare.json", "{\"folder\":\"card\",\"files\":[{\"path\":\"X.wav\",\"found\":\"T2.wav\",\"bytes\":2}]}", TP_OK,
     TP_OK},
    /* Whatever stands there, it is somebody's. */
    {"report.json", "", TP_ERR_EXISTS, TP_OK},
    {"report.json", "[1, 2", TP_ERR_EXISTS, TP_OK},
    {"report.json", "{\"sources\":7,\"files\":{\"path\":1}}", TP_ERR_EXISTS, TP_OK},
    {"report.json", "{\"sources\":[],\"files\":[7,{\"path\":7,\"bytes\":\"x\"},{\"bytes\":-1}]}", TP_ERR_EXISTS, TP_OK},
};

START_TEST(output__reports_of_another_card_stay)
{
    const char *source = "card";
    struct tp_output_options options = {.directory = "report", .sources = &source, .source_count = 1};
    char *path = scratch_format("report/%s", there[_i].name);
    put(path, there[_i].json);
    uint64_t before = scratch_fingerprint(root);
    ck_assert_int_eq(tp_output_check(&options, NULL), there[_i].reports);
    options.kind = TP_OUTPUT_COMPARISON;
    ck_assert_int_eq(tp_output_check(&options, NULL), there[_i].comparison);
    options.kind = TP_OUTPUT_TRACKS;
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_OK);
    options.kind = TP_OUTPUT_REPORTS;
    ck_assert_int_eq(tp_output_clear(&options, NULL), TP_OK); /* not without replace */
    ck_assert_uint_eq(scratch_fingerprint(root), before);
    options.replace = true;
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_OK);
    ck_assert_uint_eq(scratch_fingerprint(root), before);
    ck_assert_int_eq(tp_output_clear(&options, NULL), TP_OK);
    ck_assert_int_eq(access(path, F_OK) == 0, there[_i].reports == TP_OK);
    free(path);
}
END_TEST

START_TEST(output__nothing_onto_the_card)
{
    const char *source = "card/T1.wav";
    struct tp_output_options options = {.directory = "card/out", .sources = &source, .source_count = 1};
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_ERR_USAGE);
    options.replace = true; /* that is another matter */
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_ERR_USAGE);
    options.not_on_card = true;
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_OK);
    options.directory = "card";
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_ERR_USAGE);
    source = "card";
    options.directory = "card/out";
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_ERR_USAGE);
    options.directory = "new/report";
    ck_assert_int_eq(tp_output_check(&options, NULL), TP_OK);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_loop_test(tcase, output__reports_of_another_card_stay, 0, (int)(sizeof there / sizeof there[0]));
    tcase_add_test(tcase, output__nothing_onto_the_card);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed != 0;
}
