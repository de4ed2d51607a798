/* SPDX-License-Identifier: MIT */
/*
 * One bad file among good ones: it is reported with its reason, the good ones come out exactly as they do without it,
 * and the exit status is that of the verdict. One row per kind of damage; what each state means is from RIFF MCI 1991,
 * EBU Tech 3306 and 3285, and (interrupted recordings) common practice, no source.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define SECONDS 4.0
#define GOOD_COUNT 2
#define BAD "m-bad.wav"

static const char *const good_names[GOOD_COUNT] = {"a-good.wav", "z-good.wav"};
static char *scratch, *card;
static double *sound; /* of the bad file: as good as the others */
static size_t frames;
static struct checked clean;

static char *inside(const char *name)
{
    return scratch_format("%s/%s", card, name);
}

static void make_good(void)
{
    scratch = scratch_new();
    card = scratch_format("%s/card", scratch);
    scratch_folder(card);
    for (size_t i = 0; i < GOOD_COUNT; i++) {
        char *path = inside(good_names[i]);
        good_take_write(path, 40 + i, SECONDS);
        free(path);
    }
    sound = good_take_samples(50, SECONDS, &frames);
    checked_source(&clean, card);
    ck_assert_msg(clean.run.exit_status == 0, "good takes alone: exit status %d\n%s%s", clean.run.exit_status,
                  clean.run.out, clean.run.err);
}

static void remove_good(void)
{
    checked_clear(&clean);
    free(sound);
    scratch_remove(scratch);
    free(card);
}

static const char apple_double[82] = "\0\5\26\7\0\2\0\0                \0\2\0\0\0\11\0\0\0\62\0\0\0\40";
static const char words[] = "This is not sound at all, only a text that somebody called a recording.\n";
static const struct wavgen_bext bext = {
    .description = "Harbour Lights", .date = "2031-03-14", .time = "10:00:00", .version = 1};
static const struct wavgen_bext short_bext = {.description = "Harbour Lights", .cut_to = 300};
static const struct wavgen_chunk odd_no_pad = {.id = "note", .data = "odd", .size = 3, .no_pad = true};
static const struct wavgen_chunk huge_chunk = {
    .id = "note", .data = "x", .size = 2, .declared = WAVGEN_LIE(0xFFFFFFF0)};
static const struct wavgen_chunk huge_after = {
    .id = "note", .data = "x", .size = 2, .declared = WAVGEN_LIE(0x7FFFFFF0), .after_data = true};
static const char broken_ixml[] = "<BWFXML><SCENE>12A</SCENE><TAKE>1</BROKEN";
static const char bomb_ixml[] =
    "<!DOCTYPE x [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]><BWFXML><SCENE>&b;</SCENE></BWFXML>";
static const int32_t not_numbers[2] = {0, 0};

/* `codes`: any one of these must be there with the severity of the verdict (words apart by a space); "" = the take may
 * pass. `verdict`: of the whole run. `raw`: bytes instead of a WAV. `full_sound`: every frame is there and must be
 * counted. */
struct damage {
    const char *what, *codes;
    int verdict;
    bool full_sound;
    struct wavgen wav;
    const void *raw;
    size_t raw_size;
    bool is_raw;
};

#define RAW(bytes, length) .is_raw = true, .raw = (bytes), .raw_size = (length)
#define LIE(number) WAVGEN_LIE(number)

