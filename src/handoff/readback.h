/* SPDX-License-Identifier: MIT */
/*
 * Reads a copy back from the medium and compares it with what was read from the card: past the page cache with O_DIRECT
 * where the file system takes it, else after asking the cache to drop the file. What really happened is reported.
 */
#ifndef TP_HANDOFF_READBACK_H
#define TP_HANDOFF_READBACK_H

#include "handoff/target.h"

/* *equal: size and every mark agree. When they do not, *differs_at is the start of the first TP_MARK_BYTES that
 * differs, or the start of the one in which either ends early. Errors: TP_ERR_OPEN, TP_ERR_READ, TP_ERR_MEMORY. */
enum tp_status tp_readback_compare(const char *path, const struct tp_true_bytes *expected, bool *equal,
                                   uint64_t *differs_at, enum tp_readback *readback,
                                   struct tp_error *error) TP_MUST_USE;

#endif
