/* SPDX-License-Identifier: MIT */
#include "handoff/mhl.h"

#include "handoff/c4.h"
#include "support/scratch.h"

#include <check.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LIST(inside) "<hashlist version=\"2.0\" xmlns=\"urn:ASC:MHL:v2.0\"><hashes>" inside "</hashes></hashlist>"

static char *root, *folder;

static void set_up(void)
{
    root = scratch_new();
    folder = scratch_format("%s/" TP_MHL_FOLDER, root);
}

static void tear_down(void)
{
    scratch_remove(root);
    free(folder);
}

/* Values: SMPTE ST 2114 identifiers of "" and "abc", made with an independent base-58 of sha512sum's output. */
START_TEST(c4__matches_known_values)
{
    char c4[TP_C4_SIZE];
    ck_assert_int_eq(tp_c4("", 0, c4, NULL), TP_OK);
    ck_assert_str_eq(c4, "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT");
    ck_assert_int_eq(tp_c4("abc", 3, c4, NULL), TP_OK);
    ck_assert_str_eq(c4, "c45S4rnaTNWonxss1u8LzsaJdEph1AJhWUF4sh2waXKMsutyfAxg4ybUeuXVWS9HdNcEypmeXn8FZGonD4w1rj9DZp");
}
END_TEST

/* Names that XML, or our way around it, could get wrong. The last four cannot be told apart once repaired. */
static const struct tp_mhl_file files[] = {
    {"S01/12A-T001.wav", 3, 1768658400, "44bc2cf5ad770999"},
    {" leading and trailing ", 0, 0, "ef46db3751d8e999"},
    {"a&b<c>\"d\".wav", 1, 1, "0123456789abcdef"},
    {"new\nline\rand\ttab", 1, 1, "0123456789abcdee"},
    {"back\\slash", 1, 1, "0123456789abcded"},
    {"caf\xc3\xa9", 1, 1, "0123456789abcdec"},
    {"x\xef\xbf\xbd", 1, 1, "0123456789abcdeb"},
    {"x\xef\xbf\xbd\xef\xbf\xbd"
     "2",
     1, 1, "0123456789abcdea"},
    {"x\xff", 1, 1, "0123456789abcde9"},
    {"x\x01", 1, 1, "0123456789abcde8"},
    {"x\xfe", 1, 1, "0123456789abcde7"},
    {"\xef\xbf\xbe", 1, 1, "0123456789abcde6"},
};
#define FILE_COUNT (sizeof files / sizeof *files)

static const struct tp_mhl_options options = {1768660200, "cart <1>", "0.1.0", "transfer"};

static uint32_t add(const struct tp_mhl_file *list, size_t count)
{
    struct tp_error error = {0};
    uint32_t generation = 0;
    ck_assert_msg(tp_mhl_add(root, list, count, &options, &generation, &error) == TP_OK, "%s", tp_error_text(&error));
    return generation;
}

static void validate(const char *schema, const char *path)
{
    char *full = scratch_format("fixtures/ascmhl/%s", schema);
    const char *argv[] = {"xmllint", "--noout", "--nonet", "--schema", full, path, NULL};
    struct run run;
    run_program(argv, NULL, NULL, 0, &run);
    ck_assert_msg(run.exit_status == 0, "%s", run.err);
    run_clear(&run);
    free(full);
}

static void validate_all(size_t expected)
{
    DIR *listing = opendir(folder);
    ck_assert_ptr_nonnull(listing);
    size_t manifests = 0;
    for (struct dirent *entry; (entry = readdir(listing)) != NULL;) {
        if (entry->d_name[0] == '.')
            continue;
        char *path = scratch_format("%s/%s", folder, entry->d_name);
        bool chain = strcmp(entry->d_name, TP_MHL_CHAIN) == 0;
        manifests += !chain;
        validate(chain ? "chain.xsd" : "hashlist.xsd", path);
        free(path);
    }
    closedir(listing);
    ck_assert_uint_eq(manifests, expected);
}

