/* SPDX-License-Identifier: MIT */
#include "read/ixml.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct tp_ixml *parse(const char *text, size_t size)
{
    struct tp_ixml *ixml = NULL;
    struct tp_error error = {0};
    enum tp_status status = tp_ixml_parse((const uint8_t *)text, size, &ixml, &error);
    ck_assert_msg(status == TP_OK, "%s", tp_error_text(&error));
    return ixml;
}
static struct tp_ixml *parse_text(const char *text)
{
    return parse(text, strlen(text));
}

static const char whole[] =
    "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML>\n <IXML_VERSION>1.51</IXML_VERSION>\n"
    " <PROJECT>Harbour Lights</PROJECT><SCENE> 12A </SCENE><TAKE>3</TAKE><TAPE>S01</TAPE>"
    "<NOTE>door &amp; wind &lt;outside&gt;</NOTE><CIRCLED>TRUE</CIRCLED><NO_GOOD>FALSE</NO_GOOD>"
    "<FALSE_START>FALSE</FALSE_START><FILE_UID>UID-1</FILE_UID><UBITS>00000000</UBITS>"
    "<SPEED><NOTE>not this note</NOTE><MASTER_SPEED>24000/1001</MASTER_SPEED><CURRENT_SPEED>24000/1001</CURRENT_SPEED>"
    "<TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG><FILE_SAMPLE_RATE>48000</"
    "FILE_SAMPLE_RATE>"
    "<AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH><DIGITIZER_SAMPLE_RATE>48000</DIGITIZER_SAMPLE_RATE>"
    "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
    "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>705032704</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
    "<TIMESTAMP_SAMPLE_RATE>48000</TIMESTAMP_SAMPLE_RATE></SPEED>"
    "<FILE_SET><TOTAL_FILES>2</TOTAL_FILES><FAMILY_UID>FAM</FAMILY_UID><FAMILY_NAME>12A T3</FAMILY_NAME>"
    "<FILE_SET_INDEX>1</FILE_SET_INDEX></FILE_SET>"
    "<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>"
    "<TRACK><CHANNEL_INDEX>5</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME><FUNCTION></"
    "FUNCTION></TRACK>"
    "<TRACK><CHANNEL_INDEX>6</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Boom safe</NAME>"
    "<FUNCTION>MIX</FUNCTION></TRACK></TRACK_LIST>\n</BWFXML>\n";

START_TEST(ixml__every_field_is_read)
{
    struct tp_ixml *x = parse_text(whole);
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->version, "1.51");
    ck_assert_str_eq(x->project, "Harbour Lights");
    ck_assert_str_eq(x->scene, "12A");
    ck_assert_str_eq(x->take, "3");
    ck_assert_str_eq(x->tape, "S01");
    ck_assert_str_eq(x->note, "door & wind <outside>");
    ck_assert_str_eq(x->file_uid, "UID-1");
    ck_assert_str_eq(x->family_uid, "FAM");
    ck_assert_str_eq(x->family_name, "12A T3");
    ck_assert_str_eq(x->timecode_rate_text, "30000/1001");
    ck_assert_str_eq(x->timecode_flag, "DF");
    ck_assert_int_eq(x->circled, 1);
    ck_assert_int_eq(x->no_good, 0);
    ck_assert_int_eq(x->false_start, 0);
    ck_assert_int_eq(x->wild_track, -1);
    ck_assert_uint_eq(x->timecode_rate.numerator, 30000);
    ck_assert_uint_eq(x->timecode_rate.denominator, 1001);
    ck_assert(x->timecode_rate.drop);
    ck_assert_uint_eq(x->file_sample_rate_hz, 48000);
    ck_assert_uint_eq(x->audio_bit_depth, 24);
    ck_assert_uint_eq(x->timestamp_sample_rate_hz, 48000);
    ck_assert_uint_eq(x->timestamp_samples, 5000000000u); /* HI 1, LO 705032704: the worked value of the format */
    ck_assert_uint_eq(x->track_count, 2);
    ck_assert_uint_eq(x->file_set_total, 2);
    ck_assert_uint_eq(x->file_set_index_number, 1);
    ck_assert_uint_eq(x->tracks_count, 2);
    ck_assert_uint_eq(x->tracks[0].channel_index, 5);
    ck_assert_uint_eq(x->tracks[0].interleave_index, 1);
    ck_assert_str_eq(x->tracks[0].name, "Boom");
    ck_assert_str_eq(x->tracks[0].function, "");
    ck_assert_str_eq(x->tracks[1].name, "Boom safe");
    ck_assert_str_eq(x->tracks[1].function, "MIX");
    tp_ixml_free(x);
}
END_TEST