static const struct damage damages[] = {
    {.what = "no byte", .codes = "empty-file", .verdict = 2, RAW("", 0)},
    {.what = "one byte", .codes = "not-wav header-only", .verdict = 2, RAW("R", 1)},
    {.what = "text", .codes = "not-wav", .verdict = 2, RAW(words, sizeof words - 1)},
    {.what = "zeros", .codes = "not-wav", .verdict = 2, RAW(NULL, 70000)},
    {.what = "AppleDouble", .codes = "not-wav", .verdict = 2, RAW(apple_double, sizeof apple_double)},
    {.what = "12 bytes of RIFF", .codes = "header-only truncated", .verdict = 2, .wav.truncate_at = LIE(12)},
    {.what = "cut inside fmt", .codes = "header-only truncated", .verdict = 2, .wav.truncate_at = LIE(30)},
    {.what = "cut before the first sample", .codes = "header-only truncated", .verdict = 2, .wav.truncate_at = LIE(44)},
    {.what = "a header without sound", .codes = "header-only", .verdict = 2, .wav.no_data = true},
    {.what = "half the sound", .codes = "truncated", .verdict = 2, .wav.truncate_at = LIE(500000)},
    {.what = "cut inside a frame", .codes = "truncated", .verdict = 2, .wav.truncate_at = LIE(500003)},
    {.what = "the last byte is missing", .codes = "truncated", .verdict = 2, .wav.drop_tail = 1},
    {.what = "data size 0", .codes = "unfinished-header", .verdict = 2, .full_sound = true, .wav.data_size = LIE(0)},
    {.what = "all sizes 0",
     .codes = "unfinished-header",
     .verdict = 2,
     .full_sound = true,
     .wav = {.data_size = LIE(0), .riff_size = LIE(0)}},
    {.what = "data size all ones",
     .codes = "unfinished-header truncated",
     .verdict = 2,
     .full_sound = true,
     .wav = {.data_size = LIE(0xFFFFFFFF), .riff_size = LIE(0xFFFFFFFF)}},
    {.what = "a stale data size",
     .codes = "unfinished-header size-mismatch",
     .verdict = 1,
     .full_sound = true,
     .wav.data_size = LIE(288000)},
    {.what = "data size beyond the file",
     .codes = "truncated",
     .verdict = 2,
     .full_sound = true,
     .wav.data_size = LIE(9000000)},
    {.what = "a wrong RIFF size",
     .codes = "size-mismatch",
     .verdict = 1,
     .full_sound = true,
     .wav.riff_size = LIE(1000)},
    {.what = "a RIFF size beyond the file",
     .codes = "size-mismatch truncated",
     .verdict = 1,
     .full_sound = true,
     .wav.riff_size = LIE(0x7FFFFFFF)},
    {.what = "bytes behind the end", .codes = "", .verdict = 0, .full_sound = true, .wav.trailing_size = 4096},
    {.what = "RF64 whose ds64 is all zero",
     .codes = "unfinished-header",
     .verdict = 2,
     .full_sound = true,
     .wav = {.container = WAVGEN_RF64, .ds64_riff_size = LIE(0), .ds64_data_size = LIE(0), .ds64_frames = LIE(0)}},
    {.what = "RF64 without ds64",
     .codes = "unfinished-header size-mismatch truncated not-wav",
     .verdict = 1,
     .wav = {.container = WAVGEN_RF64, .no_ds64 = true, .data_size = LIE(0xFFFFFFFF), .riff_size = LIE(0xFFFFFFFF)}},
    {.what = "RF64 that claims 2^63 bytes",
     .codes = "truncated unfinished-header",
     .verdict = 2,
     .full_sound = true,
     .wav = {.container = WAVGEN_RF64, .ds64_data_size = LIE(UINT64_C(1) << 63)}},
    {.what = "BW64 that claims 2^40 bytes",
     .codes = "truncated unfinished-header",
     .verdict = 2,
     .full_sound = true,
     .wav = {.container = WAVGEN_BW64, .ds64_data_size = LIE(UINT64_C(1) << 40)}},
    {.what = "no fmt", .codes = "unfinished-header not-wav header-only", .verdict = 2, .wav.no_fmt = true},
    {.what = "fmt behind data",
     .codes = "unfinished-header not-wav header-only",
     .verdict = 2,
     .wav.fmt_after_data = true},
    {.what = "fmt of a wrong size", .codes = "size-mismatch", .verdict = 1, .full_sound = true, .wav.fmt_size = LIE(7)},
    {.what = "no channels", .codes = "wrong-channel-count not-wav", .verdict = 2, .wav.fmt_channels = LIE(0)},
    {.what = "65,535 channels", .codes = "wrong-channel-count not-wav", .verdict = 2, .wav.fmt_channels = LIE(65535)},
    {.what = "rate 0",
     .codes = "not-wav header-only size-mismatch wrong-sample-rate",
     .verdict = 2,
     .wav.fmt_rate = LIE(0)},
    {.what = "rate of 4 GHz",
     .codes = "not-wav header-only size-mismatch wrong-sample-rate",
     .verdict = 2,
     .wav.fmt_rate = LIE(0xFFFFFFFF)},
    {.what = "13 bits", .codes = "unreadable wrong-bit-depth not-wav", .verdict = 2, .wav.bits = LIE(13)},
    {.what = "0 bits", .codes = "not-wav header-only size-mismatch wrong-bit-depth", .verdict = 2, .wav.bits = LIE(0)},
    {.what = "block align 0", .codes = "not-wav header-only size-mismatch", .verdict = 1, .wav.block_align = LIE(0)},
    {.what = "block align of another format",
     .codes = "not-wav header-only size-mismatch",
     .verdict = 1,
     .wav.block_align = LIE(4)},
    {.what = "a wrong byte rate", .codes = "", .verdict = 1, .full_sound = true, .wav.byte_rate = LIE(1)},
    {.what = "a compressed format", .codes = "wrong-encoding", .verdict = 2, .wav.format_tag = LIE(0x55)},
    {.what = "float",
     .codes = "wrong-encoding wrong-bit-depth",
     .verdict = 2,
     .full_sound = true,
     .wav.sample = WAVGEN_FLOAT32},
    {.what = "8 bits", .codes = "wrong-bit-depth", .verdict = 2, .full_sound = true, .wav.sample = WAVGEN_PCM8},
    {.what = "32 bits", .codes = "wrong-bit-depth", .verdict = 2, .full_sound = true, .wav.sample = WAVGEN_PCM32},
    {.what = "16 bits padded to 24", .codes = "padded-bits", .verdict = 2, .full_sound = true, .wav.pad_bits = 8},
    {.what = "two fmt chunks", .codes = "", .verdict = 1, .full_sound = true, .wav.fmt_twice = true},
    {.what = "two data chunks",
     .codes = "size-mismatch trailing-bytes unfinished-header",
     .verdict = 1,
     .wav.data_twice = true},
    {.what = "a pad byte left out",
     .codes = "",
     .verdict = 1,
     .full_sound = true,
     .wav = {.chunks = &odd_no_pad, .chunk_count = 1}},
    {.what = "a chunk that claims 4 GB",
     .codes = "truncated size-mismatch",
     .verdict = 1,
     .full_sound = true,
     .wav = {.chunks = &huge_chunk, .chunk_count = 1}},
    {.what = "a chunk behind the sound that claims 2 GB",
     .codes = "truncated size-mismatch trailing-bytes",
     .verdict = 2,
     .full_sound = true,
     .wav = {.chunks = &huge_after, .chunk_count = 1}},
    {.what = "part of a frame too much",
     .codes = "truncated size-mismatch",
     .verdict = 2,
     .full_sound = true,
     .wav.extra_data_bytes = 5},
    {.what = "a short bext", .codes = "metadata-conflict", .verdict = 1, .full_sound = true, .wav.bext = &short_bext},
    {.what = "broken iXML",
     .codes = "metadata-conflict",
     .verdict = 1,
     .full_sound = true,
     .wav = {.bext = &bext, .ixml = broken_ixml}},
    {.what = "an entity bomb", .codes = "metadata-conflict", .verdict = 1, .full_sound = true, .wav.ixml = bomb_ixml},
    {.what = "iXML padded with NULs",
     .codes = "",
     .verdict = 0,
     .full_sound = true,
     .wav = {.ixml = "<BWFXML><SCENE>12A</SCENE></BWFXML>", .ixml_padding = 5001}},
    {.what = "a cue list that claims 2^32 - 1 points",
     .codes = "",
     .verdict = 1,
     .full_sound = true,
     .wav.cues_declared = LIE(0xFFFFFFFF)},
    {.what = "another sample rate",
     .codes = "wrong-sample-rate",
     .verdict = 2,
     .full_sound = true,
     .wav.rate_hz = 44100},
    {.what = "digital silence",
     .codes = "silent-channel",
     .verdict = 2,
     .full_sound = true,
     .wav.sound = wavgen_silence},
    {.what = "two samples",
     .codes = "too-short silent-channel",
     .verdict = 1,
     .wav = {.frames = 1, .ints = not_numbers}},
};
#define DAMAGE_COUNT (sizeof damages / sizeof damages[0])

