/* SPDX-License-Identifier: MIT */
#include "handoff/manifest.h"

#include "support/scratch.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ABC "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
#define EMPTY "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"

/* Every name a card may carry that a line of text could get wrong. */
static const char *const names[] = {
    "12A-T001.wav", "two  spaces", " leading", "trailing ", "back\\slash", "new\nline",
    "cr\rname",     "end\r",       "\\n",      "*star",     "#hash",       "caf\xc3\xa9",
    "bad\xff\xfe",  "a) = b",      "-rf",      "--",        "tab\tname",
};
#define NAME_COUNT (sizeof names / sizeof *names)

#define ABC_XXH64 "44bc2cf5ad770999"
#define ABC_XXH3 "78af5f94892f3950" /* printed by xxhsum 0.8.1 */

/* The name as xxhsum 0.8.1 can have it in a line: not with LF, before XXH64 not with CR. */
static bool is_for_xxhsum(const char *name, enum tp_hash hash)
{
    return strchr(name, '\n') == NULL && (hash != TP_HASH_XXH64 || strchr(name, '\r') == NULL);
}

/* A tool that was not written here finds every file by its line, and the content right; not so once it is changed. */
static void offer(const char *const *argv, enum tp_hash hash, const char *hex)
{
    char *folder = scratch_new();
    struct tp_text text = {0};
    for (size_t i = 0; i < NAME_COUNT; i++) {
        if (hash != TP_HASH_SHA256 && !is_for_xxhsum(names[i], hash))
            continue;
        char *path = scratch_format("%s/%s", folder, names[i]);
        scratch_write(path, "abc", 3);
        free(path);
        tp_manifest_line(&text, hash, hex, names[i]);
    }
    ck_assert(!text.failed);
    char *manifest = scratch_format("%s/list", folder), *changed = scratch_format("%s/%s", folder, names[0]);
    scratch_write(manifest, text.bytes, text.length);
    struct run run;
    run_program(argv, folder, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s%s", run.out, run.err);
    run_clear(&run);
    scratch_write(changed, "abd", 3);
    run_program(argv, folder, NULL, 0, &run);
    ck_assert_int_ne(run.exit_status, 0);
    run_clear(&run);
    tp_text_clear(&text);
    free(changed);
    free(manifest);
    scratch_remove(folder);
}

START_TEST(manifest__coreutils_accept_every_name)
{
    offer((const char *const[]){"sha256sum", "--check", "--strict", "list", NULL}, TP_HASH_SHA256, ABC);
}
END_TEST

START_TEST(manifest__xxhsum_accepts_every_name_it_can)
{
    offer((const char *const[]){"xxhsum", "--check", "--strict", "list", NULL}, TP_HASH_XXH64, ABC_XXH64);
    offer((const char *const[]){"xxhsum", "--check", "--strict", "list", NULL}, TP_HASH_XXH3, ABC_XXH3);
    offer((const char *const[]){"xxhsum", "-H3", "--check", "--strict", "list", NULL}, TP_HASH_XXH3, ABC_XXH3);
}
END_TEST

/* What is written is read again, also the names that no xxhsum can have. */
START_TEST(manifest__reads_what_it_writes)
{
    static const char *const hex[TP_HASH_COUNT] = {ABC, ABC_XXH64, ABC_XXH3};
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        struct tp_text text = {0};
        for (size_t i = 0; i < NAME_COUNT; i++)
            tp_manifest_line(&text, hash, hex[hash], names[i]);
        struct tp_listing listing;
        struct tp_error error = {0};
        ck_assert_msg(tp_manifest_read(&listing, text.bytes, text.length, "list", &error) == TP_OK, "%s",
                      tp_error_text(&error));
        ck_assert_uint_eq(listing.count, NAME_COUNT);
        for (size_t i = 0; i < NAME_COUNT; i++) {
            const struct tp_listed *found = tp_listing_find(&listing, names[i]);
            ck_assert_msg(found != NULL, "hash %d, name %zu", (int)hash, i);
            for (enum tp_hash other = 0; other < TP_HASH_COUNT; other++)
                ck_assert_str_eq(found->hashes.hex[other], other == hash ? hex[hash] : "");
        }
        tp_listing_clear(&listing);
        tp_text_clear(&text);
    }
}
END_TEST

