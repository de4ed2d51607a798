/* SPDX-License-Identifier: MIT */
/*
 * A guarded way through a small XML document: elements of one namespace by local name, with their path from the root
 * and their text. Expat underneath; no document type, nesting at most TP_XML_DEPTH_MAX, text at most TP_XML_TEXT_MAX.
 */
#ifndef TP_HANDOFF_XML_H
#define TP_HANDOFF_XML_H

#include "base/text.h"

#define TP_XML_DEPTH_MAX 32
#define TP_XML_TEXT_MAX ((size_t)64 << 10)

/* `where`: "hashlist/hashes/hash/path". Elements of other namespaces appear as "?name". Returning anything but TP_OK
 * stops. The attributes of `begin` are name, value, … NULL, names of other namespaces included as expat gives them. */
struct tp_xml_reader {
    const char *name_space;
    enum tp_status (*begin)(void *user, const char *where, const char **attributes, struct tp_error *error);
    enum tp_status (*end)(void *user, const char *where, const char *text, struct tp_error *error);
    void *user;
};

/* Errors: TP_ERR_FORMAT (with line), TP_ERR_MEMORY, or what a callback returned. */
enum tp_status tp_xml_read(const struct tp_xml_reader *reader, const char *bytes, size_t size,
                           struct tp_error *error) TP_MUST_USE;

/* The value of an attribute, or NULL. */
const char *tp_xml_attribute(const char **attributes, const char *name);

/* Appends text for element content or a quoted attribute. The bytes must be expressible (tp_xml_can_carry). */
void tp_xml_escape(struct tp_text *out, const char *text);
/* Valid UTF-8 made of characters that XML 1.0 allows. */
bool tp_xml_can_carry(const char *text);

#endif
