/* SPDX-License-Identifier: MIT */
#include <check.h>
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <takeproof/spec.h>

static enum tp_status read_text(struct tp_spec *spec, const char *text, struct tp_error *error)
{
    return tp_spec_read_bytes(spec, text, strlen(text), "day.ini", error);
}

START_TEST(spec__built_in_values)
{
    /* Common practice for picture work, no source. */
    struct tp_spec spec;
    ck_assert_int_eq(tp_spec_init(&spec, NULL), TP_OK);
    ck_assert_uint_eq(spec.sample_rate_hz, 48000);
    ck_assert_uint_eq(spec.bit_depth, 24);
    ck_assert_int_eq((int)spec.encoding, TP_ENCODING_PCM);
    ck_assert_int_eq((int)spec.container, TP_CONTAINER_NONE);
    ck_assert_uint_eq(spec.channel_count, 0);
    ck_assert_double_eq(spec.working_level_min_dbfs, -16);
    ck_assert_double_eq(spec.working_level_max_dbfs, -12);
    ck_assert_double_eq(spec.true_peak_max_dbtp, -1);
    ck_assert_double_eq(spec.safety_below_min_db, 6);
    ck_assert_double_eq(spec.safety_below_max_db, 20);
    ck_assert_double_eq(spec.duration_min_s, 1);
    ck_assert(!spec.low_cut && !spec.require_bext && !spec.require_ixml);
    ck_assert_str_eq(spec.title, "");
    ck_assert_str_eq(spec.pattern, "");
    tp_spec_clear(&spec);
}
END_TEST

static const char every_key[] = "\xEF\xBB\xBF# the day\r\n"
                                "[production]\n"
                                "title = Harbour Lights ; working title\n"
                                "recordist = A. Ex\xC3\xA4mple\n"
                                "roll: S01\n"
                                "date = day 12\n"
                                "   scene = 12A\n"
                                "[format]\n"
                                "sample_rate_hz = any\n"
                                "bit_depth = 32\n"
                                "encoding = float\n"
                                "container = rf64\n"
                                "channel_count = 8\n"
                                "require_bext = yes\n"
                                "require_ixml = true\n"
                                "timecode_rate = 29.97df\n"
                                "[level]\n"
                                "working_level_min_dbfs = -20.5\n"
                                "working_level_max_dbfs = -14\n"
                                "true_peak_max_dbtp = -0.3\n"
                                "noise_floor_max_dbfs = -55.125\n"
                                "dc_offset_max = 0.0000015\n"
                                "[pair]\n"
                                "pair = required\n"
                                "safety_below_min_db = 9.9\n"
                                "safety_below_max_db = 12\n"
                                "lag_max_samples = 48\n"
                                "[take]\n"
                                "duration_min_s = 2.5\n"
                                "low_cut = on\n"
                                "[names]\n"
                                "pattern = {scene}_T{take}_{track}";

static void check_every_key(const struct tp_spec *spec)
{
    ck_assert_str_eq(spec->title, "Harbour Lights");
    ck_assert_str_eq(spec->recordist, "A. Ex\xC3\xA4mple");
    ck_assert_str_eq(spec->roll, "S01");
    ck_assert_str_eq(spec->date, "day 12");
    ck_assert_str_eq(spec->scene, "12A");
    ck_assert_uint_eq(spec->sample_rate_hz, 0);
    ck_assert_uint_eq(spec->bit_depth, 32);
    ck_assert_int_eq((int)spec->encoding, TP_ENCODING_FLOAT);
    ck_assert_int_eq((int)spec->container, TP_CONTAINER_RF64);
    ck_assert_uint_eq(spec->channel_count, 8);
    ck_assert(spec->require_bext && spec->require_ixml && spec->low_cut);
    ck_assert_uint_eq(spec->timecode_rate.numerator, 30000);
    ck_assert_uint_eq(spec->timecode_rate.denominator, 1001);
    ck_assert(spec->timecode_rate.drop);
    ck_assert_double_eq(spec->working_level_min_dbfs, -20.5);
    ck_assert_double_eq(spec->working_level_max_dbfs, -14);
    ck_assert_double_eq(spec->true_peak_max_dbtp, -0.3);
    ck_assert_double_eq(spec->noise_floor_max_dbfs, -55.125);
    ck_assert_double_eq(spec->dc_offset_max, 0.000002); /* kept to six decimals */
    ck_assert_int_eq((int)spec->pair, TP_PAIR_REQUIRED);
    ck_assert_double_eq(spec->safety_below_min_db, 9.9);
    ck_assert_double_eq(spec->safety_below_max_db, 12);
    ck_assert_uint_eq(spec->lag_max_samples, 48);
    ck_assert_double_eq(spec->duration_min_s, 2.5);
    ck_assert_str_eq(spec->pattern, "{scene}_T{take}_{track}");
}

