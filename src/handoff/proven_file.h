/* SPDX-License-Identifier: MIT */
/*
 * A small file that appears under its name only after it was flushed, read back from the medium and found to be what
 * was meant: for receipts, which are worth nothing when the medium changed them. Temporary name ".takeproof.part" in
 * the same folder: one writer at a time.
 */
#ifndef TP_HANDOFF_PROVEN_FILE_H
#define TP_HANDOFF_PROVEN_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <takeproof/error.h>

/* `replace` false: an existing target is TP_ERR_EXISTS. On failure the target is as it was.
 * Errors: TP_ERR_WRITE, TP_ERR_SPACE, TP_ERR_EXISTS, TP_ERR_READ, TP_ERR_OPEN, TP_ERR_MEMORY. */
enum tp_status tp_proven_file_write(const char *path, const char *bytes, size_t size, bool replace,
                                    struct tp_error *error) TP_MUST_USE;

#endif
