/* SPDX-License-Identifier: MIT */
/*
 * Spliced tracks against the signal they were made from: the test clips the main itself, so it knows what belongs
 * there. Sound: ALSA's sample recordings. The written tracks are read back through libsndfile.
 */
#include "support/pairlab.h"
#include "support/scratch.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <signal.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <takeproof/splice.h>
#include <unistd.h>

#define RATE 48000u
#define GUARD 480u

/* A recording on disk, what is in it, and what became of it. */
struct stage {
    char *folder, *card, *out;
    struct lab_pair pair;
    size_t frames;
    double *source; /* the main without clipping, noise and rounding */
    float *main, *safety;
    struct tp_report *report;
    struct tp_splice_result *result;
    double *track;
    SF_INFO info;
};

static void stage_write(struct stage *stage, bool two_files)
{
    double *both = lab_zeros(2 * stage->frames, sizeof *both);
    for (size_t i = 0; i < stage->frames; i++) {
        both[two_files ? i : 2 * i] = (double)stage->main[i];
        both[two_files ? stage->frames + i : 2 * i + 1] = (double)stage->safety[i];
    }
    static const struct wavgen_bext bext = {.description = "sSCENE=12A",
                                            .originator = "field",
                                            .date = "2026-05-04",
                                            .time = "10:00:00",
                                            .time_reference = 1728000000,
                                            .version = 1,
                                            .history = "A=PCM,F=48000,W=24,M=stereo,T=field\r\n"};
    struct wavgen wav = {.sample = stage->pair.bits == 0    ? WAVGEN_FLOAT32
                                   : stage->pair.bits == 16 ? WAVGEN_PCM16
                                                            : WAVGEN_PCM24,
                         .channels = two_files ? 1 : 2,
                         .frames = stage->frames,
                         .reals = both,
                         .bext = &bext};
    char *first = scratch_format("%s/T01%s.wav", stage->card, two_files ? "_tr1" : "");
    wavgen_write(&wav, first);
    if (two_files) {
        char *second = scratch_format("%s/T01_tr2.wav", stage->card);
        wav.reals = both + stage->frames;
        wavgen_write(&wav, second);
        free(second);
    }
    free(first);
    free(both);
}

static void stage_init(struct stage *stage, const struct lab_pair *pair, size_t frames)
{
    *stage = (struct stage){.pair = *pair, .frames = frames, .folder = scratch_new()};
    stage->card = scratch_format("%s/card", stage->folder);
    stage->out = scratch_format("%s/out", stage->folder);
    scratch_folder(stage->card);
    stage->main = lab_zeros(frames, sizeof(float));
    stage->safety = lab_zeros(frames, sizeof(float));
}

static enum tp_status stage_splice(struct stage *stage, bool replace, bool headroom, struct tp_error *error)
{
    const char *sources[] = {stage->card};
    struct tp_spec spec;
    ck_assert_int_eq(tp_spec_init(&spec, error), TP_OK);
    struct tp_check_options check = {.sources = sources, .source_count = 1, .spec = &spec, .jobs = 1};
    tp_report_free(stage->report);
    stage->report = NULL;
    ck_assert_int_eq(tp_check(&check, &stage->report, error), TP_OK);
    struct tp_splice_options options = {.report = stage->report,
                                        .sources = sources,
                                        .source_count = 1,
                                        .directory = stage->out,
                                        .replace = replace,
                                        .headroom = headroom};
    tp_splice_result_free(stage->result);
    stage->result = NULL;
    enum tp_status status = tp_splice_write(&options, &stage->result, error);
    tp_spec_clear(&spec);
    return status;
}

static bool stage_read_track(struct stage *stage)
{
    if (stage->result == NULL || stage->result->track_count != 1 || stage->result->written != 1)
        return false;
    char *path = scratch_format("%s/%s", stage->out, stage->result->tracks[0].name);
    SNDFILE *file = sf_open(path, SFM_READ, &stage->info);
    free(path);
    if (file == NULL)
        return false;
    free(stage->track);
    stage->track = lab_zeros(stage->frames + 16, sizeof(double));
    bool good = stage->info.channels == 1 && stage->info.samplerate == (int)RATE &&
                (size_t)stage->info.frames == stage->frames &&
                sf_readf_double(file, stage->track, (sf_count_t)stage->frames + 16) == (sf_count_t)stage->frames;
    sf_close(file);
    return good;
}

