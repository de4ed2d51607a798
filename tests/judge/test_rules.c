/* SPDX-License-Identifier: MIT */
/* Each rule fires at its limit and not beside it. The limits are the built-in spec's (common practice, no source). */
#include "judge/rules.h"

#include "base/observe.h"
#include "base/text.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

/* One healthy two-channel take, main and safety, that every test spoils in one way. */
static struct tp_report report;
static struct tp_channel *main_channel, *safety_channel;
static struct tp_pair *pair;
static struct tp_signal *signal;

static char *text(const char *words)
{
    char *copy = tp_strdup(words);
    ck_assert_ptr_nonnull(copy);
    return copy;
}

static struct tp_channel healthy_channel(double offset_db)
{
    struct tp_channel channel = {.sample_peak_dbfs = -6.0 + offset_db,
                                 .true_peak_dbtp = -5.5 + offset_db,
                                 .integrated_lufs = -24.0 + offset_db,
                                 .momentary_max_lufs = -18.0 + offset_db,
                                 .short_term_max_lufs = -20.0 + offset_db,
                                 .loudness_range_lu = 6.0,
                                 .rms_dbfs = -26.0 + offset_db,
                                 .dc_offset = 0.0,
                                 .noise_floor_dbfs = -66.0 + offset_db,
                                 .working_level_dbfs = -14.0 + offset_db,
                                 .active_s = 12.0};
    channel.name = text("");
    return channel;
}

static void set_up(void)
{
    report = (struct tp_report){0};
    ck_assert_int_eq(tp_spec_init(&report.spec, NULL), TP_OK);
    report.files = calloc(1, sizeof *report.files);
    report.takes = calloc(1, sizeof *report.takes);
    report.file_count = report.take_count = 1;
    struct tp_file *file = report.files;
    *file = (struct tp_file){.container = TP_CONTAINER_WAV,
                             .encoding = TP_ENCODING_PCM,
                             .bit_depth = 24,
                             .valid_bits = 24,
                             .effective_bits = 24,
                             .sample_rate_hz = 48000,
                             .channel_count = 2,
                             .frames = 960000,
                             .duration_s = 20.0};
    file->path = file->path_raw = text("12A-T1.wav");
    file->channels = calloc(2, sizeof *file->channels);
    file->channels[0] = healthy_channel(0.0);
    file->channels[1] = healthy_channel(-12.0);
    main_channel = &file->channels[0];
    safety_channel = &file->channels[1];
    struct tp_take *take = report.takes;
    take->id = text("12A-T1");
    take->scene = text("12A");
    take->take = text("1");
    take->notes = text("");
    take->files = calloc(1, sizeof *take->files);
    take->file_count = 1;
    take->duration_s = 20.0;
    take->signals = calloc(2, sizeof *take->signals);
    take->signal_count = 1;
    signal = take->signals;
    signal->copy.file = signal->dead_partner.file = signal->same_as.file = TP_NO_INDEX;
    signal->name = text("");
    signal->use = (struct tp_use){.choice = TP_CHOICE_MAIN, .reason = text("The main is clean.")};
    pair = calloc(1, sizeof *pair);
    *pair = (struct tp_pair){.safety = {0, 1}, .offset_db = -12.0, .correlation = 1.0};
    signal->pair = pair;
}

static void tear_down(void)
{
    struct tp_report *owned = malloc(sizeof *owned);
    ck_assert_ptr_nonnull(owned);
    *owned = report;
    tp_report_free(owned);
}

static void judge(void)
{
    ck_assert_int_eq(tp_rules_judge(&report, NULL), TP_OK);
}

static const struct tp_finding *find(enum tp_code code)
{
    for (size_t i = 0; i < report.takes[0].finding_count; i++)
        if (report.takes[0].findings[i].code == code)
            return &report.takes[0].findings[i];
    return NULL;
}

static void expect(enum tp_code code, enum tp_severity severity)
{
    judge();
    const struct tp_finding *finding = find(code);
    ck_assert_msg(finding != NULL, "no finding %s", tp_finding_info(code)->name);
    ck_assert_int_eq(finding->severity, severity);
    ck_assert_int_eq(report.takes[0].verdict, (int)severity);
    ck_assert_int_eq(report.verdict, (int)severity);
    ck_assert_uint_gt(strlen(finding->message), 10);
}

