/* SPDX-License-Identifier: MIT */
#include "read/salvage.h"

#include "base/num.h"
#include "read/guess.h"
#include "support/real_voice.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char ixml_text[] = "<BWFXML><SCENE>12A</SCENE><TAKE>3</TAKE></BWFXML>";
static const struct wavgen_bext bext_fields = {
    .description = "Harbour Lights", .time_reference = 172800000, .version = 1};

/* Salvages `path` into folder/out. The error text, or NULL when all went well. */
static struct tp_salvage_result *salvage(const char *folder, const char *path, enum tp_status expected)
{
    char *out = scratch_format("%s/out", folder);
    struct tp_salvage_options options = {.path = path, .directory = out, .not_on_card = true};
    struct tp_salvage_result *result = NULL;
    struct tp_error error = {0};
    enum tp_status status = tp_salvage(&options, &result, &error);
    ck_assert_msg(status == expected, "%s: %d %s", path, status, tp_error_text(&error));
    tp_error_clear(&error);
    free(out);
    return result;
}

/* All sample bytes of a file as libsndfile finds them. */
static uint8_t *sndfile_bytes(const char *path, size_t *size, SF_INFO *info)
{
    *info = (SF_INFO){0};
    SNDFILE *file = sf_open(path, SFM_READ, info);
    ck_assert_msg(file != NULL, "%s: %s", path, sf_strerror(NULL));
    int width = (info->format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_U8   ? 1
                : (info->format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_16 ? 2
                : (info->format & SF_FORMAT_SUBMASK) == SF_FORMAT_PCM_24 ? 3
                : (info->format & SF_FORMAT_SUBMASK) == SF_FORMAT_DOUBLE ? 8
                                                                         : 4;
    *size = (size_t)info->frames * (size_t)info->channels * (size_t)width;
    uint8_t *bytes = malloc(*size + 1);
    ck_assert_int_eq(sf_read_raw(file, bytes, (sf_count_t)*size), (sf_count_t)*size);
    sf_close(file);
    return bytes;
}

/* ---- 1,000 places to be cut ---- */

enum { CUTS = 1000, BATCH = 25, FRAMES = 3000 };

static const enum wavgen_sample cut_samples[] = {WAVGEN_PCM24, WAVGEN_PCM16, WAVGEN_PCM32, WAVGEN_FLOAT32};
static const char *const raw_formats[] = {"s24le", "s16le", "s32le", "f32le"};
static const char *const raw_codecs[] = {"pcm_s24le", "pcm_s16le", "pcm_s32le", "pcm_f32le"};

static struct wavgen cut_shape(int kind)
{
    struct wavgen w = {.sample = cut_samples[kind % 4],
                       .channels = 1 + (uint32_t)(kind / 4 % 3),
                       .frames = FRAMES,
                       .container = kind / 12 % 2 != 0 ? WAVGEN_RF64 : WAVGEN_RIFF,
                       .bext = &bext_fields,
                       .ixml = ixml_text};
    if (kind / 24 % 2 != 0) {
        w.riff_size = w.data_size = (struct wavgen_lie)WAVGEN_LIE(0);
        w.ds64_data_size = w.ds64_riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
    }
    return w;
}

struct batch {
    char *copies[BATCH];
    uint8_t *sound[BATCH];
    size_t bytes[BATCH];
    int count;
};

/* One FFmpeg for the batch: every copy decoded to raw samples, compared with the original's. */
static void check_ffmpeg(const struct batch *b, const char *folder, int sample)
{
    char *command = scratch_format("cd '%s' && ffmpeg -v error -y -xerror", folder);
    for (int i = 0; i < b->count; i++) {
        char *longer = scratch_format("%s -i '%s'", command, b->copies[i]);
        free(command);
        command = longer;
    }
    for (int i = 0; i < b->count; i++) {
        char *longer =
            scratch_format("%s -map %d:a -c:a %s -f %s %d.raw", command, i, raw_codecs[sample], raw_formats[sample], i);
        free(command);
        command = longer;
    }
    ck_assert_msg(system(command) == 0, "%s", command);
    free(command);
    for (int i = 0; i < b->count; i++) {
        char *path = scratch_format("%s/%d.raw", folder, i);
        size_t size;
        char *raw = scratch_read(path, &size);
        ck_assert_ptr_nonnull(raw);
        ck_assert_msg(size == b->bytes[i] && memcmp(raw, b->sound[i], size) == 0, "%s: FFmpeg reads other sound",
                      b->copies[i]);
        free(raw);
        free(path);
    }
}

/* One SoX for the batch: it strings the inputs together. Channels must agree, so the batch is of one shape. */
static void check_sox(const struct batch *b, const char *folder, int sample)
{
    char *command = scratch_format("cd '%s' && sox", folder);
    size_t total = 0, size;
    for (int i = 0; i < b->count; i++) {
        char *longer = scratch_format("%s '%s'", command, b->copies[i]);
        free(command);
        command = longer;
        total += b->bytes[i];
    }
    char *whole = scratch_format("%s -t raw all.raw", command);
    ck_assert_msg(system(whole) == 0, "%s", whole);
    free(whole);
    free(command);
    char *path = scratch_format("%s/all.raw", folder);
    char *raw = scratch_read(path, &size);
    ck_assert_msg(size == total, "SoX reads %zu of %zu bytes", size, total);
    size_t at = 0;
    /* SoX carries float as 32-bit integers, so only PCM comes back bit for bit. */
    for (int i = 0; i < b->count && cut_samples[sample] != WAVGEN_FLOAT32; at += b->bytes[i], i++)
        ck_assert_msg(memcmp(raw + at, b->sound[i], b->bytes[i]) == 0, "%s: SoX reads other sound", b->copies[i]);
    free(raw);
    free(path);
}

static void add_cut(struct batch *b, const char *folder, const struct wavgen *shape, uint64_t number)
{
    size_t size;
    uint8_t *bytes = wavgen_bytes(shape, &size);
    uint32_t frame = wavgen_sample_bytes(shape->sample) * shape->channels;
    size_t audio = wavgen_audio_offset(shape);
    size_t cut = (size_t)((wavgen_random(number) + 1.0) / 2.0 * (double)size);
    size_t sound = cut > audio ? (cut - audio) / frame * frame : 0;
    char *path = scratch_format("%s/cut%llu.wav", folder, (unsigned long long)number);
    scratch_write(path, bytes, cut);
    struct tp_salvage_result *result = salvage(folder, path, sound > 0 ? TP_OK : TP_ERR_FORMAT);
    if (sound > 0) {
        ck_assert_ptr_nonnull(result->written);
        ck_assert_uint_ge(result->finding_count, 1);
        ck_assert_uint_eq(result->frames, sound / frame);
        SF_INFO info;
        size_t read;
        uint8_t *copied = sndfile_bytes(result->written, &read, &info);
        ck_assert_msg(read == sound && memcmp(copied, bytes + audio, sound) == 0,
                      "cut %zu: libsndfile reads other sound", cut);
        free(copied);
        b->copies[b->count] = scratch_format("%s", result->written);
        b->sound[b->count] = malloc(sound);
        memcpy(b->sound[b->count], bytes + audio, sound);
        b->bytes[b->count++] = sound;
        size_t after;
        char *original = scratch_read(path, &after);
        ck_assert(after == cut && memcmp(original, bytes, cut) == 0);
        free(original);
    }
    tp_salvage_result_free(result);
    free(path);
    free(bytes);
}

START_TEST(salvage__a_cut_anywhere_keeps_every_whole_frame)
{
    char *folder = scratch_new();
    struct batch b = {0};
    struct wavgen shape = cut_shape(_i);
    for (int k = 0; k < BATCH; k++)
        add_cut(&b, folder, &shape, (uint64_t)(_i * BATCH + k));
    ck_assert_int_ge(b.count, BATCH / 2);
    check_ffmpeg(&b, folder, _i % 4);
    check_sox(&b, folder, _i % 4);
    for (int i = 0; i < b.count; i++) {
        free(b.copies[i]);
        free(b.sound[i]);
    }
    scratch_remove(folder);
}
END_TEST

/* ---- other damage ---- */

static void expect_sound(const char *folder, const struct wavgen *damaged, const struct wavgen *honest, uint64_t frames)
{
    char *path = scratch_format("%s/x.wav", folder);
    wavgen_write(damaged, path);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    ck_assert_ptr_nonnull(result->written);
    ck_assert_uint_eq(result->frames, frames);
    size_t size, read;
    SF_INFO info;
    uint8_t *bytes = wavgen_bytes(honest, &size), *copied = sndfile_bytes(result->written, &read, &info);
    ck_assert_uint_eq(read, (size_t)frames * honest->channels * wavgen_sample_bytes(honest->sample));
    ck_assert_mem_eq(copied, bytes + wavgen_audio_offset(honest), read);
    ck_assert_int_eq(info.samplerate, 48000);
    free(copied);
    free(bytes);
    tp_salvage_result_free(result);
    free(path);
}

static const struct {
    const char *name;
    struct wavgen damaged;
} damages[] = {
    {"size 0, metadata behind",
     {.channels = 2,
      .frames = FRAMES,
      .riff_size = WAVGEN_LIE(0),
      .data_size = WAVGEN_LIE(0),
      .ixml = ixml_text,
      .metadata_after_data = true}},
    {"stale size", {.channels = 2, .frames = FRAMES, .data_size = WAVGEN_LIE(600)}},
    {"placeholder",
     {.channels = 2, .frames = FRAMES, .riff_size = WAVGEN_LIE(UINT32_MAX), .data_size = WAVGEN_LIE(UINT32_MAX)}},
    {"fmt behind the sound", {.channels = 2, .frames = FRAMES, .fmt_after_data = true}},
    {"zeros behind", {.channels = 2, .frames = FRAMES, .trailing_size = 70000}},
    {"outer size wrong", {.channels = 2, .frames = FRAMES, .riff_size = WAVGEN_LIE(17)}},
    {"fmt size wrong", {.channels = 2, .frames = FRAMES, .fmt_size = WAVGEN_LIE(999999)}},
};

START_TEST(salvage__other_damage)
{
    char *folder = scratch_new();
    struct wavgen honest = {.channels = 2, .frames = FRAMES};
    expect_sound(folder, &damages[_i].damaged, &honest, FRAMES);
    scratch_remove(folder);
}
END_TEST

START_TEST(salvage__metadata_comes_along_byte_for_byte)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    struct wavgen w = {
        .channels = 2, .frames = FRAMES, .bext = &bext_fields, .ixml = ixml_text, .info_name = "odd", .drop_tail = 601};
    wavgen_write(&w, path);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    size_t size, original;
    char *copy = scratch_read(result->written, &size), *bytes = scratch_read(path, &original);
    char *bext = memmem(bytes, original, "bext", 4), *copied = memmem(copy, size, "bext", 4);
    ck_assert_ptr_nonnull(copied);
    ck_assert_mem_eq(bext, copied, 8 + 602);
    ck_assert_ptr_nonnull(memmem(copy, size, ixml_text, strlen(ixml_text)));
    ck_assert_ptr_nonnull(memmem(copy, size, "INAM", 4));
    free(copy);
    free(bytes);
    tp_salvage_result_free(result);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(salvage__healthy_file_gives_no_copy)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    struct wavgen w = {.channels = 2, .frames = FRAMES, .bext = &bext_fields};
    wavgen_write(&w, path);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    ck_assert_ptr_null(result->written);
    ck_assert_uint_eq(result->finding_count, 0);
    ck_assert_uint_eq(result->frames, FRAMES);
    tp_salvage_result_free(result);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(salvage__an_existing_copy_and_the_originals_folder_are_left_alone)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder),
         *copy = scratch_format("%s/out/x-salvaged.wav", folder);
    char *out = scratch_format("%s/out", folder);
    struct wavgen w = {.frames = FRAMES, .drop_tail = 100};
    wavgen_write(&w, path);
    scratch_folder(out);
    scratch_write(copy, "mine", 4);
    ck_assert_ptr_null(salvage(folder, path, TP_ERR_EXISTS));
    size_t size;
    char *kept = scratch_read(copy, &size);
    ck_assert_str_eq(kept, "mine");
    uint64_t before = scratch_fingerprint(folder);
    struct tp_salvage_options options = {.path = path, .directory = folder};
    struct tp_salvage_result *result = NULL;
    ck_assert_int_eq(tp_salvage(&options, &result, NULL), TP_ERR_USAGE);
    options.not_on_card = true; /* even then */
    ck_assert_int_eq(tp_salvage(&options, &result, NULL), TP_ERR_USAGE);
    ck_assert_uint_eq(before, scratch_fingerprint(folder));
    free(kept);
    free(out);
    free(copy);
    free(path);
    scratch_remove(folder);
}
END_TEST

