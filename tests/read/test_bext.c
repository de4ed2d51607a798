/* SPDX-License-Identifier: MIT */
#include "read/bext.h"

#include "base/num.h"
#include "base/text.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

static void put(uint8_t *at, const char *text)
{
    memcpy(at, text, strlen(text));
}

/* A version 2 chunk laid out by hand from the table of EBU Tech 3285 v2. */
static void full(uint8_t *b)
{
    memset(b, 0, TP_BEXT_FIXED_BYTES);
    put(b, "Harbour Lights, scene 12A");
    put(b + 256, "A. Example");
    put(b + 288, "XXABC1234567890");
    put(b + 320, "2026-05-04");
    put(b + 330, "10:20:30");
    tp_put_le32(b + 338, 705032704);
    tp_put_le32(b + 342, 1);
    tp_put_le16(b + 346, 2);
    for (int i = 0; i < 32; i++)
        b[348 + i] = (uint8_t)(i + 1);
    tp_put_le16(b + 412, 0xF704); /* -23.00: the value of the standard */
    tp_put_le16(b + 414, 1050);
    tp_put_le16(b + 416, (uint16_t)-123);
    tp_put_le16(b + 418, 0x7FFF);
    tp_put_le16(b + 420, 10000);
}

START_TEST(bext__every_field_is_read)
{
    uint8_t data[TP_BEXT_FIXED_BYTES + 40] = {0};
    full(data);
    static const char history[] = "A=PCM,F=48000,W=24,M=mono,T=x\r\n";
    put(data + TP_BEXT_FIXED_BYTES, history);
    struct tp_bext *bext;
    ck_assert_int_eq(tp_bext_parse(data, sizeof data, &bext, NULL), TP_OK);
    ck_assert_str_eq(bext->description, "Harbour Lights, scene 12A");
    ck_assert_str_eq(bext->originator, "A. Example");
    ck_assert_str_eq(bext->originator_reference, "XXABC1234567890");
    ck_assert_str_eq(bext->origination_date, "2026-05-04");
    ck_assert_str_eq(bext->origination_time, "10:20:30");
    ck_assert_uint_eq(bext->time_reference_samples, 5000000000u);
    ck_assert_uint_eq(bext->version, 2);
    ck_assert_str_eq(bext->umid, "0102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f20");
    ck_assert_double_eq(bext->loudness_value_lufs, -23.0);
    ck_assert_double_eq(bext->loudness_range_lu, 10.5);
    ck_assert_double_eq(bext->max_true_peak_dbtp, -1.23);
    ck_assert(!tp_exists(bext->max_momentary_lufs));
    ck_assert(!tp_exists(bext->max_short_term_lufs));
    ck_assert_str_eq(bext->coding_history, "A=PCM,F=48000,W=24,M=mono,T=x");
    tp_bext_free(bext);
}
END_TEST

START_TEST(bext__older_versions_have_no_loudness)
{
    uint8_t data[TP_BEXT_FIXED_BYTES];
    for (unsigned version = 0; version < 2; version++) {
        full(data);
        tp_put_le16(data + 346, (uint16_t)version);
        struct tp_bext *bext;
        ck_assert_int_eq(tp_bext_parse(data, sizeof data, &bext, NULL), TP_OK);
        ck_assert(!tp_exists(bext->loudness_value_lufs));
        ck_assert(!tp_exists(bext->loudness_range_lu));
        ck_assert_uint_eq(strlen(bext->umid), version == 0 ? 0 : 64);
        tp_bext_free(bext);
    }
}
END_TEST

START_TEST(bext__full_width_fields_have_no_nul)
{
    uint8_t data[TP_BEXT_FIXED_BYTES];
    memset(data, 'x', sizeof data);
    struct tp_bext *bext;
    ck_assert_int_eq(tp_bext_parse(data, sizeof data, &bext, NULL), TP_OK);
    ck_assert_uint_eq(strlen(bext->description), 256);
    ck_assert_uint_eq(strlen(bext->originator), 32);
    ck_assert_uint_eq(strlen(bext->originator_reference), 32);
    ck_assert_uint_eq(strlen(bext->origination_date), 10);
    ck_assert_uint_eq(strlen(bext->origination_time), 8);
    ck_assert_str_eq(bext->coding_history, "");
    tp_bext_free(bext);
}
END_TEST

