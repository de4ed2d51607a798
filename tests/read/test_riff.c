/* SPDX-License-Identifier: MIT */
#include "read/riff.h"

#include "base/num.h"
#include "base/observe.h"
#include "read/format.h"
#include "result.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- reading a file as the pipeline does ---- */

struct reading {
    struct tp_file file;
    uint8_t *sound;
    uint64_t sound_bytes;
    bool has_audio;
};

static struct reading read_path(const char *path, bool keep_sound)
{
    struct reading r = {0};
    struct tp_stream *stream;
    struct tp_riff *riff;
    struct tp_error error = {0};
    ck_assert_msg(tp_stream_open(&stream, path, NULL, 0, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_int_eq(tp_riff_new(&riff, stream, &r.file, NULL), TP_OK);
    ck_assert_int_eq(tp_riff_walk_to_audio(riff, &r.has_audio, NULL), TP_OK);
    uint64_t bytes = 0;
    uint64_t capacity = tp_stream_bytes(stream) + 1;
    r.sound = keep_sound ? malloc((size_t)capacity) : NULL;
    while (r.has_audio && tp_riff_audio_remaining(riff, &bytes, NULL) == TP_OK && bytes > 0) {
        const uint8_t *window;
        size_t got;
        uint32_t frame = tp_format_frame_bytes(&r.file);
        ck_assert_uint_gt(frame, 0);
        ck_assert_uint_eq(bytes % frame, 0);
        size_t want = bytes < TP_STREAM_PEEK_MAX ? (size_t)bytes : TP_STREAM_PEEK_MAX / frame * frame;
        ck_assert_int_eq(tp_stream_peek(stream, want, &window, &got, NULL), TP_OK);
        ck_assert_uint_ge(got, want);
        ck_assert_uint_lt(r.sound_bytes + want, capacity + want);
        if (keep_sound)
            memcpy(r.sound + (size_t)r.sound_bytes, window, want);
        tp_stream_consume(stream, want);
        tp_riff_audio_consumed(riff, want);
        r.sound_bytes += want;
    }
    ck_assert_int_eq(tp_riff_walk_rest(riff, NULL), TP_OK);
    ck_assert_uint_eq(tp_stream_remaining(stream), 0);
    ck_assert_uint_eq(r.file.audio_bytes, r.sound_bytes);
    tp_riff_free(riff);
    tp_stream_close(stream);
    return r;
}

static struct reading read_bytes(const uint8_t *bytes, size_t size)
{
    char path[] = "/tmp/takeproof-riff-XXXXXX";
    int fd = mkstemp(path);
    ck_assert_int_ge(fd, 0);
    FILE *out = fdopen(fd, "w");
    ck_assert_uint_eq(fwrite(bytes, 1, size, out), size);
    fclose(out);
    struct reading r = read_path(path, true);
    unlink(path);
    return r;
}

static struct reading read_made(const struct wavgen *description)
{
    size_t size;
    uint8_t *bytes = wavgen_bytes(description, &size);
    struct reading r = read_bytes(bytes, size);
    free(bytes);
    return r;
}

static void reading_clear(struct reading *r)
{
    tp_file_clear(&r->file);
    free(r->sound);
}

/* "unfinished-header truncated": every code once, in order of appearance. */
static const char *codes(const struct reading *r, char text[400])
{
    text[0] = '\0';
    for (size_t i = 0; i < r->file.observations.count; i++) {
        const char *name = tp_finding_info(r->file.observations.items[i].code)->name;
        const char *detail = r->file.observations.items[i].detail;
        ck_assert_ptr_nonnull(detail);
        ck_assert_msg(strlen(detail) > 20 && detail[strlen(detail) - 1] == '.', "no sentence: %s", detail);
        if (i > 0)
            strcat(text, " ");
        strcat(text, name);
    }
    return text;
}

/* ---- the corpus: every damage in every encoding and container ---- */

static const enum wavgen_container containers[] = {WAVGEN_RIFF, WAVGEN_RF64, WAVGEN_BW64};
static const enum wavgen_sample samples[] = {WAVGEN_PCM8,  WAVGEN_PCM16,   WAVGEN_PCM24,
                                             WAVGEN_PCM32, WAVGEN_FLOAT32, WAVGEN_FLOAT64};
static const uint32_t channel_counts[] = {1, 2, 5};
enum { FRAMES = 9601, SHAPES = 3 * 6 * 3 * 2 };

static struct wavgen shape(int index)
{
    struct wavgen w = {.container = containers[index % 3],
                       .sample = samples[index / 3 % 6],
                       .channels = channel_counts[index / 18 % 3],
                       .extensible = index / 54 != 0,
                       .frames = FRAMES};
    /* An odd number of single bytes takes a pad byte, which nothing tells from one more sample when the size is lost.
     */
    if (w.sample == WAVGEN_PCM8 && w.channels == 1)
        w.frames = FRAMES - 1;
    return w;
}

static const char ixml_text[] =
    "<?xml version=\"1.0\" "
    "encoding=\"UTF-8\"?><BWFXML><SCENE>12A</SCENE><TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK>"
    "<CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK></TRACK_LIST></"
    "BWFXML>";
static const struct wavgen_bext bext_fields = {.description = "Harbour Lights",
                                               .originator = "takeproof tests",
                                               .date = "2026-05-04",
                                               .time = "10:20:30",
                                               .time_reference = 172800000,
                                               .version = 1};

struct damage {
    const char *name;
    void (*apply)(struct wavgen *w, size_t frame_bytes, size_t audio_offset);
    const char *codes; /* all that may be reported */
    int64_t frames;    /* to be read */
};
#define ALL_FRAMES FRAMES

static void healthy(struct wavgen *w, size_t f, size_t a)
{
    (void)w, (void)f, (void)a;
}
static void with_metadata(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->bext = &bext_fields;
    w->ixml = ixml_text;
}
static void metadata_behind(struct wavgen *w, size_t f, size_t a)
{
    with_metadata(w, f, a);
    w->metadata_after_data = true;
}
static const struct wavgen_cue cues[] = {{1, 480, "slate"}, {2, 960, NULL}};
static void with_notes(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->cues = cues;
    w->cue_count = 2;
    w->info_name = "scene 12A";
    w->junk_reservation = w->container == WAVGEN_RIFF;
}
static void size_zero(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
    w->data_size = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void size_placeholder(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->riff_size = (struct wavgen_lie)WAVGEN_LIE(UINT32_MAX);
    w->data_size = (struct wavgen_lie)WAVGEN_LIE(UINT32_MAX);
    w->no_ds64 = true;
}
static void ds64_zero(struct wavgen *w, size_t f, size_t a)
{
    if (w->container == WAVGEN_RIFF) {
        size_zero(w, f, a);
        return;
    }
    w->ds64_riff_size = w->ds64_data_size = w->ds64_frames = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void lie_about_data(struct wavgen *w, uint64_t bytes)
{
    if (w->container == WAVGEN_RIFF)
        w->data_size = (struct wavgen_lie)WAVGEN_LIE(bytes);
    else
        w->ds64_data_size = (struct wavgen_lie)WAVGEN_LIE(bytes);
}
static void stale_size(struct wavgen *w, size_t f, size_t a)
{
    (void)a;
    lie_about_data(w, 4800 * f);
}
static void placeholder_with_metadata_behind(struct wavgen *w, size_t f, size_t a)
{
    size_placeholder(w, f, a);
    metadata_behind(w, f, a);
}
static void zero_with_metadata_behind(struct wavgen *w, size_t f, size_t a)
{
    ds64_zero(w, f, a);
    metadata_behind(w, f, a);
}
static void size_too_large_with_metadata_behind(struct wavgen *w, size_t f, size_t a)
{
    metadata_behind(w, f, a);
    lie_about_data(w, 1000000 * f);
}
static void stale_size_with_metadata_behind(struct wavgen *w, size_t f, size_t a)
{
    stale_size(w, f, a);
    metadata_behind(w, f, a);
}
static void cut_on_a_frame(struct wavgen *w, size_t f, size_t a)
{
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(a + 5000 * f);
}
static void cut_within_a_frame(struct wavgen *w, size_t f, size_t a)
{
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(a + 5000 * f + (f > 1 ? f - 1 : 0));
}
static void cut_and_never_told(struct wavgen *w, size_t f, size_t a)
{
    ds64_zero(w, f, a);
    cut_within_a_frame(w, f, a);
}
static void cut_in_the_chunk_behind(struct wavgen *w, size_t f, size_t a)
{
    metadata_behind(w, f, a);
    w->bext = NULL;
    w->drop_tail = 40;
}
static void cut_at_the_sound(struct wavgen *w, size_t f, size_t a)
{
    (void)f;
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(a);
}
static void no_sound(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->frames = 0;
}
static void no_sound_but_metadata(struct wavgen *w, size_t f, size_t a)
{
    no_sound(w, f, a);
    metadata_behind(w, f, a);
}
static void no_data(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->no_data = true;
}
static void cut_in_fmt(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(w->container == WAVGEN_RIFF ? 30 : 70);
}
static void cut_in_form(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(9);
}
static void nothing(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->truncate_at = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void no_fmt(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->no_fmt = true;
}
static void late_fmt(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_after_data = true;
}
static void two_fmt(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_twice = true;
}
static void two_data(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->data_twice = true;
}
static void zeros_behind(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->trailing_size = 100000;
}
static void zeros_behind_counted(struct wavgen *w, size_t f, size_t a)
{
    zeros_behind(w, f, a);
    w->trailing_counted = true;
}
static void little_behind(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->trailing = "TAG of another program\x01\x02\x03";
    w->trailing_size = 25;
}
static void outer_size_small(struct wavgen *w, size_t f, size_t a)
{
    metadata_behind(w, f, a);
    if (w->container == WAVGEN_RIFF)
        w->riff_size = (struct wavgen_lie)WAVGEN_LIE(1000);
    else
        w->ds64_riff_size = (struct wavgen_lie)WAVGEN_LIE(1000);
}
static void outer_size_large(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    if (w->container == WAVGEN_RIFF)
        w->riff_size = (struct wavgen_lie)WAVGEN_LIE(100000000);
    else
        w->ds64_riff_size = (struct wavgen_lie)WAVGEN_LIE(100000000);
}
static void outer_size_zero(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    if (w->container == WAVGEN_RIFF)
        w->riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
    else
        w->ds64_riff_size = (struct wavgen_lie)WAVGEN_LIE(0);
}
static const char odd_body[] = "seven..";
static const struct wavgen_chunk odd_chunk = {.id = "xtra", .data = odd_body, .size = 7};
static const struct wavgen_chunk odd_chunk_unpadded = {.id = "xtra", .data = odd_body, .size = 7, .no_pad = true};
static const struct wavgen_chunk long_chunk = {
    .id = "xtra", .data = odd_body, .size = 7, .declared = WAVGEN_LIE(3000000000u)};
static void odd_padded(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->chunks = &odd_chunk;
    w->chunk_count = 1;
}
static void odd_unpadded(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->chunks = &odd_chunk_unpadded;
    w->chunk_count = 1;
}
static void long_before(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->chunks = &long_chunk;
    w->chunk_count = 1;
}
static void align_lies(struct wavgen *w, size_t f, size_t a)
{
    (void)a;
    w->block_align = (struct wavgen_lie)WAVGEN_LIE(f + 3);
}
static void align_and_rate_lie(struct wavgen *w, size_t f, size_t a)
{
    (void)a;
    w->block_align = (struct wavgen_lie)WAVGEN_LIE(f + 3);
    w->byte_rate = (struct wavgen_lie)WAVGEN_LIE((f + 3) * 48000);
}
static void byte_rate_lies(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->byte_rate = (struct wavgen_lie)WAVGEN_LIE(1);
}
static void no_channels(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_channels = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void many_channels(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_channels = (struct wavgen_lie)WAVGEN_LIE(65);
}
static void rate_zero(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_rate = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void rate_absurd(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_rate = (struct wavgen_lie)WAVGEN_LIE(4000000000u);
}
static void bits_zero(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->bits = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void bits_absurd(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->bits = (struct wavgen_lie)WAVGEN_LIE(40000);
}
static void fmt_size_large(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_size = (struct wavgen_lie)WAVGEN_LIE(4000000000u);
}
static void fmt_size_zero(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->fmt_size = (struct wavgen_lie)WAVGEN_LIE(0);
}
static void short_bext(struct wavgen *w, size_t f, size_t a)
{
    static const struct wavgen_bext cut = {.description = "x", .cut_to = 600};
    (void)f, (void)a;
    w->bext = &cut;
}
static void broken_ixml(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->ixml = "<BWFXML><SCENE>12A</SCENE><TAKE>";
}
static void adpcm(struct wavgen *w, size_t f, size_t a)
{
    (void)f, (void)a;
    w->extensible = false;
    w->format_tag = (struct wavgen_lie)WAVGEN_LIE(2);
}

static const struct damage corpus[] = {
    {"healthy", healthy, "", ALL_FRAMES},
    {"with metadata", with_metadata, "", ALL_FRAMES},
    {"metadata behind", metadata_behind, "", ALL_FRAMES},
    {"with notes", with_notes, "", ALL_FRAMES},
    {"odd chunk", odd_padded, "", ALL_FRAMES},
    {"byte rate lies", byte_rate_lies, "", ALL_FRAMES},
    {"size 0", size_zero, "unfinished-header", ALL_FRAMES},
    {"size 0xFFFFFFFF", size_placeholder, "unfinished-header", ALL_FRAMES},
    {"ds64 zero", ds64_zero, "unfinished-header", ALL_FRAMES},
    {"stale size", stale_size, "unfinished-header", ALL_FRAMES},
    {"placeholder, metadata behind", placeholder_with_metadata_behind, "unfinished-header", ALL_FRAMES},
    {"zero, metadata behind", zero_with_metadata_behind, "unfinished-header", ALL_FRAMES},
    {"stale, metadata behind", stale_size_with_metadata_behind, "unfinished-header", ALL_FRAMES},
    {"size too large, metadata behind", size_too_large_with_metadata_behind, "size-mismatch", ALL_FRAMES},
    {"cut on a frame", cut_on_a_frame, "truncated", 5000},
    {"cut within a frame", cut_within_a_frame, "truncated", 5000},
    {"cut and never told", cut_and_never_told, "unfinished-header", 5000},
    {"cut in the chunk behind", cut_in_the_chunk_behind, "metadata-conflict truncated", ALL_FRAMES},
    {"cut at the sound", cut_at_the_sound, "header-only", 0},
    {"no sound", no_sound, "header-only", 0},
    {"no sound but metadata", no_sound_but_metadata, "header-only", 0},
    {"no data", no_data, "header-only", 0},
    {"cut in fmt", cut_in_fmt, "header-only", 0},
    {"cut in form", cut_in_form, "header-only", 0},
    {"nothing", nothing, "empty-file", 0},
    {"no fmt", no_fmt, "unfinished-header", 0},
    {"late fmt", late_fmt, "unfinished-header", 0},
    {"two fmt", two_fmt, "", ALL_FRAMES},
    {"two data", two_data, "size-mismatch", ALL_FRAMES},
    {"zeros behind", zeros_behind, "trailing-bytes", ALL_FRAMES},
    {"zeros behind, counted", zeros_behind_counted, "trailing-bytes", ALL_FRAMES},
    {"little behind", little_behind, "trailing-bytes", ALL_FRAMES},
    {"outer size small", outer_size_small, "size-mismatch", ALL_FRAMES},
    {"outer size large", outer_size_large, "size-mismatch", ALL_FRAMES},
    {"outer size zero", outer_size_zero, "unfinished-header", ALL_FRAMES},
    {"odd chunk without pad", odd_unpadded, "size-mismatch", ALL_FRAMES},
    {"endless chunk before", long_before, "size-mismatch", ALL_FRAMES},
    {"block align lies", align_lies, "size-mismatch", ALL_FRAMES},
    {"block align and byte rate lie", align_and_rate_lie, "size-mismatch", 0},
    {"no channels", no_channels, "wrong-channel-count", 0},
    {"too many channels", many_channels, "wrong-channel-count", 0},
    {"rate 0", rate_zero, "wrong-sample-rate", 0},
    {"rate absurd", rate_absurd, "wrong-sample-rate", 0},
    {"bits 0", bits_zero, "wrong-bit-depth", 0},
    {"bits absurd", bits_absurd, "wrong-bit-depth", 0},
    {"fmt size large", fmt_size_large, "size-mismatch", ALL_FRAMES},
    {"fmt size 0", fmt_size_zero, "size-mismatch", ALL_FRAMES},
    {"short bext", short_bext, "metadata-conflict", ALL_FRAMES},
    {"broken iXML", broken_ixml, "metadata-conflict", ALL_FRAMES},
    {"ADPCM", adpcm, "wrong-encoding", 0},
};
#define CORPUS (int)(sizeof corpus / sizeof corpus[0])

START_TEST(riff__corpus)
{
    const struct damage *damage = &corpus[_i];
    for (int s = 0; s < SHAPES; s++) {
        struct wavgen honest = shape(s), w = shape(s);
        uint32_t frame = wavgen_sample_bytes(w.sample) * w.channels;
        damage->apply(&w, frame, wavgen_audio_offset(&honest));
        struct reading r = read_made(&w);
        char found[400];
        ck_assert_msg(strcmp(codes(&r, found), damage->codes) == 0,
                      "%s, shape %d (container %d sample %d, %u ch): [%s] not [%s]: %s", damage->name, s, w.container,
                      w.sample, w.channels, found, damage->codes,
                      r.file.observations.count > 0 ? r.file.observations.items[0].detail : "");
        int64_t expected = damage->frames == ALL_FRAMES ? (int64_t)honest.frames : damage->frames;
        ck_assert_msg((int64_t)(r.sound_bytes / frame) == expected, "%s, shape %d: %llu frames", damage->name, s,
                      (unsigned long long)(r.sound_bytes / frame));
        /* The sound is that of the honest file, byte for byte. */
        size_t size;
        uint8_t *bytes = wavgen_bytes(&honest, &size);
        ck_assert_msg(r.sound_bytes == 0 ||
                          memcmp(bytes + wavgen_audio_offset(&honest), r.sound, (size_t)r.sound_bytes) == 0,
                      "%s, shape %d: other sound", damage->name, s);
        free(bytes);
        reading_clear(&r);
    }
}
END_TEST

START_TEST(riff__healthy_facts)
{
    for (int s = 0; s < SHAPES; s++) {
        struct wavgen w = shape(s);
        with_metadata(&w, 0, 0);
        with_notes(&w, 0, 0);
        struct reading r = read_made(&w);
        uint32_t bytes = wavgen_sample_bytes(w.sample);
        ck_assert_int_eq(r.file.container, w.container == WAVGEN_RIFF   ? TP_CONTAINER_WAV
                                           : w.container == WAVGEN_RF64 ? TP_CONTAINER_RF64
                                                                        : TP_CONTAINER_BW64);
        bool is_float = w.sample == WAVGEN_FLOAT32 || w.sample == WAVGEN_FLOAT64;
        ck_assert_int_eq(r.file.encoding, is_float ? TP_ENCODING_FLOAT : TP_ENCODING_PCM);
        ck_assert_int_eq(r.file.extensible, w.extensible);
        ck_assert_uint_eq(r.file.bit_depth, bytes * 8);
        ck_assert_uint_eq(r.file.valid_bits, bytes * 8);
        ck_assert_uint_eq(r.file.sample_rate_hz, 48000);
        ck_assert_uint_eq(r.file.channel_count, w.channels);
        ck_assert_uint_eq(r.file.declared_frames, w.frames);
        ck_assert_uint_eq(r.file.audio_offset, wavgen_audio_offset(&w));
        ck_assert_str_eq(r.file.bext->description, "Harbour Lights");
        ck_assert_uint_eq(r.file.bext->time_reference_samples, 172800000);
        ck_assert_str_eq(r.file.ixml->scene, "12A");
        ck_assert_uint_eq(r.file.cue_count, 2);
        ck_assert_uint_eq(r.file.cues[0].frame, 480);
        ck_assert_str_eq(r.file.cues[0].label, "slate");
        ck_assert_str_eq(r.file.cues[1].label, "");
        ck_assert_uint_eq(r.file.info_count, 1);
        ck_assert_str_eq(r.file.infos[0].id, "INAM");
        ck_assert_str_eq(r.file.infos[0].text, "scene 12A");
        ck_assert_uint_ge(r.file.chunk_count, 6);
        for (size_t i = 0; i < r.file.chunk_count; i++)
            ck_assert_msg(r.file.chunks[i].problem == NULL, "%s", r.file.chunks[i].problem);
        reading_clear(&r);
    }
}
END_TEST

START_TEST(riff__valid_bits_and_mask)
{
    struct wavgen w = {
        .sample = WAVGEN_PCM32, .extensible = true, .valid_bits = 24, .channel_mask = 3, .channels = 2, .frames = 10};
    struct reading r = read_made(&w);
    ck_assert_uint_eq(r.file.bit_depth, 32);
    ck_assert_uint_eq(r.file.valid_bits, 24);
    ck_assert_uint_eq(r.file.channel_mask, 3);
    ck_assert_uint_eq(r.file.observations.count, 0);
    reading_clear(&r);
    w.valid_bits_zero = true;
    r = read_made(&w);
    ck_assert_uint_eq(r.file.valid_bits, 32);
    ck_assert_uint_eq(r.file.observations.count, 0);
    reading_clear(&r);
}
END_TEST

START_TEST(riff__twenty_bits_are_read_as_left_justified)
{
    struct wavgen w = {.sample = WAVGEN_PCM24, .channels = 2, .frames = 100, .bits = WAVGEN_LIE(20)};
    struct reading r = read_made(&w);
    ck_assert_uint_eq(r.file.bit_depth, 24);
    ck_assert_uint_eq(r.file.valid_bits, 20);
    ck_assert_uint_eq(r.file.observations.count, 0);
    ck_assert_uint_eq(r.sound_bytes, 600);
    reading_clear(&r);
}
END_TEST

static const struct {
    const char *bytes;
    size_t size;
    const char *words;
} strangers[] = {
#define BYTES(text) text, sizeof(text) - 1
    {BYTES("RIFX\0\0\0\0WAVEfmt "), "RIFX"},
    {BYTES("\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X        "), "AppleDouble"},
    {BYTES("\xFF\xFB\x90\x64\0\0\0\0\0\0\0\0\0\0\0\0"), "MP3"},
    {BYTES("ID3\x04\0\0\0\0\0\0\0\0\0\0\0\0"), "MP3"},
    {BYTES("fLaC\0\0\0\x22\0\0\0\0\0\0\0\0"), "FLAC"},
    {BYTES("OggS\0\0\0\0\0\0\0\0\0\0\0\0"), "Ogg"},
    {BYTES("RIFF\x10\0\0\0AVI LIST"), "AVI"},
    {BYTES("\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"), "zeros"},
    {BYTES("R"), "does not begin"},
    {BYTES("hello, this is text"), "does not begin"},
};

START_TEST(riff__strangers_are_named)
{
    struct reading r = read_bytes((const uint8_t *)strangers[_i].bytes, strangers[_i].size);
    ck_assert_uint_eq(r.file.observations.count, 1);
    ck_assert_int_eq(r.file.observations.items[0].code, TP_CODE_NOT_WAV);
    ck_assert_msg(strstr(r.file.observations.items[0].detail, strangers[_i].words) != NULL, "%s",
                  r.file.observations.items[0].detail);
    ck_assert(!r.has_audio);
    ck_assert_int_eq(r.file.encoding, TP_ENCODING_NONE);
    reading_clear(&r);
}
END_TEST

START_TEST(riff__truncation_says_how_much_is_missing)
{
    struct wavgen w = {.channels = 2, .frames = 48000, .drop_tail = 48000};
    struct reading r = read_made(&w);
    ck_assert_uint_eq(r.file.observations.count, 1);
    const struct tp_observation *o = &r.file.observations.items[0];
    ck_assert_int_eq(o->code, TP_CODE_TRUNCATED);
    ck_assert_double_eq(o->value, 48000);
    ck_assert_double_eq_tol(o->start_s, 40000.0 / 48000, 1e-9);
    ck_assert_double_eq_tol(o->end_s, 1.0, 1e-9);
    ck_assert_ptr_nonnull(strstr(o->detail, "0.167 s"));
    reading_clear(&r);
}
END_TEST

START_TEST(riff__sound_behind_zeros_behind_the_end_is_not_passed_over)
{
    static uint8_t rest[200000];
    memset(rest + 150000, 0x5A, 50000);
    struct wavgen w = {.frames = 4800, .trailing = rest, .trailing_size = sizeof rest};
    struct reading r = read_made(&w);
    char found[400];
    ck_assert_str_eq(codes(&r, found), "unfinished-header");
    reading_clear(&r);
}
END_TEST

START_TEST(riff__long_unfinished_recording_ends_at_its_chunks)
{
    /* The chunks come into sight only in a later window, and the iXML alone is larger than one. */
    struct wavgen w = {.channels = 2,
                       .frames = 200000,
                       .ixml = ixml_text,
                       .ixml_padding = 150001,
                       .bext = &bext_fields,
                       .metadata_after_data = true,
                       .data_size = WAVGEN_LIE(0),
                       .riff_size = WAVGEN_LIE(0)};
    struct reading r = read_made(&w);
    char found[400];
    ck_assert_str_eq(codes(&r, found), "unfinished-header");
    ck_assert_uint_eq(r.sound_bytes, 200000 * 6);
    ck_assert_ptr_nonnull(r.file.ixml);
    ck_assert_ptr_nonnull(r.file.bext);
    reading_clear(&r);
}
END_TEST

START_TEST(riff__differing_repeats_conflict)
{
    uint8_t first[602] = "first", second[602] = "second";
    struct wavgen_chunk chunks[] = {{.id = "bext", .data = first, .size = 602},
                                    {.id = "bext", .data = second, .size = 602}};
    struct wavgen w = {.frames = 100, .chunks = chunks, .chunk_count = 2};
    struct reading r = read_made(&w);
    char found[400];
    ck_assert_str_eq(codes(&r, found), "metadata-conflict");
    ck_assert_str_eq(r.file.bext->description, "second");
    reading_clear(&r);
    chunks[1].data = first;
    r = read_made(&w);
    ck_assert_str_eq(codes(&r, found), "");
    reading_clear(&r);
}
END_TEST

START_TEST(riff__odd_sound_without_pad_byte_loses_nothing_behind_it)
{
    struct wavgen w = {
        .frames = 9601, .data_no_pad = true, .ixml = ixml_text, .bext = &bext_fields, .metadata_after_data = true};
    struct reading r = read_made(&w);
    char found[400];
    ck_assert_str_eq(codes(&r, found), "size-mismatch");
    ck_assert_uint_eq(r.sound_bytes, 9601 * 3);
    ck_assert_ptr_nonnull(r.file.ixml);
    ck_assert_ptr_nonnull(r.file.bext);
    reading_clear(&r);
    /* At the end of the file a missing pad byte harms nobody. */
    w = (struct wavgen){.frames = 9601, .data_no_pad = true};
    r = read_made(&w);
    ck_assert_str_eq(codes(&r, found), "");
    reading_clear(&r);
}
END_TEST

START_TEST(riff__many_chunks_are_bounded)
{
    size_t count = 300000;
    uint8_t *bytes = calloc(count * 8 + 64, 1);
    memcpy(bytes, "RIFF\xFF\xFF\xFF\x0FWAVE", 12);
    for (size_t i = 0; i < count; i++)
        memcpy(bytes + 12 + 8 * i, "junk\0\0\0\0", 8);
    struct reading r = read_bytes(bytes, count * 8 + 12);
    ck_assert_uint_eq(r.file.chunk_count, TP_CHUNKS_MAX);
    ck_assert(!r.has_audio);
    reading_clear(&r);
    free(bytes);
}
END_TEST

/* A file past 4 GiB whose 32-bit sizes ran over; sparse, so that it costs no disk. */
START_TEST(riff__sizes_past_4_gib_wrap)
{
    char path[] = "/tmp/takeproof-riff-XXXXXX";
    int fd = mkstemp(path);
    uint8_t head[44] = "RIFF\0\0\0\0WAVEfmt \x10\0\0\0\1\0\2\0\x80\xBB\0\0\0\xEE\2\0\4\0\x10\0data";
    uint64_t sound = ((uint64_t)1 << 32) + 400000;
    tp_put_le32(head + 4, (uint32_t)(sound + 36));
    tp_put_le32(head + 40, (uint32_t)sound);
    ck_assert_int_eq(write(fd, head, 44), 44);
    ck_assert_int_eq(ftruncate(fd, (off_t)(sound + 44)), 0);
    for (uint64_t at = 44; at < sound + 44 - 4; at += (uint64_t)1 << 20) /* nowhere zero for a whole window */
        ck_assert_int_eq(pwrite(fd, "\1\2\3\4", 4, (off_t)at), 4);
    ck_assert_int_eq(pwrite(fd, "\1\2\3\4", 4, (off_t)(44 + 400000)), 4);
    close(fd);
    struct reading r = read_path(path, false);
    unlink(path);
    char found[400];
    ck_assert_str_eq(codes(&r, found), "size-mismatch");
    ck_assert_uint_eq(r.file.audio_bytes, sound);
    reading_clear(&r);
}
END_TEST

/* ---- files by others must be healthy ---- */

struct maker {
    const char *name;
    const char *command; /* %s: the file to make */
    enum tp_container container;
    enum tp_encoding encoding;
    uint32_t bits;
};
#define FF "ffmpeg -v error -y -f lavfi -i sine=frequency=997:sample_rate=48000:duration=1.3 "
static const struct maker makers[] = {
    {"ffmpeg u8", FF "-c:a pcm_u8 %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 8},
    {"ffmpeg s16", FF "-c:a pcm_s16le %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 16},
    {"ffmpeg s24", FF "-c:a pcm_s24le %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 24},
    {"ffmpeg s32 stereo", FF "-ac 2 -c:a pcm_s32le %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 32},
    {"ffmpeg f32", FF "-c:a pcm_f32le %s", TP_CONTAINER_WAV, TP_ENCODING_FLOAT, 32},
    {"ffmpeg f64 5.1", FF "-ac 6 -c:a pcm_f64le %s", TP_CONTAINER_WAV, TP_ENCODING_FLOAT, 64},
    {"ffmpeg odd 24", FF "-af atrim=end_sample=1001 -c:a pcm_s24le %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 24},
    {"ffmpeg odd 8", FF "-af atrim=end_sample=1001 -c:a pcm_u8 %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 8},
    {"ffmpeg rf64", FF "-c:a pcm_s24le -rf64 always %s", TP_CONTAINER_RF64, TP_ENCODING_PCM, 24},
    {"ffmpeg rf64 auto", FF "-c:a pcm_s24le -rf64 auto %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 24},
    {"ffmpeg bext",
     FF "-c:a pcm_s24le -write_bext 1 -metadata description=d -metadata time_reference=172800000 "
        "-metadata origination_date=2026-05-04 -metadata coding_history=A=PCM %s",
     TP_CONTAINER_WAV, TP_ENCODING_PCM, 24},
    {"ffmpeg info", FF "-c:a pcm_s16le -metadata title=Harbour -metadata artist=Example %s", TP_CONTAINER_WAV,
     TP_ENCODING_PCM, 16},
    {"ffmpeg peak", FF "-c:a pcm_s16le -write_peak on %s", TP_CONTAINER_WAV, TP_ENCODING_PCM, 16},
    {"sox u8", "sox -n -r 48000 -b 8 -e unsigned -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV,
     TP_ENCODING_PCM, 8},
    {"sox s16", "sox -n -r 48000 -b 16 -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV, TP_ENCODING_PCM, 16},
    {"sox s24", "sox -n -r 48000 -b 24 -c 3 -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV, TP_ENCODING_PCM,
     24},
    {"sox s24 odd", "sox -n -r 48000 -b 24 -t wav %s synth 1001s sine 997 vol 0.5", TP_CONTAINER_WAV, TP_ENCODING_PCM,
     24},
    {"sox s32", "sox -n -r 48000 -b 32 -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV, TP_ENCODING_PCM, 32},
    {"sox wavpcm", "sox -n -r 48000 -b 24 -t wavpcm %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV, TP_ENCODING_PCM,
     24},
    {"sox f32", "sox -n -r 48000 -b 32 -e floating-point -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV,
     TP_ENCODING_FLOAT, 32},
    {"sox f64", "sox -n -r 48000 -b 64 -e floating-point -c 2 -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV,
     TP_ENCODING_FLOAT, 64},
    {"sox comment", "sox -n -r 48000 -b 16 --comment odd -t wav %s synth 1.3 sine 997 vol 0.5", TP_CONTAINER_WAV,
     TP_ENCODING_PCM, 16},
};
#define MAKERS (int)(sizeof makers / sizeof makers[0])

static void assert_healthy(const char *path, const char *name, const struct maker *maker)
{
    struct reading r = read_path(path, false);
    char found[400];
    ck_assert_msg(r.file.observations.count == 0, "%s: %s: %s", name, codes(&r, found),
                  r.file.observations.items[0].detail);
    ck_assert_int_eq(r.file.container, maker->container);
    ck_assert_int_eq(r.file.encoding, maker->encoding);
    ck_assert_uint_eq(r.file.bit_depth, maker->bits);
    ck_assert_uint_eq(r.file.audio_bytes / tp_format_frame_bytes(&r.file), r.file.declared_frames);
    ck_assert_uint_ge(r.file.declared_frames, 1001);
    for (size_t i = 0; i < r.file.chunk_count; i++)
        ck_assert_msg(r.file.chunks[i].problem == NULL, "%s: %s: %s", name, r.file.chunks[i].id,
                      r.file.chunks[i].problem);
    reading_clear(&r);
}

START_TEST(riff__files_by_others_are_healthy)
{
    char *folder = scratch_new();
    char *path = scratch_format("%s/x.wav", folder);
    char command[600];
    size_t at = (size_t)(strstr(makers[_i].command, "%s") - makers[_i].command);
    snprintf(command, sizeof command, "%.*s%s%s", (int)at, makers[_i].command, path, makers[_i].command + at + 2);
    ck_assert_msg(system(command) == 0, "cannot run: %s", command);
    assert_healthy(path, makers[_i].name, &makers[_i]);
    free(path);
    scratch_remove(folder);
}
END_TEST

#include <sndfile.h>

static const struct {
    int format;
    int channels;
    bool bext;
    struct maker expected;
} sndfile_shapes[] = {
#define S(major, minor, ch, bext, container, encoding, bits)                                                           \
    {                                                                                                                  \
        SF_FORMAT_##major | SF_FORMAT_##minor, ch, bext,                                                               \
        {                                                                                                              \
            NULL, NULL, TP_CONTAINER_##container, TP_ENCODING_##encoding, bits                                         \
        }                                                                                                              \
    }
    S(WAV, PCM_U8, 1, false, WAV, PCM, 8),      S(WAV, PCM_16, 2, true, WAV, PCM, 16),
    S(WAV, PCM_24, 1, true, WAV, PCM, 24),      S(WAV, PCM_24, 3, false, WAV, PCM, 24),
    S(WAV, PCM_32, 2, true, WAV, PCM, 32),      S(WAV, FLOAT, 1, true, WAV, FLOAT, 32),
    S(WAV, DOUBLE, 2, false, WAV, FLOAT, 64),   S(WAVEX, PCM_16, 1, false, WAV, PCM, 16),
    S(WAVEX, PCM_24, 6, true, WAV, PCM, 24),    S(WAVEX, FLOAT, 2, false, WAV, FLOAT, 32),
    S(RF64, PCM_16, 2, false, RF64, PCM, 16),   S(RF64, PCM_24, 1, true, RF64, PCM, 24),
    S(RF64, PCM_U8, 1, false, RF64, PCM, 8),    S(RF64, FLOAT, 2, true, RF64, FLOAT, 32),
    S(RF64, DOUBLE, 1, false, RF64, FLOAT, 64),
};

START_TEST(riff__files_by_libsndfile_are_healthy)
{
    char *folder = scratch_new();
    char *path = scratch_format("%s/x.wav", folder);
    SF_INFO info = {.samplerate = 48000, .channels = sndfile_shapes[_i].channels, .format = sndfile_shapes[_i].format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    ck_assert_ptr_nonnull(file);
    if (sndfile_shapes[_i].bext) {
        SF_BROADCAST_INFO bext = {
            .description = "Harbour Lights", .originator = "A. Example", .time_reference_low = 12345, .version = 2};
        ck_assert_int_eq(sf_command(file, SFC_SET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
    }
    for (int i = 0; i < 1001; i++) {
        float frame[6] = {0};
        for (int c = 0; c < info.channels; c++)
            frame[c] = (float)(i % 100) / 200.0f;
        ck_assert_int_eq(sf_writef_float(file, frame, 1), 1);
    }
    sf_close(file);
    assert_healthy(path, "libsndfile", &sndfile_shapes[_i].expected);
    free(path);
    scratch_remove(folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("riff");
    TCase *tcase = tcase_create("riff");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, riff__corpus, 0, CORPUS);
    tcase_add_test(tcase, riff__healthy_facts);
    tcase_add_test(tcase, riff__valid_bits_and_mask);
    tcase_add_test(tcase, riff__twenty_bits_are_read_as_left_justified);
    tcase_add_loop_test(tcase, riff__strangers_are_named, 0, (int)(sizeof strangers / sizeof strangers[0]));
    tcase_add_test(tcase, riff__truncation_says_how_much_is_missing);
    tcase_add_test(tcase, riff__sound_behind_zeros_behind_the_end_is_not_passed_over);
    tcase_add_test(tcase, riff__long_unfinished_recording_ends_at_its_chunks);
    tcase_add_test(tcase, riff__differing_repeats_conflict);
    tcase_add_test(tcase, riff__odd_sound_without_pad_byte_loses_nothing_behind_it);
    tcase_add_test(tcase, riff__many_chunks_are_bounded);
    tcase_add_test(tcase, riff__sizes_past_4_gib_wrap);
    tcase_add_loop_test(tcase, riff__files_by_others_are_healthy, 0, MAKERS);
    tcase_add_loop_test(tcase, riff__files_by_libsndfile_are_healthy, 0,
                        (int)(sizeof sndfile_shapes / sizeof sndfile_shapes[0]));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