START_TEST(spec__reads_every_key)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_msg(read_text(&spec, every_key, &error) == TP_OK, "%s", tp_error_text(&error));
    check_every_key(&spec);
    for (const struct tp_spec_key *key = tp_spec_keys(); key->key != NULL; key++) {
        char line[64];
        snprintf(line, sizeof line, "%s", key->key);
        ck_assert_msg(strstr(every_key, line) != NULL, "%s is not in the test", key->key);
    }
    tp_spec_clear(&spec);
}
END_TEST

static char *printed(const struct tp_spec *spec, size_t *size)
{
    char *text = NULL;
    FILE *out = open_memstream(&text, size);
    ck_assert_ptr_nonnull(out);
    ck_assert_int_eq(tp_spec_print(spec, out, NULL), TP_OK);
    fclose(out);
    return text;
}

START_TEST(spec__print_reads_back_the_same)
{
    const char *inputs[] = {"", every_key, "[production]\ntitle=;a;b\n[format]\ntimecode_rate = 120/1\n"};
    struct tp_spec spec, again;
    struct tp_error error = {0};
    size_t size, size_again;
    ck_assert_int_eq(read_text(&spec, inputs[_i], NULL), TP_OK);
    char *text = printed(&spec, &size);
    ck_assert_msg(tp_spec_read_bytes(&again, text, size, "printed", &error) == TP_OK, "%s", tp_error_text(&error));
    char *text_again = printed(&again, &size_again);
    ck_assert_str_eq(text, text_again);
    if (_i == 1)
        check_every_key(&again);
    free(text);
    free(text_again);
    tp_spec_clear(&spec);
    tp_spec_clear(&again);
}
END_TEST

START_TEST(spec__print_comments_every_key)
{
    struct tp_spec spec;
    size_t size;
    ck_assert_int_eq(tp_spec_init(&spec, NULL), TP_OK);
    char *text = printed(&spec, &size);
    for (const struct tp_spec_key *key = tp_spec_keys(); key->key != NULL; key++) {
        char line[600];
        snprintf(line, sizeof line, "# %s\n# Values: %s.\n%s =", key->comment, key->values, key->key);
        ck_assert_msg(strstr(text, line) != NULL, "%s", line);
        ck_assert_uint_gt(strlen(key->comment), 10);
    }
    free(text);
    tp_spec_clear(&spec);
}
END_TEST

/* Text that could break the line it is printed on does not. */
START_TEST(spec__print_keeps_hostile_text_on_its_line)
{
    struct tp_spec spec, again;
    size_t size;
    ck_assert_int_eq(tp_spec_init(&spec, NULL), TP_OK);
    free(spec.title);
    spec.title = strdup("a\n[format]\nbit_depth = 8 ; b");
    char *text = printed(&spec, &size);
    ck_assert_int_eq(tp_spec_read_bytes(&again, text, size, "printed", NULL), TP_OK);
    ck_assert_uint_eq(again.bit_depth, 24);
    ck_assert_str_eq(again.title, "a [format] bit_depth = 8 , b");
    free(text);
    tp_spec_clear(&spec);
    tp_spec_clear(&again);
}
END_TEST

