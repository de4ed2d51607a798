/* SPDX-License-Identifier: MIT */
#include "read/log.h"

#include "support/scratch.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static struct tp_log read_text(const char *text, enum tp_status expected, const char *words)
{
    struct tp_log log;
    struct tp_error error = {0};
    enum tp_status status = tp_log_read_bytes(text, strlen(text), "day.csv", &log, &error);
    ck_assert_msg(status == expected, "%s: %s", text, tp_error_text(&error));
    if (words != NULL)
        ck_assert_msg(strstr(tp_error_text(&error), words) != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
    return log;
}

START_TEST(log__template_reads_back)
{
    struct tp_log log = read_text(tp_log_template(), TP_OK, NULL);
    ck_assert_uint_eq(log.count, 2);
    ck_assert_str_eq(log.entries[0].scene, "12A");
    ck_assert_str_eq(log.entries[0].take, "1");
    ck_assert_str_eq(log.entries[0].file, "T001.wav");
    ck_assert_int_eq(log.entries[0].good, 1);
    ck_assert_str_eq(log.entries[0].notes, "boom, wide");
    ck_assert_str_eq(log.entries[0].start, "10:20:00");
    ck_assert_int_eq(log.entries[1].good, 0);
    ck_assert_uint_eq(log.entries[1].line, 3);
    tp_log_clear(&log);
}
END_TEST

/* Every row of these says: scene 12A, take 3, file T003.wav, good, notes `a "b", c`. */
static const char *const dialects[] = {
    "scene,take,file,good,notes\n12A,3,T003.wav,good,\"a \"\"b\"\", c\"\n",
    "\xEF\xBB\xBFNotes;FILE;Take;Scene;Status\r\n\"a \"\"b\"\", c\";T003.wav;3;12A;OK\r\n",
    "scene\ttake\tname\tcircled\tremarks\r12A\t3\tT003.wav\tx\ta \"b\", c",
    "  Scene , Take ,extra, File Name ,OK,Comments\n\n , , , , ,\n 12A , 3 ,,T003.wav , Yes ,\" a \"\"b\"\", c \"\n\n",
};

START_TEST(log__dialects)
{
    struct tp_log log = read_text(dialects[_i], TP_OK, NULL);
    ck_assert_uint_eq(log.count, 1);
    ck_assert_str_eq(log.entries[0].scene, "12A");
    ck_assert_str_eq(log.entries[0].take, "3");
    ck_assert_str_eq(log.entries[0].file, "T003.wav");
    ck_assert_int_eq(log.entries[0].good, 1);
    ck_assert_str_eq(log.entries[0].notes, "a \"b\", c");
    ck_assert_str_eq(log.entries[0].start, "");
    tp_log_clear(&log);
}
END_TEST

START_TEST(log__short_rows_and_other_encodings)
{
    struct tp_log log =
        read_text("file,notes,good\nT001.wav\nT002.wav,caf\xE9,perhaps\n\"T0\n03.wav\",x\nT004.wav,y", TP_OK, NULL);
    ck_assert_uint_eq(log.count, 4);
    ck_assert_str_eq(log.entries[0].notes, "");
    ck_assert_int_eq(log.entries[0].good, -1);
    ck_assert_str_eq(log.entries[1].notes, "caf\xC3\xA9");
    ck_assert_int_eq(log.entries[1].good, -1);
    ck_assert_uint_eq(log.entries[2].line, 4);
    ck_assert_uint_eq(log.entries[3].line, 6);
    tp_log_clear(&log);
}
END_TEST

START_TEST(log__what_is_no_log_is_refused_with_its_line)
{
    read_text("", TP_ERR_FORMAT, "line 1");
    read_text("colour,size\nred,4\n", TP_ERR_FORMAT, "line 1");
    read_text("scene,notes\n12A,x\n", TP_ERR_FORMAT, "'scene' and 'take'");
    read_text("file,notes\nT001.wav,fine\nT002.wav,\"never closed\nT003.wav,x\n", TP_ERR_FORMAT, "line 3");
    struct tp_log log;
    ck_assert_int_eq(tp_log_read_bytes("PK\x03\x04\0\0", 6, "day.xlsx", &log, NULL), TP_ERR_FORMAT);
    ck_assert_int_eq(tp_log_read("/nowhere/day.csv", &log, NULL), TP_ERR_OPEN);
}
END_TEST

START_TEST(log__file_on_disk)
{
    char *folder = scratch_new(), *path = scratch_format("%s/day.csv", folder);
    scratch_write(path, tp_log_template(), strlen(tp_log_template()));
    struct tp_log log;
    ck_assert_int_eq(tp_log_read(path, &log, NULL), TP_OK);
    ck_assert_uint_eq(log.count, 2);
    tp_log_clear(&log);
    free(path);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("log");
    TCase *tcase = tcase_create("log");
    tcase_add_test(tcase, log__template_reads_back);
    tcase_add_loop_test(tcase, log__dialects, 0, (int)(sizeof dialects / sizeof dialects[0]));
    tcase_add_test(tcase, log__short_rows_and_other_encodings);
    tcase_add_test(tcase, log__what_is_no_log_is_refused_with_its_line);
    tcase_add_test(tcase, log__file_on_disk);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
