/* SPDX-License-Identifier: MIT */
/*
 * Plain checksum files as GNU coreutils (sha256sum 9.1) and xxhsum (0.8.1) write and read them:
 *     64 hex digits of SHA-256 or 16 of XXH64, two spaces (or space and '*'), name, LF
 *     SHA256 (name) = 64 hex digits
 *     XXH64 (name) = 16 hex digits
 *     XXH3 (name) = 16 hex digits
 * XXH3 is written in the last form, the only one of xxhsum 0.8.1; "XXH3_" and the digits before the name, as later ones
 * write it (from memory), is read too.
 * A name with '\', LF or CR has these written as \\ \n \r and its line begins with '\'. xxhsum 0.8.1 knows no escapes
 * and takes names as they are: there only a name with LF has them, on an XXH64 line one with CR too, where CR may be
 * the end of the line. Other bytes stand as they are.
 */
#ifndef TP_HANDOFF_MANIFEST_H
#define TP_HANDOFF_MANIFEST_H

#include "base/text.h"
#include "handoff/listing.h"

/* Appends one line. `path` is raw bytes. Errors: text->failed. */
void tp_manifest_line(struct tp_text *text, enum tp_hash hash, const char *hex, const char *path);

/* Reads a whole manifest into an empty listing and settles it. `name` is for messages. Blank lines and lines that begin
 * with '#' are passed over. Errors: TP_ERR_FORMAT (with the line), TP_ERR_MEMORY; then the listing is empty. */
enum tp_status tp_manifest_read(struct tp_listing *listing, const char *bytes, size_t size, const char *name,
                                struct tp_error *error) TP_MUST_USE;

#endif
