/* SPDX-License-Identifier: MIT */
/*
 * Fixture builder: a description in, the bytes of a WAV file out. Deterministic, and able to lie about everything a
 * damaged or sloppy recording gets wrong. Written from the open documents (RIFF MCI 1991, EBU Tech 3306, ITU-R BS.2088,
 * EBU Tech 3285, iXML) and not from the code under test, which it shares nothing with.
 *
 *     struct wavgen w = {.channels = 2, .frames = 48000, .data_size = WAVGEN_LIE(0)};
 *     size_t size;
 *     uint8_t *bytes = wavgen_bytes(&w, &size);      // or wavgen_write(&w, "/tmp/x.wav")
 *
 * A zeroed description is an honest file: RIFF, 24-bit PCM, 48,000 Hz, one channel, no frames.
 * Order in the file: header, ds64, chunks `before_fmt`, fmt, chunks, bext, ixml, cue, data, chunks `after_data`
 * (and ixml/bext when `metadata_after_data`), trailing bytes; then `truncate_at` cuts.
 * Everything here ends the process with a message when memory or the disk is short: tests have nothing to save.
 */
#ifndef TESTS_SUPPORT_WAVGEN_H
#define TESTS_SUPPORT_WAVGEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum wavgen_container { WAVGEN_RIFF = 0, WAVGEN_RF64, WAVGEN_BW64 };
enum wavgen_sample {
    WAVGEN_PCM24 = 0,
    WAVGEN_PCM8, /* unsigned, as the format wants */
    WAVGEN_PCM16,
    WAVGEN_PCM32,
    WAVGEN_FLOAT32,
    WAVGEN_FLOAT64
};

/* A number that replaces the honest one. */
struct wavgen_lie {
    bool on;
    uint64_t value;
};
#define WAVGEN_LIE(number)                                                                                             \
    {                                                                                                                  \
        .on = true, .value = (number)                                                                                  \
    }

/* Any chunk. */
struct wavgen_chunk {
    const char *id; /* four bytes are used; NULL ends nothing, lists carry a count */
    const void *data;
    size_t size;
    bool before_fmt, after_data; /* neither: between fmt and data */
    bool no_pad;                 /* leave the pad byte of an odd size out */
    struct wavgen_lie declared;  /* size written instead of `size` */
};

/* EBU Tech 3285. Text longer than its field is cut without NUL. */
struct wavgen_bext {
    const char *description, *originator, *originator_reference, *date, *time; /* NULL = zeros */
    uint64_t time_reference;
    uint16_t version;    /* 0, 1, 2; other values are written too */
    const uint8_t *umid; /* 64 bytes, or NULL */
    int16_t loudness[5]; /* value, range, true peak, momentary, short-term: x100; written when version >= 2 */
    const char *history; /* NULL = none */
    size_t cut_to;       /* 0 = whole; else only the first bytes of the chunk data */
};

struct wavgen_cue {
    uint32_t id, sample_offset;
    const char *label; /* NULL, or a labl in LIST adtl */
};

/* The sound of one sample, full scale 1.0. Must be a pure function of its arguments. */
typedef double wavgen_sound(const void *user, uint64_t frame, unsigned channel);

struct wavgen {
    enum wavgen_container container;
    enum wavgen_sample sample;
    bool extensible;
    uint32_t valid_bits;   /* extensible only; 0 is written as the container size */
    bool valid_bits_zero;  /* write 0 there */
    uint32_t channel_mask; /* extensible only */
    uint32_t rate_hz;      /* 0 = 48000 */
    uint32_t channels;     /* 0 = 1 */
    uint64_t frames;

    /* Where the samples come from: the first that is not NULL; none = a 997 Hz sine at -20 dBFS.
     * ints: interleaved, written as they are in the sample's own scale (PCM only; 8-bit as signed).
     * reals: interleaved, full scale 1.0; PCM rounds to nearest and saturates, float keeps every bit pattern.
     * `pad_bits` clears that many low bits of PCM (16-bit sound in a 24-bit file: 8). */
    const int32_t *ints;
    const double *reals;
    wavgen_sound *sound;
    const void *sound_user;
    unsigned pad_bits;

