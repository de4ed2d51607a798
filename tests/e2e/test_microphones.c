/* SPDX-License-Identifier: MIT */
/*
 * Takes in which one microphone is on more than two tracks: its main, its safety, a mix with one open fader. Made of
 * invented speech, so that what is the pair is known: a clipped boom, the same 12 dB lower and whole, and what a mixer
 * makes of the clipped one. What a recordist means by the names: common practice, no source; the track functions MIX
 * and L-MIX are from the iXML specification.
 */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SECONDS 12.0
#define TRACKS_MAX 8

static char *folder;
static double *boom, *other; /* main and safety interleaved; another voice */
static size_t frames;

static void set_up(void)
{
    size_t same;
    folder = scratch_new();
    boom = good_take_samples(31, SECONDS, &frames);
    other = good_take_samples(77, SECONDS, &same);
    ck_assert_uint_eq(frames, same);
}

static void tear_down(void)
{
    scratch_remove(folder);
    free(boom);
    free(other);
}

static double gain(double db)
{
    return pow(10.0, db / 20.0);
}

static double cut(double x)
{
    return fmax(-1.0, fmin(1.0, x));
}

/* One sample of a track:
 *   b s   the boom and its safety, nothing damaged
 *   B S   the boom 12 dB too hot and clipped, and its safety, whole
 *   D     that safety, as clipped as the boom: the overload came before the recorder
 *   3 6 9 a mix of the clipped boom alone, 3, 6 and 12 dB down      w  a mix of it before it clipped, 8 dB down
 *   m     a mix of the boom and the other voice                    c  the other voice
 *   z     the boom, dead from half of the take on
 *   5     a mix of the good boom alone, 6 dB down                  4  its safety, wrongly 4 dB down */
static double track_sample(char kind, size_t frame)
{
    double main = boom[2 * frame], safety = boom[2 * frame + 1], second = other[2 * frame];
    double hot = cut(main * gain(14.0));
    switch (kind) {
    case 'b': return main;
    case 's': return safety;
    case 'B': return hot;
    case 'S': return safety * gain(14.0);
    case 'D': return hot * gain(-12.0);
    case '3': return hot * gain(-3.0);
    case '6': return hot * gain(-6.0);
    case '9': return hot * gain(-12.0);
    case 'w': return main * gain(14.0 - 8.0 - 4.0);
    case 'm': return (main + second) * gain(-6.0);
    case 'z': return 2 * frame < frames ? main : 0.0;
    case '5': return main * gain(-6.0);
    case '4': return main * gain(-4.0);
    default: return second;
    }
}

static void write_take(const char *path, const char *tracks, const char *const *names, const char *const *functions)
{
    size_t count = strlen(tracks);
    double *samples = malloc(frames * count * sizeof *samples);
    struct wavgen_ixml ixml = {.scene = "12A", .take = "1", .track_count = (uint32_t)count};
    ck_assert_ptr_nonnull(samples);
    for (size_t c = 0; c < count; c++) {
        ixml.tracks[c].channel = ixml.tracks[c].interleave = (uint32_t)c + 1;
        ixml.tracks[c].name = names != NULL ? names[c] : NULL;
        ixml.tracks[c].function = functions != NULL ? functions[c] : NULL;
        for (size_t i = 0; i < frames; i++)
            samples[i * count + c] = track_sample(tracks[c], i);
    }
    char *text = wavgen_ixml_text(&ixml);
    struct wavgen wav = {.channels = (uint32_t)count,
                         .frames = frames,
                         .reals = samples,
                         .ixml = names != NULL || functions != NULL ? text : NULL,
                         .metadata_after_data = true};
    wavgen_write(&wav, path);
    free(text);
    free(samples);
}

static void check_take(const char *tracks, const char *const *names, const char *const *functions,
                       struct checked *checked)
{
    char *path = scratch_format("%s/12A-T01.WAV", folder);
    write_take(path, tracks, names, functions);
    checked_source(checked, folder);
    ck_assert_ptr_nonnull(checked->report);
    free(path);
}

static json_t *only_take(const struct checked *checked)
{
    return json_array_get(json_object_get(checked->report, "takes"), 0);
}

static int channel_of(const json_t *pair, const char *half)
{
    double channel = checked_number(json_object_get(pair, half), "channel");
    return isnan(channel) ? 0 : (int)channel;
}

