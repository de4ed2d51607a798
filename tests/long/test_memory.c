/* SPDX-License-Identifier: MIT */
/* A card of 2 GB in two long files streams in under 64 MB with two threads: resident memory as the kernel counts it
 * (getrusage(2), ru_maxrss). Needs 2 GB in TMPDIR. Not for the sanitizer build, whose own memory is larger. */
#include "support/checked.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

#define TAKE_S 30.0
#define CARD_BYTES UINT64_C(2147483648)
#define MEMORY_BYTES (UINT64_C(64) << 20)

START_TEST(memory__a_card_of_2_gb_stays_under_64_mb)
{
    char *scratch = scratch_new(), *card = scratch_format("%s/card", scratch);
    scratch_folder(card);
    for (size_t i = 0; i < 2; i++) {
        size_t frames;
        double *sound = good_take_samples(40 + i, TAKE_S, &frames);
        char *path = scratch_format("%s/12A-T0%zu.wav", card, i + 1);
        struct wavgen w = {.channels = 2, .frames = frames, .reals = sound};
        wavgen_write_repeated(&w, CARD_BYTES / 2 / (frames * 6) + 1, path);
        free(path);
        free(sound);
    }
    struct checked checked;
    checked_json(&checked, (const char *const[]){card, "--jobs", "2", NULL});
    ck_assert_msg(checked.report != NULL, "status %d: %s", checked.run.exit_status, checked.run.err);
    double bytes = checked_number(json_object_get(checked.report, "summary"), "bytes");
    printf("%.0f bytes in %.1f s, %.1f MB resident at most\n", bytes, checked.run.seconds,
           (double)checked.run.max_rss_bytes / 1048576.0);
    ck_assert_double_ge(bytes, (double)CARD_BYTES);
    ck_assert_msg(checked.run.max_rss_bytes < MEMORY_BYTES, "%.1f MB", (double)checked.run.max_rss_bytes / 1048576.0);
    checked_clear(&checked);
    scratch_remove(scratch);
    free(card);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("memory");
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 150);
    tcase_add_test(all, memory__a_card_of_2_gb_stays_under_64_mb);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed || run == 0 ? 1 : 0;
}