static void write_bad(const struct damage *damage)
{
    char *path = inside(BAD);
    if (damage->is_raw) {
        char *zeros = calloc(1, damage->raw_size + 1);
        scratch_write(path, damage->raw ? damage->raw : zeros, damage->raw_size);
        free(zeros);
    } else {
        struct wavgen w = damage->wav;
        w.channels = 2;
        if (!w.frames)
            w.frames = frames;
        if (!w.ints && !w.sound)
            w.reals = sound;
        wavgen_write(&w, path);
    }
    free(path);
}

static bool has_one_of(const json_t *take, const char *codes, const char *least)
{
    char *copy = strdup(codes), *rest = copy, *code;
    bool found = false;
    while ((code = strsep(&rest, " ")))
        found = found || checked_finding(take, code, least);
    free(copy);
    return found;
}

/* The same in every member but the number of the take, which counts the bad one too. */
static bool is_same_file(json_t *a, json_t *b)
{
    json_t *left = json_copy(a), *right = json_copy(b);
    json_object_del(left, "take");
    json_object_del(right, "take");
    bool same = left && json_equal(left, right);
    json_decref(left);
    json_decref(right);
    return same;
}

static void expect_good_untouched(const struct checked *checked, const char *what)
{
    for (size_t i = 0; i < GOOD_COUNT; i++) {
        json_t *with = checked_file(checked, good_names[i]), *without = checked_file(&clean, good_names[i]);
        ck_assert_msg(is_same_file(with, without), "beside %s: '%s' changed", what, good_names[i]);
        ck_assert_str_eq(checked_text(checked_take(checked, good_names[i]), "verdict"), "pass");
    }
}

