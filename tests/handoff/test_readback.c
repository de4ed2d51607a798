/* SPDX-License-Identifier: MIT */
/* A file system as strict about O_DIRECT as open(2) allows: pread64 is ours here, and refuses what is not aligned. */
#include "handoff/readback.h"

#include "support/scratch.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

static unsigned direct_reads;

static ssize_t own_pread(int fd, void *buffer, size_t size, off_t offset)
{
    int flags = fcntl(fd, F_GETFL);
    if (flags >= 0 && (flags & O_DIRECT) != 0) {
        direct_reads++;
        if (offset % 512 != 0 || size % 512 != 0 || (uintptr_t)buffer % 512 != 0) {
            errno = EINVAL;
            return -1;
        }
    }
    return syscall(SYS_pread64, fd, buffer, size, offset);
}

#include "support/own_pread.h"

#define MARK ((size_t)TP_MARK_BYTES)
#define SIZE_MAX_BYTES (4 * MARK)
static char *root, *path;
static uint8_t *bytes;

static void set_up(void)
{
    root = scratch_new();
    path = scratch_format("%s/file", root);
    bytes = malloc(SIZE_MAX_BYTES);
    ck_assert_ptr_nonnull(bytes);
    for (size_t i = 0; i < SIZE_MAX_BYTES; i++)
        bytes[i] = (uint8_t)(i * 2654435761u >> 24);
}

static void tear_down(void)
{
    scratch_remove(root);
    free(path);
    free(bytes);
}

/* Compares the first `size` bytes with the file. */
static bool is_equal(size_t size, uint64_t *differs_at)
{
    XXH128_hash_t marks[SIZE_MAX_BYTES / MARK + 1];
    for (size_t at = 0; at < size; at += MARK)
        marks[at / MARK] = XXH3_128bits(bytes + at, size - at < MARK ? size - at : MARK);
    const struct tp_true_bytes expected = {.marks = marks, .bytes = size};
    struct tp_error error = {0};
    enum tp_readback how = TP_READBACK_NONE;
    bool equal;
    enum tp_status status = tp_readback_compare(path, &expected, &equal, differs_at, &how, &error);
    ck_assert_msg(status == TP_OK, "%zu bytes: %s", size, tp_error_text(&error));
    ck_assert_int_ne(how, TP_READBACK_NONE);
    ck_assert(how != TP_READBACK_DIRECT || direct_reads > 0);
    return equal;
}

static const size_t sizes[] = {0,    1,        511,          512,      4097,           MARK - 1,
                               MARK, MARK + 1, 2 * MARK - 3, 2 * MARK, 2 * MARK + 777, 3 * MARK + 512};

START_TEST(readback__a_true_copy_of_any_size_is_equal)
{
    uint64_t at;
    scratch_write(path, bytes, sizes[_i]);
    ck_assert(is_equal(sizes[_i], &at));
}
END_TEST

START_TEST(readback__one_changed_bit_is_found_in_its_mark)
{
    size_t size = sizes[_i];
    const size_t places[] = {0, size / 3, size / 2, size - 1};
    for (size_t i = 0; size > 0 && i < sizeof places / sizeof *places; i++) {
        uint64_t at;
        bytes[places[i]] ^= 4;
        scratch_write(path, bytes, size);
        bytes[places[i]] ^= 4;
        ck_assert(!is_equal(size, &at));
        ck_assert_uint_eq(at, places[i] / MARK * MARK);
    }
}
END_TEST

START_TEST(readback__another_length_is_found)
{
    size_t size = sizes[_i];
    uint64_t at;
    for (size_t other = 0; other < sizeof sizes / sizeof *sizes; other++) {
        if (sizes[other] == size)
            continue;
        scratch_write(path, bytes, sizes[other]);
        ck_assert(!is_equal(size, &at));
        size_t shorter = sizes[other] < size ? sizes[other] : size;
        ck_assert_uint_eq(at, shorter / MARK * MARK);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("readback");
    TCase *cases = tcase_create("readback");
    int count = sizeof sizes / sizeof *sizes;
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_loop_test(cases, readback__a_true_copy_of_any_size_is_equal, 0, count);
    tcase_add_loop_test(cases, readback__one_changed_bit_is_found_in_its_mark, 0, count);
    tcase_add_loop_test(cases, readback__another_length_is_found, 0, count);
    suite_add_tcase(suite, cases);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner), ran = srunner_ntests_run(runner);
    srunner_free(runner);
    return failed != 0 || ran == 0 ? 1 : 0;
}
