/* SPDX-License-Identifier: MIT */
/*
 * Sectors that hold the bytes of others far before them: a card or its file table gave one place twice. A part of
 * sectors.c, which knows those near by.
 *
 * Rules (common practice, no source): the stretch is not longer than its distance, for sounds that repeat by themselves
 * go on, and it is no tone: tones of a generator repeat to the bit, sound from a microphone never does.
 * Looked up are the latest sectors, about TP_SECTOR_FAR_SLOTS: a newer one takes the slot of an older. In 8 MB, a
 * minute of one channel in 24 bits, more than half are still there.
 */
#ifndef TP_READ_SECTORS_FAR_H
#define TP_READ_SECTORS_FAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <takeproof/result.h>

#define TP_SECTOR_FAR_SLOTS 16384u /* a power of two */
#define TP_SECTOR_FAR_MAX 16u      /* runs kept */
#define TP_SECTOR_FAR_BYTES 512u

struct tp_sector_far_run {
    uint64_t start, end, lag;           /* sectors of the file */
    uint8_t bytes[TP_SECTOR_FAR_BYTES]; /* of the first of them */
};
/* Start as {0}. */
struct tp_sectors_far {
    uint64_t slots[TP_SECTOR_FAR_SLOTS]; /* 40 bits of the latest key of this slot, 24 of its sector's number */
    struct tp_sector_far_run items[TP_SECTOR_FAR_MAX];
    size_t count;
};

/* The slot of a key lies anywhere in more memory than is near: asked for some time before. */
static inline void tp_sectors_far_fetch(const struct tp_sectors_far *far, uint64_t key)
{
    __builtin_prefetch(&far->slots[key >> 50 & (TP_SECTOR_FAR_SLOTS - 1)], 1);
}

/* Notes sector `number` and gives how many sectors ago one with the same key was there; 0 = not seen, or forgotten. */
static inline uint64_t tp_sectors_far_lag(struct tp_sectors_far *far, uint64_t number, uint64_t key)
{
    uint64_t *slot = &far->slots[key >> 50 & (TP_SECTOR_FAR_SLOTS - 1)];
    uint64_t before = *slot, now = (key >> 10) << 24 | (number & 0xFFFFFF);
    *slot = now;
    return (before ^ now) >> 24 == 0 ? (now - before) & 0xFFFFFF : 0;
}

/* A sector that was there `lag` sectors ago; call it for those alone, in order. */
void tp_sectors_far_take(struct tp_sectors_far *far, uint64_t number, uint64_t lag, const uint8_t *sector);

/* Is the run damage by the rules above, given how its samples lie? */
bool tp_sectors_far_is_damage(const struct tp_sector_far_run *run, const struct tp_file *file);

#endif
