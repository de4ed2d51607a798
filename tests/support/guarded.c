/* SPDX-License-Identifier: MIT */
#include "support/guarded.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

static size_t page_size(void)
{
    return (size_t)sysconf(_SC_PAGESIZE);
}

static size_t whole_pages(size_t size)
{
    return size / page_size() * page_size() + (size % page_size() > 0 ? page_size() : 0);
}

void *guarded_new(size_t size, enum guarded_side side)
{
    size_t page = page_size(), inside = whole_pages(size);
    uint8_t *map = mmap(NULL, inside + 2 * page, PROT_NONE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (map == MAP_FAILED || (inside > 0 && mprotect(map + page, inside, PROT_READ | PROT_WRITE) != 0)) {
        perror("guarded_new");
        exit(99);
    }
    return map + page + (side == GUARDED_END ? inside - size : 0);
}

void guarded_free(void *memory, size_t size)
{
    size_t page = page_size();
    uintptr_t at = (uintptr_t)memory;
    /* The memory of nothing begins with a page of guards itself. */
    munmap((void *)((at - at % page) - page), whole_pages(size) + 2 * page);
}
