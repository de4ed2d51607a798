/* SPDX-License-Identifier: MIT */
/*
 * The metadata of a spliced track: bext fields at the places EBU Tech 3285 gives them, the line of coding history by
 * EBU R 98, the iXML read by expat.
 */
#include "take/splice_meta.h"

#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <expat.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

static const char ixml[] = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML><PROJECT>Harbour Lights</PROJECT>"
                           "<SCENE>12A</SCENE><TAKE>3</TAKE><NOTE>plane &amp; gulls</NOTE><UNKNOWN>kept</UNKNOWN>"
                           "<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>"
                           "<TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX>"
                           "<NAME>Boom</NAME></TRACK>"
                           "<TRACK><CHANNEL_INDEX>2</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX>"
                           "<NAME>Boom safe</NAME></TRACK></TRACK_LIST></BWFXML>";
static const struct wavgen_bext bext = {.description = "12A take 3",
                                        .originator = "field",
                                        .originator_reference = "XX1",
                                        .date = "2026-05-04",
                                        .time = "10:00:00",
                                        .time_reference = 1728000000,
                                        .version = 1,
                                        .history = "A=PCM,F=48000,W=24,M=stereo,T=field"};

/* A recording that was checked, and its main opened. */
struct stage {
    char *folder, *path;
    struct tp_report *report;
    struct tp_splice_source *source;
    struct tp_splice_story story;
    struct tp_splice_meta meta;
};

static void stage_init(struct stage *stage, const char *xml, const struct wavgen_bext *with)
{
    *stage = (struct stage){.folder = scratch_new()};
    stage->path = scratch_format("%s/T01.wav", stage->folder);
    struct wavgen wav = {.channels = 2, .frames = 4800, .bext = with, .ixml = xml};
    wavgen_write(&wav, stage->path);
    struct tp_error error = {0};
    struct tp_spec spec;
    const char *sources[] = {stage->folder};
    ck_assert_int_eq(tp_spec_init(&spec, &error), TP_OK);
    struct tp_check_options options = {.sources = sources, .source_count = 1, .spec = &spec, .jobs = 1};
    ck_assert_int_eq(tp_check(&options, &stage->report, &error), TP_OK);
    tp_spec_clear(&spec);
    ck_assert_uint_eq(stage->report->file_count, 1);
    struct tp_file *file = &stage->report->files[0];
    ck_assert_int_eq(tp_splice_source_open(&stage->source, stage->path, file, 0, &error), TP_OK);
    stage->story = (struct tp_splice_story){.main = file,
                                            .safety = file,
                                            .safety_channel = 1,
                                            .choice = TP_CHOICE_SPLICE,
                                            .encoding = TP_ENCODING_PCM,
                                            .bit_depth = 24,
                                            .gain_db = 12.0,
                                            .spliced_s = 0.41,
                                            .span_count = 3};
}

static void stage_make(struct stage *stage)
{
    struct tp_error error = {0};
    tp_splice_meta_clear(&stage->meta);
    ck_assert_int_eq(tp_splice_meta_make(&stage->meta, &stage->story, stage->source, &error), TP_OK);
}

static void stage_clear(struct stage *stage)
{
    tp_splice_meta_clear(&stage->meta);
    tp_splice_source_close(stage->source);
    tp_report_free(stage->report);
    free(stage->path);
    scratch_remove(stage->folder);
}

/* The text of the first element of that name, entities resolved. */
struct element {
    const char *name;
    bool inside, found;
    char text[512];
    size_t length, count;
};

static void XMLCALL on_start(void *user, const XML_Char *name, const XML_Char **attributes)
{
    struct element *element = user;
    (void)attributes;
    element->inside = strcmp(name, element->name) == 0 && !element->found;
    element->count += strcmp(name, element->name) == 0;
}

static void XMLCALL on_end(void *user, const XML_Char *name)
{
    struct element *element = user;
    element->found = element->found || strcmp(name, element->name) == 0;
    element->inside = false;
}

static void XMLCALL on_text(void *user, const XML_Char *text, int length)
{
    struct element *element = user;
    for (int i = 0; element->inside && i < length && element->length + 1 < sizeof element->text; i++)
        element->text[element->length++] = text[i];
}

