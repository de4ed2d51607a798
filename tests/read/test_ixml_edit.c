/* SPDX-License-Identifier: MIT */
/* iXML carried over: what must change does, all else stays byte for byte. Results are parsed again with Expat. */
#include "read/ixml_edit.h"

#include <check.h>
#include <expat.h>
#include <stdlib.h>
#include <string.h>

static const struct tp_ixml_edit edit = {
    .note = "made of <1> & 2", .file_uid = "NEW", .bit_depth = 32, .interleave_index = 2};

static char *edited(const char *text, size_t size)
{
    uint8_t *out;
    size_t out_size;
    if (tp_ixml_edit((const uint8_t *)text, size, &edit, &out, &out_size) != TP_OK)
        return NULL;
    XML_Parser parser = XML_ParserCreate(NULL);
    ck_assert_int_eq(XML_Parse(parser, (const char *)out, (int)out_size, 1), XML_STATUS_OK);
    XML_ParserFree(parser);
    return (char *)out;
}

static void check_edit(const char *before, const char *after)
{
    char *made = edited(before, strlen(before));
    ck_assert_ptr_nonnull(made);
    ck_assert_str_eq(made, after);
    free(made);
}

START_TEST(ixml_edit__replaces_what_would_be_untrue)
{
    check_edit("<BWFXML a='1'><!-- c --><NOTE>x</NOTE>\n <FILE_UID>old</FILE_UID><SPEED><AUDIO_BIT_DEPTH>24"
               "</AUDIO_BIT_DEPTH><Z/></SPEED><TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT><TRACK><INTERLEAVE_INDEX>1"
               "</INTERLEAVE_INDEX></TRACK><TRACK><NAME>B</NAME><INTERLEAVE_INDEX> 2</INTERLEAVE_INDEX><F/></TRACK>"
               "</TRACK_LIST><USER>&lt;</USER></BWFXML>",
               "<BWFXML a='1'><!-- c --><NOTE>x / made of &lt;1&gt; &amp; 2</NOTE>\n <FILE_UID>NEW</FILE_UID><SPEED>"
               "<AUDIO_BIT_DEPTH>32</AUDIO_BIT_DEPTH><Z/></SPEED><TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><NAME>B"
               "</NAME><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><F/></TRACK></TRACK_LIST><USER>&lt;</USER></BWFXML>");
}
END_TEST

START_TEST(ixml_edit__adds_note_and_uid_where_there_are_none)
{
    check_edit("<BWFXML><SCENE>1</SCENE></BWFXML>", "<BWFXML><SCENE>1</SCENE><FILE_UID>NEW</FILE_UID><NOTE>made of "
                                                    "&lt;1&gt; &amp; 2</NOTE></BWFXML>");
    check_edit("<BWFXML><NOTE/><FILE_UID></FILE_UID></BWFXML>",
               "<BWFXML><NOTE>made of &lt;1&gt; &amp; 2</NOTE><FILE_UID>NEW</FILE_UID></BWFXML>");
}
END_TEST

START_TEST(ixml_edit__padding_is_trimmed)
{
    static const char padded[] = "\n <BWFXML></BWFXML>\0\0\0";
    char *made = edited(padded, sizeof padded);
    ck_assert_ptr_nonnull(made);
    ck_assert_int_eq(strncmp(made, "<BWFXML><FILE_UID>", 18), 0);
    free(made);
}
END_TEST

static const char *const refused[] = {
    "",
    "no xml",
    "<BWFXML><NOTE>cut",
    "<OTHER></OTHER>",
    "<!DOCTYPE a [<!ENTITY b 'c'>]><BWFXML></BWFXML>",
    "<BWFXML><NOTE>1</NOTE><NOTE>2</NOTE></BWFXML>",
    "<BWFXML>&undefined;</BWFXML>",
    "<BWFXML></BWFXML><BWFXML></BWFXML>",
};

START_TEST(ixml_edit__refuses_what_it_cannot_carry)
{
    ck_assert_ptr_null(edited(refused[_i], strlen(refused[_i])));
}
END_TEST

START_TEST(ixml_edit__refuses_two_byte_encodings_and_depth)
{
    static const char wide[] = {'\xff', '\xfe', '<', 0, 'B', 0, '/', 0, '>', 0};
    ck_assert_ptr_null(edited(wide, sizeof wide));
    char deep[4096] = "<BWFXML>";
    for (int i = 0; i < 100; i++)
        strcat(deep, "<A>");
    for (int i = 0; i < 100; i++)
        strcat(deep, "</A>");
    strcat(deep, "</BWFXML>");
    ck_assert_ptr_null(edited(deep, strlen(deep)));
}
END_TEST

/* Every cut of a good chunk: refused or well formed, never a crash (edited() parses what comes out). */
START_TEST(ixml_edit__survives_every_cut)
{
    static const char whole[] = "<?xml version=\"1.0\"?><BWFXML><NOTE>x</NOTE><TRACK_LIST><TRACK><INTERLEAVE_INDEX>2"
                                "</INTERLEAVE_INDEX></TRACK></TRACK_LIST></BWFXML>";
    size_t good = 0;
    for (size_t size = 0; size < sizeof whole; size++) {
        char *made = edited(whole, size);
        good += made != NULL;
        free(made);
    }
    ck_assert_uint_eq(good, 1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ixml_edit");
    TCase *tcase = tcase_create("ixml_edit");
    tcase_add_test(tcase, ixml_edit__replaces_what_would_be_untrue);
    tcase_add_test(tcase, ixml_edit__adds_note_and_uid_where_there_are_none);
    tcase_add_test(tcase, ixml_edit__padding_is_trimmed);
    tcase_add_loop_test(tcase, ixml_edit__refuses_what_it_cannot_carry, 0, sizeof refused / sizeof refused[0]);
    tcase_add_test(tcase, ixml_edit__refuses_two_byte_encodings_and_depth);
    tcase_add_test(tcase, ixml_edit__survives_every_cut);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