static void expect_nothing(void)
{
    judge();
    ck_assert_msg(report.takes[0].finding_count == 0, "%s", report.takes[0].findings[0].message);
    ck_assert_int_eq(report.takes[0].verdict, TP_VERDICT_PASS);
}

/* Without a pair: the main alone. */
static void make_single(void)
{
    free(pair);
    signal->pair = NULL;
    signal->use.choice = TP_CHOICE_SINGLE;
    report.files[0].channel_count = 1;
    free(safety_channel->name);
    safety_channel->name = NULL;
}

START_TEST(rules__healthy_take_passes)
{
    expect_nothing();
    ck_assert_int_eq(report.verdict, TP_VERDICT_PASS);
    ck_assert_uint_eq(report.summary.pass, 1);
}
END_TEST

static void spoil_rate(void)
{
    report.files[0].sample_rate_hz = 44100;
}
static void spoil_bits(void)
{
    report.files[0].valid_bits = report.files[0].effective_bits = 16;
}
static void spoil_encoding(void)
{
    report.files[0].encoding = TP_ENCODING_FLOAT;
    report.files[0].valid_bits = 32;
    report.files[0].effective_bits = 0;
}
static void spoil_container(void)
{
    report.spec.container = TP_CONTAINER_WAV;
    report.files[0].container = TP_CONTAINER_RF64;
}
static void spoil_channels(void)
{
    report.spec.channel_count = 1;
}
static void spoil_bext(void)
{
    report.spec.require_bext = true;
}
static void spoil_ixml(void)
{
    report.spec.require_ixml = true;
}
static void set_rates(uint32_t agreed, bool agreed_drop, uint32_t recorded, bool drop)
{
    report.spec.timecode_rate = (struct tp_timecode_rate){agreed, agreed > 1000 ? 1001 : 1, agreed_drop};
    struct tp_ixml *ixml = calloc(1, sizeof *ixml); /* what no rule looks at stays empty */
    ck_assert_ptr_nonnull(ixml);
    ixml->timecode_rate = (struct tp_timecode_rate){recorded, recorded > 1000 ? 1001 : 1, drop};
    report.files[0].ixml = ixml;
}
static void spoil_timecode_rate(void)
{
    set_rates(25, false, 24000, false);
}
static void spoil_drop_frame(void)
{
    set_rates(30000, false, 30000, true);
}
static void spoil_padding(void)
{
    report.files[0].effective_bits = 16;
}
static void spoil_length(void)
{
    report.files[0].duration_s = 0.9;
}
static void spoil_numbers(void)
{
    main_channel->non_finite_samples = 1;
}
static void spoil_peak(void)
{
    main_channel->true_peak_dbtp = -0.98;
}
static void spoil_low(void)
{
    main_channel->working_level_dbfs = -16.1;
}
static void spoil_high(void)
{
    main_channel->working_level_dbfs = -11.9;
}
static void spoil_dc(void)
{
    main_channel->dc_offset = -0.0101;
}
static void spoil_noise(void)
{
    main_channel->noise_floor_dbfs = -49.9;
}
static void spoil_offset_near(void)
{
    pair->offset_db = -5.9;
}
static void spoil_offset_far(void)
{
    pair->offset_db = -20.1;
}
static void spoil_lag(void)
{
    pair->lag_samples = -2;
}
/* An hour at 48,000 Hz: 1.73 samples. */
static void spoil_drift(void)
{
    report.files[0].duration_s = 3600.0;
    pair->drift_ppm = -0.01;
}
static void spoil_order(void)
{
    struct tp_channel_ref kept = pair->main;
    pair->main = pair->safety;
    pair->safety = kept;
    struct tp_channel levels = report.files[0].channels[0];
    report.files[0].channels[0] = report.files[0].channels[1];
    report.files[0].channels[1] = levels;
    signal->use.channel = pair->main.channel;
}
static void spoil_polarity(void)
{
    pair->inverted = true;
}
static void spoil_limiter(void)
{
    pair->offset_range_db = 1.1;
}
static void spoil_dropout(void)
{
    ck_assert(tp_observe(&report.files[0].observations, TP_CODE_DROPOUT, 0, 1.0, 1.1, 100.0, 1.0, "100 ms lost"));
}
static void spoil_header(void)
{
    ck_assert(tp_observe(&report.files[0].observations, TP_CODE_UNFINISHED_HEADER, TP_NO_CHANNEL, (double)NAN,
                         (double)NAN, 0, 0, NULL));
}

