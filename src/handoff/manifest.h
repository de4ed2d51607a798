/* SPDX-License-Identifier: MIT */
/*
 * Plain checksum files as GNU coreutils writes and reads them (sha256sum 9.1; xxhsum's 16-digit lines are read too):
 *     64 hex digits, two spaces (or space and '*'), name, LF
 *     SHA256 (name) = 64 hex digits
 * A name with '\', LF or CR has these written as \\ \n \r and its line begins with '\'. Other bytes stand as they are.
 */
#ifndef TP_HANDOFF_MANIFEST_H
#define TP_HANDOFF_MANIFEST_H

#include "base/text.h"
#include "handoff/listing.h"

/* Appends one line. `path` is raw bytes. Errors: text->failed. */
void tp_manifest_line(struct tp_text *text, const char *hash, const char *path);

/* Reads a whole manifest into an empty listing and settles it. `name` is for messages. Blank lines and lines that begin
 * with '#' are passed over. Errors: TP_ERR_FORMAT (with the line), TP_ERR_MEMORY; then the listing is empty. */
enum tp_status tp_manifest_read(struct tp_listing *listing, const char *bytes, size_t size, const char *name,
                                struct tp_error *error) TP_MUST_USE;

#endif
