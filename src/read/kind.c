/* SPDX-License-Identifier: MIT */
#include "read/kind.h"

#include <stdbool.h>
#include <string.h>

struct magic {
    size_t at, size;
    const char *bytes;
    const char *words;
};

static const struct magic magics[] = {
    {0, 4, "RIFX", "RIFX, the big-endian form of WAV"},
    {0, 4, "FFIR", "a RIFF file with its bytes swapped"},
    {0, 4, "\x00\x05\x16\x07", "a Mac companion file (AppleDouble), not the recording itself"},
    {0, 4, "\x00\x05\x16\x00", "a Mac companion file (AppleSingle)"},
    {0, 4, "fLaC", "FLAC sound"},
    {0, 4, "OggS", "Ogg sound"},
    {0, 4, "caff", "a CAF file"},
    {0, 4, "FORM", "an AIFF or other IFF file"},
    {0, 4, "wvpk", "WavPack sound"},
    {0, 4, ".snd", "an AU file"},
    {0, 4, "riff", "a Wave64 file"},
    {0, 3, "ID3", "MP3 sound"},
    {4, 4, "ftyp", "an MP4 or MOV file"},
    {0, 4, "\x1A\x45\xDF\xA3", "a Matroska or WebM file"},
    {0, 4, "\x06\x0E\x2B\x34", "an MXF file"},
    {0, 4, "PK\x03\x04", "a ZIP archive"},
    {0, 2, "\x1F\x8B", "a gzip archive"},
    {0, 4, "\x89PNG", "a PNG picture"},
    {0, 3, "\xFF\xD8\xFF", "a JPEG picture"},
    {0, 4, "%PDF", "a PDF document"},
    {0, 5, "<?xml", "an XML text"},
    {0, 5, "<html", "a web page"},
    {0, 9, "<!DOCTYPE", "a web page"},
};

/* Sync word of an MPEG audio frame (ISO/IEC 11172-3): 11 bits set, a layer, a bit rate and a sample rate that exist. */
static bool is_mpeg_frame(const uint8_t *b, size_t size)
{
    return size >= 4 && b[0] == 0xFF && (b[1] & 0xE0) == 0xE0 && (b[1] & 0x18) != 0x08 && (b[1] & 0x06) != 0 &&
           (b[2] & 0xF0) != 0xF0 && (b[2] & 0xF0) != 0 && (b[2] & 0x0C) != 0x0C;
}

const char *tp_kind_of(const uint8_t *bytes, size_t size)
{
    for (size_t i = 0; i < sizeof magics / sizeof magics[0]; i++)
        if (size >= magics[i].at + magics[i].size && memcmp(bytes + magics[i].at, magics[i].bytes, magics[i].size) == 0)
            return magics[i].words;
    return is_mpeg_frame(bytes, size) ? "MP3 or other MPEG sound" : NULL;
}

bool tp_kind_is_wav(const uint8_t *bytes, size_t size)
{
    return size >= 12 && memcmp(bytes + 8, "WAVE", 4) == 0 &&
           (memcmp(bytes, "RIFF", 4) == 0 || memcmp(bytes, "RF64", 4) == 0 || memcmp(bytes, "BW64", 4) == 0);
}