/* Element names of the open specification; values invented. */
static const char rest[] =
    "<BWFXML><SCENE>1</SCENE><TAKE_TYPE>NO_GOOD, PICKUP,REHEARSAL</TAKE_TYPE><UBITS>00FF1234</UBITS>"
    "<HISTORY><ORIGINAL_FILENAME>T001.wav</ORIGINAL_FILENAME><PARENT_FILENAME>T000.wav</PARENT_FILENAME>"
    "<PARENT_UID>P-1</PARENT_UID></HISTORY>"
    "<SPEED><NOTE>camera at 24</NOTE><MASTER_SPEED>25/1</MASTER_SPEED><CURRENT_SPEED>24/1</CURRENT_SPEED>"
    "<DIGITIZER_SAMPLE_RATE>48000</DIGITIZER_SAMPLE_RATE></SPEED>"
    "<SYNC_POINT_LIST><SYNC_POINT_COUNT>2</SYNC_POINT_COUNT>"
    "<SYNC_POINT><SYNC_POINT_TYPE>RELATIVE</SYNC_POINT_TYPE><SYNC_POINT_FUNCTION>SLATE_GENERIC</SYNC_POINT_FUNCTION>"
    "<SYNC_POINT_COMMENT>second sticks &amp; late</SYNC_POINT_COMMENT><SYNC_POINT_LOW>96000</SYNC_POINT_LOW>"
    "<SYNC_POINT_HIGH>0</SYNC_POINT_HIGH><SYNC_POINT_EVENT_DURATION>0</SYNC_POINT_EVENT_DURATION></SYNC_POINT>"
    "<SYNC_POINT><SYNC_POINT_TYPE>ABSOLUTE</SYNC_POINT_TYPE><SYNC_POINT_FUNCTION>MARKER_AUTOPLACED"
    "</SYNC_POINT_FUNCTION><SYNC_POINT_HIGH>1</SYNC_POINT_HIGH><SYNC_POINT_LOW>5</SYNC_POINT_LOW>"
    "<SYNC_POINT_EVENT_DURATION>4800</SYNC_POINT_EVENT_DURATION></SYNC_POINT></SYNC_POINT_LIST>"
    "<BEXT><BWF_DESCRIPTION>boat</BWF_DESCRIPTION><BWF_TIME_REFERENCE_LOW>7</BWF_TIME_REFERENCE_LOW>"
    "<BWF_TIME_REFERENCE_HIGH>2</BWF_TIME_REFERENCE_HIGH></BEXT>"
    "<LOCATION><LOCATION_NAME>pier</LOCATION_NAME></LOCATION><USER>anything\nelse</USER></BWFXML>";