static void stage_clear(struct stage *stage)
{
    tp_splice_result_free(stage->result);
    tp_report_free(stage->report);
    free(stage->source);
    free(stage->main);
    free(stage->safety);
    free(stage->track);
    free(stage->card);
    free(stage->out);
    scratch_remove(stage->folder);
}

static size_t frame_of(double seconds)
{
    return (size_t)llround(seconds * RATE);
}

/* What is measured of one case. */
struct score {
    size_t runs, uncovered, changed_outside, over_replaced;
    double error_db; /* worst region: error under the signal */
    double noise_db; /* worst region: error over the safety's raised noise */
    double step;     /* worst edge: its step over the largest step of the source nearby */
    bool inside_good;
};

static double rms(const double *samples, const double *minus, size_t from, size_t to)
{
    double sum = 0.0;
    for (size_t i = from; i < to; i++) {
        double x = samples[i] - (minus != NULL ? minus[i] : 0.0);
        sum += x * x;
    }
    return sqrt(sum / (double)(to - from));
}

static double largest_step(const double *samples, size_t from, size_t to)
{
    double largest = 0.0;
    for (size_t i = from; i + 1 < to; i++)
        largest = fmax(largest, fabs(samples[i + 1] - samples[i]));
    return largest;
}

static void score_region(const struct stage *stage, const struct tp_spliced_span *span, struct score *score)
{
    size_t from = frame_of(span->start_s), to = frame_of(span->end_s);
    double noise = pow(10.0, (stage->pair.safety_noise_dbfs - stage->pair.offset_db) / 20.0);
    double signal = rms(stage->source, NULL, from, to), error = rms(stage->track, stage->source, from, to);
    score->error_db = fmin(score->error_db, 20.0 * log10(signal / error));
    score->noise_db = fmax(score->noise_db, 20.0 * log10(error / noise));
    /* 40 dB under the signal, or the safety's own noise: 1 dB for the chance of a short stretch. */
    score->inside_good = score->inside_good && (error <= 0.01 * signal || error <= noise * 1.122);
    size_t around = 2400, low = from > around ? from - around : 0,
           high = to + around < stage->frames ? to + around : stage->frames;
    double own = largest_step(stage->source, low, high);
    if (from > 0)
        score->step = fmax(score->step, fabs(stage->track[from] - stage->track[from - 1]) / own);
    if (to < stage->frames)
        score->step = fmax(score->step, fabs(stage->track[to] - stage->track[to - 1]) / own);
}

/* Marks: 1 = part of a clip run of three or more, 2 = one or two samples at full scale. By plain search. */
static uint8_t *mark_runs(const struct stage *stage, size_t *runs)
{
    uint8_t *marks = lab_zeros(stage->frames, 1);
    float top = lab_full_scale(stage->pair.bits);
    for (size_t i = 0, end; i < stage->frames; i = end) {
        for (end = i; end < stage->frames && fabsf(stage->main[end]) >= top; end++)
            ;
        memset(marks + i, end - i >= 3 ? 1 : 2, end - i);
        *runs += end - i >= 3;
        end += end == i;
    }
    return marks;
}

static struct score score_track(const struct stage *stage)
{
    const struct tp_spliced_track *track = &stage->result->tracks[0];
    struct score score = {.error_db = 999.0, .noise_db = -999.0, .inside_good = true};
    uint8_t *replaced = lab_zeros(stage->frames, 1), *marks = mark_runs(stage, &score.runs);
    for (size_t s = 0; s < track->span_count; s++) {
        size_t from = frame_of(track->spans[s].start_s), to = frame_of(track->spans[s].end_s);
        memset(replaced + from, 1, to - from);
        score_region(stage, &track->spans[s], &score);
    }
    size_t undamaged = 0;
    for (size_t i = 0; i < stage->frames; i++) {
        score.changed_outside += !replaced[i] && stage->track[i] != (double)stage->main[i];
        score.uncovered += marks[i] == 1 && !replaced[i];
        undamaged = replaced[i] && !marks[i] ? undamaged + 1 : 0;
        /* Between two runs less than two guards apart no fade has room: that stretch is one. */
        score.over_replaced += undamaged > 2 * GUARD;
    }
    free(replaced);
    free(marks);
    return score;
}

