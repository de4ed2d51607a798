/* SPDX-License-Identifier: MIT */
#include <check.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/findings.h>

/* The codes and their names as the contract lists them. */
static const struct {
    enum tp_code code;
    const char *name;
} contract[] = {
#define ROW(suffix, text) {TP_CODE_##suffix, text},
    TP_FINDING_CODES(ROW)
#undef ROW
};

START_TEST(findings__row_is_complete)
{
    const struct tp_finding_info *info = tp_finding_info(contract[_i].code);
    ck_assert_int_eq((int)info->code, (int)contract[_i].code);
    ck_assert_str_eq(info->name, contract[_i].name);
    ck_assert_ptr_nonnull(info->value_unit);
    const char *texts[] = {info->title, info->meaning, info->method, info->on_set, info->in_post};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        ck_assert_msg(texts[i] != NULL && texts[i][0] != '\0', "%s: text %zu is missing", info->name, i);
        ck_assert_msg(strchr(texts[i], '\n') == NULL && strstr(texts[i], "  ") == NULL, "%s: text %zu", info->name, i);
    }
    ck_assert_uint_lt(strlen(info->title), 61);
    for (size_t i = 1; i < sizeof texts / sizeof texts[0]; i++)
        ck_assert_msg(texts[i][strlen(texts[i]) - 1] == '.', "%s: text %zu has no full stop", info->name, i);
}
END_TEST

/* Every method is either taken from a named document or says that it is not. */
START_TEST(findings__method_names_its_source)
{
    static const char *const sources[] = {"no source",
                                          "Source",
                                          "EBU Tech",
                                          "ITU-R BS.",
                                          "SMPTE ST",
                                          "FIPS 180-4",
                                          "AES17",
                                          "is compared with",
                                          "are compared with",
                                          "is passed on",
                                          "is 0.",
                                          "must be RIFF",
                                          "are matched with",
                                          "is looked for",
                                          "Names are compared",
                                          "definition of PCM"};
    const char *method = tp_finding_info(contract[_i].code)->method;
    size_t found = 0;
    for (size_t i = 0; i < sizeof sources / sizeof sources[0]; i++)
        found += strstr(method, sources[i]) != NULL;
    ck_assert_msg(found > 0, "%s: %s", contract[_i].name, method);
}
END_TEST

START_TEST(findings__name_leads_back_to_code)
{
    enum tp_code code = TP_CODE_COUNT;
    ck_assert_int_eq(tp_finding_code_from_name(contract[_i].name, &code), 1);
    ck_assert_int_eq((int)code, (int)contract[_i].code);
    for (const char *c = contract[_i].name; *c != '\0'; c++)
        ck_assert(islower((unsigned char)*c) || *c == '-');
}
END_TEST

START_TEST(findings__unknown_name_leaves_code_alone)
{
    enum tp_code code = TP_CODE_HUM;
    ck_assert_int_eq(tp_finding_code_from_name("no-such-code", &code), 0);
    ck_assert_int_eq(tp_finding_code_from_name("", &code), 0);
    ck_assert_int_eq((int)code, TP_CODE_HUM);
}
END_TEST

START_TEST(findings__names_of_families_and_severities)
{
    ck_assert_str_eq(tp_family_name(TP_FAMILY_SPEC), "spec");
    ck_assert_str_eq(tp_family_name(TP_FAMILY_HANDOFF), "hand-off");
    ck_assert_str_eq(tp_severity_name(TP_NOTE), "note");
    ck_assert_str_eq(tp_severity_name(TP_LISTEN), "listen");
    ck_assert_str_eq(tp_severity_name(TP_FAIL), "fail");
}
END_TEST

int main(void)
{
    int rows = (int)(sizeof contract / sizeof contract[0]);
    Suite *suite = suite_create("findings");
    TCase *tests = tcase_create("findings");
    tcase_add_loop_test(tests, findings__row_is_complete, 0, rows);
    tcase_add_loop_test(tests, findings__method_names_its_source, 0, rows);
    tcase_add_loop_test(tests, findings__name_leads_back_to_code, 0, rows);
    tcase_add_test(tests, findings__unknown_name_leaves_code_alone);
    tcase_add_test(tests, findings__names_of_families_and_severities);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