START_TEST(mhl__every_name_survives_and_the_schema_accepts_it)
{
    ck_assert_uint_eq(add(files, FILE_COUNT), 1);
    validate_all(1);
    struct tp_listing listing;
    uint32_t generations;
    struct tp_error error = {0};
    ck_assert_msg(tp_mhl_read_history(folder, &listing, &generations, &error) == TP_OK, "%s", tp_error_text(&error));
    ck_assert_uint_eq(generations, 1);
    ck_assert_uint_eq(listing.count, FILE_COUNT);
    for (size_t i = 0; i < FILE_COUNT; i++) {
        const struct tp_listed *found = tp_listing_find(&listing, files[i].path);
        ck_assert_msg(found != NULL, "file %zu", i);
        ck_assert_str_eq(found->hashes.hex[TP_HASH_XXH64], files[i].xxh64);
        ck_assert(found->bytes_known);
        ck_assert_uint_eq(found->bytes, files[i].bytes);
    }
    tp_listing_clear(&listing);
}
END_TEST

START_TEST(mhl__what_the_standard_prints_is_read)
{
    static const char text[] =
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
        "<hashlist version=\"2.0\" xmlns=\"urn:ASC:MHL:v2.0\">\n"
        "  <creatorinfo><creationdate>2026-01-17T14:30:00+00:00</creationdate><hostname>host</hostname>\n"
        "    <tool version=\"1.0\">toolname</tool></creatorinfo>\n"
        "  <processinfo><process>in-place</process><roothash><content><c4>c4x</c4></content></roothash></processinfo>\n"
        "  <hashes><hash>\n"
        "    <path size=\"3\" lastmodificationdate=\"2026-01-15T13:00:00+00:00\">Day01/T001.wav</path>\n"
        "    <md5 action=\"original\">900150983cd24fb0d6963f7d28e17f72</md5>\n"
        "    <xxh64 action=\"original\" hashdate=\"2026-01-17T14:30:00+00:00\">44bc2cf5ad770999</xxh64>\n"
        "  </hash><directoryhash><path>Day01</path><content><xxh64>0000000000000000</xxh64></content></directoryhash>\n"
        "  <hash><path>bad.wav</path><xxh64 action=\"failed\">44bc2cf5ad770998</xxh64></hash>\n"
        "  </hashes>\n</hashlist>\n";
    struct tp_listing listing = {0};
    ck_assert_int_eq(tp_mhl_read(&listing, 1, text, sizeof text - 1, "x", NULL), TP_OK);
    ck_assert_uint_eq(listing.count, 1);
    ck_assert_str_eq(listing.items[0].path, "Day01/T001.wav");
    ck_assert_str_eq(listing.items[0].hashes.hex[TP_HASH_XXH64], "44bc2cf5ad770999");
    tp_listing_clear(&listing);
}
END_TEST

static size_t count_of(const char *text, const char *word)
{
    size_t count = 0;
    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word))
        count++;
    return count;
}

START_TEST(mhl__a_second_generation_verifies_or_fails_against_the_first)
{
    add(files, 3);
    struct tp_mhl_file again[] = {files[0], files[1], files[4]};
    again[1].xxh64 = "ffffffffffffffff";
    ck_assert_uint_eq(add(again, 3), 2);
    validate_all(2);
    char *path = scratch_format("%s/0002_%s_2026-01-17_143000Z.mhl", folder, strrchr(root, '/') + 1);
    char *text = scratch_read(path, NULL);
    ck_assert_msg(text != NULL, "%s", path);
    ck_assert_uint_eq(count_of(text, "action=\"verified\""), 1);
    ck_assert_uint_eq(count_of(text, "action=\"failed\""), 1);
    ck_assert_uint_eq(count_of(text, "action=\"original\""), 1);
    struct tp_listing listing;
    uint32_t generations;
    ck_assert_int_eq(tp_mhl_read_history(folder, &listing, &generations, NULL), TP_OK);
    ck_assert_uint_eq(generations, 2);
    ck_assert_uint_eq(listing.count, 4);
    ck_assert_str_eq(tp_listing_find(&listing, files[1].path)->hashes.hex[TP_HASH_XXH64], files[1].xxh64);
    ck_assert_uint_eq(tp_listing_find(&listing, files[0].path)->generation, 2);
    tp_listing_clear(&listing);
    free(text);
    free(path);
}
END_TEST