START_TEST(damage__is_reported_and_the_rest_is_complete)
{
    const struct damage *damage = &damages[_i];
    static const char *const severities[] = {"note", "listen", "fail"};
    struct checked checked;
    write_bad(damage);
    checked_source(&checked, card);
    ck_assert_msg(checked.report != NULL, "%s: no report, exit status %d: %s", damage->what, checked.run.exit_status,
                  checked.run.err);
    const json_t *take = checked_take(&checked, BAD), *file = checked_file(&checked, BAD);
    char *found = checked_findings_text(take);
    ck_assert_msg(take != NULL, "%s: no take", damage->what);
    expect_good_untouched(&checked, damage->what);
    /* `verdict` is the least that must be said where reasonable people differ, the exact one for 0 and 2. */
    int status = checked.run.exit_status;
    bool fits = damage->verdict == 1 ? status <= 2 && (status >= 1 || !*damage->codes) : status == damage->verdict;
    ck_assert_msg(fits, "%s: exit status %d, not %d%s", damage->what, status, damage->verdict, found);
    if (*damage->codes)
        ck_assert_msg(has_one_of(take, damage->codes, severities[damage->verdict]), "%s: none of '%s'%s", damage->what,
                      damage->codes, found);
    if (damage->full_sound)
        ck_assert_msg(fabs(checked_number(file, "frames") - (double)frames) < 0.5, "%s: %.0f frames, not %zu%s",
                      damage->what, checked_number(file, "frames"), frames, found);
    free(found);
    checked_clear(&checked);
}
END_TEST

/* NaN and infinity in a float file: no number is left out of the JSON, and the sound is not called good. */
START_TEST(damage__non_finite_samples_fail)
{
    sound[2000] = (double)NAN;
    sound[2001] = (double)INFINITY;
    write_bad(&(struct damage){.wav.sample = WAVGEN_FLOAT32});
    struct checked checked;
    checked_source(&checked, card);
    ck_assert_int_eq(checked.run.exit_status, 2);
    ck_assert_ptr_nonnull(checked.report);
    const json_t *channels = json_object_get(checked_file(&checked, BAD), "channels");
    ck_assert_double_le(fabs(checked_number(json_array_get(channels, 0), "sample_peak_dbfs")), 30.0);
    checked_clear(&checked);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("damage");
    TCase *rows = tcase_create("one bad file");
    tcase_add_unchecked_fixture(rows, make_good, remove_good);
    tcase_set_timeout(rows, 30);
    tcase_add_loop_test(rows, damage__is_reported_and_the_rest_is_complete, 0, (int)DAMAGE_COUNT);
    tcase_add_test(rows, damage__non_finite_samples_fail);
    suite_add_tcase(suite, rows);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
