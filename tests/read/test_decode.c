/* SPDX-License-Identifier: MIT */
/* Our unpacking against libsndfile 1.2.0 (reference library): the same bits in, the same samples out. */
#include "read/decode.h"

#include "read/unpack.h"
#include "support/guarded.h"

#include <check.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>

/* The loops once more, compiled without choice of instruction set. */
#define TP_PLAIN
#define tp_unpack plain_unpack
uint32_t plain_unpack(const struct tp_packing *format, const uint8_t *bytes, size_t frames, float *const *planes,
                      uint64_t *non_finite);
#include "../src/read/unpack.c"
#undef tp_unpack

static const struct format_row {
    enum tp_encoding encoding;
    uint32_t bits;
} formats[] = {
    {TP_ENCODING_PCM, 8},  {TP_ENCODING_PCM, 16},   {TP_ENCODING_PCM, 24},
    {TP_ENCODING_PCM, 32}, {TP_ENCODING_FLOAT, 32}, {TP_ENCODING_FLOAT, 64},
};

static uint32_t next_random(uint32_t *state)
{
    return *state = *state * 1664525u + 1013904223u;
}

static void fill_bytes(uint8_t *bytes, size_t size, const struct format_row *format)
{
    uint32_t state = 7;
    for (size_t i = 0; i < size; i++)
        bytes[i] = (uint8_t)(next_random(&state) >> 24);
    if (format->encoding != TP_ENCODING_FLOAT)
        return;
    for (size_t i = 0; i + format->bits / 8 <= size; i += format->bits / 8) {
        double value = ((double)next_random(&state) / 2147483648.0 - 1.0) * 1.7;
        float single = (float)value;
        if (format->bits == 32)
            memcpy(bytes + i, &single, 4);
        else
            memcpy(bytes + i, &value, 8);
    }
}

static void compare_engines(const struct format_row *format, uint32_t channels)
{
    struct tp_file file = {
        .encoding = format->encoding, .bit_depth = format->bits, .channel_count = channels, .sample_rate_hz = 48000};
    size_t frame_bytes = (size_t)channels * (format->bits / 8);
    size_t size = TP_DECODE_FRAMES * frame_bytes;
    uint8_t *bytes = malloc(size);
    ck_assert_ptr_nonnull(bytes);
    fill_bytes(bytes, size, format);
    struct tp_decoder *own, *reference;
    ck_assert_int_eq(tp_decoder_new(&own, &file, TP_DECODE_OWN, NULL), TP_OK);
    ck_assert_int_eq(tp_decoder_new(&reference, &file, TP_DECODE_LIBSNDFILE, NULL), TP_OK);
    size_t done = 0;
    for (size_t step = 1; done < TP_DECODE_FRAMES; step = step * 3 + 1) {
        size_t frames = step < TP_DECODE_FRAMES - done ? step : TP_DECODE_FRAMES - done;
        const float *const *a, *const *b;
        ck_assert_int_eq(tp_decoder_push(own, bytes + done * frame_bytes, frames, &a, NULL), TP_OK);
        ck_assert_int_eq(tp_decoder_push(reference, bytes + done * frame_bytes, frames, &b, NULL), TP_OK);
        for (uint32_t c = 0; c < channels; c++)
            ck_assert_mem_eq(a[c], b[c], frames * sizeof(float));
        done += frames;
    }
    ck_assert_uint_eq(tp_decoder_effective_bits(own), tp_decoder_effective_bits(reference));
    tp_decoder_free(own);
    tp_decoder_free(reference);
    free(bytes);
}

START_TEST(decode__equals_libsndfile)
{
    for (uint32_t channels = 1; channels <= 33; channels += channels < 9 ? 1 : 8)
        compare_engines(&formats[_i], channels);
}
END_TEST