static const struct {
    const char *bytes;
    size_t size;
} hopeless[] = {
#define BYTES(text)                                                                                                    \
    {                                                                                                                  \
        text, sizeof(text) - 1                                                                                         \
    }
    BYTES(""),
    BYTES("RIFF"),
    BYTES("fLaC\0\0\0\x22________________"),
    BYTES("\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"),
    BYTES("RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\1\0\1\0\x80\xBB\0\0\0\x77\1\0\2\0\x10\0data\0\0\0\0"),
    BYTES("RIFF\x28\0\0\0WAVEfmt \x10\0\0\0\2\0\1\0\x80\xBB\0\0\0\x77\1\0\2\0\x10\0data\4\0\0\0abcd"),
};

START_TEST(salvage__where_there_is_no_sound_it_says_so)
{
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder), *out = scratch_format("%s/out", folder);
    scratch_write(path, hopeless[_i].bytes, hopeless[_i].size);
    ck_assert_ptr_null(salvage(folder, path, TP_ERR_FORMAT));
    free(out);
    free(path);
    scratch_remove(folder);
}
END_TEST

/* ---- no header at all ---- */

static double voice_at(const struct real_voice *voice, uint64_t frame, double gain)
{
    return voice->samples[frame % voice->frames] * gain;
}
static double voices(const void *user, uint64_t frame, unsigned channel)
{
    const struct real_voice *voice = user;
    double noise = wavgen_random(frame * 16 + channel) * 3e-5;
    return channel % 2 == 0 ? voice_at(voice, frame + channel * 9000, 0.5) + noise
                            : voice_at(voice, frame + (channel - 1) * 9000, 0.16) + noise;
}