START_TEST(ixml__the_rest_is_read_too)
{
    struct tp_ixml *x = parse_text(rest);
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->take_type, "NO_GOOD, PICKUP,REHEARSAL");
    ck_assert_int_eq(x->no_good, 1);
    ck_assert_int_eq(x->wild_track, 0);
    ck_assert_str_eq(x->ubits, "00FF1234");
    ck_assert_str_eq(x->original_filename, "T001.wav");
    ck_assert_str_eq(x->parent_filename, "T000.wav");
    ck_assert_str_eq(x->parent_uid, "P-1");
    ck_assert_str_eq(x->speed_note, "camera at 24");
    ck_assert_str_eq(x->note, "");
    ck_assert_str_eq(x->master_speed, "25/1");
    ck_assert_str_eq(x->current_speed, "24/1");
    ck_assert_uint_eq(x->digitizer_sample_rate_hz, 48000);
    ck_assert_uint_eq(x->bwf_time_reference_samples, (2ull << 32) + 7);
    ck_assert_uint_eq(x->sync_point_count, 2);
    ck_assert_str_eq(x->sync_points[0].type, "RELATIVE");
    ck_assert_str_eq(x->sync_points[0].function, "SLATE_GENERIC");
    ck_assert_str_eq(x->sync_points[0].comment, "second sticks & late");
    ck_assert_uint_eq(x->sync_points[0].samples, 96000);
    ck_assert_uint_eq(x->sync_points[0].duration_samples, 0);
    ck_assert_uint_eq(x->sync_points[1].samples, (1ull << 32) + 5);
    ck_assert_uint_eq(x->sync_points[1].duration_samples, 4800);
    static const char *const extras[][2] = {{"SYNC_POINT_LIST/SYNC_POINT_COUNT", "2"},
                                            {"BEXT/BWF_DESCRIPTION", "boat"},
                                            {"LOCATION/LOCATION_NAME", "pier"},
                                            {"USER", "anything\nelse"}};
    ck_assert_uint_eq(x->extra_count, 4);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_str_eq(x->extras[i].name, extras[i][0]);
        ck_assert_str_eq(x->extras[i].value, extras[i][1]);
    }
    tp_ixml_free(x);
}
END_TEST

START_TEST(ixml__endless_lists_end)
{
    char *text = NULL;
    size_t size;
    FILE *out = open_memstream(&text, &size);
    fputs("<BWFXML><SYNC_POINT_LIST>", out);
    for (int i = 0; i < 3000; i++)
        fputs("<SYNC_POINT><SYNC_POINT_LOW>1</SYNC_POINT_LOW></SYNC_POINT>", out);
    fputs("</SYNC_POINT_LIST>", out);
    for (int i = 0; i < 3000; i++)
        fputs("<X>y</X>", out);
    fputs("<SCENE>9</SCENE></BWFXML>", out);
    fclose(out);
    struct tp_ixml *x = parse_text(text);
    ck_assert_uint_eq(x->sync_point_count, TP_IXML_SYNC_POINTS_MAX);
    ck_assert_uint_eq(x->extra_count, TP_IXML_EXTRAS_MAX);
    ck_assert_str_eq(x->scene, "9");
    tp_ixml_free(x);
    free(text);
}
END_TEST

START_TEST(ixml__absent_is_not_zero)
{
    struct tp_ixml *x = parse_text("<BWFXML/>");
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->scene, "");
    ck_assert_int_eq(x->circled, -1);
    ck_assert_uint_eq(x->timestamp_samples, TP_NO_TIMECODE);
    ck_assert_uint_eq(x->timecode_rate.numerator, 0);
    ck_assert_uint_eq(x->tracks_count, 0);
    tp_ixml_free(x);
}
END_TEST

START_TEST(ixml__padding_is_trimmed_and_what_follows_the_root_ignored)
{
    static const char padded[] = "\n  <BWFXML><SCENE>7</SCENE></BWFXML>\0\0  \0\0";
    struct tp_ixml *x = parse(padded, sizeof padded - 1);
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->scene, "7");
    tp_ixml_free(x);
    static const char junk[] = "<BWFXML><SCENE>7</SCENE></BWFXML>\0\1\2old text <of a longer";
    x = parse(junk, sizeof junk - 1);
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->scene, "7");
    tp_ixml_free(x);
}
END_TEST