static const struct {
    const char *text;
    const char *words; /* of the message */
} bad[] = {
    {"[format]\nsample_rate = 48000\n", "'day.ini' line 2: there is no key 'sample_rate' in section [format]"},
    {"[level]\n\nbit_depth = 24\n", "line 3: 'bit_depth' belongs in section [format]"},
    {"bit_depth = 24\n", "line 1: 'bit_depth' belongs in section [format]"},
    {"[formats]\nbit_depth = 24\n", "line 1: there is no section [formats]"},
    {"\xEF\xBB\xBF[formats]\n", "line 1: there is no section [formats]"},
    {"[]\n", "line 1: there is no section []"},
    {"\n\n[format\n", "line 3: not a"},
    {"[format]\nbit_depth 24\n", "line 2: not a"},
    {"[format]\nbit_depth =\n", "line 2: '' is no value for bit_depth: it takes any, or 8 to 64"},
    {"[format]\nbit_depth = 7\n", "line 2: '7' is no value"},
    {"[format]\nbit_depth = 65\n", "line 2: '65' is no value"},
    {"[format]\nbit_depth = -24\n", "line 2: '-24' is no value"},
    {"[format]\nbit_depth = 24bit\n", "line 2: '24bit' is no value"},
    {"[format]\nbit_depth = 99999999999999999999\n", "is no value"},
    {"[format]\nsample_rate_hz = 48,000\n", "is no value for sample_rate_hz"},
    {"[format]\nsample_rate_hz = 48000.5\n", "is no value for sample_rate_hz"},
    {"[format]\nencoding = mp3\n", "is no value for encoding: it takes any, pcm or float"},
    {"[format]\ncontainer = aiff\n", "is no value for container"},
    {"[format]\nchannel_count = 257\n", "is no value for channel_count"},
    {"[format]\nrequire_bext = maybe\n", "is no value for require_bext: it takes yes or no"},
    {"[format]\nrequire_ixml = 2\n", "is no value for require_ixml"},
    {"[format]\ntimecode_rate = 23\n", "is no value for timecode_rate"},
    {"[format]\ntimecode_rate = 24000/1002\n", "is no value for timecode_rate"},
    {"[format]\ntimecode_rate = 0/1\n", "is no value for timecode_rate"},
    {"[format]\ntimecode_rate = 121/1\n", "is no value for timecode_rate"},
    {"[level]\nworking_level_min_dbfs = 3\n", "is no value for working_level_min_dbfs: it takes -80 to 0"},
    {"[level]\nworking_level_max_dbfs = nan\n", "is no value for working_level_max_dbfs"},
    {"[level]\ntrue_peak_max_dbtp = inf\n", "is no value for true_peak_max_dbtp"},
    {"[level]\nnoise_floor_max_dbfs = -50,5\n", "is no value for noise_floor_max_dbfs"},
    {"[level]\ndc_offset_max = 1.1\n", "is no value for dc_offset_max"},
    {"[pair]\npair = yes\n", "is no value for pair: it takes auto, required or off"},
    {"[pair]\nlag_max_samples = 48001\n", "is no value for lag_max_samples"},
    {"[pair]\nlag_max_samples = any\n", "is no value for lag_max_samples"},
    {"[take]\nduration_min_s = -1\n", "is no value for duration_min_s"},
    {"[take]\nlow_cut = 80\n", "is no value for low_cut"},
    {"[names]\npattern = {scen}\n", "is no value for pattern"},
    {"[names]\npattern = {scene\n", "is no value for pattern"},
    {"[names]\npattern = scene}\n", "is no value for pattern"},
    {"[format]\nbit_depth = 16\n[take]\nlow_cut = no\n[format]\nbit_depth = 24\n",
     "line 6: 'bit_depth' is given twice; the first is on line 2"},
    {"[level]\nworking_level_min_dbfs = -10\n", "line 2: working_level_min_dbfs is above working_level_max_dbfs"},
    {"[pair]\nsafety_below_max_db = 5\n", "line 2: safety_below_min_db is above safety_below_max_db"},
    {"[format]\nencoding = float\n", "line 2: float has 32 or 64 bits, but bit_depth is 24"},
    {"[format]\nbit_depth = 64\n", "line 2: PCM has at most 32 bits"},
    /* a continuation must not be taken for part of the value before it */
    {"[format]\nbit_depth = 24\n  16\n", "line 3: not a"},
};

