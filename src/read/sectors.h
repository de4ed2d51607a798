/* SPDX-License-Identifier: MIT */
/*
 * Sectors that a medium lost or wrote twice inside the sound. A tap sees them in passing, in whole sectors of the file,
 * before the bytes become samples.
 *
 * Rules (common practice, no source):
 * - Lost: whole sectors of one byte value, zeros for instance, between living ones. As only a medium does it, the run
 *   begins and ends within one frame of a sector's border (or TP_TAIL_BESIDE): a silence made by a program does so once
 *   in thousands.
 * - Written twice: sectors with the bytes of those some sectors before. Where that distance is no whole number of
 * frames, other bytes are taken for the upper ones of a sample: noise, or channels that change places. Where it is, the
 *   channels' meters find it in samples and at any place, if it is loud and no tone; here it must be the block before,
 *   once more, and end there: sounds that repeat by themselves go on. Those from farther away: sectors_far.h.
 */
#ifndef TP_READ_SECTORS_H
#define TP_READ_SECTORS_H

#include "read/sectors_far.h"
#include "read/stream.h"

#include <takeproof/result.h>

#define TP_SECTOR_BYTES 512u
#define TP_SECTOR_WORDS 8u       /* of eight bytes, evenly spread over a sector: what is compared */
#define TP_SECTOR_MEMORY 64u     /* sectors: the longest distance that is looked at */
#define TP_SECTOR_PLACES_MAX 64u /* kept of each kind */
#define TP_SECTOR_RING 128u      /* a power of two above TP_SECTOR_MEMORY: the sector in hand has its place, too */
#define TP_SECTOR_SLOTS 2048u    /* of the look-up by key; a power of two */

struct tp_sector_print {
    uint64_t words[TP_SECTOR_WORDS];
};
struct tp_sector_run {
    uint64_t start, end; /* sectors of the file */
    uint64_t lag;        /* sectors, of a repeat; else 0 */
    size_t beside;       /* of a loss: bytes of its value that touch it on one side, the larger number */
    uint8_t byte;        /* the value of a loss */
};
struct tp_sector_runs {
    struct tp_sector_run items[TP_SECTOR_PLACES_MAX];
    size_t count;
    bool open;
    struct tp_sector_run now; /* when open */
};

/* Start as {0}; give tp_sectors_tap() to tp_stream_open(), observe when the sound has been measured. */
struct tp_sectors {
    uint64_t number; /* of the sector that comes next */
    size_t partial_size;
    uint8_t partial[TP_SECTOR_BYTES];
    uint32_t keys[TP_SECTOR_RING]; /* of the latest sectors, at number % TP_SECTOR_RING */
    struct tp_sector_print prints[TP_SECTOR_RING];
    uint16_t latest[TP_SECTOR_SLOTS]; /* number of the latest sector with a key of this slot, modulo 65536 */
    const uint8_t *before;            /* the latest sector, while its bytes are at hand; else NULL and … */
    uint8_t last_byte;                /* … its last byte … */
    size_t last_alike;                /* … and how many equal it at its end */
    struct tp_sector_runs lost, twice;
    struct tp_sectors_far far;
};

struct tp_tap tp_sectors_tap(struct tp_sectors *sectors);
/* Ends the runs, and adds `dropout` and `repeated-block` observations of the file as a whole, unless a channel tells of
 * the same already. False when memory is short. */
bool tp_sectors_observe(struct tp_sectors *sectors, struct tp_file *file);

#endif