static const struct {
    const char *rule, *tracks;
    const char *names[TRACKS_MAX], *functions[TRACKS_MAX];
    int main, safety;
} pairs[] = {
    {"main and safety", "BSc", {"Boom", "Boom Safety", "Cal"}, {NULL}, 1, 2},
    {"mix 3 dB down", "3BSc", {"MixL", "Boom", "Boom Safety", "Cal"}, {NULL}, 2, 3},
    {"mix 6 dB down", "6BSc", {"MixL", "Boom", "Boom Safety", "Cal"}, {NULL}, 2, 3},
    {"mix 12 dB down", "9BSc", {"MixL", "Boom", "Boom Safety", "Cal"}, {NULL}, 2, 3},
    {"mix behind", "BS6c", {"Boom", "Boom Safety", "MixL", "Cal"}, {NULL}, 1, 2},
    {"mix at unity on two tracks", "BBBSc", {"MixL", "MixR", "Boom", "Boom Safety", "Cal"}, {NULL}, 3, 4},
    {"mix between, and names tell", "B6Sc", {"Boom", "Mix R", "Boom Safety", "Cal"}, {NULL}, 1, 3},
    {"safety before its main, and names tell", "S6Bc", {"Boom -12dB", "MIX1", "Boom", "Cal"}, {NULL}, 3, 1},
    {"functions tell", "B6Sc", {"A", "B", "C", "D"}, {"", "L-MIX", "", ""}, 1, 3},
    {"places tell", "6BSc", {NULL}, {NULL}, 2, 3},
    {"a clean mix is better than nothing", "BDwc", {"Boom", "Boom Safety", "MixL", "Cal"}, {NULL}, 1, 3},
    {"a safety set wrongly is still the safety", "5b4c", {"MixL", "Boom", "Boom Safety", "Cal"}, {NULL}, 2, 3},
    {"a good boom with its mix beside", "5bsc", {"MixL", "Boom", "Boom Safety", "Cal"}, {NULL}, 2, 3},
};

START_TEST(microphones__the_pair_is_the_one_that_was_meant)
{
    struct checked checked;
    bool named = pairs[_i].names[0] != NULL;
    check_take(pairs[_i].tracks, named ? pairs[_i].names : NULL,
               pairs[_i].functions[0] != NULL ? pairs[_i].functions : NULL, &checked);
    json_t *take = only_take(&checked), *pair = json_object_get(take, "pair");
    char *findings = checked_findings_text(take);
    ck_assert_msg(channel_of(pair, "main") == pairs[_i].main && channel_of(pair, "safety") == pairs[_i].safety,
                  "%s: main %d, safety %d\n%s", pairs[_i].rule, channel_of(pair, "main"), channel_of(pair, "safety"),
                  findings);
    ck_assert_msg(strcmp(checked_text(take, "verdict"), "fail") != 0, "%s: %s", pairs[_i].rule, findings);
    ck_assert_msg(checked_finding(take, "both-clipped", "note") == NULL, "%s: %s", pairs[_i].rule, findings);
    free(findings);
    checked_clear(&checked);
}
END_TEST

/* The rest of the microphone's tracks are told as what they are, and are no second safety. */
START_TEST(microphones__a_mix_of_one_is_named_as_that)
{
    static const char *const names[] = {"MixL", "Boom", "Boom Safety", "Cal"};
    struct checked checked;
    check_take("6BSc", names, NULL, &checked);
    json_t *signals = json_object_get(only_take(&checked), "signals"), *mix = json_array_get(signals, 1);
    ck_assert_uint_eq(json_array_size(signals), 3);
    ck_assert_str_eq(checked_text(mix, "name"), "MixL");
    ck_assert_int_eq(channel_of(mix, "same_as"), 2);
    checked_clear(&checked);
}
END_TEST

/* No clean recording of the boom: then it must fail, whatever a mix is called. */
START_TEST(microphones__no_clean_recording_fails)
{
    static const char *const names[] = {"MixL", "Boom", "Boom Safety", "Cal"};
    struct checked checked;
    check_take("6BDc", names, NULL, &checked);
    ck_assert_str_eq(checked_text(only_take(&checked), "verdict"), "fail");
    ck_assert_ptr_nonnull(checked_finding(only_take(&checked), "both-clipped", "fail"));
    checked_clear(&checked);
}
END_TEST