static void add_splice(bool covered)
{
    pair->splices = calloc(1, sizeof *pair->splices);
    pair->splice_count = 1;
    pair->splices[0] = (struct tp_splice){.start_s = 3.0, .end_s = 3.2, .covered = covered, .cause = TP_CODE_CLIPPED};
    signal->use.choice = covered ? TP_CHOICE_SPLICE : TP_CHOICE_NONE;
    main_channel->clip_runs = 4;
    main_channel->clipped_samples = 40;
    main_channel->longest_clip_run = 20;
    main_channel->true_peak_dbtp = 1.0;
}
static void spoil_main(void)
{
    add_splice(true);
}
static void spoil_both(void)
{
    add_splice(false);
}

static void clip_single(uint64_t runs, uint64_t longest)
{
    make_single();
    main_channel->clip_runs = runs;
    main_channel->longest_clip_run = longest;
    main_channel->clipped_samples = runs * longest;
}
static void spoil_single_a_little(void)
{
    clip_single(3, 12);
}
static void spoil_single_longer(void)
{
    clip_single(1, 13);
}
static void spoil_single_often(void)
{
    clip_single(4, 3);
}
static void spoil_flat(void)
{
    make_single();
    main_channel->flat_top_runs = 5;
}
static void spoil_copy(void)
{
    make_single();
    report.files[0].channel_count = 2;
    safety_channel->name = text("");
    signal->copy = (struct tp_channel_ref){0, 1};
}
static void spoil_partner(bool main)
{
    make_single();
    report.files[0].channel_count = 2;
    safety_channel->name = text("");
    signal->dead_partner = (struct tp_channel_ref){0, main ? 0 : 1};
    signal->dead_partner_is_main = main;
    signal->channel.channel = main ? 1 : 0;
    safety_channel->working_level_dbfs = -14.0;
}
static void spoil_dead_main(void)
{
    spoil_partner(true);
}
static void spoil_dead_safety(void)
{
    spoil_partner(false);
}
static void spoil_silence(void)
{
    make_single();
    main_channel->digital_silence = true;
    signal->use.choice = TP_CHOICE_NONE;
}
static void spoil_policy(void)
{
    make_single();
    report.spec.pair = TP_PAIR_REQUIRED;
}

/* Two tracks, no pair. */
static void make_two_tracks(double working_level_dbfs)
{
    struct tp_take *take = &report.takes[0];
    free(pair);
    signal->pair = NULL;
    take->signals[1] = take->signals[0];
    take->signals[1].name = text("");
    take->signals[1].channel.channel = 1;
    take->signals[0].use.choice = take->signals[1].use.choice = TP_CHOICE_SINGLE;
    take->signals[1].use.reason = text("The channel is clean.");
    take->signal_count = 2;
    main_channel->working_level_dbfs = working_level_dbfs;
    safety_channel->working_level_dbfs = (double)NAN;
    safety_channel->noise_floor_dbfs = -66.0;
}
static void spoil_quiet(void)
{
    make_two_tracks((double)NAN);
}
static void spoil_quiet_and_policy(void)
{
    make_two_tracks((double)NAN);
    report.spec.pair = TP_PAIR_REQUIRED;
}
static void spoil_two_tracks_and_policy(void)
{
    make_two_tracks(-14.0);
    report.spec.pair = TP_PAIR_REQUIRED;
}
static void spoil_wild_and_policy(void)
{
    spoil_policy();
    free(report.takes[0].take);
    report.takes[0].take = text("WT1");
}
/* Float beyond full scale that was not cut off: many and long, and no fail. */
static void spoil_beyond(void)
{
    clip_single(400, 30);
    main_channel->whole_clip_runs = 400;
    main_channel->sample_peak_dbfs = main_channel->true_peak_dbtp = 3.2;
}
static void spoil_beyond_and_cut(void)
{
    spoil_beyond();
    main_channel->whole_clip_runs = 399;
}
static void spoil_beyond_in_pair(void)
{
    main_channel->clip_runs = main_channel->whole_clip_runs = 5;
    main_channel->longest_clip_run = 30;
    main_channel->sample_peak_dbfs = main_channel->true_peak_dbtp = 3.2;
}