START_TEST(spec__says_file_line_and_reason)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_int_eq(read_text(&spec, bad[_i].text, &error), TP_ERR_SPEC);
    ck_assert_msg(strstr(tp_error_text(&error), bad[_i].words) != NULL, "got: %s", tp_error_text(&error));
    ck_assert_int_eq(strncmp(tp_error_text(&error), "'day.ini' line ", 15), 0);
    tp_error_clear(&error);
}
END_TEST

START_TEST(spec__says_all_errors_in_line_order)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    const char *text = "[format]\nbits = 1\noops\nencoding = 7\n[x]\na = b\n[take]\nlow_cut = no\n";
    ck_assert_int_eq(read_text(&spec, text, &error), TP_ERR_SPEC);
    const char *lines[] = {"line 2: there is no key 'bits'", "line 4: '7' is no value",
                           "line 5: there is no section [x]"};
    const char *at = tp_error_text(&error);
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        at = strstr(at, lines[i]);
        ck_assert_msg(at != NULL, "%s not in: %s", lines[i], tp_error_text(&error));
    }
    tp_error_clear(&error);
}
END_TEST

/* libinih alone cuts such a line in two and counts the lines wrongly from there. */
START_TEST(spec__refuses_long_lines_and_keeps_counting)
{
    char text[1200];
    char name[900];
    memset(name, 'a', sizeof name);
    name[_i] = '\0';
    snprintf(text, sizeof text, "[production]\ntitle = %s\n[format]\nbit_depth = 1\n", name);
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_int_eq(read_text(&spec, text, &error), TP_ERR_SPEC);
    bool too_long = strlen("title = ") + strlen(name) > 197;
    ck_assert_int_eq(strstr(tp_error_text(&error), "line 2: the line is longer than 197 bytes") != NULL, too_long);
    ck_assert_msg(strstr(tp_error_text(&error), "line 4: '1' is no value") != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
}
END_TEST

START_TEST(spec__refuses_nul_bytes)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    static const char utf16[] = "\xFF\xFE[\0t\0a\0k\0e\0]\0\n\0";
    ck_assert_int_eq(tp_spec_read_bytes(&spec, utf16, sizeof utf16 - 1, "day.ini", &error), TP_ERR_SPEC);
    ck_assert_msg(strstr(tp_error_text(&error), "line 1: the line holds a NUL byte") != NULL, "%s",
                  tp_error_text(&error));
    tp_error_clear(&error);
}
END_TEST

/* Each would print to a file that reads differently, or not at all. */
static const struct {
    const char *text, *message;
} not_printable[] = {
    {"[production]\ntitle = a\x1B[2Jb\n", "line 2: the line holds a control character"},
    {"[production]\ntitle = a\n\fb\n", "line 3: the line holds a control character"},
    {"[production]\ntitle = a\x7F\n", "line 2: the line holds a control character"},
};

START_TEST(spec__refuses_what_would_not_print_the_same)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_int_eq(read_text(&spec, not_printable[_i].text, &error), TP_ERR_SPEC);
    ck_assert_msg(strstr(tp_error_text(&error), not_printable[_i].message) != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
}
END_TEST

START_TEST(spec__keeps_at_most_twenty_errors)
{
    char text[2000] = "[format]\n";
    for (int i = 0; i < 100; i++)
        strcat(text, "x = 1\n");
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_int_eq(read_text(&spec, text, &error), TP_ERR_SPEC);
    size_t lines = 1;
    for (const char *c = tp_error_text(&error); *c != '\0'; c++)
        lines += *c == '\n';
    ck_assert_uint_eq(lines, 20);
    tp_error_clear(&error);
}
END_TEST

START_TEST(spec__text_in_an_old_encoding_becomes_utf8)
{
    struct tp_spec spec;
    ck_assert_int_eq(read_text(&spec, "[production]\ntitle = Caf\xE9\n", NULL), TP_OK);
    ck_assert_str_eq(spec.title, "Caf\xC3\xA9");
    tp_spec_clear(&spec);
}
END_TEST

