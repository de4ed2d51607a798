/* SPDX-License-Identifier: MIT */
#include "report/topics.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define WORDS(literal) ((char[]){literal})

/* A take of two files, the first with two channels. */
static struct tp_file files[2] = {{.path = WORDS("A/12A-T03.wav"), .channel_count = 2},
                                  {.path = WORDS("B/12A-T03.wav"), .channel_count = 1}};
static size_t file_indexes[2] = {0, 1};

static char sentence[] = "A sentence of its own.";

static struct tp_finding timed(enum tp_code code, enum tp_severity severity, uint32_t channel, double start_s)
{
    return (struct tp_finding){.code = code,
                               .severity = severity,
                               .channel = channel,
                               .start_s = start_s,
                               .end_s = start_s + 0.01,
                               .message = sentence};
}

static struct tp_finding timeless(enum tp_code code, enum tp_severity severity, uint32_t channel, char *message)
{
    struct tp_finding finding = timed(code, severity, channel, (double)NAN);
    finding.message = message;
    return finding;
}

/* The lines of a take, one a topic, with the advised marked by a star. */
static char *lines_of(struct tp_finding *findings, size_t count, size_t file_count)
{
    struct tp_take take = {
        .files = file_indexes, .file_count = file_count, .findings = findings, .finding_count = count};
    struct tp_report report = {.files = files, .file_count = 2, .takes = &take, .take_count = 1};
    struct tp_topics topics;
    struct tp_text lines = {0};
    ck_assert(tp_topics_of(&take, &topics));
    for (size_t i = 0; i < topics.count; i++) {
        struct tp_text line = {0};
        tp_topic_words(&report, &take, &topics.items[i], &line);
        tp_text_format(&lines, "%s%s\n", tp_topic_is_advised(&topics, i) ? "* " : "", line.bytes);
        tp_text_clear(&line);
    }
    tp_topics_clear(&topics);
    ck_assert(!lines.failed);
    return lines.bytes != NULL ? lines.bytes : strdup("");
}

#define LINES_ARE(findings, file_count, expected)                                                                      \
    do {                                                                                                               \
        char *lines = lines_of(findings, sizeof(findings) / sizeof((findings)[0]), file_count);                        \
        ck_assert_str_eq(lines, expected);                                                                             \
        free(lines);                                                                                                   \
    } while (0)

/* Sixty places of one kind leave room for the rest. */
START_TEST(topics__what_repeats_is_one_line)
{
    struct tp_finding findings[62];
    for (size_t i = 0; i < 60; i++)
        findings[i] = timed(TP_CODE_CLICK, TP_LISTEN, 0, (double)(i < 30 ? 2 * i + 1 : 2 * (i - 30)));
    findings[59].more_places = 1940;
    findings[60] = timeless(TP_CODE_HUM, TP_LISTEN, 0, WORDS("Hum at 50 Hz."));
    findings[61] = timed(TP_CODE_CLICK, TP_NOTE, 0, 7.0);
    char expected[300];
    snprintf(expected, sizeof expected,
             "* channel 1: %s, at 2,000 places: 0:00.0, 0:01.0, 0:02.0, 0:03.0 and 1,996 more.\n"
             "* channel 1: Hum at 50 Hz.\n",
             tp_finding_info(TP_CODE_CLICK)->title);
    LINES_ARE(findings, 1, expected);
}
END_TEST

START_TEST(topics__channels_are_told)
{
    struct tp_finding findings[] = {
        timed(TP_CODE_CLICK, TP_LISTEN, 0, 1.0),
        timed(TP_CODE_CLICK, TP_LISTEN, 1, 2.0),
        timed(TP_CODE_CLICK, TP_LISTEN, 1, 4.0),
        timed(TP_CODE_HUM, TP_LISTEN, 0, 0.0),
        timed(TP_CODE_HUM, TP_LISTEN, 1, 0.0),
        timed(TP_CODE_DROPOUT, TP_LISTEN, 0, 1.0),
        timed(TP_CODE_DROPOUT, TP_LISTEN, 1, 6.0),
        timeless(TP_CODE_LEVEL_LOW, TP_LISTEN, 0, WORDS("Dialogue sits at -30.0 dBFS.")),
        timeless(TP_CODE_LEVEL_LOW, TP_LISTEN, 1, WORDS("Dialogue sits at -31.0 dBFS.")),
    };
    char expected[300];
    snprintf(expected, sizeof expected,
             "* channel 1, 0:01.0: A sentence of its own. Likewise channel 2, 0:06.0.\n"
             "* channel 1, channel 2: %s, at 3 places: 0:01.0, 0:02.0, 0:04.0.\n"
             "channel 1, 0:00.0: A sentence of its own. Likewise channel 2.\n"
             "channel 1: Dialogue sits at -30.0 dBFS. Likewise channel 2.\n",
             tp_finding_info(TP_CODE_CLICK)->title);
    LINES_ARE(findings, 1, expected);
}
END_TEST