static const struct {
    const char *bytes;
    size_t size;
    const char *scene;
} encodings[] = {
#define E(text) text, sizeof(text) - 1
    {E("<BWFXML><SCENE>caf\xC3\xA9</SCENE></BWFXML>"), "caf\xC3\xA9"},
    {E("\xEF\xBB\xBF<?xml version=\"1.0\"?><BWFXML><SCENE>caf\xC3\xA9</SCENE></BWFXML>"), "caf\xC3\xA9"},
    {E("<?xml version=\"1.0\" encoding=\"UTF-8\"?><BWFXML><SCENE>caf\xE9</SCENE></BWFXML>"), "caf\xC3\xA9"},
    {E("<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><BWFXML><SCENE>caf\xE9</SCENE></BWFXML>"), "caf\xC3\xA9"},
    {E("<?xml version=\"1.0\" encoding='windows-1252'?><BWFXML><SCENE>\x80 5</SCENE></BWFXML>"), "\xE2\x82\xAC 5"},
    {E("<?xml version=\"1.0\" encoding=\"UTF-16\"?><BWFXML><SCENE>5</SCENE></BWFXML>"), "5"},
    {E("<?xml version=\"1.0\" encoding=\"windows-1251\"?><BWFXML><SCENE>\xC4\xC0</SCENE></BWFXML>"),
     "\xD0\x94\xD0\x90"},
    {E("<?xml version=\"1.0\" encoding=\"Shift_JIS\"?><BWFXML><SCENE>\x8A\x43</SCENE></BWFXML>"), "\xE6\xB5\xB7"},
    {E("<?xml version=\"1.0\" encoding=\"no-such-thing\"?><BWFXML><SCENE>caf\xE9</SCENE></BWFXML>"), "caf\xC3\xA9"},
    {E("\xFF\xFE<\0B\0W\0F\0X\0M\0L\0>\0<\0S\0C\0E\0N\0E\0>\0\xE9\0<\0/\0S\0C\0E\0N\0E\0>\0<\0/"
       "\0B\0W\0F\0X\0M\0L\0>\0"),
     "\xC3\xA9"},
    {E("\0<\0B\0W\0F\0X\0M\0L\0>\0<\0S\0C\0E\0N\0E\0>\0\xE9\0<\0/\0S\0C\0E\0N\0E\0>\0<\0/\0B\0W\0F\0X\0M\0L\0>"),
     "\xC3\xA9"},
};

START_TEST(ixml__encodings_survive)
{
    struct tp_ixml *x = parse(encodings[_i].bytes, encodings[_i].size);
    ck_assert_str_eq(x->scene, encodings[_i].scene);
    ck_assert(!x->damaged);
    tp_ixml_free(x);
}
END_TEST

START_TEST(ixml__broken_xml_keeps_what_came_before)
{
    struct tp_ixml *x = parse_text("<BWFXML><SCENE>12A</SCENE><TAKE>3</TAKE><NOTE>cut he");
    ck_assert(x->damaged);
    ck_assert_str_eq(x->scene, "12A");
    ck_assert_str_eq(x->take, "3");
    tp_ixml_free(x);
    x = parse_text("<BWFXML><SCENE>12A</SCENE><TAKE>3</SCENE><TAPE>S01</TAPE></BWFXML>");
    ck_assert(x->damaged);
    ck_assert_str_eq(x->scene, "12A");
    tp_ixml_free(x);
}
END_TEST

START_TEST(ixml__bare_ampersand_is_read_as_meant)
{
    struct tp_ixml *x = parse_text("<BWFXML><NOTE>Q&A &amp; &#65;&#x42; &c; end &</NOTE><TAKE>4</TAKE></BWFXML>");
    ck_assert(x->damaged);
    ck_assert_str_eq(x->note, "Q&A & AB &c; end &");
    ck_assert_str_eq(x->take, "4");
    tp_ixml_free(x);
    x = parse_text("<BWFXML><NOTE><![CDATA[Q&A]]></NOTE></BWFXML>");
    ck_assert(!x->damaged);
    ck_assert_str_eq(x->note, "Q&A");
    tp_ixml_free(x);
}
END_TEST

static const char *const refused[] = {
    "",
    "   ",
    "\x01\x02\x03",
    "hello",
    "<html><body/></html>",
    "<!DOCTYPE x [<!ENTITY a \"b\">]><BWFXML><SCENE>&a;</SCENE></BWFXML>",
    "<!DOCTYPE BWFXML SYSTEM \"file:///etc/hostname\"><BWFXML/>",
};

START_TEST(ixml__other_things_are_refused)
{
    struct tp_ixml *x = NULL;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_ixml_parse((const uint8_t *)refused[_i], strlen(refused[_i]), &x, &error), TP_ERR_FORMAT);
    ck_assert_ptr_null(x);
    tp_error_clear(&error);
}
END_TEST