static const struct {
    enum wavgen_sample sample;
    uint32_t channels, bits;
    bool is_float;
} headless[] = {{WAVGEN_PCM24, 1, 24, false}, {WAVGEN_PCM24, 2, 24, false},  {WAVGEN_PCM16, 2, 16, false},
                {WAVGEN_PCM24, 4, 24, false}, {WAVGEN_FLOAT32, 2, 32, true}, {WAVGEN_PCM24, 6, 24, false}};

START_TEST(salvage__the_format_of_headless_speech_is_guessed)
{
    struct real_voice voice;
    const char *why = "";
    ck_assert_msg(real_voice_load_long(96000, 0, &voice, &why), "%s", why);
    struct wavgen w = {.sample = headless[_i].sample,
                       .channels = headless[_i].channels,
                       .frames = 96000,
                       .sound = voices,
                       .sound_user = &voice};
    size_t size;
    uint8_t *bytes = wavgen_bytes(&w, &size);
    size_t lost = 4096; /* the first block of the card */
    memset(bytes, 0, lost);
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    scratch_write(path, bytes, size);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    ck_assert(result->format_guessed);
    ck_assert_uint_ge(result->note_count, 2);
    ck_assert_uint_eq(result->format.bit_depth, headless[_i].bits);
    ck_assert_int_eq(result->format.encoding, headless[_i].is_float ? TP_ENCODING_FLOAT : TP_ENCODING_PCM);
    ck_assert_uint_eq(result->format.channel_count, headless[_i].channels);
    uint32_t width = wavgen_sample_bytes(w.sample);
    ck_assert_uint_eq((result->source_offset - wavgen_audio_offset(&w)) % width, 0);
    tp_salvage_result_free(result);
    real_voice_clear(&voice);
    free(bytes);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(salvage__a_header_without_its_first_bytes_is_rebuilt_exactly)
{
    struct wavgen w = {.channels = 2, .frames = FRAMES, .bext = &bext_fields};
    size_t size, read;
    uint8_t *bytes = wavgen_bytes(&w, &size);
    memset(bytes, 0, 12);
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder);
    scratch_write(path, bytes, size);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    ck_assert(!result->format_guessed);
    SF_INFO info;
    uint8_t *copied = sndfile_bytes(result->written, &read, &info);
    ck_assert_uint_eq(read, FRAMES * 6);
    ck_assert_mem_eq(copied, bytes + wavgen_audio_offset(&w), read);
    free(copied);
    tp_salvage_result_free(result);
    free(bytes);
    free(path);
    scratch_remove(folder);
}
END_TEST