START_TEST(bext__short_chunk_is_refused)
{
    uint8_t data[TP_BEXT_FIXED_BYTES] = {0};
    struct tp_bext *bext = NULL;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_bext_parse(data, sizeof data - 1, &bext, &error), TP_ERR_FORMAT);
    ck_assert_ptr_nonnull(strstr(tp_error_text(&error), "601"));
    ck_assert_ptr_null(bext);
    tp_error_clear(&error);
}
END_TEST

START_TEST(bext__eight_bit_text_survives)
{
    uint8_t data[TP_BEXT_FIXED_BYTES] = {0};
    put(data, "caf\xE9 \x93quote\x94");
    put(data + 256, "caf\xC3\xA9");
    struct tp_bext *bext;
    ck_assert_int_eq(tp_bext_parse(data, sizeof data, &bext, NULL), TP_OK);
    ck_assert_str_eq(bext->description, "caf\xC3\xA9 \xE2\x80\x9Cquote\xE2\x80\x9D");
    ck_assert_str_eq(bext->originator, "caf\xC3\xA9");
    tp_bext_free(bext);
}
END_TEST

START_TEST(bext__written_fields_are_read_back)
{
    uint8_t data[TP_BEXT_FIXED_BYTES];
    full(data);
    struct tp_bext *bext, *again;
    ck_assert_int_eq(tp_bext_parse(data, sizeof data, &bext, NULL), TP_OK);
    uint8_t *written;
    size_t size;
    ck_assert_int_eq(tp_bext_write(bext, &written, &size, NULL), TP_OK);
    /* 100.00 LUFS is out of range: it comes back as 0x7FFF, not used, which is what reading made of it. */
    tp_put_le16(data + 420, 0x7FFF);
    ck_assert_uint_eq(size, sizeof data);
    ck_assert_mem_eq(written, data, sizeof data);
    ck_assert_int_eq(tp_bext_parse(written, size, &again, NULL), TP_OK);
    ck_assert_str_eq(again->umid, bext->umid);
    free(written);
    tp_bext_free(bext);
    tp_bext_free(again);
}
END_TEST

START_TEST(bext__long_text_is_cut_at_a_character)
{
    char name[] = "1234567890123456789012345678901\xC3\xA9"; /* 31 bytes, then two more */
    struct tp_bext bext = {.originator = name,
                           .loudness_value_lufs = NAN,
                           .loudness_range_lu = NAN,
                           .max_true_peak_dbtp = NAN,
                           .max_momentary_lufs = NAN,
                           .max_short_term_lufs = NAN};
    uint8_t *data;
    size_t size;
    ck_assert_int_eq(tp_bext_write(&bext, &data, &size, NULL), TP_OK);
    ck_assert_uint_eq(size, TP_BEXT_FIXED_BYTES);
    ck_assert_mem_eq(data + 256, "1234567890123456789012345678901\0", 32);
    ck_assert_uint_eq(tp_le16(data + 346), 1);
    free(data);
}
END_TEST