START_TEST(ixml__depth_and_length_are_bounded)
{
    size_t levels = 100000;
    char *deep = malloc(levels * 3 + 64);
    size_t at = (size_t)sprintf(deep, "<BWFXML><SCENE>1</SCENE>");
    for (size_t i = 0; i < levels; i++, at += 3)
        memcpy(deep + at, "<a>", 3);
    struct tp_ixml *x = parse(deep, at);
    ck_assert(x->damaged);
    ck_assert_str_eq(x->scene, "1");
    tp_ixml_free(x);
    free(deep);
    size_t size = 900000;
    char *wide = malloc(size + 64);
    at = (size_t)sprintf(wide, "<BWFXML><NOTE>");
    memset(wide + at, 'n', size);
    strcpy(wide + at + size, "</NOTE><TAKE>9</TAKE></BWFXML>");
    x = parse_text(wide);
    ck_assert_uint_eq(strlen(x->note), 8192);
    ck_assert_str_eq(x->take, "9");
    tp_ixml_free(x);
    free(wide);
}
END_TEST

START_TEST(ixml__nonsense_numbers_are_not_taken)
{
    struct tp_ixml *x =
        parse_text("<BWFXML><SPEED><FILE_SAMPLE_RATE>99999999999</FILE_SAMPLE_RATE><AUDIO_BIT_DEPTH>x</AUDIO_BIT_DEPTH>"
                   "<TIMESTAMP_SAMPLE_RATE>48000.0</TIMESTAMP_SAMPLE_RATE><TIMECODE_RATE>purple</TIMECODE_RATE>"
                   "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>-5</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>"
                   "<TAKE_TYPE>PICKUP, no_good</TAKE_TYPE></BWFXML>");
    ck_assert_uint_eq(x->file_sample_rate_hz, 0);
    ck_assert_uint_eq(x->audio_bit_depth, 0);
    ck_assert_uint_eq(x->timestamp_sample_rate_hz, 48000);
    ck_assert_uint_eq(x->timestamp_samples, TP_NO_TIMECODE);
    ck_assert_uint_eq(x->timecode_rate.numerator, 0);
    ck_assert_str_eq(x->timecode_rate_text, "purple");
    ck_assert_int_eq(x->no_good, 1);
    ck_assert_int_eq(x->wild_track, 0);
    tp_ixml_free(x);
}
END_TEST

/* The place in a file set is a letter or a number; words are neither. */
START_TEST(ixml__place_in_a_file_set)
{
    static const struct {
        const char *text;
        uint32_t place;
    } places[] = {{"A", 1}, {"c", 3}, {"Z", 26}, {"12", 12}, {"AB", 0}, {"", 0}, {"?", 0}};
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        char text[200];
        snprintf(text, sizeof text, "<BWFXML><FILE_SET><FILE_SET_INDEX>%s</FILE_SET_INDEX></FILE_SET></BWFXML>",
                 places[i].text);
        struct tp_ixml *ixml = parse_text(text);
        ck_assert_uint_eq(ixml->file_set_index_number, places[i].place);
        tp_ixml_free(ixml);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ixml");
    TCase *tcase = tcase_create("ixml");
    tcase_add_test(tcase, ixml__every_field_is_read);
    tcase_add_test(tcase, ixml__place_in_a_file_set);
    tcase_add_test(tcase, ixml__the_rest_is_read_too);
    tcase_add_test(tcase, ixml__endless_lists_end);
    tcase_add_test(tcase, ixml__absent_is_not_zero);
    tcase_add_test(tcase, ixml__padding_is_trimmed_and_what_follows_the_root_ignored);
    tcase_add_loop_test(tcase, ixml__encodings_survive, 0, (int)(sizeof encodings / sizeof encodings[0]));
    tcase_add_test(tcase, ixml__broken_xml_keeps_what_came_before);
    tcase_add_test(tcase, ixml__bare_ampersand_is_read_as_meant);
    tcase_add_loop_test(tcase, ixml__other_things_are_refused, 0, (int)(sizeof refused / sizeof refused[0]));
    tcase_add_test(tcase, ixml__depth_and_length_are_bounded);
    tcase_add_test(tcase, ixml__nonsense_numbers_are_not_taken);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