START_TEST(mhl__a_changed_generation_is_refused_and_not_built_upon)
{
    add(files, 3);
    char *path = scratch_format("%s/0001_%s_2026-01-17_143000Z.mhl", folder, strrchr(root, '/') + 1);
    size_t size;
    char *text = scratch_read(path, &size);
    ck_assert_ptr_nonnull(text);
    char *hash = strstr(text, "44bc2cf5ad770999");
    hash[0] = '5';
    scratch_write(path, text, size);
    struct tp_listing listing;
    uint32_t generations;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_mhl_read_history(folder, &listing, &generations, &error), TP_ERR_FORMAT);
    ck_assert_msg(strstr(tp_error_text(&error), "not what the chain says") != NULL, "%s", tp_error_text(&error));
    uint64_t before = scratch_fingerprint(root);
    ck_assert_int_eq(tp_mhl_add(root, files, 3, &options, &generations, &error), TP_ERR_FORMAT);
    ck_assert_uint_eq(scratch_fingerprint(root), before);
    tp_error_clear(&error);
    free(text);
    free(path);
}
END_TEST

static const struct {
    const char *text, *words;
} refused[] = {
    {"", "no element"},
    {"<html/>", "no ASC MHL"},
    {"<hashlist xmlns=\"urn:other\"/>", "no ASC MHL"},
    {"<!DOCTYPE hashlist [<!ENTITY a \"b\">]>" LIST(""), "document type"},
    {LIST("<hash><path>../x</path><xxh64>44bc2cf5ad770999</xxh64></hash>"), "leads outside"},
    {LIST("<hash><path>/x</path><xxh64>44bc2cf5ad770999</xxh64></hash>"), "leads outside"},
    {LIST("<hash><path>x</path><xxh64>44bc</xxh64></hash>"), "not a hash"},
    {LIST("<hash><path>x</path><xxh3>44bc</xxh3></hash>"), "not a hash"},
    {LIST("<hash><path>x</path><xxh128>06b05ab6733a618578af5f94892f3950</xxh128></hash>"), "only hash"},
    {LIST("<hash><path>x</path><md5>900150983cd24fb0d6963f7d28e17f72</md5></hash>"), "only hash"},
    {LIST("<hash><xxh64>44bc2cf5ad770999</xxh64></hash>"), "no path"},
    {LIST("<hash><path size=\"-1\">x</path><xxh64>44bc2cf5ad770999</xxh64></hash>"), "no number"},
    {LIST("<hash><path>x</path>"), "mismatched"},
};

/* XXH3 of "abc": printed by xxhsum 0.8.1 -H3. */
START_TEST(mhl__xxh3_is_read_alone_or_beside_xxh64)
{
    static const char text[] =
        LIST("<hash><path>a</path><xxh3 action=\"original\">78af5f94892f3950</xxh3></hash>"
             "<hash><path>b</path><xxh3>78af5f94892f3950</xxh3><xxh64>44bc2cf5ad770999</xxh64></hash>"
             "<hash><path>c</path><xxh3 action=\"failed\">78af5f94892f3950</xxh3></hash>"
             "<hash><path>d</path><xxh3 action=\"failed\">78af5f94892f3950</xxh3>"
             "<xxh64 action=\"verified\">44bc2cf5ad770999</xxh64></hash>");
    struct tp_listing listing = {0};
    ck_assert_int_eq(tp_mhl_read(&listing, 1, text, sizeof text - 1, "x", NULL), TP_OK);
    ck_assert_uint_eq(listing.count, 2);
    for (size_t i = 0; i < 2; i++) {
        ck_assert_str_eq(listing.items[i].hashes.hex[TP_HASH_XXH3], "78af5f94892f3950");
        ck_assert_str_eq(listing.items[i].hashes.hex[TP_HASH_XXH64], i == 0 ? "" : "44bc2cf5ad770999");
        ck_assert_str_eq(listing.items[i].hashes.hex[TP_HASH_SHA256], "");
    }
    tp_listing_clear(&listing);
}
END_TEST