/* libsndfile as the outside reader: the fields of a file with our chunk in it. */
START_TEST(bext__written_chunk_is_read_by_libsndfile)
{
    char history[] = "A=PCM,F=48000,W=16,M=mono,T=harbour";
    char description[] = "scene 12A take 3", originator[] = "takeproof", date[] = "2026-05-04", time[] = "10:20:30";
    struct tp_bext bext = {.description = description,
                           .originator = originator,
                           .origination_date = date,
                           .origination_time = time,
                           .time_reference_samples = 5000000000u,
                           .loudness_value_lufs = -23.0,
                           .loudness_range_lu = 10.5,
                           .max_true_peak_dbtp = -1.23,
                           .max_momentary_lufs = NAN,
                           .max_short_term_lufs = -18.4,
                           .coding_history = history};
    uint8_t *data;
    size_t size;
    ck_assert_int_eq(tp_bext_write(&bext, &data, &size, NULL), TP_OK);
    uint8_t head[] = "RIFF\0\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x80\xBB\0\0\0\x77\1\0\2\0\x10\0";
    char path[] = "/tmp/takeproof-bext-XXXXXX";
    int fd = mkstemp(path);
    FILE *out = fdopen(fd, "w");
    size_t padded = size + (size & 1);
    tp_put_le32(head + 4, (uint32_t)(36 - 8 + 8 + padded + 8 + 4));
    fwrite(head, 1, 36, out);
    uint8_t chunk[8] = "bext";
    tp_put_le32(chunk + 4, (uint32_t)size);
    fwrite(chunk, 1, 8, out);
    fwrite(data, 1, size, out);
    if (size & 1)
        fputc(0, out);
    fwrite("data\4\0\0\0\1\2\3\4", 1, 12, out);
    fclose(out);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_ptr_nonnull(file);
    SF_BROADCAST_INFO_VAR(1024) read = {0};
    ck_assert_int_eq(sf_command(file, SFC_GET_BROADCAST_INFO, &read, sizeof read), SF_TRUE);
    ck_assert_mem_eq(read.description, description, sizeof description);
    ck_assert_mem_eq(read.originator, originator, sizeof originator);
    ck_assert_mem_eq(read.origination_date, date, 10);
    ck_assert_mem_eq(read.origination_time, time, 8);
    ck_assert_uint_eq(read.time_reference_low, 705032704u);
    ck_assert_uint_eq(read.time_reference_high, 1);
    ck_assert_int_eq(read.version, 2);
    ck_assert_int_eq(read.loudness_value, -2300);
    ck_assert_int_eq(read.loudness_range, 1050);
    ck_assert_int_eq(read.max_true_peak_level, -123);
    ck_assert_int_eq(read.max_momentary_loudness, 0x7FFF);
    ck_assert_int_eq(read.max_shortterm_loudness, -1840);
    ck_assert_mem_eq(read.coding_history, history, strlen(history));
    sf_close(file);
    unlink(path);
    free(data);
}
END_TEST

/* FFmpeg as the outside writer and reader, in both directions. */

static const char *const ffmpeg_fields[] = {
    "description",    "originator", "originator_reference", "origination_date", "origination_time",
    "time_reference", "umid",       "coding_history"};
static const char *const ffmpeg_values[] = {"Harbour Lights 12A/3, caf\xC3\xA9",
                                            "A. Example",
                                            "XXABC0001",
                                            "2026-05-04",
                                            "10:20:30",
                                            "5000000000",
                                            "0x0102030405060708090A0B0C0D0E0F101112131415161718191A1B1C1D1E1F20",
                                            "A=PCM,F=48000,W=24,M=mono"};
/* The names under which its reader shows them. */
static const char *const ffprobe_tags[] = {"comment", "encoded_by",    "originator_reference",
                                           "date",    "creation_time", "time_reference",
                                           "umid",    "coding_history"};
enum { FIELDS = sizeof ffmpeg_fields / sizeof ffmpeg_fields[0] };

