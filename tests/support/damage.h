/* SPDX-License-Identifier: MIT */
/*
 * Healthy files, and damage of known kinds done to them: what media lose, and what broken or hostile writers write.
 *
 * The healthy files are invented speech (voice.h) over room tone with metadata, as a recorder would write them. Damage
 * to the sound comes in runs of whole 512-byte sectors, the unit a card loses. Everything follows from a number: the
 * same number damages the same place, whatever was damaged before.
 */
#ifndef TESTS_SUPPORT_DAMAGE_H
#define TESTS_SUPPORT_DAMAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DAMAGE_BASES 5
#define DAMAGE_CHUNKS_MAX 12

struct damage_chunk {
    size_t at, size; /* with header and pad byte */
};
struct damage_base {
    uint8_t *bytes;
    size_t size, audio_offset, audio_bytes;
    struct damage_chunk chunks[DAMAGE_CHUNKS_MAX];
    size_t chunk_count;
};
void damage_bases_init(struct damage_base bases[DAMAGE_BASES]);
void damage_bases_clear(struct damage_base bases[DAMAGE_BASES]);

struct damage_kind;
struct damage {
    const struct damage_kind *kind;
    const struct damage_base *bases, *base; /* all healthy files, and the one that is damaged */
    uint8_t *bytes;                         /* room for the base and DAMAGE_GROWTH more */
    size_t size;
    size_t at, length; /* what was damaged, to be told */
    uint64_t random;
};
#define DAMAGE_GROWTH ((size_t)1 << 20)

struct damage_kind {
    const char *name;
    void (*apply)(struct damage *damage);
    bool hurts_sound;        /* must not pass; else it may if the sound reads as before */
    unsigned missed_percent; /* a gap that is known and told, in percent; 0 = none may pass */
};
extern const struct damage_kind damage_kinds[];
extern const size_t damage_kind_count;

/* Mutation `number` of the series `seed`; kinds take turns. False when it left the file as it was: that is no damage.
 * free() .bytes. */
bool damage_make(const struct damage_base bases[DAMAGE_BASES], uint64_t seed, uint64_t number, struct damage *damage);

#endif
