/* SPDX-License-Identifier: MIT */
#include "read/cross.h"

#include "base/observe.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

struct made {
    struct tp_file file;
    struct tp_bext bext;
    struct tp_ixml ixml;
    struct tp_ixml_track tracks[3];
    struct tp_ixml_extra extras[2];
};

static char none[] = "", history[] = "A=ANALOGUE,T=tape\r\nA=PCM,F=48000,W=24,M=stereo,T=x", rate[] = "25/1",
            boom[] = "Boom", lav[] = "Lav", date[] = "2033-03-14", user[] = "USER",
            copied_date[] = "BEXT/BWF_ORIGINATION_DATE";

/* A file that agrees with itself. */
static struct made *agreeing(void)
{
    struct made *m = calloc(1, sizeof *m);
    m->bext = (struct tp_bext){.coding_history = history,
                               .time_reference_samples = 172800000,
                               .origination_date = date,
                               .loudness_value_lufs = -23.0,
                               .loudness_range_lu = 8.0,
                               .max_true_peak_dbtp = -3.0,
                               .max_momentary_lufs = -15.0,
                               .max_short_term_lufs = NAN};
    m->tracks[0] = (struct tp_ixml_track){.channel_index = 1, .interleave_index = 1, .name = boom};
    m->tracks[1] = (struct tp_ixml_track){.channel_index = 2, .interleave_index = 2, .name = lav};
    m->tracks[2] = (struct tp_ixml_track){.channel_index = 3, .interleave_index = 2, .name = none};
    m->extras[0] = (struct tp_ixml_extra){.name = user, .value = date};
    m->extras[1] = (struct tp_ixml_extra){.name = copied_date, .value = date};
    m->ixml = (struct tp_ixml){.file_sample_rate_hz = 48000,
                               .audio_bit_depth = 24,
                               .timestamp_samples = 172800000,
                               .bwf_time_reference_samples = 172800000,
                               .extras = m->extras,
                               .extra_count = 2,
                               .track_count = 2,
                               .tracks = m->tracks,
                               .tracks_count = 2,
                               .timecode_rate_text = rate,
                               .timecode_flag = none,
                               .timecode_rate = {25, 1, false}};
    m->file = (struct tp_file){.encoding = TP_ENCODING_PCM,
                               .bit_depth = 24,
                               .valid_bits = 24,
                               .sample_rate_hz = 48000,
                               .channel_count = 2,
                               .bext = &m->bext,
                               .ixml = &m->ixml,
                               .programme = {.integrated_lufs = -23.1,
                                             .momentary_max_lufs = -15.0,
                                             .short_term_max_lufs = -17,
                                             .loudness_range_lu = 8.4,
                                             .true_peak_max_dbtp = -3.1}};
    return m;
}

static void agree(struct made *m)
{
    (void)m;
}
static void no_metadata(struct made *m)
{
    m->file.bext = NULL, m->file.ixml = NULL;
}
static void nothing_said(struct made *m)
{
    m->ixml = (struct tp_ixml){.timestamp_samples = TP_NO_TIMECODE,
                               .bwf_time_reference_samples = TP_NO_TIMECODE,
                               .timecode_rate_text = none,
                               .timecode_flag = none};
    m->bext.coding_history = none;
}
static void other_rate(struct made *m)
{
    m->ixml.file_sample_rate_hz = 48048;
}
static void other_bits(struct made *m)
{
    m->ixml.audio_bit_depth = 16;
}
static void other_count(struct made *m)
{
    m->ixml.track_count = 3;
}
static void fewer_listed(struct made *m)
{
    m->ixml.tracks_count = 1;
}
static void place_beyond(struct made *m)
{
    m->tracks[1].interleave_index = 7;
}
static void place_twice(struct made *m)
{
    m->tracks[1].interleave_index = 1;
}
static void other_start(struct made *m)
{
    m->ixml.timestamp_samples = 172800001;
}
static void beyond_a_day(struct made *m)
{
    m->ixml.bwf_time_reference_samples = 4151347200u;
    m->bext.time_reference_samples = m->ixml.timestamp_samples = 4151347200u; /* 86,486.4 s and one sample, at 48 kHz */
}
static void end_of_a_long_day(struct made *m)
{
    m->ixml.bwf_time_reference_samples = 4151347199u;
    m->bext.time_reference_samples = m->ixml.timestamp_samples = 4151347199u; /* legal at 23.976 and 29.97 non-drop */
}
static void other_copied_start(struct made *m)
{
    m->ixml.bwf_time_reference_samples = 172800007;
}
static void other_copied_date(struct made *m)
{
    static char text[] = "2033-03-15";
    m->extras[1].value = text;
}
static void odd_timecode(struct made *m)
{
    m->ixml.timecode_rate = (struct tp_timecode_rate){0, 0, false};
}
static void other_history_rate(struct made *m)
{
    static char text[] = "A=PCM,F=44100,W=24\r\n\r\nA=PCM,F=96000,W=24";
    m->bext.coding_history = text;
}
static void other_history_bits(struct made *m)
{
    static char text[] = "A=PCM,F=48000,W=16,M=mono,T=x";
    m->bext.coding_history = text;
}
static void nonsense_history(struct made *m)
{
    static char text[] = "W=,F=,A,,,F=999999999999999999999999,T=W=16";
    m->bext.coding_history = text;
}
static void unreadable_format(struct made *m)
{
    m->file.encoding = TP_ENCODING_NONE;
    m->file.sample_rate_hz = 0;
    other_bits(m);
}