START_TEST(spec__copy_is_deep)
{
    struct tp_spec spec, copy;
    ck_assert_int_eq(read_text(&spec, every_key, NULL), TP_OK);
    ck_assert_int_eq(tp_spec_copy(&copy, &spec, NULL), TP_OK);
    tp_spec_clear(&spec);
    check_every_key(&copy);
    tp_spec_clear(&copy);
}
END_TEST

START_TEST(spec__file_that_is_not_there)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_spec_read_file(&spec, "no-such-folder/day.ini", &error), TP_ERR_OPEN);
    ck_assert_ptr_nonnull(strstr(tp_error_text(&error), "no-such-folder/day.ini"));
    tp_error_clear(&error);
}
END_TEST

START_TEST(spec__rates_by_name_and_fraction)
{
    static const struct {
        const char *text;
        uint32_t numerator, denominator;
        bool drop;
        const char *printed;
    } rates[] = {
        {"any", 0, 0, false, "any"},
        {"23.976", 24000, 1001, false, "23.976"},
        {"23.98", 24000, 1001, false, "23.976"},
        {"24000/1001", 24000, 1001, false, "23.976"},
        {"25", 25, 1, false, "25"},
        {"25/1", 25, 1, false, "25"},
        {"29.97", 30000, 1001, false, "29.97"},
        {"29.97df", 30000, 1001, true, "29.97df"},
        {"100/1", 100, 1, false, "100/1"},
    };
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        char text[80];
        snprintf(text, sizeof text, "[format]\ntimecode_rate = %s\n", rates[i].text);
        struct tp_spec spec;
        ck_assert_int_eq(read_text(&spec, text, NULL), TP_OK);
        ck_assert_uint_eq(spec.timecode_rate.numerator, rates[i].numerator);
        ck_assert_uint_eq(spec.timecode_rate.denominator, rates[i].denominator);
        ck_assert_int_eq(spec.timecode_rate.drop, rates[i].drop);
        for (size_t k = 0; tp_spec_keys()[k].key != NULL; k++) {
            if (strcmp(tp_spec_keys()[k].key, "timecode_rate") != 0)
                continue;
            char *value = tp_spec_value_text(&spec, k);
            ck_assert_str_eq(value, rates[i].printed);
            free(value);
        }
        tp_spec_clear(&spec);
    }
}
END_TEST

int main(void)
{
    setlocale(LC_ALL, "de_DE.UTF-8"); /* where it exists: a decimal comma must change nothing */
    Suite *suite = suite_create("spec");
    TCase *tests = tcase_create("spec");
    tcase_add_test(tests, spec__built_in_values);
    tcase_add_test(tests, spec__reads_every_key);
    tcase_add_loop_test(tests, spec__print_reads_back_the_same, 0, 3);
    tcase_add_test(tests, spec__print_comments_every_key);
    tcase_add_test(tests, spec__print_keeps_hostile_text_on_its_line);
    tcase_add_loop_test(tests, spec__says_file_line_and_reason, 0, (int)(sizeof bad / sizeof bad[0]));
    tcase_add_test(tests, spec__says_all_errors_in_line_order);
    tcase_add_loop_test(tests, spec__refuses_long_lines_and_keeps_counting, 180, 210);
    tcase_add_loop_test(tests, spec__refuses_long_lines_and_keeps_counting, 800, 802);
    tcase_add_test(tests, spec__refuses_nul_bytes);
    tcase_add_loop_test(tests, spec__refuses_what_would_not_print_the_same, 0,
                        sizeof not_printable / sizeof not_printable[0]);
    tcase_add_test(tests, spec__keeps_at_most_twenty_errors);
    tcase_add_test(tests, spec__text_in_an_old_encoding_becomes_utf8);
    tcase_add_test(tests, spec__copy_is_deep);
    tcase_add_test(tests, spec__file_that_is_not_there);
    tcase_add_test(tests, spec__rates_by_name_and_fraction);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) + (srunner_ntests_run(runner) == 0);
    srunner_free(runner);
    return failed ? 1 : 0;
}
