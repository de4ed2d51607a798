/* SPDX-License-Identifier: MIT */
/*
 * What a file says about itself reaches the reports whole: bext, iXML, markers, texts, and every chunk with offset,
 * size and what is wrong with it. The expectations are what the file was made of.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static char *scratch, *path, *page;
static struct checked checked;
static json_t *file;

static const char ixml[] =
    "<BWFXML><IXML_VERSION>2.10</IXML_VERSION><PROJECT>Harbour Lights</PROJECT><SCENE>12A</SCENE><TAKE>3</TAKE>"
    "<NOTE>boat &lt;horn&gt;</NOTE><TAKE_TYPE>NO_GOOD,PICKUP</TAKE_TYPE><UBITS>00FF1234</UBITS><FILE_UID>U-7</FILE_UID>"
    "<HISTORY><ORIGINAL_FILENAME>T001.wav</ORIGINAL_FILENAME></HISTORY>"
    "<SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE><TIMECODE_FLAG>DF</TIMECODE_FLAG>"
    "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
    "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>172972800</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>"
    "<SYNC_POINT_LIST><SYNC_POINT><SYNC_POINT_TYPE>RELATIVE</SYNC_POINT_TYPE>"
    "<SYNC_POINT_FUNCTION>SLATE_GENERIC</SYNC_POINT_FUNCTION><SYNC_POINT_COMMENT>2nd &amp; late</SYNC_POINT_COMMENT>"
    "<SYNC_POINT_LOW>24000</SYNC_POINT_LOW><SYNC_POINT_HIGH>0</SYNC_POINT_HIGH></SYNC_POINT></SYNC_POINT_LIST>"
    "<TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>4</CHANNEL_INDEX><INTERLEAVE_INDEX>1"
    "</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK></TRACK_LIST>"
    "<LOCATION><LOCATION_NAME>the pier</LOCATION_NAME></LOCATION></BWFXML>";

/* 172,972,800 samples are 108,000 frames of 1,601.6 samples at 29.97. */
static void make_file(void)
{
    const struct wavgen_bext bext = {.description = "sc 12A",
                                     .originator = "A. Example",
                                     .date = "2033-03-14",
                                     .time = "01:00:03",
                                     .time_reference = 172972800,
                                     .version = 1,
                                     .history = "A=PCM,F=48000,W=24,M=mono\r\n"};
    const struct wavgen_cue cues[] = {{.id = 1, .sample_offset = 12000, .label = "door <slam>"}};
    const struct wavgen_chunk list = {
        .id = "LIST", .data = "INFOIART", .size = 8, .after_data = true, .declared = WAVGEN_LIE(5000)};
    wavgen_write(&(struct wavgen){.frames = 96000,
                                  .bext = &bext,
                                  .ixml = ixml,
                                  .cues = cues,
                                  .cue_count = 1,
                                  .info_name = "take & three",
                                  .chunks = &list,
                                  .chunk_count = 1},
                 path);
}

static void setup(void)
{
    scratch = scratch_new();
    path = scratch_format("%s/T003.wav", scratch);
    make_file();
    char *reports = scratch_format("%s/reports", scratch), *html = scratch_format("%s/reports/report.html", scratch);
    char *card = scratch_format("%s/card", scratch), *moved = scratch_format("%s/card/T003.wav", scratch);
    scratch_folder(card);
    scratch_copy(path, moved);
    checked_json(&checked, (const char *const[]){card, "-o", reports, NULL});
    file = checked_file(&checked, "T003.wav");
    ck_assert_msg(file != NULL, "%s", checked.run.err);
    size_t size;
    page = scratch_read(html, &size);
    ck_assert_ptr_nonnull(page);
    free(reports);
    free(html);
    free(card);
    free(moved);
}

static void teardown(void)
{
    checked_clear(&checked);
    free(page);
    free(path);
    scratch_remove(scratch);
}

static json_t *at(const char *list, size_t index)
{
    return json_array_get(json_object_get(file, list), index);
}

START_TEST(inside__bext_and_ixml_are_in_the_json)
{
    json_t *bext = json_object_get(file, "bext"), *x = json_object_get(file, "ixml");
    ck_assert_str_eq(checked_text(bext, "description"), "sc 12A");
    ck_assert_str_eq(checked_text(bext, "originator"), "A. Example");
    ck_assert_str_eq(checked_text(bext, "origination_date"), "2033-03-14");
    ck_assert_double_eq(checked_number(bext, "time_reference_samples"), 172972800);
    ck_assert_str_eq(checked_text(x, "scene"), "12A");
    ck_assert_str_eq(checked_text(x, "note"), "boat <horn>");
    ck_assert_str_eq(checked_text(x, "take_type"), "NO_GOOD,PICKUP");
    ck_assert_ptr_eq(json_object_get(x, "no_good"), json_true());
    ck_assert_ptr_eq(json_object_get(x, "wild_track"), json_false());
    ck_assert_str_eq(checked_text(x, "ubits"), "00FF1234");
    ck_assert_str_eq(checked_text(x, "original_filename"), "T001.wav");
    json_t *point = json_array_get(json_object_get(x, "sync_points"), 0);
    ck_assert_str_eq(checked_text(point, "comment"), "2nd & late");
    ck_assert_double_eq(checked_number(point, "samples"), 24000);
    json_t *extra = json_array_get(json_object_get(x, "extras"), 0);
    ck_assert_str_eq(checked_text(extra, "name"), "LOCATION/LOCATION_NAME");
    ck_assert_str_eq(checked_text(extra, "value"), "the pier");
    ck_assert_str_eq(checked_text(at("channels", 0), "name"), "Boom");
}
END_TEST

