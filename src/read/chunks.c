/* SPDX-License-Identifier: MIT */
#include "read/chunks.h"

#include "base/num.h"

#include <string.h>

enum { LINKS_MAX = 64, ZEROS_IN_SIGHT = 64 };

bool tp_chunk_id_is_printable(const uint8_t *id)
{
    for (size_t i = 0; i < 4; i++)
        if (id[i] < 0x20 || id[i] > 0x7E)
            return false;
    return true;
}

/* RIFF MCI 1991; EBU Tech 3285 and supplements; Tech 3306; ITU-R BS.2088; iXML; reserves by common practice. */
static const char known_ids[][5] = {
    "fmt ", "data", "fact", "cue ", "plst", "LIST", "smpl", "inst", "note", "labl", "bext", "mext",
    "levl", "link", "qlty", "iXML", "aXML", "axml", "bxml", "sxml", "chna", "ds64", "JUNK", "junk",
    "PAD ", "Fake", "fake", "FLLR", "filr", "free", "PEAK", "peak", "umid", "ubxt", "r64m", "cart",
    "acid", "id3 ", "ID3 ", "DISP", "_PMX", "afsp", "wavl", "slnt", "strc",
};

bool tp_chunk_id_is_known(const uint8_t *id)
{
    for (size_t i = 0; i < sizeof known_ids / sizeof known_ids[0]; i++)
        if (memcmp(id, known_ids[i], 4) == 0)
            return true;
    return false;
}

static bool zeros(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < size; i++)
        if (bytes[i] != 0)
            return false;
    return true;
}

enum link { LINK_END, LINK_NEXT, LINK_UNSEEN, LINK_BROKEN };

/* Where the chunk at `at` leads; *next is the offset behind it and its pad byte. */
static enum link follow(const uint8_t *window, size_t size, uint64_t left, uint64_t at, uint64_t *next)
{
    uint64_t length = tp_le32(window + at + 4);
    uint64_t end = at + TP_CHUNK_HEADER + length;
    if (end == left || end + (length & 1) == left)
        return LINK_END;
    *next = end + (length & 1);
    if (*next > left)
        return LINK_BROKEN;
    return *next + TP_CHUNK_HEADER > size ? LINK_UNSEEN : LINK_NEXT;
}

bool tp_chunks_follow(const uint8_t *window, size_t size, uint64_t left)
{
    if (size < TP_CHUNK_HEADER || !tp_chunk_id_is_printable(window))
        return false;
    uint64_t at = 0;
    for (int i = 0; i < LINKS_MAX; i++) {
        if (!tp_chunk_id_is_printable(window + at))
            return false;
        if (tp_chunk_id_is_known(window + at))
            return true;
        switch (follow(window, size, left, at, &at)) {
        case LINK_END: return true;
        case LINK_NEXT: break;
        case LINK_UNSEEN:
        case LINK_BROKEN: return false;
        }
    }
    return true;
}

/* An XML text within the first bytes of a chunk's body. */
static bool begins_as_xml(const uint8_t *body, size_t size)
{
    size_t i = 0;
    while (i < size && i < 16 &&
           (body[i] == ' ' || body[i] == '\r' || body[i] == '\n' || body[i] == '\t' || body[i] >= 0xBB))
        i++;
    return size - i >= 5 && (memcmp(body + i, "<?xml", 5) == 0 || memcmp(body + i, "<BWFX", 5) == 0);
}

bool tp_chunks_finish_file(const uint8_t *window, size_t size, uint64_t left)
{
    uint64_t at = 0;
    if (size < TP_CHUNK_HEADER || !tp_chunk_id_is_known(window))
        return false;
    bool xml = memcmp(window, "iXML", 4) == 0 && begins_as_xml(window + TP_CHUNK_HEADER, size - TP_CHUNK_HEADER);
    for (int i = 0; i < LINKS_MAX; i++) {
        switch (follow(window, size, left, at, &at)) {
        case LINK_END: return true;
        case LINK_NEXT: break;
        case LINK_UNSEEN: return xml;
        case LINK_BROKEN: return false;
        }
        size_t rest = size - (size_t)at;
        if (zeros(window + at, rest < ZEROS_IN_SIGHT ? rest : ZEROS_IN_SIGHT))
            return true;
        if (!tp_chunk_id_is_printable(window + at))
            return false;
    }
    return true;
}

size_t tp_chunks_find_finish(const uint8_t *window, size_t size, uint64_t left, uint64_t offset_of_window, size_t limit)
{
    for (size_t at = offset_of_window & 1; at < limit; at += 2)
        if (size - at >= TP_CHUNK_HEADER && tp_chunk_id_is_printable(window + at) &&
            tp_chunks_finish_file(window + at, size - at, left - at))
            return at;
    return limit;
}