static struct element element_of(const struct tp_splice_meta *meta, const char *name)
{
    struct element element = {.name = name};
    XML_Parser parser = XML_ParserCreate(NULL);
    XML_SetUserData(parser, &element);
    XML_SetElementHandler(parser, on_start, on_end);
    XML_SetCharacterDataHandler(parser, on_text);
    ck_assert_int_eq(XML_Parse(parser, (const char *)meta->ixml, (int)meta->ixml_bytes, 1), XML_STATUS_OK);
    XML_ParserFree(parser);
    return element;
}

#define ck_element(meta, name, expected) ck_assert_str_eq(element_of(meta, name).text, expected)

/* EBU Tech 3285: a field of fixed width. */
static const char *field(const struct tp_splice_meta *meta, size_t offset, size_t width, char *text)
{
    memcpy(text, meta->bext + offset, width);
    text[width] = '\0';
    return text;
}

static const char *history(const struct tp_splice_meta *meta, char *text)
{
    size_t length = meta->bext_bytes - 602;
    ck_assert_uint_lt(length, 1000);
    return field(meta, 602, length, text);
}

START_TEST(splice_meta__bext_keeps_the_place_in_time_and_tells_what_was_done)
{
    struct stage stage;
    char text[1024], reference[64];
    stage_init(&stage, NULL, &bext);
    stage_make(&stage);
    ck_assert_uint_gt(stage.meta.bext_bytes, 602);
    ck_assert_str_eq(field(&stage.meta, 0, 256, text), "12A take 3");
    ck_assert_str_eq(field(&stage.meta, 256, 32, text), "takeproof");
    snprintf(reference, sizeof reference, "TAKEPROOF%.16s0001", stage.report->files[0].sha256);
    ck_assert_str_eq(field(&stage.meta, 288, 32, text), reference);
    ck_assert_str_eq(field(&stage.meta, 320, 10, text), "2026-05-04");
    ck_assert_str_eq(field(&stage.meta, 330, 8, text), "10:00:00");
    uint64_t time_reference = 0;
    for (size_t i = 8; i-- > 0;)
        time_reference = time_reference << 8 | stage.meta.bext[338 + i];
    ck_assert_uint_eq(time_reference, 1728000000);
    ck_assert_str_eq(history(&stage.meta, text),
                     "A=PCM,F=48000,W=24,M=stereo,T=field\r\nA=PCM,F=48000,W=24,M=mono,T=takeproof; main channel 1; "
                     "safety channel 2 +12.00 dB over 3 spans 0.410 s\r\n");
    ck_assert_ptr_null(stage.meta.ixml);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice_meta__every_choice_has_its_words)
{
    struct stage stage;
    char text[1024];
    stage_init(&stage, NULL, &bext);
    struct tp_file other = *stage.story.main;
    char name[] = "S01/T01, safe\xC3\xA9.wav"; /* no comma may part the free text, and it is ASCII */
    other.path = name;
    stage.story.safety = &other;
    stage.story.span_count = 1;
    stage.story.gain_db = -0.5;
    stage.story.inverted = true;
    stage.story.lag_samples = 3;
    stage.story.lowered_db = 2.0;
    stage_make(&stage);
    ck_assert_ptr_nonnull(strstr(history(&stage.meta, text),
                                 "T=takeproof; main channel 1; safety channel 2 of S01/T01; safe??.wav -0.50 dB "
                                 "polarity inverted moved -3 samples over 1 span 0.410 s; all -2.00 dB\r\n"));
    stage.story.choice = TP_CHOICE_SAFETY;
    stage.story.lowered_db = 0.0;
    stage_make(&stage);
    ck_assert_ptr_nonnull(strstr(history(&stage.meta, text), "T=takeproof; safety channel 2 of "));
    ck_assert_ptr_nonnull(strstr(text, " moved -3 samples throughout\r\n"));
    ck_assert_ptr_null(strstr(text, "main channel"));
    stage.story.choice = TP_CHOICE_MAIN;
    stage.story.encoding = TP_ENCODING_FLOAT;
    stage.story.bit_depth = 32;
    stage_make(&stage);
    ck_assert_ptr_nonnull(
        strstr(history(&stage.meta, text), "W=32,M=mono,T=float; takeproof; main channel 1 as recorded\r\n"));
    stage_clear(&stage);
}
END_TEST