START_TEST(salvage__noise_bytes_are_no_format)
{
    static uint8_t bytes[65536];
    struct tp_guess guess;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (uint8_t)((wavgen_random(i) + 1.0) * 127.9);
    ck_assert(!tp_guess_format(bytes, sizeof bytes, 0, 0, &guess));
    memset(bytes, 0, sizeof bytes);
    ck_assert(!tp_guess_format(bytes, sizeof bytes, 0, 0, &guess));
    ck_assert(!tp_guess_format(bytes, 10, 0, 0, &guess));
}
END_TEST

static double loud_then_nothing(const void *user, uint64_t frame, unsigned channel)
{
    (void)user;
    return frame >= 4096 ? 0.0 : 0.1 + fabs(wavgen_random(frame * 2 + channel)) * 0.3;
}

START_TEST(salvage__zeros_never_recorded_are_left_out)
{
    /* A 40-byte chunk fills the header up to 4096 - n*frame, so that sample 4096 begins near a block. */
    char *folder = scratch_new(), *path = scratch_format("%s/x.wav", folder), *out = scratch_format("%s/out", folder);
    struct wavgen w = {.sample = WAVGEN_PCM16, .channels = 2, .frames = 20000, .sound = loud_then_nothing};
    static uint8_t filler[4096];
    struct wavgen_chunk chunk = {.id = "junk", .data = filler, .size = 4096 - 44 - 8};
    w.chunks = &chunk;
    w.chunk_count = 1;
    wavgen_write(&w, path);
    struct tp_salvage_result *result = salvage(folder, path, TP_OK);
    ck_assert_uint_eq(result->frames, 4096);
    tp_salvage_result_free(result);
    struct tp_salvage_options options = {.path = path, .directory = out, .keep_tail = true, .not_on_card = true};
    char *copy = scratch_format("%s/x-salvaged.wav", out);
    ck_assert_int_eq(remove(copy), 0);
    ck_assert_int_eq(tp_salvage(&options, &result, NULL), TP_OK);
    ck_assert_uint_eq(result->frames, 20000);
    tp_salvage_result_free(result);
    free(copy);
    free(out);
    free(path);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("salvage");
    TCase *tcase = tcase_create("salvage");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, salvage__a_cut_anywhere_keeps_every_whole_frame, 0, CUTS / BATCH);
    tcase_add_loop_test(tcase, salvage__other_damage, 0, (int)(sizeof damages / sizeof damages[0]));
    tcase_add_test(tcase, salvage__metadata_comes_along_byte_for_byte);
    tcase_add_test(tcase, salvage__healthy_file_gives_no_copy);
    tcase_add_test(tcase, salvage__an_existing_copy_and_the_originals_folder_are_left_alone);
    tcase_add_loop_test(tcase, salvage__where_there_is_no_sound_it_says_so, 0,
                        (int)(sizeof hopeless / sizeof hopeless[0]));
    tcase_add_loop_test(tcase, salvage__the_format_of_headless_speech_is_guessed, 0,
                        (int)(sizeof headless / sizeof headless[0]));
    tcase_add_test(tcase, salvage__a_header_without_its_first_bytes_is_rebuilt_exactly);
    tcase_add_test(tcase, salvage__noise_bytes_are_no_format);
    tcase_add_test(tcase, salvage__zeros_never_recorded_are_left_out);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
