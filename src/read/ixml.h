/* SPDX-License-Identifier: MIT */
/* iXML chunk (open specification, versions 1.x to 3): XML to fields through Expat, no DTD, no entities, bounded depth.
 */
#ifndef TP_READ_IXML_H
#define TP_READ_IXML_H

#include <takeproof/result.h>

/* Parses chunk data; NULs and white space at both ends are trimmed; other 8-bit encodings survive. Broken XML keeps
 * what came before and sets ->damaged. *ixml is owned by the caller (tp_ixml_free). Errors: TP_ERR_FORMAT (nothing like
 * iXML at all, or a DOCTYPE), TP_ERR_MEMORY. */
enum tp_status tp_ixml_parse(const uint8_t *data, size_t size, struct tp_ixml **ixml,
                             struct tp_error *error) TP_MUST_USE;
void tp_ixml_free(struct tp_ixml *ixml);

#endif