START_TEST(splice_meta__ixml_is_carried_over_for_the_one_track)
{
    struct stage stage;
    stage_init(&stage, ixml, &bext);
    stage_make(&stage);
    ck_element(&stage.meta, "PROJECT", "Harbour Lights");
    ck_element(&stage.meta, "UNKNOWN", "kept");
    ck_element(&stage.meta, "NAME", "Boom");
    ck_assert_uint_eq(element_of(&stage.meta, "TRACK").count, 1);
    ck_element(&stage.meta, "TRACK_COUNT", "1");
    struct element note = element_of(&stage.meta, "NOTE");
    ck_assert_ptr_nonnull(strstr(note.text, "plane & gulls"));
    ck_assert_ptr_nonnull(strstr(note.text, "takeproof: main channel 1; safety channel 2 +12.00 dB"));
    ck_assert_int_eq(strncmp(element_of(&stage.meta, "FILE_UID").text, "TAKEPROOF", 9), 0);
    stage_clear(&stage);
}
END_TEST

/* XML that breaks off: what was understood is written anew, escaped. */
START_TEST(splice_meta__broken_ixml_is_written_anew)
{
    struct stage stage;
    stage_init(&stage,
               "<BWFXML><PROJECT>Harbour &lt;Lights&gt; &amp; more</PROJECT><SCENE>12A</SCENE><TAKE>3</TAKE>"
               "<TAPE>S01</TAPE><CIRCLED>TRUE</CIRCLED><NOTE>plane</NOTE><SPEED>"
               "<TIMECODE_RATE>25/1</TIMECODE_RATE><TIMECODE_FLAG>NDF</TIMECODE_FLAG>"
               "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>1</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>"
               "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>7</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>"
               "<TIMESTAMP_SAMPLE_RATE>48000</TIMESTAMP_SAMPLE_RATE></SPEED><BROKEN",
               NULL);
    ck_assert_ptr_nonnull(stage.story.main->ixml);
    stage_make(&stage);
    ck_element(&stage.meta, "PROJECT", "Harbour <Lights> & more");
    ck_element(&stage.meta, "SCENE", "12A");
    ck_element(&stage.meta, "TAPE", "S01");
    ck_element(&stage.meta, "CIRCLED", "TRUE");
    ck_element(&stage.meta, "TIMECODE_RATE", "25/1");
    ck_element(&stage.meta, "TIMECODE_FLAG", "NDF");
    ck_element(&stage.meta, "AUDIO_BIT_DEPTH", "24");
    ck_element(&stage.meta, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", "1");
    ck_element(&stage.meta, "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", "7");
    ck_element(&stage.meta, "TIMESTAMP_SAMPLE_RATE", "48000");
    ck_assert_ptr_nonnull(strstr(element_of(&stage.meta, "NOTE").text, "plane / takeproof: main channel 1"));
    /* Without bext the time comes from there. */
    uint64_t time_reference = 0;
    ck_assert_uint_gt(stage.meta.bext_bytes, 602);
    for (size_t i = 8; i-- > 0;)
        time_reference = time_reference << 8 | stage.meta.bext[338 + i];
    ck_assert_uint_eq(time_reference, (UINT64_C(1) << 32) + 7);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice_meta__no_time_is_not_midnight)
{
    struct stage stage;
    stage_init(&stage, "<BWFXML><SCENE>12A</SCENE></BWFXML>", NULL);
    stage_make(&stage);
    ck_assert_ptr_null(stage.meta.bext);
    ck_assert_uint_eq(stage.meta.bext_bytes, 0);
    ck_element(&stage.meta, "SCENE", "12A");
    stage_clear(&stage);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("splice_meta");
    TCase *tcase = tcase_create("splice_meta");
    tcase_add_test(tcase, splice_meta__bext_keeps_the_place_in_time_and_tells_what_was_done);
    tcase_add_test(tcase, splice_meta__every_choice_has_its_words);
    tcase_add_test(tcase, splice_meta__ixml_is_carried_over_for_the_one_track);
    tcase_add_test(tcase, splice_meta__broken_ixml_is_written_anew);
    tcase_add_test(tcase, splice_meta__no_time_is_not_midnight);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