    const struct wavgen_bext *bext;
    const char *ixml;    /* text of the chunk, or NULL */
    size_t ixml_padding; /* NULs after the text */
    bool metadata_after_data;
    const struct wavgen_cue *cues;
    size_t cue_count;
    struct wavgen_lie cues_declared; /* count written in the cue chunk */
    const char *info_name;           /* LIST INFO with INAM, or NULL */
    bool junk_reservation;           /* a 28-byte JUNK at offset 12, as recorders write it for a later ds64 */
    const struct wavgen_chunk *chunks;
    size_t chunk_count;

    /* Lies and damage. */
    struct wavgen_lie riff_size, data_size; /* 32-bit fields */
    struct wavgen_lie ds64_riff_size, ds64_data_size, ds64_frames;
    struct wavgen_lie format_tag, fmt_channels, fmt_rate, byte_rate, block_align, bits; /* fields of fmt */
    struct wavgen_lie fmt_size; /* declared size of fmt; the body stays whole */
    bool no_fmt, no_data, fmt_after_data, fmt_twice, data_twice;
    bool no_ds64;         /* RF64/BW64 without it */
    bool data_no_pad;     /* odd data without pad byte */
    const void *trailing; /* bytes behind everything; NULL = zeros */
    size_t trailing_size;
    bool trailing_counted;         /* riff size covers them */
    size_t extra_data_bytes;       /* a partial frame: so many bytes (0x11) more in data */
    struct wavgen_lie truncate_at; /* cut the file there */
    size_t drop_tail;              /* or cut so many bytes off its end */
};

/* The file. *size gets its length. Owned by the caller (free). */
uint8_t *wavgen_bytes(const struct wavgen *description, size_t *size);

/* Writes the file; an existing one is replaced. */
void wavgen_write(const struct wavgen *description, const char *path);

/* Writes an honest RIFF or RF64 file of `repeats` times the sound of the description, without holding it in memory:
 * for cards of gigabytes. `frames` is that of one repeat. */
void wavgen_write_repeated(const struct wavgen *description, uint64_t repeats, const char *path);

/* Offset of the first byte of the data chunk's body in an honest or dishonest file; 0 when there is none. */
size_t wavgen_audio_offset(const struct wavgen *description);

/* Bytes of one sample. */
uint32_t wavgen_sample_bytes(enum wavgen_sample sample);

/* What the fields of an iXML chunk need to be; NULL or 0 leaves an element out. */
struct wavgen_ixml {
    const char *project, *scene, *take, *tape, *note;
    const char *circled, *wild_track, *no_good; /* "TRUE" … */
    const char *timecode_rate, *timecode_flag;  /* "25/1", "NDF" */
    uint32_t file_sample_rate, audio_bit_depth;
    bool has_timestamp;
    uint64_t timestamp_samples;
    const char *family_uid;
    uint32_t total_files, file_index;
    struct {
        uint32_t channel, interleave;
        const char *name, *function;
    } tracks[16];
    uint32_t track_count;
};
/* The XML text, escaped. Owned by the caller (free). */
char *wavgen_ixml_text(const struct wavgen_ixml *ixml);

/* Ready sounds for `sound`. */
struct wavgen_tone {
    double hz, rate_hz, peak; /* rate_hz 0 = 48000 */
    double phase_rad;
};
wavgen_sound wavgen_sine;    /* user: struct wavgen_tone; the same on every channel */
wavgen_sound wavgen_noise;   /* user: double peak; white, differs from channel to channel, no state */
wavgen_sound wavgen_silence; /* user unused */

/* Uniform in [-1, 1): a pure function of its key, the same on every machine. */
double wavgen_random(uint64_t key);

#endif