static const struct spoil_row {
    void (*spoil)(void);
    enum tp_code code;
    enum tp_severity severity;
} rows[] = {
    {spoil_rate, TP_CODE_WRONG_SAMPLE_RATE, TP_FAIL},
    {spoil_bits, TP_CODE_WRONG_BIT_DEPTH, TP_FAIL},
    {spoil_encoding, TP_CODE_WRONG_ENCODING, TP_FAIL},
    {spoil_container, TP_CODE_WRONG_CONTAINER, TP_FAIL},
    {spoil_channels, TP_CODE_WRONG_CHANNEL_COUNT, TP_FAIL},
    {spoil_bext, TP_CODE_MISSING_BEXT, TP_FAIL},
    {spoil_ixml, TP_CODE_MISSING_IXML, TP_FAIL},
    {spoil_timecode_rate, TP_CODE_WRONG_TIMECODE_RATE, TP_FAIL},
    {spoil_drop_frame, TP_CODE_WRONG_TIMECODE_RATE, TP_FAIL},
    {spoil_padding, TP_CODE_PADDED_BITS, TP_FAIL},
    {spoil_length, TP_CODE_TOO_SHORT, TP_LISTEN},
    {spoil_numbers, TP_CODE_DROPOUT, TP_FAIL},
    {spoil_peak, TP_CODE_TRUE_PEAK_OVER, TP_LISTEN},
    {spoil_low, TP_CODE_LEVEL_LOW, TP_LISTEN},
    {spoil_high, TP_CODE_LEVEL_HIGH, TP_LISTEN},
    {spoil_dc, TP_CODE_DC_OFFSET, TP_NOTE},
    {spoil_noise, TP_CODE_NOISE_HIGH, TP_LISTEN},
    {spoil_offset_near, TP_CODE_PAIR_OFFSET, TP_LISTEN},
    {spoil_offset_far, TP_CODE_PAIR_OFFSET, TP_LISTEN},
    {spoil_lag, TP_CODE_PAIR_LAG, TP_LISTEN},
    {spoil_drift, TP_CODE_PAIR_LAG, TP_LISTEN},
    {spoil_order, TP_CODE_PAIR_OFFSET, TP_NOTE},
    {spoil_polarity, TP_CODE_PAIR_POLARITY, TP_LISTEN},
    {spoil_limiter, TP_CODE_PAIR_LEVEL_CHANGE, TP_LISTEN},
    {spoil_dropout, TP_CODE_DROPOUT, TP_LISTEN},
    {spoil_header, TP_CODE_UNFINISHED_HEADER, TP_FAIL},
    {spoil_main, TP_CODE_SAFETY_NEEDED, TP_LISTEN},
    {spoil_both, TP_CODE_BOTH_CLIPPED, TP_FAIL},
    {spoil_single_a_little, TP_CODE_CLIPPED, TP_LISTEN},
    {spoil_single_longer, TP_CODE_CLIPPED, TP_FAIL},
    {spoil_single_often, TP_CODE_CLIPPED, TP_FAIL},
    {spoil_flat, TP_CODE_FLAT_TOPPED, TP_LISTEN},
    {spoil_copy, TP_CODE_CHANNEL_COPY, TP_LISTEN},
    {spoil_dead_main, TP_CODE_MAIN_SILENT, TP_LISTEN},
    {spoil_dead_safety, TP_CODE_SAFETY_SILENT, TP_LISTEN},
    {spoil_silence, TP_CODE_SILENT_CHANNEL, TP_FAIL},
    {spoil_policy, TP_CODE_NOT_A_PAIR, TP_FAIL},
    {spoil_two_tracks_and_policy, TP_CODE_NOT_A_PAIR, TP_FAIL},
    {spoil_quiet, TP_CODE_NOT_A_PAIR, TP_NOTE},
    {spoil_quiet_and_policy, TP_CODE_NOT_A_PAIR, TP_LISTEN},
    {spoil_wild_and_policy, TP_CODE_NOT_A_PAIR, TP_LISTEN},
    {spoil_beyond, TP_CODE_CLIPPED, TP_LISTEN},
    {spoil_beyond_and_cut, TP_CODE_CLIPPED, TP_FAIL},
    {spoil_beyond_in_pair, TP_CODE_CLIPPED, TP_LISTEN},
};