static void read_ok(const char *bytes, size_t size, struct tp_listing *listing)
{
    struct tp_error error = {0};
    enum tp_status status = tp_manifest_read(listing, bytes, size, "list", &error);
    ck_assert_msg(status == TP_OK, "%s", tp_error_text(&error));
}

/* The other direction: what sha256sum and xxhsum print is read with the names as they are. */
static void read_output_of(const char *const *options, enum tp_hash hash, const char *hex)
{
    char *folder = scratch_new();
    const char *argv[NAME_COUNT + 8];
    size_t count = 0, expected = 0;
    while (options[count] != NULL) {
        argv[count] = options[count];
        count++;
    }
    if (hash == TP_HASH_SHA256)
        argv[count++] = "--"; /* xxhsum 0.8.1 takes it for a name, and "-rf" for options */
    for (size_t i = 0; i < NAME_COUNT; i++) {
        if (hash != TP_HASH_SHA256 && (!is_for_xxhsum(names[i], hash) || names[i][0] == '-'))
            continue;
        expected++;
        char *path = scratch_format("%s/%s", folder, names[i]);
        scratch_write(path, "abc", 3);
        free(path);
        argv[count++] = names[i];
    }
    argv[count] = NULL;
    struct run run;
    run_program(argv, folder, NULL, 0, &run);
    ck_assert_int_eq(run.exit_status, 0);
    struct tp_listing listing;
    read_ok(run.out, run.out_size, &listing);
    ck_assert_uint_eq(listing.count, expected);
    for (size_t i = 0; i < listing.count; i++)
        ck_assert_str_eq(listing.items[i].hashes.hex[hash], hex);
    for (size_t i = 0; i < NAME_COUNT && expected == NAME_COUNT; i++)
        ck_assert_msg(tp_listing_find(&listing, names[i]) != NULL, "name %zu", i);
    tp_listing_clear(&listing);
    run_clear(&run);
    scratch_remove(folder);
}

START_TEST(manifest__reads_what_coreutils_write)
{
    static const char *const forms[][3] = {
        {"sha256sum", NULL}, {"sha256sum", "-b", NULL}, {"sha256sum", "--tag", NULL}};
    read_output_of(forms[_i], TP_HASH_SHA256, ABC);
}
END_TEST

START_TEST(manifest__reads_what_xxhsum_writes)
{
    read_output_of((const char *const[]){"xxhsum", NULL}, TP_HASH_XXH64, ABC_XXH64);
    read_output_of((const char *const[]){"xxhsum", "--tag", NULL}, TP_HASH_XXH64, ABC_XXH64);
    read_output_of((const char *const[]){"xxhsum", "-H3", NULL}, TP_HASH_XXH3, ABC_XXH3);
}
END_TEST

START_TEST(manifest__reads_other_lines_crlf_and_comments)
{
    static const char text[] = "# made somewhere\r\n44bc2cf5ad770999  ./a//b.wav\r\n\r\n" EMPTY " *c.wav\r\n"
                               "XXH3_78AF5F94892F3950  d.wav\r\nXXH3 (e) = f) = 78af5f94892f3950\r\n"
                               "78af5f94892f3951  d.wav";
    struct tp_listing listing;
    read_ok(text, sizeof text - 1, &listing);
    ck_assert_uint_eq(listing.count, 4);
    ck_assert_str_eq(listing.items[0].path, "a/b.wav");
    ck_assert_str_eq(listing.items[0].hashes.hex[TP_HASH_XXH64], "44bc2cf5ad770999");
    ck_assert_str_eq(listing.items[0].hashes.hex[TP_HASH_SHA256], "");
    ck_assert_str_eq(listing.items[0].hashes.hex[TP_HASH_XXH3], "");
    ck_assert_str_eq(listing.items[1].path, "c.wav");
    ck_assert_str_eq(listing.items[2].path, "d.wav");
    ck_assert_str_eq(listing.items[2].hashes.hex[TP_HASH_XXH3], ABC_XXH3);
    ck_assert_str_eq(listing.items[2].hashes.hex[TP_HASH_XXH64], "78af5f94892f3951");
    ck_assert_str_eq(listing.items[3].path, "e) = f");
    ck_assert_str_eq(listing.items[3].hashes.hex[TP_HASH_XXH3], ABC_XXH3);
    tp_listing_clear(&listing);
}
END_TEST

