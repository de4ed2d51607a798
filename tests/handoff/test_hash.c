/* SPDX-License-Identifier: MIT */
#include "handoff/hash.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct vector {
    const char *text;
    size_t repeat;
    const char *sha256, *xxh64;
};

/* SHA-256: FIPS 180-4 examples (one block, two blocks, a million 'a'). XXH64, seed 0: the xxHash specification for ""
 * and "abc"; the others printed by xxhsum 0.8.1 -H64 and sha256sum 9.1. */
static const struct vector vectors[] = {
    {"", 1, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", "ef46db3751d8e999"},
    {"abc", 1, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "44bc2cf5ad770999"},
    {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 1,
     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1", "f06103773e8585df"},
    {"a", 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0", "dc483aaa9b4fdc40"},
};

static void hash_in_pieces(const struct vector *v, size_t piece)
{
    size_t length = strlen(v->text) * v->repeat;
    uint8_t *bytes = malloc(length + 1);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < length; i++)
        bytes[i] = (uint8_t)v->text[i % strlen(v->text)];
    struct tp_hasher *hasher;
    ck_assert_int_eq(tp_hasher_new(&hasher, NULL), TP_OK);
    struct tp_tap tap = tp_hasher_tap(hasher);
    for (size_t at = 0; at < length; at += piece)
        tap.bytes(tap.user, bytes + at, length - at < piece ? length - at : piece);
    char sha256[65], xxh64[17];
    ck_assert_int_eq(tp_hasher_finish(hasher, sha256, xxh64, NULL), TP_OK);
    ck_assert_str_eq(sha256, v->sha256);
    ck_assert_str_eq(xxh64, v->xxh64);
    tp_hasher_free(hasher);
    free(bytes);
}

START_TEST(hash__matches_published_values_whatever_the_pieces)
{
    static const size_t pieces[] = {1, 7, 64, 4096, (size_t)1 << 20};
    for (size_t p = 0; p < sizeof pieces / sizeof *pieces; p++)
        hash_in_pieces(&vectors[_i], pieces[p]);
}
END_TEST

START_TEST(hash__nothing_pushed_is_the_empty_string)
{
    struct tp_hasher *hasher;
    ck_assert_int_eq(tp_hasher_new(&hasher, NULL), TP_OK);
    tp_hasher_push(hasher, NULL, 0);
    char sha256[65], xxh64[17];
    ck_assert_int_eq(tp_hasher_finish(hasher, sha256, xxh64, NULL), TP_OK);
    ck_assert_str_eq(xxh64, "ef46db3751d8e999");
    tp_hasher_free(hasher);
    tp_hasher_free(NULL);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("hash");
    TCase *cases = tcase_create("hash");
    tcase_add_loop_test(cases, hash__matches_published_values_whatever_the_pieces, 0, sizeof vectors / sizeof *vectors);
    tcase_add_test(cases, hash__nothing_pushed_is_the_empty_string);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0 ? 1 : 0;
}