/* A history of another program, with XXH3 where we write XXH64: nothing could be compared with what we add. */
START_TEST(mhl__a_generation_is_not_added_to_hashes_of_another_kind)
{
    static const char theirs[] =
        LIST("<hash><path size=\"3\">S01/12A-T001.wav</path><xxh3>78af5f94892f3950</xxh3></hash>");
    char c4[TP_C4_SIZE];
    ck_assert_int_eq(tp_c4(theirs, sizeof theirs - 1, c4, NULL), TP_OK);
    char *link = scratch_format("<ascmhldirectory xmlns=\"urn:ASC:MHL:DIRECTORY:v2.0\"><hashlist sequencenr=\"1\">"
                                "<path>0001.mhl</path><c4>%s</c4></hashlist></ascmhldirectory>",
                                c4);
    char *manifest = scratch_format("%s/0001.mhl", folder), *chain = scratch_format("%s/" TP_MHL_CHAIN, folder);
    scratch_folder(folder);
    scratch_write(manifest, theirs, sizeof theirs - 1);
    scratch_write(chain, link, strlen(link));
    struct tp_listing listing;
    uint32_t generations;
    ck_assert_int_eq(tp_mhl_read_history(folder, &listing, &generations, NULL), TP_OK);
    ck_assert_str_eq(tp_listing_find(&listing, files[0].path)->hashes.hex[TP_HASH_XXH3], "78af5f94892f3950");
    tp_listing_clear(&listing);
    uint64_t before = scratch_fingerprint(root);
    struct tp_error error = {0};
    ck_assert_int_eq(tp_mhl_add(root, files, 3, &options, &generations, &error), TP_ERR_FORMAT);
    ck_assert_msg(strstr(tp_error_text(&error), "no XXH64 of 'S01/12A-T001.wav'") != NULL, "%s", tp_error_text(&error));
    ck_assert_uint_eq(scratch_fingerprint(root), before);
    tp_error_clear(&error);
    ck_assert_uint_eq(add(&files[1], 2), 2);
    free(chain);
    free(manifest);
    free(link);
}
END_TEST

START_TEST(mhl__refuses_what_it_should)
{
    struct tp_listing listing = {0};
    struct tp_error error = {0};
    ck_assert_int_eq(tp_mhl_read(&listing, 1, refused[_i].text, strlen(refused[_i].text), "x", &error), TP_ERR_FORMAT);
    ck_assert_msg(strstr(tp_error_text(&error), refused[_i].words) != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
    tp_listing_clear(&listing);
}
END_TEST

START_TEST(mhl__nesting_is_bounded)
{
    size_t size = 0;
    char *text = malloc(200000);
    ck_assert_ptr_nonnull(text);
    for (int i = 0; i < 40000; i++) {
        memcpy(text + size, "<a>", 3);
        size += 3;
    }
    struct tp_listing listing = {0};
    ck_assert_int_eq(tp_mhl_read(&listing, 1, text, size, "x", NULL), TP_ERR_FORMAT);
    free(text);
}
END_TEST

START_TEST(mhl__a_chain_cannot_point_outside)
{
    static const char chain[] = "<ascmhldirectory xmlns=\"urn:ASC:MHL:DIRECTORY:v2.0\"><hashlist sequencenr=\"1\">"
                                "<path>../../etc/passwd</path><c4>c4</c4></hashlist></ascmhldirectory>";
    char *path = scratch_format("%s/" TP_MHL_CHAIN, folder);
    scratch_folder(folder);
    scratch_write(path, chain, sizeof chain - 1);
    struct tp_listing listing;
    uint32_t generations;
    struct tp_error error = {0};
    ck_assert_int_eq(tp_mhl_read_history(folder, &listing, &generations, &error), TP_ERR_FORMAT);
    ck_assert_msg(strstr(tp_error_text(&error), "not a plain name") != NULL, "%s", tp_error_text(&error));
    tp_error_clear(&error);
    free(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("mhl");
    TCase *cases = tcase_create("mhl");
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_test(cases, c4__matches_known_values);
    tcase_add_test(cases, mhl__every_name_survives_and_the_schema_accepts_it);
    tcase_add_test(cases, mhl__what_the_standard_prints_is_read);
    tcase_add_test(cases, mhl__a_second_generation_verifies_or_fails_against_the_first);
    tcase_add_test(cases, mhl__a_changed_generation_is_refused_and_not_built_upon);
    tcase_add_test(cases, mhl__xxh3_is_read_alone_or_beside_xxh64);
    tcase_add_test(cases, mhl__a_generation_is_not_added_to_hashes_of_another_kind);
    tcase_add_loop_test(cases, mhl__refuses_what_it_should, 0, sizeof refused / sizeof *refused);
    tcase_add_test(cases, mhl__nesting_is_bounded);
    tcase_add_test(cases, mhl__a_chain_cannot_point_outside);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0 ? 1 : 0;
}