/* NULL when all is right. */
static const char *judge(const struct stage *stage, const struct score *score)
{
    const struct tp_signal *signal = &stage->report->takes[0].signals[0];
    const struct tp_pair *pair = signal->pair;
    const struct tp_spliced_track *track = &stage->result->tracks[0];
    if (signal->use.choice != TP_CHOICE_SPLICE)
        return "choice";
    if (fabs(pair->offset_db - stage->pair.offset_db) > 0.05)
        return "offset";
    if (pair->lag_samples != stage->pair.lag)
        return "lag";
    if (pair->inverted != stage->pair.inverted)
        return "polarity";
    if (score->uncovered > 0)
        return "damage left";
    if (score->changed_outside > 0)
        return "main changed outside";
    if (score->over_replaced > 0)
        return "replaced too much";
    for (size_t s = 0; s < track->span_count; s++)
        if (track->spans[s].damage_start_s - track->spans[s].start_s > 0.0100001 ||
            track->spans[s].end_s - track->spans[s].damage_end_s > 0.0100001)
            return "replaced past the guard";
    if (!score->inside_good)
        return "error inside";
    return score->step > 1.0 ? "step" : NULL;
}

static bool run_case(uint64_t seed, bool print)
{
    struct lab_random random = {.state = seed * 7919};
    size_t shouts = (size_t)lab_random_int(&random, 1, 20);
    struct lab_pair pair = {.offset_db = lab_random_between(&random, -20.0, -6.0),
                            .lag = lab_random_int(&random, -48, 48),
                            .inverted = lab_random_int(&random, 0, 1),
                            .main_noise_dbfs = -90.0,
                            .safety_noise_dbfs = -70.0,
                            .bits = lab_random_int(&random, 0, 3) ? 24 : 16};
    struct stage stage;
    stage_init(&stage, &pair, (size_t)(5 + shouts) * RATE);
    stage.source = lab_voice(&random, stage.frames, 0.6);
    double over = lab_random_between(&random, 1.15, 0.9 * pow(10.0, -pair.offset_db / 20.0));
    shouts = lab_shouts(stage.source, stage.frames, shouts, 4000, over, &random);
    lab_pair_make(&pair, stage.source, stage.frames, &random, stage.main, stage.safety);
    stage_write(&stage, lab_random_int(&random, 0, 3) == 0);
    struct tp_error error = {0};
    const char *wrong = NULL;
    struct score score = {0};
    if (stage_splice(&stage, false, false, &error) != TP_OK)
        wrong = tp_error_text(&error);
    else if (stage.result->track_count != 1)
        wrong = "no pair";
    else if (!stage_read_track(&stage))
        wrong = "no track";
    else {
        score = score_track(&stage);
        wrong = judge(&stage, &score);
    }
    if (print || wrong != NULL)
        printf("%4llu %6.2f %4d %s %2u %2zu %4zu %3zu %7zu %6.1f %6.1f %5.2f %s\n", (unsigned long long)seed,
               pair.offset_db, pair.lag, pair.inverted ? "inv " : "same", pair.bits, shouts, score.runs,
               stage.result != NULL && stage.result->track_count == 1 ? stage.result->tracks[0].span_count : 0,
               score.changed_outside, score.error_db, score.noise_db, score.step, wrong != NULL ? wrong : "good");
    bool good = wrong == NULL;
    tp_error_clear(&error);
    stage_clear(&stage);
    return good;
}

START_TEST(splice__real_voice_comes_back_unclipped)
{
    int wrong = 0, cases = 0;
    printf("seed offset  lag pol bits shouts runs spans outside error/dB noise/dB step\n");
    for (uint64_t seed = 1; seed <= 200; seed++, cases++)
        wrong += !run_case(seed, true);
    printf("%d cases, %d wrong\n", cases, wrong);
    ck_assert_int_eq(cases, 200);
    ck_assert_int_eq(wrong, 0);
}
END_TEST

/* A stage with two shouts, for the rest. */
static void stage_shouting(struct stage *stage, unsigned bits, double over, size_t shouts)
{
    struct lab_random random = {.state = 4711};
    struct lab_pair pair = {
        .offset_db = -12.0, .main_noise_dbfs = -90.0, .safety_noise_dbfs = -80.0, .lag = 3, .bits = bits};
    stage_init(stage, &pair, 6 * RATE);
    stage->source = lab_voice(&random, stage->frames, 0.6);
    lab_shouts(stage->source, stage->frames, shouts, 4000, over, &random);
    lab_pair_make(&pair, stage->source, stage->frames, &random, stage->main, stage->safety);
}

