/* SPDX-License-Identifier: MIT */
#include "read/notes.h"

#include "base/num.h"
#include "result.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const char *problem;

static void cue(struct tp_notes *notes, struct tp_file *file, uint32_t declared, size_t there)
{
    uint8_t *body = calloc(1, 4 + 24 * there);
    tp_put_le32(body, declared);
    for (size_t i = 0; i < there; i++) {
        tp_put_le32(body + 4 + 24 * i, (uint32_t)i + 1);
        tp_put_le32(body + 4 + 24 * i + 20, (uint32_t)i * 100);
    }
    ck_assert_int_eq(tp_notes_cue(notes, body, 4 + 24 * there, file, &problem, NULL), TP_OK);
    free(body);
}
static void list(struct tp_notes *notes, struct tp_file *file, const char *body, size_t size)
{
    /* A copy of exactly this size, so that a sanitizer sees one byte too many. */
    uint8_t *copy = malloc(size + 1);
    memcpy(copy, body, size);
    ck_assert_int_eq(tp_notes_list(notes, copy, size, file, &problem, NULL), TP_OK);
    free(copy);
}
#define LIST(notes, file, text) list(notes, file, text, sizeof(text) - 1)

START_TEST(notes__labels_find_their_cues_whichever_comes_first)
{
    struct tp_notes notes = {0};
    struct tp_file file = {0};
    LIST(&notes, &file, "adtllabl\x0B\0\0\0\2\0\0\0second\0\0ltxt\4\0\0\0\1\0\0\0note\6\0\0\0\1\0\0\0a\0");
    ck_assert_ptr_null(problem);
    cue(&notes, &file, 3, 3);
    ck_assert_ptr_null(problem);
    LIST(&notes, &file, "adtllabl\x0A\0\0\0\3\0\0\0caf\xE9\0\0");
    ck_assert_int_eq(tp_notes_settle(&notes, &file, NULL), TP_OK);
    ck_assert_uint_eq(file.cue_count, 3);
    ck_assert_uint_eq(file.cues[1].frame, 100);
    ck_assert_str_eq(file.cues[0].label, "a");
    ck_assert_str_eq(file.cues[1].label, "second");
    ck_assert_str_eq(file.cues[2].label, "caf\xC3\xA9");
    tp_notes_clear(&notes);
    tp_file_clear(&file);
}
END_TEST

START_TEST(notes__counts_are_not_believed)
{
    struct tp_notes notes = {0};
    struct tp_file file = {0};
    cue(&notes, &file, UINT32_MAX, 2);
    ck_assert_ptr_nonnull(problem);
    ck_assert_uint_eq(file.cue_count, 2);
    cue(&notes, &file, 5, 0);
    ck_assert_uint_eq(file.cue_count, 2);
    ck_assert_int_eq(tp_notes_cue(&notes, (const uint8_t *)"ab", 2, &file, &problem, NULL), TP_OK);
    cue(&notes, &file, 10000, 10000);
    ck_assert_uint_eq(file.cue_count, TP_CUES_MAX);
    tp_notes_clear(&notes);
    tp_file_clear(&file);
}
END_TEST

START_TEST(notes__info_texts)
{
    struct tp_notes notes = {0};
    struct tp_file file = {0};
    LIST(&notes, &file, "INFOINAM\5\0\0\0odd!\0\0IART\4\0\0\0nonul!\0");
    ck_assert_uint_eq(file.info_count, 2);
    ck_assert_str_eq(file.infos[0].id, "INAM");
    ck_assert_str_eq(file.infos[0].text, "odd!");
    ck_assert_str_eq(file.infos[1].text, "nonu");
    LIST(&notes, &file, "INFOICMT\xFF\xFF\xFF\xFFtext");
    ck_assert_ptr_nonnull(problem);
    ck_assert_str_eq(file.infos[2].text, "text");
    LIST(&notes, &file, "INFO\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"); /* reserved space */
    LIST(&notes, &file, "wavl");
    LIST(&notes, &file, "INF");
    ck_assert_uint_eq(file.info_count, 3);
    for (int i = 0; i < 1000; i++)
        LIST(&notes, &file, "INFOINAM\2\0\0\0x\0");
    ck_assert_uint_eq(file.info_count, TP_INFOS_MAX);
    tp_notes_clear(&notes);
    tp_file_clear(&file);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("notes");
    TCase *tcase = tcase_create("notes");
    tcase_add_test(tcase, notes__labels_find_their_cues_whichever_comes_first);
    tcase_add_test(tcase, notes__counts_are_not_believed);
    tcase_add_test(tcase, notes__info_texts);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