START_TEST(inside__markers_texts_and_timecode_are_in_the_json)
{
    ck_assert_double_eq(checked_number(at("cues", 0), "frame"), 12000);
    ck_assert_str_eq(checked_text(at("cues", 0), "label"), "door <slam>");
    ck_assert_str_eq(checked_text(at("infos", 0), "id"), "INAM");
    ck_assert_str_eq(checked_text(at("infos", 0), "text"), "take & three");
    json_t *take = checked_take(&checked, "T003.wav");
    ck_assert_str_eq(checked_text(take, "timecode_rate"), "29.97DF");
    /* By hand: 108,000 frames; an hour of drop-frame has 107,892; 108 more are 3 s 18 fr. */
    ck_assert_str_eq(checked_text(take, "start_timecode"), "01:00:03;18");
    /* 2 s later, 59.94 frames on: frame 108,059. */
    ck_assert_str_eq(checked_text(take, "end_timecode"), "01:00:05;17");
}
END_TEST

/* Every chunk stands where its id is in the file. */
START_TEST(inside__chunks_are_listed_with_what_is_wrong)
{
    static const char *const ids[] = {"fmt ", "bext", "iXML", "cue ", "LIST", "data", "LIST"};
    size_t size, count = json_array_size(json_object_get(file, "chunks")), problems = 0;
    char *bytes = scratch_read(path, &size);
    for (size_t i = 0; i < count; i++) {
        json_t *chunk = at("chunks", i);
        size_t offset = (size_t)checked_number(chunk, "offset");
        ck_assert_uint_lt(offset + 8, size + 1);
        ck_assert_mem_eq(bytes + offset, checked_text(chunk, "id"), 4);
        const unsigned char *length = (const unsigned char *)bytes + offset + 4;
        ck_assert_double_eq(checked_number(chunk, "size"), length[0] + 256.0 * length[1] + 65536.0 * length[2]);
        problems += json_is_string(json_object_get(chunk, "problem"));
    }
    for (size_t i = 0; i < sizeof ids / sizeof ids[0]; i++) {
        bool found = false;
        for (size_t k = 0; k < count; k++)
            found = found || strcmp(checked_text(at("chunks", k), "id"), ids[i]) == 0;
        ck_assert_msg(found, "%s is not listed", ids[i]);
    }
    ck_assert_uint_eq(problems, 1);
    ck_assert_msg(json_is_string(json_object_get(at("chunks", count - 1), "problem")),
                  "the last chunk runs past the end and nothing is said");
    free(bytes);
}
END_TEST

START_TEST(inside__the_page_shows_it)
{
    static const char *const shown[] = {"Inside the file: ",
                                        ", 1 with something wrong",
                                        "boat &lt;horn&gt;",
                                        "NO_GOOD,PICKUP",
                                        "00FF1234",
                                        "SLATE_GENERIC",
                                        "2nd &amp; late",
                                        "door &lt;slam&gt;",
                                        "take &amp; three",
                                        "LOCATION/LOCATION_NAME",
                                        "the pier",
                                        "A=PCM,F=48000,W=24,M=mono",
                                        "Harbour Lights",
                                        "30000/1001 DF",
                                        "<dt>Marked</dt>",
                                        "01:00:03;18 to 01:00:05;17",
                                        "172,972,800",
                                        "<dt>Original file</dt>",
                                        "<code>iXML</code></th>"};
    for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++)
        ck_assert_msg(strstr(page, shown[i]) != NULL, "the page does not show %s", shown[i]);
    ck_assert_ptr_null(strstr(page, "<slam>"));
}
END_TEST

START_TEST(inside__the_list_of_takes_has_start_and_end)
{
    char *csv_path = scratch_format("%s/reports/report.csv", scratch);
    size_t size;
    char *csv = scratch_read(csv_path, &size);
    ck_assert_ptr_nonnull(csv);
    ck_assert(strstr(csv, "start_timecode,timecode_rate") != NULL && strstr(csv, "end_timecode") != NULL);
    ck_assert(strstr(csv, "01:00:03;18,29.97DF") != NULL && strstr(csv, "01:00:05;17") != NULL);
    free(csv);
    free(csv_path);
}
END_TEST

START_TEST(inside__a_page_made_again_is_the_same)
{
    char *json = scratch_format("%s/reports/report.json", scratch), *again = scratch_format("%s/again", scratch);
    char *html = scratch_format("%s/again/report.html", scratch);
    struct run run;
    run_program((const char *const[]){run_takeproof(), "report", json, "-o", again, NULL}, NULL, NULL, 60, &run);
    size_t size;
    char *second = scratch_read(html, &size);
    ck_assert_msg(second != NULL, "%s", run.err);
    ck_assert(size == strlen(page) && memcmp(second, page, size) == 0);
    run_clear(&run);
    free(second);
    free(json);
    free(again);
    free(html);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("inside");
    TCase *tcase = tcase_create("file");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_test(tcase, inside__bext_and_ixml_are_in_the_json);
    tcase_add_test(tcase, inside__markers_texts_and_timecode_are_in_the_json);
    tcase_add_test(tcase, inside__chunks_are_listed_with_what_is_wrong);
    tcase_add_test(tcase, inside__the_page_shows_it);
    tcase_add_test(tcase, inside__the_list_of_takes_has_start_and_end);
    tcase_add_test(tcase, inside__a_page_made_again_is_the_same);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && ran > 0 ? 0 : 1;
}