/* Any number of frames, from exactly as many bytes, at odd addresses. */
static void compare_with_plain(const struct format_row *format, uint32_t channels, size_t frames)
{
    enum { PLANE = 700 };
    const struct tp_packing packing = {format->encoding, format->bits / 8, channels};
    size_t size = frames * channels * (format->bits / 8);
    uint8_t *room = malloc(size + 1), *bytes = room + 1;
    float *chosen = calloc(channels * PLANE, sizeof *chosen), *plain = calloc(channels * PLANE, sizeof *plain);
    uint64_t chosen_bad[64] = {0}, plain_bad[64] = {0};
    ck_assert(room != NULL && chosen != NULL && plain != NULL);
    fill_bytes(bytes, size, format);
    for (size_t i = 0; i + 8 <= size; i += 8 * 7) /* NaN in either size of float */
        memset(bytes + i, 0xFF, 8);
    float *chosen_planes[64], *plain_planes[64];
    for (uint32_t c = 0; c < channels; c++)
        chosen_planes[c] = chosen + c * PLANE, plain_planes[c] = plain + c * PLANE;
    uint32_t seen = tp_unpack(&packing, bytes, frames, chosen_planes, chosen_bad);
    ck_assert_uint_eq(seen, plain_unpack(&packing, bytes, frames, plain_planes, plain_bad));
    ck_assert_mem_eq(chosen, plain, channels * PLANE * sizeof *chosen);
    ck_assert_mem_eq(chosen_bad, plain_bad, sizeof chosen_bad);
    free(room);
    free(chosen);
    free(plain);
}

START_TEST(decode__is_the_same_with_any_instruction_set)
{
    static const size_t frames[] = {0, 1, 2, 3, 7, 8, 9, 10, 11, 15, 16, 17, 18, 31, 33, 255, 700};
    for (size_t i = 0; i < sizeof frames / sizeof frames[0]; i++)
        for (uint32_t channels = 1; channels <= 33; channels += channels < 9 ? 1 : 8)
            compare_with_plain(&formats[_i], channels, frames[i]);
}
END_TEST

/* Bytes and planes each touch a page that must be left alone. */
static void unpack_guarded(const struct format_row *format, uint32_t channels, size_t frames, enum guarded_side side)
{
    const struct tp_packing packing = {format->encoding, format->bits / 8, channels};
    size_t size = frames * channels * (format->bits / 8), room = frames * channels * sizeof(float);
    uint8_t *bytes = guarded_new(size, side);
    float *planes = guarded_new(room, side);
    uint64_t bad[64] = {0};
    fill_bytes(bytes, size, format);
    float *each[64];
    for (uint32_t c = 0; c < channels; c++)
        each[c] = planes + c * frames;
    (void)tp_unpack(&packing, bytes, frames, each, bad);
    guarded_free(bytes, size);
    guarded_free(planes, room);
}

START_TEST(decode__nothing_beside_the_bytes_is_touched)
{
    for (uint32_t channels = 1; channels <= 33; channels += channels < 9 ? 1 : 8)
        for (size_t frames = 0; frames < 3000; frames += frames < 100 ? 1 : 389) {
            unpack_guarded(&formats[_i], channels, frames, GUARDED_START);
            unpack_guarded(&formats[_i], channels, frames, GUARDED_END);
        }
}
END_TEST

static const float *decode_mono(size_t format, const void *bytes, size_t frames, struct tp_decoder **decoder)
{
    struct tp_file file = {.encoding = formats[format].encoding,
                           .bit_depth = formats[format].bits,
                           .channel_count = 1,
                           .sample_rate_hz = 48000};
    ck_assert_int_eq(tp_decoder_new(decoder, &file, TP_DECODE_OWN, NULL), TP_OK);
    const float *const *planes;
    ck_assert_int_eq(tp_decoder_push(*decoder, bytes, frames, &planes, NULL), TP_OK);
    return planes[0];
}

/* Turns numbers of this machine into those of a file, in place. */
static void to_little_endian(void *values, size_t count, size_t width)
{
    static const uint16_t one = 1;
    uint8_t *bytes = values;
    if (*(const uint8_t *)&one == 1)
        return;
    for (size_t i = 0; i < count; i++, bytes += width)
        for (size_t k = 0; k < width / 2; k++) {
            uint8_t held = bytes[k];
            bytes[k] = bytes[width - 1 - k];
            bytes[width - 1 - k] = held;
        }
}