static const struct {
    const char *rule, *tracks;
    const char *names[TRACKS_MAX];
    const char *severity;
} copies[] = {
    {"a mono mix on two tracks", "mmbs", {"MixL", "MixR", "Boom", "Boom Safety"}, "note"},
    {"left and right of it", "mmbs", {"L", "R", "Boom", "Boom Safety"}, "note"},
    {"a mono mix alone", "mm", {"Mix L", "Mix R"}, "note"},
    {"no names, two tracks", "bb", {NULL}, "listen"},
    {"left and right, two tracks", "bb", {"L", "R"}, "listen"},
    {"main and safety", "bbc", {"Boom", "Boom Safety", "Cal"}, "listen"},
    {"main and safety, with a mix beside", "5bbc", {"MixL", "Boom", "Boom Safety", "Cal"}, "listen"},
    {"no names, many tracks", "ccbs", {NULL}, "listen"},
    {"no names, but the microphone has its pair", "55bs", {NULL}, "note"},
};

START_TEST(microphones__copies_matter_where_a_safety_was_meant)
{
    struct checked checked;
    check_take(copies[_i].tracks, copies[_i].names[0] != NULL ? copies[_i].names : NULL, NULL, &checked);
    json_t *finding = checked_finding(only_take(&checked), "channel-copy", "note");
    ck_assert_msg(finding != NULL, "%s: nothing is said", copies[_i].rule);
    ck_assert_msg(strcmp(checked_text(finding, "severity"), copies[_i].severity) == 0, "%s: %s", copies[_i].rule,
                  checked_text(finding, "severity"));
    checked_clear(&checked);
}
END_TEST

/* A mono mix on two tracks is no pair where the agreement asks for one. */
START_TEST(microphones__a_mono_mix_is_not_the_pair_that_was_agreed)
{
    static const char *const names[] = {"MixL", "MixR", "Boom"};
    char *path = scratch_format("%s/12A-T01.WAV", folder), *spec = scratch_format("%s/day.ini", folder);
    write_take(path, "mmb", names, NULL);
    scratch_write(spec, "[pair]\npair = required\n", 23);
    const char *const arguments[] = {path, "--spec", spec, NULL};
    struct checked checked;
    checked_json(&checked, arguments);
    ck_assert_ptr_nonnull(checked_finding(only_take(&checked), "not-a-pair", "fail"));
    checked_clear(&checked);
    free(path);
    free(spec);
}
END_TEST

