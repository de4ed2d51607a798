/* SPDX-License-Identifier: MIT */
/* EBU Tech 3285 v0/1/2 broadcast extension chunk: bytes to fields, and fields to bytes for the files we write. */
#ifndef TP_READ_BEXT_H
#define TP_READ_BEXT_H

#include <takeproof/result.h>

#define TP_BEXT_FIXED_BYTES 602

/* Parses chunk data. Text fields are bounded by their width, never by strlen; other encodings become UTF-8.
 * *bext is owned by the caller (tp_bext_free). Errors: TP_ERR_FORMAT (under 602 bytes), TP_ERR_MEMORY. */
enum tp_status tp_bext_parse(const uint8_t *data, size_t size, struct tp_bext **bext,
                             struct tp_error *error) TP_MUST_USE;
void tp_bext_free(struct tp_bext *bext);

/* The chunk data (602 bytes + coding history), owned by the caller. Texts too long for their field are cut at a
 * character. Version 2 when any loudness field exists, else 1. Errors: TP_ERR_MEMORY. */
enum tp_status tp_bext_write(const struct tp_bext *bext, uint8_t **data, size_t *size,
                             struct tp_error *error) TP_MUST_USE;

#endif