static const struct {
    void (*change)(struct made *m);
    const char *words; /* NULL: no conflict */
} rows[] = {
    {agree, NULL},
    {no_metadata, NULL},
    {nothing_said, NULL},
    {end_of_a_long_day, NULL},
    {nonsense_history, NULL},
    {unreadable_format, NULL},
    {other_rate, "48048 Hz, the format of the file 48000 Hz"},
    {other_bits, "16 bits a sample, the format of the file 24"},
    {other_count, "3 tracks, the format of the file 2 channels"},
    {fewer_listed, "counts 2 tracks but lists 1"},
    {place_beyond, "place 7"},
    {place_twice, "'Boom' and 'Lav'"},
    {other_start, "172800001 samples after midnight (3600.000 s), bext says 172800000"},
    {beyond_a_day, "no day is so long"},
    {odd_timecode, "'25/1'"},
    {other_copied_start, "starts 172800007 samples after midnight, bext itself 172800000"},
    {other_copied_date, "dated '2033-03-15', bext itself '2033-03-14'"},
    {other_history_rate, "96000 Hz"},
    {other_history_bits, "16 bits"},
};

START_TEST(cross__contradictions_are_told_with_both_values)
{
    struct made *m = agreeing();
    rows[_i].change(m);
    ck_assert_int_eq(tp_cross_check(&m->file, NULL), TP_OK);
    if (rows[_i].words == NULL) {
        ck_assert_msg(m->file.observations.count == 0, "row %d: %s", _i, m->file.observations.items[0].detail);
    } else {
        ck_assert_msg(m->file.observations.count == 1, "row %d: %zu", _i, m->file.observations.count);
        ck_assert_int_eq(m->file.observations.items[0].code, TP_CODE_METADATA_CONFLICT);
        ck_assert_msg(strstr(m->file.observations.items[0].detail, rows[_i].words) != NULL, "%s",
                      m->file.observations.items[0].detail);
    }
    tp_observations_clear(&m->file.observations);
    free(m);
}
END_TEST

START_TEST(cross__loudness_fields_are_held_against_the_measurement)
{
    struct made *m = agreeing();
    ck_assert_int_eq(tp_cross_check_loudness(&m->file, NULL), TP_OK);
    ck_assert_uint_eq(m->file.observations.count, 0);
    m->bext.loudness_value_lufs = -24.0;
    m->bext.max_true_peak_dbtp = -1.0;
    m->file.programme.loudness_range_lu = NAN;
    ck_assert_int_eq(tp_cross_check_loudness(&m->file, NULL), TP_OK);
    ck_assert_uint_eq(m->file.observations.count, 2);
    ck_assert_ptr_nonnull(strstr(m->file.observations.items[0].detail, "-24.00 LUFS; measured: -23.10 LUFS"));
    tp_observations_clear(&m->file.observations);
    m->file.bext = NULL;
    ck_assert_int_eq(tp_cross_check_loudness(&m->file, NULL), TP_OK);
    ck_assert_uint_eq(m->file.observations.count, 0);
    free(m);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("cross");
    TCase *tcase = tcase_create("cross");
    tcase_add_loop_test(tcase, cross__contradictions_are_told_with_both_values, 0, (int)(sizeof rows / sizeof rows[0]));
    tcase_add_test(tcase, cross__loudness_fields_are_held_against_the_measurement);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
