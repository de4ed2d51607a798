/* SPDX-License-Identifier: MIT */
#include "support/sample_report.h"
#include "support/scratch.h"

#include <check.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/takeproof.h>

typedef enum tp_status write_fn(const struct tp_report *report, FILE *out, struct tp_error *error);

static enum tp_status write_text(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    struct tp_text_options options = {0};
    return tp_report_write_text(report, &options, out, error);
}

static enum tp_status write_manifest(const struct tp_report *report, FILE *out, struct tp_error *error)
{
    return tp_report_write_manifest(report, 0, out, error);
}

static char *written(write_fn *write, const struct tp_report *report, size_t *size)
{
    char *bytes = NULL;
    FILE *out = open_memstream(&bytes, size);
    ck_assert_ptr_nonnull(out);
    struct tp_error error = {0};
    ck_assert_msg(write(report, out, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_int_eq(fclose(out), 0);
    return bytes;
}

/* Writes the report as JSON and reads it back. */
static struct tp_report *through_json(const struct tp_report *report)
{
    char *folder = scratch_new();
    char *path = scratch_format("%s/report.json", folder);
    size_t size;
    char *json = written(tp_report_write_json, report, &size);
    scratch_write(path, json, size);
    struct tp_report *back = NULL;
    struct tp_error error = {0};
    ck_assert_msg(tp_report_read_json(path, &back, &error) == TP_OK, "%s", tp_error_text(&error));
    free(json);
    free(path);
    scratch_remove(folder);
    return back;
}

static void same_everywhere(struct tp_report *report)
{
    static write_fn *const writers[] = {tp_report_write_json,         tp_report_write_html, tp_report_write_csv,
                                        tp_report_write_findings_csv, write_text,           write_manifest};
    struct tp_report *back = through_json(report);
    for (size_t i = 0; i < sizeof writers / sizeof writers[0]; i++) {
        size_t live_size, back_size;
        char *live = written(writers[i], report, &live_size);
        char *read = written(writers[i], back, &back_size);
        ck_assert_msg(live_size == back_size && memcmp(live, read, live_size) == 0, "writer %zu differs", i);
        free(live);
        free(read);
    }
    tp_report_free(report);
    tp_report_free(back);
}

START_TEST(json_read__every_writer_gives_the_same_bytes)
{
    same_everywhere(sample_report());
    same_everywhere(sample_report_offloaded(true));
    same_everywhere(sample_report_offloaded(false));
    same_everywhere(sample_report_pass());
    same_everywhere(sample_report_empty());
    same_everywhere(sample_report_large(60));
    same_everywhere(sample_report_hostile("<b onload='x()'>=1+1\"\x1b[31m\xe2\x80\xae\xff"));
}
END_TEST

/* The file of `report` with one piece of text replaced. Frees the report. */
static enum tp_status read_changed_report(struct tp_report *report, const char *from, const char *to, char **message)
{
    size_t size;
    char *json = written(tp_report_write_json, report, &size);
    tp_report_free(report);
    char *at = strstr(json, from);
    ck_assert_msg(at != NULL, "'%s' is not in the report", from);
    char *folder = scratch_new();
    char *path = scratch_format("%s/report.json", folder);
    char *changed = scratch_format("%.*s%s%s", (int)(at - json), json, to, at + strlen(from));
    scratch_write(path, changed, strlen(changed));
    struct tp_report *back = NULL;
    struct tp_error error = {0};
    enum tp_status status = tp_report_read_json(path, &back, &error);
    *message = scratch_format("%s", tp_error_text(&error));
    tp_error_clear(&error);
    tp_report_free(back);
    free(json);
    free(changed);
    free(path);
    scratch_remove(folder);
    return status;
}

static enum tp_status read_changed(const char *from, const char *to, char **message)
{
    return read_changed_report(sample_report(), from, to, message);
}

#define OF(channel) "\"of\":{\"file\":\"HL_S01_012A_01.WAV\",\"file_index\":0,\"channel\":" channel "}"
#define SIGNAL                                                                                                         \
    "\"signals\":[{\"name\":\"Boom\"," OF("1") ",\"use\":{\"choice\":\"main\",\"file\":\"HL_S01_012A_01.WAV\","

static const struct {
    const char *from, *to;
    enum tp_status status;
} changes[] = {
    {"\"format\": 1", "\"format\": 1", TP_OK},
    {"\"format\": 1", "\"format\": 2", TP_ERR_FORMAT},
    {"\"format\": 1", "\"form\": 1", TP_ERR_FORMAT},
    {"\"format\": 1", "\"format\": 1, \"format\": 1", TP_ERR_FORMAT},
    {"\"format\": 1", "\"format\": 1 1", TP_ERR_FORMAT},
    {"\"file_index\":0", "\"file_index\":999999", TP_ERR_FORMAT},
    {"\"file_index\":0", "\"file_index\":-1", TP_ERR_FORMAT},
    {"\"file_index\":0", "\"file_index\":\"0\"", TP_ERR_FORMAT},
    {"\"channel\":1", "\"channel\":0", TP_ERR_FORMAT},
    {"\"channel\":1", "\"channel\":3", TP_ERR_FORMAT},
    {"\"channel\":1", "\"channel\":4294967296", TP_ERR_FORMAT},
    {"\"file_indexes\":[0]", "\"file_indexes\":[12]", TP_ERR_FORMAT},
    {"\"channel_count\":2", "\"channel_count\":3", TP_ERR_FORMAT},
    {"\"channel_count\":2", "\"channel_count\":-2", TP_ERR_FORMAT},
    {"\"verdict\":\"pass\"", "\"verdict\":\"fine\"", TP_ERR_FORMAT},
    {"\"verdict\":\"fail\"", "\"verdict\":\"pass\"", TP_ERR_FORMAT}, /* the summary would no longer agree */
    {"\"fail\":3", "\"fail\":0", TP_ERR_FORMAT},
    {"\"code\":\"safety-needed\"", "\"code\":\"all-good\"", TP_ERR_FORMAT},
    {"\"frames_per_bin\":", "\"frames_per_bin\":-", TP_ERR_FORMAT},
    {"\"frames_per_bin\":", "\"frames_per_bin\":0,\"x\":", TP_ERR_FORMAT},
    {"\"min\":\"", "\"min\":\"AAAA", TP_ERR_FORMAT},
    {"\"min\":\"", "\"min\":\"A=", TP_ERR_FORMAT},
    {"\"min\":\"", "\"min\":\"%%%%", TP_ERR_FORMAT},
    {"\"sha256\":\"", "\"sha256\":\"zz", TP_ERR_FORMAT},
    {"\"sample_peak_dbfs\":-4.6", "\"sample_peak_dbfs\":\"-4.6\"", TP_ERR_FORMAT},
    {"\"sample_peak_dbfs\":-4.6", "\"sample_peak_dbfs\":-1e300", TP_ERR_FORMAT},
    {"\"noise_floor_dbfs\":-71.5", "\"noise_floor_dbfs\":null", TP_OK},
    {OF("1"), OF("3"), TP_ERR_FORMAT},
    {OF("1"), OF("null"), TP_ERR_FORMAT},
    {OF("1") ",", "", TP_OK}, /* an earlier version */
    {SIGNAL "\"file_index\":0,\"channel\":1", SIGNAL "\"file_index\":12,\"channel\":1", TP_ERR_FORMAT},
    {SIGNAL "\"file_index\":0,\"channel\":1", SIGNAL "\"file_index\":0,\"channel\":3", TP_ERR_FORMAT},
    {SIGNAL "\"file_index\":0,\"channel\":1", SIGNAL "\"file_index\":0,\"channel\":null", TP_ERR_FORMAT},
    {SIGNAL "\"file_index\":0,\"channel\":1", SIGNAL "\"file_index\":0,\"channel\":2", TP_ERR_FORMAT}, /* use says 1 */
    {"\"polarity\":\"same\"", "\"polarity\":\"\"", TP_ERR_FORMAT},
    {"\"id\":\"HL_S01_012A_01\"", "\"id\":7", TP_ERR_FORMAT},
    {"\"source\":0", "\"source\":1", TP_ERR_FORMAT},
    {"\"sources\": [", "\"sources\": [1,", TP_ERR_FORMAT},
    {"\"takes\": [", "\"takes\": [7,", TP_ERR_FORMAT},
    {"\"takes\": [", "\"takes\": {}, \"x\": [", TP_ERR_FORMAT},
    {"\"mime\":\"audio/flac\"", "\"mime\":\"text/html\"", TP_ERR_FORMAT},
    {"\"take\":2,\"finding\":0", "\"take\":10,\"finding\":0", TP_ERR_FORMAT},
    {"\"take\":2,\"finding\":0", "\"take\":2,\"finding\":3", TP_ERR_FORMAT},
    {"\"sound\":\"", "\"sound\":\"<", TP_ERR_FORMAT},
    {"\"timecode_rate\":\"25\"", "\"timecode_rate\":\"twenty-five\"", TP_ERR_FORMAT},
};

START_TEST(json_read__what_cannot_be_is_refused)
{
    char *message = NULL;
    enum tp_status status = read_changed(changes[_i].from, changes[_i].to, &message);
    ck_assert_msg(status == changes[_i].status, "%s -> %s: %d, %s", changes[_i].from, changes[_i].to, (int)status,
                  message);
    if (status != TP_OK)
        ck_assert_msg(strstr(message, "is not a takeproof report") != NULL, "%s", message);
    free(message);
}
END_TEST

/* Members that only a report of an offload has. `wiped`: of one that says the card may be wiped. */
static const struct {
    bool wiped;
    const char *from, *to;
    enum tp_status status;
} handoff_changes[] = {
    {true, "\"may_be_wiped\":true", "\"may_be_wiped\":true", TP_OK},
    {true, "\"may_be_wiped\":true", "\"may_be_wiped\":false", TP_OK},
    {false, "\"may_be_wiped\":false", "\"may_be_wiped\":false", TP_OK},
    {false, "\"may_be_wiped\":false", "\"may_be_wiped\":true", TP_ERR_FORMAT}, /* the copies do not prove it */
    {true, "\"may_be_wiped\":true", "\"may_be_wiped\":1", TP_ERR_FORMAT},
    {true, "{\n\"format\": 1", "{\n\"merged\": true, \"format\": 1", TP_OK},
    {true, "{\n\"format\": 1", "{\n\"merged\": 1, \"format\": 1", TP_ERR_FORMAT},
    {true, "{\n\"format\": 1", "{\n\"compared\": {\"verdict\": \"pass\", \"words\": \"x\"}, \"format\": 1", TP_OK},
    {true, "{\n\"format\": 1", "{\n\"compared\": {\"verdict\": \"bad\", \"words\": \"x\"}, \"format\": 1",
     TP_ERR_FORMAT},
    {true, "{\n\"format\": 1", "{\n\"compared\": {\"verdict\": \"pass\"}, \"format\": 1", TP_ERR_FORMAT},
    {true, "{\n\"format\": 1", "{\n\"compared\": \"x\", \"format\": 1", TP_ERR_FORMAT},
    {true, "\"copies_wanted\":2", "\"copies_wanted\":3", TP_ERR_FORMAT},
    {true, "\"copies_wanted\":2", "\"copies_wanted\":0", TP_ERR_FORMAT},
    {true, "\"copies_wanted\":2", "\"copies_wanted\":1", TP_OK},
    {true, "\"file_count\":14", "\"file_count\":15", TP_ERR_FORMAT},
    {true, "\"copied\":14", "\"copied\":\"18446744073709551615\"", TP_ERR_FORMAT},
    {true, "\"kept\":10,\"failed\":0", "\"kept\":9,\"failed\":1", TP_ERR_FORMAT},
    {true, "\"readback\":\"direct\"", "\"readback\":\"surely\"", TP_ERR_FORMAT},
    {true, "\"message\":null", "\"message\":\"a folder is gone\"", TP_ERR_FORMAT},
    {true, "\"message\":null", "\"message\":7", TP_ERR_FORMAT},
    {true, "\"caution\":\"", "\"caution\":null,\"x\":\"", TP_OK},
    {true, "\"caution\":\"", "\"caution\":7,\"x\":\"", TP_ERR_FORMAT},
    {true, "\"destinations\":[", "\"destinations\":[],\"x\":[", TP_ERR_FORMAT},
    {true, "\"destinations\":[", "\"destinations\":[7,", TP_ERR_FORMAT},
    {true, "\"handoff\": {", "\"handoff\": null, \"x\": {", TP_OK},
    {true, "\"handoff\": {", "\"x\": {", TP_OK},
    {true, "\"handoff\": {", "\"handoff\": [], \"x\": {", TP_ERR_FORMAT},
    {true, "\"sha256\":\"7777", "\"sha256\":\"X777", TP_ERR_FORMAT},
    {true, "\"xxh64\":\"7777", "\"xxh64\":\"777", TP_ERR_FORMAT},
    {true, "\"xxh3\":\"7777", "\"xxh3\":\"777", TP_ERR_FORMAT},
    {true, "\"xxh3\":\"7777", "\"xxh3\":\"G777", TP_ERR_FORMAT},
    {true, "\"xxh3\":\"", "\"x\":\"", TP_OK}, /* reports from before it */
};

START_TEST(json_read__a_card_may_be_wiped_only_with_what_proves_it)
{
    char *message = NULL;
    enum tp_status status = read_changed_report(sample_report_offloaded(handoff_changes[_i].wiped),
                                                handoff_changes[_i].from, handoff_changes[_i].to, &message);
    ck_assert_msg(status == handoff_changes[_i].status, "%s -> %s: %d, %s", handoff_changes[_i].from,
                  handoff_changes[_i].to, (int)status, message);
    free(message);
}
END_TEST

START_TEST(json_read__what_an_offload_proved_comes_back)
{
    struct tp_report *report = sample_report_offloaded(false);
    struct tp_report *back = through_json(report);
    const struct tp_handoff *want = report->handoff, *got = back->handoff;
    ck_assert_ptr_nonnull(got);
    ck_assert(!got->may_be_wiped);
    ck_assert_uint_eq(got->copies_wanted, 2);
    ck_assert_uint_eq(got->file_count, 14);
    ck_assert_str_eq(got->words, want->words);
    ck_assert_ptr_null(got->caution);
    ck_assert_uint_eq(got->destination_count, 2);
    ck_assert_str_eq(got->destinations[1].path, "shuttle");
    ck_assert_uint_eq(got->destinations[1].copied, 0);
    ck_assert_uint_eq(got->destinations[1].kept, 12);
    ck_assert_uint_eq(got->destinations[1].failed, 2);
    ck_assert_int_eq(got->destinations[1].readback, TP_READBACK_DROPPED);
    ck_assert_str_eq(got->destinations[1].message, want->destinations[1].message);
    ck_assert_ptr_null(got->destinations[0].message);
    ck_assert_str_eq(back->others[1].sha256, report->others[1].sha256);
    ck_assert_str_eq(back->others[1].xxh64, "cccccccccccccccc");
    ck_assert_str_eq(back->others[1].xxh3, "cccccccccccccccc");
    ck_assert_str_eq(back->others[2].sha256, "");
    tp_report_free(report);
    tp_report_free(back);
    report = sample_report();
    back = through_json(report);
    ck_assert_ptr_null(back->handoff);
    tp_report_free(report);
    tp_report_free(back);
}
END_TEST

START_TEST(json_read__a_merged_report_does_not_say_that_a_card_may_be_wiped)
{
    struct tp_report *one[] = {sample_report_offloaded(true)};
    struct tp_report *two[] = {sample_report_offloaded(true), sample_report_offloaded(true)};
    struct tp_report *merged = NULL;
    ck_assert_int_eq(tp_report_merge(one, 1, &merged, NULL), TP_OK);
    ck_assert(merged->handoff != NULL && merged->handoff->may_be_wiped);
    tp_report_free(merged);
    merged = NULL;
    two[1]->sources[0][0] ^= 1; /* another card */
    ck_assert_int_eq(tp_report_merge(two, 2, &merged, NULL), TP_OK);
    ck_assert_ptr_null(merged->handoff);
    tp_report_free(merged);
}
END_TEST

/* Given twice, all would count double. */
START_TEST(json_read__a_report_is_not_merged_with_itself)
{
    struct tp_report *two[] = {sample_report_offloaded(true), sample_report_offloaded(true)};
    struct tp_report *merged = NULL;
    ck_assert_int_eq(tp_report_merge(two, 2, &merged, NULL), TP_ERR_USAGE);
    ck_assert(merged == NULL && two[0] == NULL && two[1] == NULL);
}
END_TEST

START_TEST(json_read__a_file_cut_anywhere_is_refused)
{
    struct tp_report *report = sample_report_pass();
    size_t size;
    char *json = written(tp_report_write_json, report, &size);
    tp_report_free(report);
    char *folder = scratch_new();
    char *path = scratch_format("%s/report.json", folder);
    /* The last two bytes are the closing brace and its newline. */
    for (size_t length = 0; length < size - 1; length += length < 3000 ? 61 : 997) {
        scratch_write(path, json, length);
        struct tp_report *back = NULL;
        ck_assert_int_eq(tp_report_read_json(path, &back, NULL), TP_ERR_FORMAT);
        ck_assert_ptr_null(back);
    }
    free(json);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(json_read__a_missing_file_cannot_be_opened)
{
    struct tp_report *back = NULL;
    ck_assert_int_eq(tp_report_read_json("/nowhere/report.json", &back, NULL), TP_ERR_OPEN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("json_read");
    TCase *tests = tcase_create("json_read");
    tcase_set_timeout(tests, 60);
    tcase_add_test(tests, json_read__every_writer_gives_the_same_bytes);
    tcase_add_loop_test(tests, json_read__what_cannot_be_is_refused, 0, sizeof changes / sizeof changes[0]);
    tcase_add_loop_test(tests, json_read__a_card_may_be_wiped_only_with_what_proves_it, 0,
                        sizeof handoff_changes / sizeof handoff_changes[0]);
    tcase_add_test(tests, json_read__what_an_offload_proved_comes_back);
    tcase_add_test(tests, json_read__a_merged_report_does_not_say_that_a_card_may_be_wiped);
    tcase_add_test(tests, json_read__a_report_is_not_merged_with_itself);
    tcase_add_test(tests, json_read__a_file_cut_anywhere_is_refused);
    tcase_add_test(tests, json_read__a_missing_file_cannot_be_opened);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