START_TEST(decode__only_full_scale_reads_as_full_scale)
{
    int32_t values[] = {INT32_MAX, INT32_MAX - 1, INT32_MIN, -INT32_MAX, -INT32_MAX + 1};
    struct tp_decoder *decoder;
    to_little_endian(values, 5, sizeof *values);
    const float *samples = decode_mono(3, values, 5, &decoder);
    ck_assert(samples[0] >= 1.0f);
    ck_assert(samples[1] < 1.0f && samples[1] > 0.9999999f);
    ck_assert(samples[2] <= -1.0f);
    ck_assert(samples[3] <= -1.0f); /* as far from zero as +max: full scale of a symmetric converter */
    ck_assert(samples[4] > -1.0f);
    tp_decoder_free(decoder);

    double doubles[] = {1.0, 1.0 - DBL_EPSILON, -1.0 + DBL_EPSILON, -1.5};
    to_little_endian(doubles, 4, sizeof *doubles);
    samples = decode_mono(5, doubles, 4, &decoder);
    ck_assert(samples[0] >= 1.0f && samples[1] < 1.0f && samples[2] > -1.0f);
    ck_assert_float_eq(samples[3], -1.5f);
    tp_decoder_free(decoder);
}
END_TEST

START_TEST(decode__counts_non_finite_and_makes_it_zero)
{
    float values[] = {0.5f, (float)NAN, (float)INFINITY, -0.25f};
    float expected[] = {0.5f, 0.0f, 0.0f, -0.25f};
    struct tp_decoder *decoder;
    to_little_endian(values, 4, sizeof *values);
    const float *samples = decode_mono(4, values, 4, &decoder);
    ck_assert_mem_eq(samples, expected, sizeof expected);
    ck_assert_uint_eq(tp_decoder_non_finite(decoder, 0), 2);
    tp_decoder_free(decoder);
}
END_TEST

START_TEST(decode__effective_bits_of_padded_sound)
{
    uint8_t padded[] = {0x00, 0x34, 0x12, 0x00, 0x01, 0x80};
    uint8_t zeros[6] = {0};
    struct tp_decoder *decoder;
    decode_mono(2, padded, 2, &decoder);
    ck_assert_uint_eq(tp_decoder_effective_bits(decoder), 16);
    tp_decoder_free(decoder);
    decode_mono(2, zeros, 2, &decoder);
    ck_assert_uint_eq(tp_decoder_effective_bits(decoder), 0);
    tp_decoder_free(decoder);
}
END_TEST

START_TEST(decode__refuses_what_it_does_not_know)
{
    struct tp_file file = {.encoding = TP_ENCODING_PCM, .bit_depth = 20, .channel_count = 1, .sample_rate_hz = 48000};
    struct tp_decoder *decoder = NULL;
    ck_assert_int_eq(tp_decoder_new(&decoder, &file, TP_DECODE_OWN, NULL), TP_ERR_UNSUPPORTED);
    ck_assert_ptr_null(decoder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("decode");
    TCase *tests = tcase_create("decode");
    tcase_add_loop_test(tests, decode__equals_libsndfile, 0, (int)(sizeof formats / sizeof *formats));
    tcase_add_loop_test(tests, decode__is_the_same_with_any_instruction_set, 0,
                        (int)(sizeof formats / sizeof *formats));
    tcase_add_loop_test(tests, decode__nothing_beside_the_bytes_is_touched, 0, (int)(sizeof formats / sizeof *formats));
    tcase_add_test(tests, decode__only_full_scale_reads_as_full_scale);
    tcase_add_test(tests, decode__counts_non_finite_and_makes_it_zero);
    tcase_add_test(tests, decode__effective_bits_of_padded_sound);
    tcase_add_test(tests, decode__refuses_what_it_does_not_know);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
