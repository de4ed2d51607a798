/* SPDX-License-Identifier: MIT */
#include "handoff/hash.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct vector {
    const char *text;
    size_t repeat;
    const char *hex[TP_HASH_COUNT];
};

/* SHA-256: FIPS 180-4 examples (one block, two blocks, a million 'a'). XXH64, seed 0: the xxHash specification for ""
 * and "abc"; the others printed by xxhsum 0.8.1 -H64 and sha256sum 9.1. XXH3: printed by xxhsum 0.8.1 -H3; of "" it is
 * the value of the xxHash project's own tests, too (from memory). */
static const struct vector vectors[] = {
    {"",
     1,
     {"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", "ef46db3751d8e999", "2d06800538d394c2"}},
    {"abc",
     1,
     {"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "44bc2cf5ad770999", "78af5f94892f3950"}},
    {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
     1,
     {"248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1", "f06103773e8585df", "5bbcbbabcdcc3d3f"}},
    {"a",
     1000000,
     {"cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0", "dc483aaa9b4fdc40", "b1fd6fae5285c4eb"}},
};

#define ALL_SETS TP_HASH_BIT(TP_HASH_COUNT)

/* Each set of hashes: those wanted have their value, the others none. */
static void hash_in_pieces(const struct vector *v, size_t piece, unsigned wanted, bool beside)
{
    size_t length = strlen(v->text) * v->repeat;
    uint8_t *bytes = malloc(length + 1);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < length; i++)
        bytes[i] = (uint8_t)v->text[i % strlen(v->text)];
    struct tp_hasher *hasher;
    ck_assert_int_eq(tp_hasher_new(&hasher, wanted, NULL), TP_OK);
    if (beside)
        tp_hasher_go_beside(hasher);
    struct tp_tap tap = tp_hasher_tap(hasher);
    for (size_t at = 0; at < length; at += piece) {
        size_t size = length - at < piece ? length - at : piece;
        tap.bytes(tap.user, bytes + at, size);
        if (at % 3 == 0) {
            tap.wait(tap.user);
            memset(bytes + at, 0, size); /* the bytes are the caller's again */
        }
    }
    struct tp_hash_values found;
    ck_assert_int_eq(tp_hasher_finish(hasher, &found, NULL), TP_OK);
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++) {
        ck_assert_str_eq(found.hex[hash], (wanted & TP_HASH_BIT(hash)) != 0 ? v->hex[hash] : "");
        ck_assert_uint_eq(strlen(v->hex[hash]), tp_hash_kinds[hash].digits);
    }
    tp_hasher_free(hasher);
    free(bytes);
}

START_TEST(hash__matches_published_values_whatever_the_pieces)
{
    static const size_t pieces[] = {1, 7, 64, 4096, (size_t)1 << 20};
    for (size_t p = 0; p < sizeof pieces / sizeof *pieces; p++)
        hash_in_pieces(&vectors[_i], pieces[p], ALL_SETS - 1, false);
    for (size_t p = 2; p < sizeof pieces / sizeof *pieces; p++)
        hash_in_pieces(&vectors[_i], pieces[p], ALL_SETS - 1, true);
    for (unsigned wanted = 0; wanted < ALL_SETS; wanted++) {
        hash_in_pieces(&vectors[_i], 4096, wanted, false);
        hash_in_pieces(&vectors[_i], 4096, wanted, true);
    }
}
END_TEST

START_TEST(hash__nothing_pushed_is_the_empty_string)
{
    struct tp_hasher *hasher;
    ck_assert_int_eq(tp_hasher_new(&hasher, ALL_SETS - 1, NULL), TP_OK);
    tp_hasher_push(hasher, NULL, 0);
    struct tp_hash_values found;
    ck_assert_int_eq(tp_hasher_finish(hasher, &found, NULL), TP_OK);
    for (enum tp_hash hash = 0; hash < TP_HASH_COUNT; hash++)
        ck_assert_str_eq(found.hex[hash], vectors[0].hex[hash]);
    tp_hasher_free(hasher);
    tp_hasher_free(NULL);
}
END_TEST

START_TEST(hash__an_option_wants_what_it_says)
{
    ck_assert_uint_eq(tp_hashes_wanted(TP_HASHES_BOTH), TP_HASH_BIT(TP_HASH_SHA256) | TP_HASH_BIT(TP_HASH_XXH64));
    ck_assert_uint_eq(tp_hashes_wanted(TP_HASHES_XXH64), TP_HASH_BIT(TP_HASH_XXH64));
    ck_assert_uint_eq(tp_hashes_wanted(TP_HASHES_XXH3), TP_HASH_BIT(TP_HASH_XXH3));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("hash");
    TCase *cases = tcase_create("hash");
    tcase_add_loop_test(cases, hash__matches_published_values_whatever_the_pieces, 0, sizeof vectors / sizeof *vectors);
    tcase_add_test(cases, hash__nothing_pushed_is_the_empty_string);
    tcase_add_test(cases, hash__an_option_wants_what_it_says);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || run == 0 ? 1 : 0;
}