START_TEST(splice__format_follows_the_peaks)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    stage_write(&stage, false);
    ck_assert_msg(stage_splice(&stage, false, false, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert(stage_read_track(&stage));
    ck_assert_int_eq(stage.info.format, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    ck_assert_double_eq_tol(stage.result->tracks[0].peak_dbfs, 20.0 * log10(2.0), 0.1);
    /* The other way: PCM, all of it lowered by whole dB, to 1 dB and less than 2 under full scale. */
    ck_assert_int_eq(stage_splice(&stage, true, true, &error), TP_OK);
    ck_assert(stage_read_track(&stage));
    ck_assert_int_eq(stage.info.format, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
    const struct tp_spliced_track *track = &stage.result->tracks[0];
    ck_assert_double_eq(track->lowered_db, round(track->lowered_db));
    ck_assert_double_le(track->peak_dbfs, -1.0);
    ck_assert_double_gt(track->peak_dbfs, -2.0);
    double gain = pow(10.0, -track->lowered_db / 20.0);
    for (size_t i = 0; i < 1000; i++)
        ck_assert_double_eq_tol(stage.track[i], gain * (double)stage.main[i], 0x1p-24);
    stage_clear(&stage);
    /* Nothing over full scale: 24 bits. */
    stage_shouting(&stage, 16, 1.3, 0);
    stage_write(&stage, false);
    ck_assert_int_eq(stage_splice(&stage, false, false, &error), TP_OK);
    ck_assert(stage_read_track(&stage));
    ck_assert_int_eq(stage.info.format, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
    ck_assert_int_eq(stage.result->tracks[0].choice, TP_CHOICE_MAIN);
    for (size_t i = 0; i < stage.frames; i++)
        ck_assert_double_eq(stage.track[i], (double)stage.main[i]);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice__timecode_and_metadata_are_carried)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    static const char ixml[] =
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML><IXML_VERSION>1.61</IXML_VERSION><SCENE>12A</SCENE>"
        "<TAKE>3</TAKE><NOTE>wind</NOTE><OURS><X a=\"1\">kept &amp; whole</X></OURS><FILE_UID>abc</FILE_UID><SPEED>"
        "<AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH><TIMECODE_RATE>25/1</TIMECODE_RATE></SPEED><TRACK_LIST><TRACK_COUNT>2"
        "</TRACK_COUNT><TRACK><CHANNEL_INDEX>5</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME>"
        "</TRACK><TRACK><CHANNEL_INDEX>6</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Boom low</NAME>"
        "</TRACK></TRACK_LIST></BWFXML>";
    double *both = lab_zeros(2 * stage.frames, sizeof *both);
    for (size_t i = 0; i < stage.frames; i++) {
        both[2 * i] = (double)stage.main[i];
        both[2 * i + 1] = (double)stage.safety[i];
    }
    struct wavgen_bext bext = {.description = "sSCENE=12A",
                               .originator = "field",
                               .date = "2026-05-04",
                               .time = "10:00:00",
                               .time_reference = 1728000000,
                               .version = 1,
                               .history = "A=PCM,F=48000,W=24,M=stereo,T=field\r\n"};
    struct wavgen wav = {.channels = 2, .frames = stage.frames, .reals = both, .bext = &bext, .ixml = ixml};
    char *path = scratch_format("%s/12A-3.wav", stage.card);
    wavgen_write(&wav, path);
    uint64_t before = scratch_fingerprint(stage.card);
    ck_assert_msg(stage_splice(&stage, false, false, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_uint_eq(scratch_fingerprint(stage.card), before);
    free(path);
    free(both);
    path = scratch_format("%s/%s", stage.out, stage.result->tracks[0].name);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    ck_assert_ptr_nonnull(file);
    SF_BROADCAST_INFO_VAR(4096) broadcast;
    ck_assert_int_eq(sf_command(file, SFC_GET_BROADCAST_INFO, &broadcast, sizeof broadcast), SF_TRUE);
    ck_assert_uint_eq(((uint64_t)broadcast.time_reference_high << 32) | broadcast.time_reference_low, 1728000000);
    ck_assert_int_eq(strncmp(broadcast.originator, "takeproof", 32), 0);
    ck_assert_int_eq(strncmp(broadcast.description, "sSCENE=12A", 256), 0);
    ck_assert_int_eq(strncmp(broadcast.origination_date, "2026-05-04", 10), 0);
    broadcast.coding_history[sizeof broadcast.coding_history - 1] = '\0';
    ck_assert_ptr_nonnull(strstr(broadcast.coding_history, "T=field\r\nA=PCM,F=48000,W=32,M=mono,T=float; takeproof; "
                                                           "main channel 1; safety channel 2 +1"));
    sf_close(file);
    size_t size;
    char *bytes = scratch_read(path, &size);
    const char *text = memmem(bytes, size, "<BWFXML>", 8);
    ck_assert_ptr_nonnull(text);
    ck_assert_ptr_nonnull(strstr(text, "<OURS><X a=\"1\">kept &amp; whole</X></OURS>"));
    ck_assert_ptr_nonnull(strstr(text, "<NOTE>wind / takeproof: main channel 1; safety channel 2 +1"));
    ck_assert_ptr_nonnull(strstr(text, "<AUDIO_BIT_DEPTH>32</AUDIO_BIT_DEPTH>"));
    ck_assert_ptr_nonnull(strstr(text, "<TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>5</CHANNEL_INDEX>"
                                       "<INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK></TRACK_LIST>"));
    ck_assert_ptr_null(strstr(text, "Boom low"));
    ck_assert_ptr_null(strstr(text, "abc"));
    free(bytes);
    free(path);
    path = scratch_format("%s/splices.csv", stage.out);
    bytes = scratch_read(path, &size);
    ck_assert_ptr_nonnull(bytes);
    size_t rows = 0;
    for (size_t i = 0; i < size; i++)
        rows += bytes[i] == '\n';
    ck_assert_uint_eq(rows, 1 + stage.result->tracks[0].span_count);
    ck_assert_ptr_nonnull(strstr(bytes, ",10:00:0"));
    free(bytes);
    free(path);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice__existing_files_are_left_alone)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    stage_write(&stage, false);
    scratch_folder(stage.out);
    char *path = scratch_format("%s/T01_clean.wav", stage.out);
    scratch_write(path, "mine", 4);
    uint64_t before = scratch_fingerprint(stage.out);
    ck_assert_int_eq(stage_splice(&stage, false, false, &error), TP_ERR_EXISTS);
    ck_assert_uint_eq(scratch_fingerprint(stage.out), before);
    tp_error_clear(&error);
    ck_assert_int_eq(stage_splice(&stage, true, false, &error), TP_OK);
    ck_assert(stage_read_track(&stage));
    free(path);
    /* Into the card itself: never. */
    free(stage.out);
    stage.out = scratch_format("%s/clean", stage.card);
    before = scratch_fingerprint(stage.card);
    ck_assert_int_eq(stage_splice(&stage, true, false, &error), TP_ERR_USAGE);
    ck_assert_uint_eq(scratch_fingerprint(stage.card), before);
    tp_error_clear(&error);
    stage_clear(&stage);
}
END_TEST

/* Somebody turns the safety up by 3 dB in the middle: each span is matched by what stands beside it. */
START_TEST(splice__a_changing_offset_is_followed)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 1.6, 6);
    for (size_t i = 0; i < stage.frames; i++) {
        double share = fmin(1.0, fmax(0.0, ((double)i - (double)stage.frames / 2.0) / RATE + 0.5));
        stage.safety[i] = (float)(rint((double)stage.safety[i] * pow(10.0, 3.0 * share / 20.0) * 0x1p23) / 0x1p23);
    }
    stage_write(&stage, false);
    ck_assert_msg(stage_splice(&stage, false, false, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_uint_eq(stage.result->track_count, 1);
    ck_assert_double_gt(stage.report->takes[0].signals[0].pair->offset_range_db, 1.0);
    ck_assert(stage_read_track(&stage));
    struct score score = score_track(&stage);
    ck_assert_uint_eq(score.changed_outside, 0);
    ck_assert_double_gt(score.error_db, 30.0);
    ck_assert_double_le(score.step, 1.0);
    stage_clear(&stage);
}
END_TEST

/* A disk that fills up: files may grow to 100,000 bytes only (setrlimit(2)). Check forks each test, so it ends here. */
START_TEST(splice__full_disk_leaves_no_half_track)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    stage_write(&stage, false);
    struct rlimit before, small;
    ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = (struct rlimit){.rlim_cur = 100000, .rlim_max = before.rlim_max};
    signal(SIGXFSZ, SIG_IGN);
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &small), 0);
    enum tp_status status = stage_splice(&stage, false, false, &error);
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &before), 0);
    ck_assert_msg(status == TP_ERR_SPACE || status == TP_ERR_WRITE, "%d", (int)status);
    tp_error_clear(&error);
    char *list = scratch_format("ls -A '%s' | wc -l | grep -qx 0", stage.out);
    ck_assert_int_eq(system(list), 0);
    free(list);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice__nothing_clean_gives_no_track)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    for (size_t i = 0; i < stage.frames; i++)
        if (fabsf(stage.main[i]) >= lab_full_scale(24))
            stage.safety[i < stage.frames - 3 ? i + 3 : i] = lab_full_scale(24);
    stage_write(&stage, false);
    ck_assert_int_eq(stage_splice(&stage, false, false, &error), TP_OK);
    ck_assert_uint_eq(stage.result->track_count, 1);
    ck_assert_uint_eq(stage.result->written, 0);
    ck_assert_int_eq(stage.result->tracks[0].choice, TP_CHOICE_NONE);
    ck_assert_uint_gt(strlen(stage.result->tracks[0].why_not), 20);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice__wide_damage_gives_the_safety_matched)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 0);
    for (size_t i = 0; i < stage.frames; i++)
        stage.source[i] *= 5.0;
    struct lab_random random = {.state = 1};
    stage.pair.offset_db = -16.0;
    lab_pair_make(&stage.pair, stage.source, stage.frames, &random, stage.main, stage.safety);
    stage_write(&stage, false);
    ck_assert_int_eq(stage_splice(&stage, false, false, &error), TP_OK);
    ck_assert_int_eq(stage.result->tracks[0].choice, TP_CHOICE_SAFETY);
    ck_assert(stage_read_track(&stage));
    double error_rms = rms(stage.track, stage.source, 100, stage.frames - 100);
    ck_assert_double_lt(20.0 * log10(error_rms), -80.0 + 16.0 + 1.0);
    stage_clear(&stage);
}
END_TEST