START_TEST(rules__each_fault_has_its_finding)
{
    rows[_i].spoil();
    expect(rows[_i].code, rows[_i].severity);
}
END_TEST

START_TEST(rules__limits_themselves_are_inside)
{
    main_channel->working_level_dbfs = -16.0;
    main_channel->true_peak_dbtp = -1.0;
    main_channel->noise_floor_dbfs = -50.0;
    main_channel->dc_offset = 0.01;
    pair->offset_db = -20.0;
    pair->lag_samples = 1;
    pair->offset_range_db = 1.0;
    report.files[0].duration_s = 1.0;
    expect_nothing();
}
END_TEST

START_TEST(rules__agreed_timecode_rate_passes)
{
    set_rates(30000, true, 30000, true);
    expect_nothing();
}
END_TEST

START_TEST(rules__nothing_usable_never_passes)
{
    signal->use.choice = TP_CHOICE_NONE;
    judge();
    ck_assert_int_eq(report.verdict, TP_VERDICT_FAIL);
}
END_TEST

/* Lower gain is no advice where nothing was too loud. */
START_TEST(rules__what_is_said_fits_the_damage)
{
    signal->use.choice = TP_CHOICE_NONE;
    main_channel->sample_peak_dbfs = _i == 0 ? -80.0 : -6.0;
    main_channel->clip_runs = _i == 2;
    judge();
    const struct tp_finding *finding = find(_i == 0   ? TP_CODE_NOISE_ONLY
                                            : _i == 1 ? TP_CODE_DROPOUT
                                                      : TP_CODE_BOTH_CLIPPED);
    ck_assert_ptr_nonnull(finding);
    ck_assert_int_eq(finding->severity, TP_FAIL);
    ck_assert((strstr(tp_finding_info(finding->code)->on_set, "lower the gain") != NULL) == (_i == 2));
    ck_assert((strstr(finding->message, "phantom power") != NULL) == (_i == 0));
}
END_TEST

START_TEST(rules__where_both_break_off_gain_does_not_help)
{
    add_splice(false);
    pair->splices[0].cause = _i == 0 ? TP_CODE_DROPOUT : TP_CODE_CLIPPED;
    judge();
    const struct tp_finding *finding = find(TP_CODE_BOTH_CLIPPED);
    ck_assert_ptr_nonnull(finding);
    ck_assert((strstr(finding->message, "Lower gain does not help") != NULL) == (_i == 0));
}
END_TEST

START_TEST(rules__no_takes_never_pass)
{
    struct tp_report empty = {0};
    ck_assert_int_eq(tp_spec_init(&empty.spec, NULL), TP_OK);
    ck_assert_int_eq(tp_rules_judge(&empty, NULL), TP_OK);
    ck_assert_int_eq(empty.verdict, TP_VERDICT_FAIL);
    tp_spec_clear(&empty.spec);
}
END_TEST

START_TEST(rules__many_of_a_kind_are_summed_up)
{
    for (int i = 0; i < 80; i++)
        ck_assert(tp_observe(&report.files[0].observations, TP_CODE_CLICK, 0, i, i + 0.1, 20.0, 15.0, "click %d", i));
    judge();
    ck_assert_uint_eq(report.takes[0].finding_count, 51);
    ck_assert_ptr_nonnull(strstr(report.takes[0].findings[50].message, "29 places more"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("rules");
    TCase *tests = tcase_create("rules");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, rules__healthy_take_passes);
    tcase_add_loop_test(tests, rules__each_fault_has_its_finding, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tests, rules__limits_themselves_are_inside);
    tcase_add_test(tests, rules__agreed_timecode_rate_passes);
    tcase_add_test(tests, rules__nothing_usable_never_passes);
    tcase_add_loop_test(tests, rules__what_is_said_fits_the_damage, 0, 3);
    tcase_add_loop_test(tests, rules__where_both_break_off_gain_does_not_help, 0, 2);
    tcase_add_test(tests, rules__no_takes_never_pass);
    tcase_add_test(tests, rules__many_of_a_kind_are_summed_up);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
