/* SPDX-License-Identifier: MIT */
#include "base/observe.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

START_TEST(observe__keeps_values_and_words)
{
    struct tp_observations list = {0};
    ck_assert(tp_observe(&list, TP_CODE_CLICK, 3, 1.5, 2.5, 7.0, 6.0, "%d of %s", 7, "them"));
    ck_assert(tp_observe(&list, TP_CODE_HUM, TP_NO_CHANNEL, NAN, NAN, NAN, NAN, NULL));
    ck_assert_uint_eq(list.count, 2);
    ck_assert_uint_eq(list.total, 2);
    ck_assert_uint_eq(list.items[0].code, TP_CODE_CLICK);
    ck_assert_uint_eq(list.items[0].channel, 3);
    ck_assert_double_eq(list.items[0].start_s, 1.5);
    ck_assert_double_eq(list.items[0].end_s, 2.5);
    ck_assert_double_eq(list.items[0].value, 7.0);
    ck_assert_double_eq(list.items[0].limit, 6.0);
    ck_assert_str_eq(list.items[0].detail, "7 of them");
    ck_assert_ptr_null(list.items[1].detail);
    tp_observations_clear(&list);
    ck_assert_ptr_null(list.items);
    ck_assert_uint_eq(list.total, 0);
}
END_TEST

START_TEST(observe__caps_each_code_alone_and_counts_on)
{
    struct tp_observations list = {0};
    for (int i = 0; i < 2500; i++)
        ck_assert(tp_observe(&list, TP_CODE_CLICK, 0, i, i, i, 0, "click %d", i));
    ck_assert(tp_observe(&list, TP_CODE_HUM, 0, 0, 0, 0, 0, NULL));
    ck_assert_uint_eq(tp_observations_count(&list, TP_CODE_CLICK), TP_OBSERVATIONS_PER_CODE);
    ck_assert_uint_eq(tp_observations_count(&list, TP_CODE_HUM), 1);
    ck_assert_uint_eq(list.total, 2501);
    ck_assert_str_eq(list.items[999].detail, "click 999");
    tp_observations_clear(&list);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("observe");
    TCase *tcase = tcase_create("observe");
    tcase_add_test(tcase, observe__keeps_values_and_words);
    tcase_add_test(tcase, observe__caps_each_code_alone_and_counts_on);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
