/* SPDX-License-Identifier: MIT */
#include "read/chunks.h"

#include "base/num.h"
#include "support/wavgen.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static size_t put_chunk(uint8_t *at, const char *id, uint32_t size, size_t body)
{
    memcpy(at, id, 4);
    tp_put_le32(at + 4, size);
    memset(at + 8, 'b', body);
    return 8 + body;
}

START_TEST(chunks__a_row_to_the_end_of_the_file)
{
    uint8_t w[400] = {0};
    size_t size = put_chunk(w, "LIST", 20, 20);
    size += put_chunk(w + size, "iXML", 31, 31);
    ck_assert(tp_chunks_finish_file(w, size, size));         /* no pad byte at the end */
    ck_assert(tp_chunks_finish_file(w, size + 1, size + 1)); /* with it */
    ck_assert(!tp_chunks_finish_file(w, size - 1, size - 1));
    ck_assert(!tp_chunks_finish_file(w, size, size + 5));
    ck_assert(tp_chunks_finish_file(w, 300, 300)); /* then reserved zeros */
    w[100] = 1;
    ck_assert(!tp_chunks_finish_file(w, 300, 300));
    ck_assert(!tp_chunks_finish_file(w, 7, 7));
    ck_assert(!tp_chunks_finish_file(w, 0, 0));
}
END_TEST

START_TEST(chunks__an_unseen_end_needs_xml_in_sight)
{
    uint8_t w[200];
    put_chunk(w, "iXML", 100000, 192);
    ck_assert(!tp_chunks_finish_file(w, sizeof w, 200000));
    memcpy(w + 8, "<?xml version", 13);
    ck_assert(tp_chunks_finish_file(w, sizeof w, 200000));
    put_chunk(w, "bext", 100000, 192);
    ck_assert(!tp_chunks_finish_file(w, sizeof w, 200000));
    ck_assert(tp_chunks_finish_file(w, sizeof w, 100008)); /* exactly to the end */
}
END_TEST

START_TEST(chunks__at_a_declared_end)
{
    uint8_t w[400] = {0};
    put_chunk(w, "bext", 4000000000u, 100);
    ck_assert(tp_chunks_follow(w, 108, 108)); /* known, though cut off */
    size_t size = put_chunk(w, "vndr", 20, 20);
    ck_assert(tp_chunks_follow(w, size, size)); /* unknown, but it fits */
    ck_assert(!tp_chunks_follow(w, size, size + 100));
    size += put_chunk(w + size, "next", 10, 10);
    ck_assert(tp_chunks_follow(w, size, size));
    put_chunk(w, "\x01\x02\x03\x04", 0, 0);
    ck_assert(!tp_chunks_follow(w, size, size));
    ck_assert(!tp_chunks_follow(w, 4, 4));
}
END_TEST

/* Noise holds no row of chunks; nor does text, which is all printable. */
START_TEST(chunks__sound_is_not_taken_for_chunks)
{
    enum { SIZE = 1 << 20 };
    uint8_t *w = malloc(SIZE);
    for (uint64_t round = 0; round < 16; round++) {
        for (size_t i = 0; i < SIZE; i++)
            w[i] = (uint8_t)((wavgen_random(round << 32 | i) + 1.0) * 127.99);
        if (round % 2 != 0)
            for (size_t i = 0; i < SIZE; i++)
                w[i] = (uint8_t)(0x20 + w[i] % 95);
        ck_assert_uint_eq(tp_chunks_find_finish(w, SIZE, SIZE, 44, SIZE), SIZE);
    }
    free(w);
}
END_TEST

START_TEST(chunks__are_found_at_even_places_of_the_file)
{
    uint8_t w[300];
    memset(w, 0x91, sizeof w);
    size_t at = 101, size = at + put_chunk(w + at, "bext", 50, 50);
    ck_assert_uint_eq(tp_chunks_find_finish(w, size, size, 45, size), at); /* 146: even */
    ck_assert_uint_eq(tp_chunks_find_finish(w, size, size, 44, size), size);
    ck_assert_uint_eq(tp_chunks_find_finish(w, size, size, 45, at), at); /* the limit itself: nothing before it */
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("chunks");
    TCase *tcase = tcase_create("chunks");
    tcase_set_timeout(tcase, 30);
    tcase_add_test(tcase, chunks__a_row_to_the_end_of_the_file);
    tcase_add_test(tcase, chunks__an_unseen_end_needs_xml_in_sight);
    tcase_add_test(tcase, chunks__at_a_declared_end);
    tcase_add_test(tcase, chunks__sound_is_not_taken_for_chunks);
    tcase_add_test(tcase, chunks__are_found_at_even_places_of_the_file);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    int run = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed == 0 && run > 0 ? 0 : 1;
}
