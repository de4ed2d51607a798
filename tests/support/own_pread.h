/* SPDX-License-Identifier: MIT */
/* For one test program: pread(2), also as the C library's checks call it, is own_pread(), which the test has defined
 * before it includes this. */
#ifndef SUPPORT_OWN_PREAD_H
#define SUPPORT_OWN_PREAD_H

#include <sys/types.h>

ssize_t pread64(int fd, void *buffer, size_t size, off_t offset);
ssize_t pread64(int fd, void *buffer, size_t size, off_t offset)
{
    return own_pread(fd, buffer, size, offset);
}
ssize_t __pread64_chk(int fd, void *buffer, size_t size, off_t offset, size_t capacity);
ssize_t __pread64_chk(int fd, void *buffer, size_t size, off_t offset, size_t capacity)
{
    return size <= capacity ? own_pread(fd, buffer, size, offset) : -1;
}

#endif