static const struct {
    const char *text, *words;
} refused[] = {
    {"abc  a\n", "line 1"},
    {ABC "  a\n" ABC "  ../b\n", "line 2: the path '../b' leads outside"},
    {ABC "  /etc/x\n", "leads outside"},
    {ABC "  a/../../b\n", "leads outside"},
    {ABC "  .\n", "leads outside"},
    {ABC "  \n", "leads outside"},
    {ABC "  a\n" EMPTY "  ./a\n", "'a' is listed twice"},
    {"\\" ABC "  a\\x\n", "wrong escape"},
    {"\\" ABC "  a\\\n", "wrong escape"},
    {ABC " a\n", "no line of"},
    {ABC "0  a\n", "no line of"},
    {ABC, "no line of"},
    {"SHA256 (a) = xyz\n", "no line of"},
    {"SHA256 (a) = zz7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n", "not a hash"},
    {"XXH3 (a) = xyz\n", "no line of"},
    {"XXH3 (a) = zzaf5f94892f3950\n", "not a hash"},
    {"XXH3 (a) = 78af5f94892f3950\nXXH3_78af5f94892f3951  a\n", "'a' is listed twice"},
    {"XXH3_78af5f94892f3950 a\n", "no line of"},
    {"XXH3_LE (a) = 50392f89945faf78\n", "no line of"},
    {"XXH128 (a) = 06b05ab6733a618578af5f94892f3950\n", "no line of"},
    {"06b05ab6733a618578af5f94892f3950  a\n", "no line of"},
    {"32d153ff  a\n", "no line of"},
};

START_TEST(manifest__refuses_with_the_line)
{
    struct tp_listing listing;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_manifest_read(&listing, refused[_i].text, strlen(refused[_i].text), "list", &error),
                     TP_ERR_FORMAT);
    ck_assert_msg(strstr(tp_error_text(&error), refused[_i].words) != NULL, "%s", tp_error_text(&error));
    ck_assert_uint_eq(listing.count, 0);
    tp_error_clear(&error);
}
END_TEST

START_TEST(manifest__refuses_a_nul_byte)
{
    static const char text[] = ABC "  a\0b\n";
    struct tp_listing listing;
    ck_assert_int_eq(tp_manifest_read(&listing, text, sizeof text - 1, "list", NULL), TP_ERR_FORMAT);
}
END_TEST

/* Any bytes at all: no crash, and nothing accepted leads outside. */
START_TEST(manifest__survives_noise)
{
    static const char good[] =
        ABC "  a/b.wav\n\\" ABC "  x\\\\y\nSHA256 (q) = " ABC "\nXXH3 (r) = " ABC_XXH3 "\nXXH3_" ABC_XXH3 "  s\n";
    uint32_t state = 12345;
    for (int round = 0; round < 20000; round++) {
        char bytes[sizeof good];
        memcpy(bytes, good, sizeof good);
        for (int hits = 0; hits < 3; hits++) {
            state = state * 1664525u + 1013904223u;
            bytes[(state >> 8) % (sizeof good - 1)] = "\\\n\r./ *()=\0z"[state % 12];
        }
        struct tp_listing listing;
        if (tp_manifest_read(&listing, bytes, sizeof good - 1, "noise", NULL) != TP_OK)
            continue;
        for (size_t i = 0; i < listing.count; i++)
            ck_assert(listing.items[i].path[0] != '/' && strncmp(listing.items[i].path, "../", 3) != 0);
        tp_listing_clear(&listing);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("manifest");
    TCase *cases = tcase_create("manifest");
    tcase_add_test(cases, manifest__coreutils_accept_every_name);
    tcase_add_test(cases, manifest__xxhsum_accepts_every_name_it_can);
    tcase_add_loop_test(cases, manifest__reads_what_coreutils_write, 0, 3);
    tcase_add_test(cases, manifest__reads_what_xxhsum_writes);
    tcase_add_test(cases, manifest__reads_what_it_writes);
    tcase_add_test(cases, manifest__reads_other_lines_crlf_and_comments);
    tcase_add_loop_test(cases, manifest__refuses_with_the_line, 0, sizeof refused / sizeof *refused);
    tcase_add_test(cases, manifest__refuses_a_nul_byte);
    tcase_add_test(cases, manifest__survives_noise);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0 ? 1 : 0;
}