START_TEST(splice__a_source_that_changed_is_refused)
{
    struct tp_error error = {0};
    struct stage stage;
    stage_shouting(&stage, 24, 2.0, 2);
    stage_write(&stage, false);
    ck_assert_int_eq(stage_splice(&stage, false, false, &error), TP_OK);
    stage.frames -= 100;
    stage_write(&stage, false);
    const char *sources[] = {stage.card};
    struct tp_splice_options options = {
        .report = stage.report, .sources = sources, .source_count = 1, .directory = stage.out, .replace = true};
    struct tp_splice_result *result = NULL;
    ck_assert_int_eq(tp_splice_write(&options, &result, &error), TP_ERR_READ);
    ck_assert_ptr_null(result);
    tp_error_clear(&error);
    stage_clear(&stage);
}
END_TEST

static void add_case(Suite *suite, const char *name, const TTest *const *tests)
{
    TCase *tcase = tcase_create(name);
    tcase_set_timeout(tcase, 600);
    for (size_t i = 0; tests[i] != NULL; i++)
        tcase_add_test(tcase, tests[i]);
    suite_add_tcase(suite, tcase);
}

int main(void)
{
    setvbuf(stdout, NULL, _IOLBF, 0);
    Suite *suite = suite_create("splice");
    add_case(suite, "suite", (const TTest *const[]){splice__real_voice_comes_back_unclipped, NULL});
    add_case(suite, "single",
             (const TTest *const[]){splice__format_follows_the_peaks, splice__timecode_and_metadata_are_carried,
                                    splice__full_disk_leaves_no_half_track, splice__a_changing_offset_is_followed,
                                    splice__existing_files_are_left_alone, splice__nothing_clean_gives_no_track,
                                    splice__wide_damage_gives_the_safety_matched,
                                    splice__a_source_that_changed_is_refused, NULL});
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0;
}