static char *line_check(const char *tracks, const char *const *names)
{
    char *path = scratch_format("%s/LINE.WAV", folder);
    write_take(path, tracks, names, NULL);
    const char *const argv[] = {run_takeproof(), "linecheck", path, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    char *out = scratch_format("%s", run.out);
    run_clear(&run);
    free(path);
    return out;
}

START_TEST(microphones__line_check_asks_no_safety_of_a_mix)
{
    static const char *const mixes[] = {"MixL", "MixR", "Boom", "Boom Safety"}, *const twins[] = {"Boom",
                                                                                                  "Boom Safety"};
    char *mix = line_check("mmbs", mixes), *twin = line_check("bb", twins);
    ck_assert_msg(strstr(mix, "very same samples") == NULL, "%s", mix);
    ck_assert_msg(strstr(twin, "very same samples") != NULL, "%s", twin);
    free(mix);
    free(twin);
}
END_TEST

/* 6 dB under a boom at the agreed level: as it should be for a mix that carries others, too. */
START_TEST(microphones__line_check_asks_no_level_of_a_mix_of_one)
{
    static const char *const names[] = {"MixL", "Boom", "Boom Safety"};
    char *line = line_check("5bs", names);
    ck_assert_msg(strncmp(line, "READY", 5) == 0, "%s", line);
    free(line);
}
END_TEST

/* Two microphones, one with its safety at the wrong level: which must be read off the sentence, in every report. */
START_TEST(microphones__findings_of_pairs_name_their_channels)
{
    static const char *const names[] = {"Boom", "Boom Safety", "Ana", "Ana Safety"};
    static const char sentence[] = "The safety (channel 2 'Boom Safety') is 4.0 dB under the main (channel 1 'Boom')";
    char *source = scratch_format("%s/card", folder), *out = scratch_format("%s/out", folder);
    char *path = scratch_format("%s/card/12A-T01.WAV", folder);
    scratch_folder(source);
    write_take(path, "b4cc", names, NULL);
    const char *const argv[] = {run_takeproof(), "check", source, "-o", out, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    char *words = scratch_format("%s", run.out);
    for (char *at = words; (at = strstr(at, "\n            ")) != NULL;)
        memmove(at + 1, at + 13, strlen(at + 13) + 1), *at = ' ';
    ck_assert_msg(strstr(words, sentence) != NULL, "%s", words);
    char *csv_path = scratch_format("%s/findings.csv", out), *csv = scratch_read(csv_path, NULL);
    ck_assert_ptr_nonnull(csv);
    ck_assert_ptr_nonnull(strstr(csv, ",Boom Safety\r\n"));
    free(csv_path);
    free(csv);
    static const char *const reports[] = {"report.html", "findings.csv", "report.json"};
    for (size_t i = 0; i < sizeof reports / sizeof reports[0]; i++) {
        char *report = scratch_format("%s/%s", out, reports[i]), *bytes = scratch_read(report, NULL);
        ck_assert_ptr_nonnull(bytes);
        ck_assert_msg(strstr(bytes, "channel 2") != NULL && strstr(bytes, "Boom Safety") != NULL &&
                          (strcmp(reports[i], "report.html") == 0 || strstr(bytes, sentence) != NULL),
                      "%s", reports[i]);
        free(report);
        free(bytes);
    }
    run_clear(&run);
    free(words);
    free(source);
    free(out);
    free(path);
}
END_TEST

START_TEST(microphones__a_half_that_falls_silent_is_named)
{
    static const char *const names[] = {"Ana", "Cal", "Boom", "Boom Safety"};
    char *path = scratch_format("%s/12A-T01.WAV", folder);
    write_take(path, "cczs", names, NULL);
    const char *const argv[] = {run_takeproof(), "check", path, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    ck_assert_msg(strstr(run.out, "channel 3 'Boom', 0:06.0 to 0:12.0: The main holds nothing") != NULL, "%s", run.out);
    run_clear(&run);
    free(path);
}
END_TEST

/* The columns of report.csv are those of the microphone that a person asks for first. */
START_TEST(microphones__the_row_of_a_take_is_of_the_pair)
{
    static const char *const names[] = {"MixL", "MixR", "Cal", "Boom", "Boom Safety"};
    struct checked checked;
    check_take("mmcbs", names, NULL, &checked);
    json_t *take = only_take(&checked), *use = json_object_get(take, "use");
    ck_assert_int_eq(channel_of(take, "use"), 4);
    ck_assert_str_eq(checked_text(use, "choice"), "main");
    ck_assert_int_eq(channel_of(json_object_get(take, "pair"), "safety"), 5);
    json_t *signals = json_object_get(take, "signals");
    ck_assert_str_eq(checked_text(json_array_get(signals, 0), "name"), "Boom");
    ck_assert_str_eq(checked_text(json_array_get(signals, 1), "name"), "MixL");
    ck_assert_str_eq(checked_text(json_array_get(signals, 2), "name"), "Cal");
    checked_clear(&checked);
}
END_TEST

START_TEST(microphones__a_microphone_goes_before_a_mix)
{
    static const char *const names[] = {"MixL", "MixR", "Boom", "Cal"};
    struct checked checked;
    check_take("mmbc", names, NULL, &checked);
    ck_assert_int_eq(channel_of(only_take(&checked), "use"), 3);
    checked_clear(&checked);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("microphones");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 60);
    tcase_add_checked_fixture(all, set_up, tear_down);
    tcase_add_loop_test(all, microphones__the_pair_is_the_one_that_was_meant, 0, (int)(sizeof pairs / sizeof pairs[0]));
    tcase_add_test(all, microphones__a_mix_of_one_is_named_as_that);
    tcase_add_test(all, microphones__no_clean_recording_fails);
    tcase_add_loop_test(all, microphones__copies_matter_where_a_safety_was_meant, 0,
                        (int)(sizeof copies / sizeof copies[0]));
    tcase_add_test(all, microphones__a_mono_mix_is_not_the_pair_that_was_agreed);
    tcase_add_test(all, microphones__line_check_asks_no_safety_of_a_mix);
    tcase_add_test(all, microphones__line_check_asks_no_level_of_a_mix_of_one);
    tcase_add_test(all, microphones__findings_of_pairs_name_their_channels);
    tcase_add_test(all, microphones__a_half_that_falls_silent_is_named);
    tcase_add_test(all, microphones__the_row_of_a_take_is_of_the_pair);
    tcase_add_test(all, microphones__a_microphone_goes_before_a_mix);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