/* Metadata that disagrees in two ways is two things to know; the same wrong rate of two files is one. */
START_TEST(topics__different_sentences_stay)
{
    struct tp_finding findings[] = {
        timeless(TP_CODE_WRONG_SAMPLE_RATE, TP_FAIL, TP_NO_CHANNEL, WORDS("Recorded at 44100 Hz.")),
        timeless(TP_CODE_WRONG_SAMPLE_RATE, TP_FAIL, TP_NO_CHANNEL, WORDS("Recorded at 44100 Hz.")),
        timeless(TP_CODE_METADATA_CONFLICT, TP_LISTEN, TP_NO_CHANNEL, WORDS("One.")),
        timeless(TP_CODE_METADATA_CONFLICT, TP_LISTEN, TP_NO_CHANNEL, WORDS("Other.")),
    };
    findings[1].file = 1;
    LINES_ARE(findings, 2, "* Recorded at 44100 Hz.\n* One.\nOther.\n");
}
END_TEST

/* A sentence that already counts the places of its channel must not be counted again. */
START_TEST(topics__sums_are_not_counted_as_places)
{
    struct tp_finding findings[] = {
        timed(TP_CODE_CLIPPED, TP_FAIL, 0, 1.0),
        timed(TP_CODE_CLIPPED, TP_FAIL, 1, 2.0),
        timed(TP_CODE_SAFETY_NEEDED, TP_LISTEN, 0, 3.1),
    };
    findings[2].more_places = 10;
    LINES_ARE(findings, 1,
              "* channel 1, 0:01.0: A sentence of its own. Likewise channel 2, 0:02.0.\n* from 0:03.1: A sentence of "
              "its own.\n");
}
END_TEST

/* In the order of the codes the name comes before the empty file, and levels before the safety. */
START_TEST(topics__the_most_important_comes_first)
{
    struct tp_finding empty[] = {
        timeless(TP_CODE_NAME_OFF_PATTERN, TP_FAIL, TP_NO_CHANNEL, WORDS("Name.")),
        timeless(TP_CODE_EMPTY_FILE, TP_FAIL, TP_NO_CHANNEL, WORDS("Empty.")),
    };
    LINES_ARE(empty, 1, "* Empty.\n* Name.\n");
    struct tp_finding all[] = {
        timeless(TP_CODE_NAME_OFF_PATTERN, TP_FAIL, TP_NO_CHANNEL, WORDS("Name.")),
        timeless(TP_CODE_WRONG_SAMPLE_RATE, TP_FAIL, TP_NO_CHANNEL, WORDS("Rate.")),
        timeless(TP_CODE_TRUNCATED, TP_FAIL, TP_NO_CHANNEL, WORDS("Cut.")),
        timeless(TP_CODE_BOTH_CLIPPED, TP_FAIL, TP_NO_CHANNEL, WORDS("Both.")),
        timeless(TP_CODE_METADATA_CONFLICT, TP_LISTEN, TP_NO_CHANNEL, WORDS("Metadata.")),
        timeless(TP_CODE_LEVEL_LOW, TP_LISTEN, TP_NO_CHANNEL, WORDS("Level.")),
        timeless(TP_CODE_SAFETY_NEEDED, TP_LISTEN, TP_NO_CHANNEL, WORDS("Use the safety.")),
    };
    LINES_ARE(all, 1, "* Cut.\n* Both.\nRate.\nName.\n* Use the safety.\nLevel.\nMetadata.\n");
}
END_TEST

/* "Repeat the take" and "nothing to repeat" in one breath help nobody. */
START_TEST(topics__what_a_safety_covers_wants_no_advice_of_its_own)
{
    struct tp_finding findings[] = {
        timed(TP_CODE_DROPOUT, TP_LISTEN, 0, 1.0),
        timeless(TP_CODE_LEVEL_LOW, TP_LISTEN, 0, WORDS("Level.")),
        timeless(TP_CODE_SAFETY_NEEDED, TP_LISTEN, 0, WORDS("Use the safety.")),
    };
    LINES_ARE(findings, 1, "* Use the safety.\nchannel 1, 0:01.0: A sentence of its own.\n* channel 1: Level.\n");
    findings[0].channel = 1; /* of another microphone */
    LINES_ARE(findings, 1, "* channel 2, 0:01.0: A sentence of its own.\n* Use the safety.\nchannel 1: Level.\n");
    findings[0].channel = 0;
    findings[0].severity = TP_FAIL;
    LINES_ARE(findings, 1, "* channel 1, 0:01.0: A sentence of its own.\n* Use the safety.\nchannel 1: Level.\n");
}
END_TEST

START_TEST(topics__notes_are_none)
{
    struct tp_finding findings[] = {timeless(TP_CODE_TRAILING_BYTES, TP_NOTE, TP_NO_CHANNEL, WORDS("Note."))};
    LINES_ARE(findings, 1, "");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("topics");
    TCase *tests = tcase_create("topics");
    tcase_add_test(tests, topics__what_repeats_is_one_line);
    tcase_add_test(tests, topics__channels_are_told);
    tcase_add_test(tests, topics__different_sentences_stay);
    tcase_add_test(tests, topics__sums_are_not_counted_as_places);
    tcase_add_test(tests, topics__the_most_important_comes_first);
    tcase_add_test(tests, topics__what_a_safety_covers_wants_no_advice_of_its_own);
    tcase_add_test(tests, topics__notes_are_none);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
