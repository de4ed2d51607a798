/* SPDX-License-Identifier: MIT */
/* Links to recordings: written as Python's urllib.parse.quote(name, safe="/") writes them, and never leading up. */
#include "report/html.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *path, *link; /* NULL: no link at all */
} paths[] = {
    {"T01.wav", "T01.wav"},
    {"day 1/T01.wav", "day%201/T01.wav"},
    {"a#b?c%d&e\"f<g>.wav", "a%23b%3Fc%25d%26e%22f%3Cg%3E.wav"},
    {"javascript:x//y.wav", NULL},
    {"javascript:x.wav", "javascript%3Ax.wav"},
    {"caf\xC3\xA9.wav", "caf%C3%A9.wav"},
    {"\xFF.wav", "%FF.wav"},
    {"back\\slash.wav", "back%5Cslash.wav"},
    {"~a-b._c.wav", "~a-b._c.wav"},
    {".hidden/...wav", ".hidden/...wav"},
    {".../T01.wav", ".../T01.wav"},
    {"../T01.wav", NULL},
    {"a/../../T01.wav", NULL},
    {"./T01.wav", NULL},
    {"a/.", NULL},
    {"a/..", NULL},
    {"/etc/T01.wav", NULL},
    {"//host/T01.wav", NULL},
    {"a/", NULL},
    {"", NULL},
};

static const struct {
    const char *source, *name;
} sources[] = {
    {"/media/S01", "S01"},
    {"/media/S01///", "S01"},
    {"card", "card"},
    {"a b", "a%20b"},
    {".", "."},
    {"..", "."},
    {"/", "."},
    {"", "."},
    {"../..", "."},
    {"x/..", "."},
};

struct written {
    char *text;
    size_t size;
    struct tp_page page;
};

static struct written open_page(const struct tp_report *report)
{
    static bool lost;
    struct written w = {.page = {.report = report, .lost = &lost}};
    return w;
}

START_TEST(html_sound__links_lead_down)
{
    char path[64];
    snprintf(path, sizeof path, "%s", paths[_i].path);
    size_t index = 0;
    struct tp_channel channel = {0};
    struct tp_file file = {
        .path = path, .path_raw = path, .channels = &channel, .channel_count = 1, .duration_s = 12.5};
    struct tp_take take = {.files = &index, .file_count = 1};
    struct tp_report report = {.files = &file, .file_count = 1, .takes = &take, .take_count = 1};
    struct written w = open_page(&report);
    w.page.out = open_memstream(&w.text, &w.size);
    tp_html_sounds(&w.page, &take);
    ck_assert_int_eq(fclose(w.page.out), 0);
    char wanted[128];
    snprintf(wanted, sizeof wanted, " data-length=\"12.500\" data-sound=\"%s\">", paths[_i].link ? paths[_i].link : "");
    ck_assert_msg((strstr(w.text, wanted) != NULL) == (paths[_i].link != NULL), "'%s': %s", path, w.text);
    ck_assert_msg((strstr(w.text, "data-sound") != NULL) == (paths[_i].link != NULL), "'%s': %s", path, w.text);
    free(w.text);
}
END_TEST

/* A file without sound that could be measured has nothing to play. */
START_TEST(html_sound__unreadable_file_gets_no_player)
{
    char path[] = "T01.wav";
    size_t indexes[] = {0, 7};
    struct tp_file file = {.path = path, .path_raw = path};
    struct tp_take take = {.files = indexes, .file_count = 2};
    struct tp_report report = {.files = &file, .file_count = 1, .takes = &take, .take_count = 1};
    struct written w = open_page(&report);
    w.page.out = open_memstream(&w.text, &w.size);
    tp_html_sounds(&w.page, &take);
    ck_assert_int_eq(fclose(w.page.out), 0);
    ck_assert_ptr_null(strstr(w.text, "data-sound"));
    free(w.text);
}
END_TEST

START_TEST(html_sound__sources_are_named_by_their_last_part)
{
    char first[32], second[] = "/media/S02";
    snprintf(first, sizeof first, "%s", sources[_i].source);
    char *list[] = {first, second};
    struct tp_report report = {.sources = list, .source_count = 2};
    struct written w = open_page(&report);
    w.page.out = open_memstream(&w.text, &w.size);
    tp_html_sound_tools(&w.page);
    ck_assert_int_eq(fclose(w.page.out), 0);
    char wanted[80];
    snprintf(wanted, sizeof wanted, " data-sources=\"%s S02\" ", sources[_i].name);
    for (char *line = strchr(w.text, '\n'); line != NULL; line = strchr(line, '\n'))
        *line = ' ';
    ck_assert_msg(strstr(w.text, wanted) != NULL, "'%s': %s", first, w.text);
    free(w.text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("html_sound");
    TCase *tests = tcase_create("html_sound");
    tcase_add_loop_test(tests, html_sound__links_lead_down, 0, (int)(sizeof paths / sizeof paths[0]));
    tcase_add_test(tests, html_sound__unreadable_file_gets_no_player);
    tcase_add_loop_test(tests, html_sound__sources_are_named_by_their_last_part, 0,
                        (int)(sizeof sources / sizeof sources[0]));
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner) != 0 || srunner_ntests_run(runner) == 0;
    srunner_free(runner);
    return failed;
}