static char *ffprobe_tag(const char *path, const char *tag)
{
    char *entries = scratch_format("format_tags=%s", tag);
    const char *argv[] = {
        "ffprobe", "-v", "error", "-show_entries", entries, "-of", "default=noprint_wrappers=1:nokey=1", path, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    run.out[strcspn(run.out, "\r\n")] = '\0';
    char *text = scratch_format("%s", run.out);
    run_clear(&run);
    free(entries);
    return text;
}

static struct tp_bext *parse_file(const char *path)
{
    size_t size;
    char *bytes = scratch_read(path, &size);
    ck_assert_ptr_nonnull(bytes);
    char *chunk = memmem(bytes, size, "bext", 4);
    ck_assert_ptr_nonnull(chunk);
    struct tp_bext *bext;
    ck_assert_int_eq(tp_bext_parse((uint8_t *)chunk + 8, tp_le32((uint8_t *)chunk + 4), &bext, NULL), TP_OK);
    free(bytes);
    return bext;
}

static void compare_with_ffprobe(const struct tp_bext *bext, const char *path)
{
    char *umid = scratch_format("0x%s", bext->umid),
         *time = scratch_format("%llu", (unsigned long long)bext->time_reference_samples);
    const char *ours[FIELDS] = {bext->description,
                                bext->originator,
                                bext->originator_reference,
                                bext->origination_date,
                                bext->origination_time,
                                time,
                                umid,
                                bext->coding_history};
    for (size_t i = 0; i < FIELDS; i++) {
        char *theirs = ffprobe_tag(path, ffprobe_tags[i]);
        /* ffprobe writes all 64 bytes of a UMID, the unused half as zeros. */
        size_t length = strcmp(ffmpeg_fields[i], "umid") == 0 ? strlen(ours[i]) : strlen(theirs);
        ck_assert_msg(theirs[0] != '\0' && strncasecmp(ours[i], theirs, length) == 0 && length == strlen(ours[i]),
                      "%s: '%s', ffprobe '%s'", ffmpeg_fields[i], ours[i], theirs);
        free(theirs);
    }
    free(umid);
    free(time);
}

START_TEST(bext__ffmpegs_chunk_reads_as_ffprobe_reads_it)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    const char *argv[64] = {"ffmpeg", "-v", "error", "-f", "lavfi", "-i", "sine=duration=0.1", "-write_bext", "1"};
    size_t count = 9;
    char *pairs[FIELDS];
    for (size_t i = 0; i < FIELDS; i++) {
        pairs[i] = scratch_format("%s=%s", ffmpeg_fields[i], ffmpeg_values[i]);
        argv[count++] = "-metadata";
        argv[count++] = pairs[i];
    }
    argv[count] = path;
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    run_clear(&run);
    struct tp_bext *bext = parse_file(path);
    ck_assert_str_eq(bext->description, ffmpeg_values[0]);
    ck_assert_uint_eq(bext->time_reference_samples, 5000000000u);
    compare_with_ffprobe(bext, path);
    tp_bext_free(bext);
    for (size_t i = 0; i < FIELDS; i++)
        free(pairs[i]);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(bext__our_chunk_reads_the_same_in_ffprobe)
{
    uint8_t raw[TP_BEXT_FIXED_BYTES + 40] = {0};
    full(raw);
    put(raw + TP_BEXT_FIXED_BYTES, "A=PCM,F=48000,W=24,M=mono");
    struct tp_bext *bext;
    uint8_t *data;
    size_t size;
    ck_assert_int_eq(tp_bext_parse(raw, sizeof raw, &bext, NULL), TP_OK);
    ck_assert_int_eq(tp_bext_write(bext, &data, &size, NULL), TP_OK);
    struct wavgen_chunk chunk = {.id = "bext", .data = data, .size = size};
    struct wavgen w = {.frames = 100, .chunks = &chunk, .chunk_count = 1};
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    wavgen_write(&w, path);
    compare_with_ffprobe(bext, path);
    free(data);
    tp_bext_free(bext);
    free(path);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("bext");
    TCase *tcase = tcase_create("bext");
    tcase_set_timeout(tcase, 30);
    tcase_add_test(tcase, bext__every_field_is_read);
    tcase_add_test(tcase, bext__older_versions_have_no_loudness);
    tcase_add_test(tcase, bext__full_width_fields_have_no_nul);
    tcase_add_test(tcase, bext__short_chunk_is_refused);
    tcase_add_test(tcase, bext__eight_bit_text_survives);
    tcase_add_test(tcase, bext__written_fields_are_read_back);
    tcase_add_test(tcase, bext__long_text_is_cut_at_a_character);
    tcase_add_test(tcase, bext__written_chunk_is_read_by_libsndfile);
    tcase_add_test(tcase, bext__ffmpegs_chunk_reads_as_ffprobe_reads_it);
    tcase_add_test(tcase, bext__our_chunk_reads_the_same_in_ffprobe);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
