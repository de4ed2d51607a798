/* SPDX-License-Identifier: MIT */
#include "support/damage.h"

#include "support/voice.h"
#include "support/wavgen.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE_HZ = 48000, FRAMES = RATE_HZ, SECTOR = 512 };

/* splitmix64 (S. Vigna, public domain), from memory. */
static uint64_t mix(uint64_t *state)
{
    uint64_t z = *state += 0x9E3779B97F4A7C15u;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

static size_t below(struct damage *damage, size_t limit)
{
    return limit == 0 ? 0 : (size_t)(mix(&damage->random) % limit);
}

/* --- healthy files --- */

static uint32_t read_32(const uint8_t *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

static void write_32(uint8_t *bytes, size_t value)
{
    for (size_t i = 0; i < 4; i++)
        bytes[i] = (uint8_t)(value >> (8 * i));
}

static void list_chunks(struct damage_base *base)
{
    for (size_t at = 12; at + 8 <= base->size && base->chunk_count < DAMAGE_CHUNKS_MAX;) {
        size_t body = at + 8 == base->audio_offset ? base->audio_bytes : read_32(base->bytes + at + 4);
        size_t size = 8 + body + body % 2;
        base->chunks[base->chunk_count++] = (struct damage_chunk){at, size};
        at += size;
    }
}

static const char ixml[] = "<?xml version=\"1.0\" encoding=\"UTF-8\"?><BWFXML><IXML_VERSION>1.61</IXML_VERSION>"
                           "<PROJECT>Harbour Lights</PROJECT><SCENE>12A</SCENE><TAKE>3</TAKE></BWFXML>";

void damage_bases_init(struct damage_base bases[DAMAGE_BASES])
{
    double *speech = malloc(FRAMES * sizeof *speech);
    double *both = malloc(FRAMES * 2 * sizeof *both);
    struct voice_line line = {.start_s = 0.2, .length_s = 0.6, .level_db = 0.0, .effort = 0.2};
    struct voice_script script = {
        .seed = 3, .rate_hz = RATE_HZ, .level_dbfs = -26.0, .room_dbfs = -62.0, .lines = &line, .line_count = 1};
    if (speech == NULL || both == NULL)
        exit(3);
    voice_render(&script, speech, FRAMES);
    for (size_t i = 0; i < FRAMES; i++) {
        both[2 * i] = speech[i];
        both[2 * i + 1] = speech[i] * 0.25118864315; /* -12 dB */
    }
    struct wavgen_bext bext = {.description = "12A take 3",
                               .originator = "mutations",
                               .date = "2026-05-04",
                               .time = "10:11:12",
                               .time_reference = 480000,
                               .version = 1};
    const struct wavgen kinds[DAMAGE_BASES] = {
        {.channels = 1, .frames = FRAMES, .reals = speech, .bext = &bext},
        {.channels = 2, .frames = FRAMES, .reals = both, .bext = &bext, .ixml = ixml},
        {.channels = 1, .frames = FRAMES, .reals = speech, .sample = WAVGEN_PCM16, .info_name = "12A"},
        {.channels = 2, .frames = FRAMES, .reals = both, .container = WAVGEN_RF64},
        {.channels = 1, .frames = FRAMES, .reals = speech, .sample = WAVGEN_FLOAT32},
    };
    for (size_t i = 0; i < DAMAGE_BASES; i++) {
        size_t size;
        uint8_t *bytes = wavgen_bytes(&kinds[i], &size);
        bases[i] = (struct damage_base){.bytes = bytes, .size = size, .audio_offset = wavgen_audio_offset(&kinds[i])};
        bases[i].audio_bytes = FRAMES * kinds[i].channels * wavgen_sample_bytes(kinds[i].sample);
        list_chunks(&bases[i]);
    }
    free(speech);
    free(both);
}

void damage_bases_clear(struct damage_base bases[DAMAGE_BASES])
{
    for (size_t i = 0; i < DAMAGE_BASES; i++)
        free(bases[i].bytes);
}

/* --- the sound --- */

/* 1 to `most` whole sectors inside the sound; returns where they are in the bytes. */
static uint8_t *sectors_of_sound(struct damage *d, size_t most)
{
    size_t first = (d->base->audio_offset + SECTOR - 1) / SECTOR;
    size_t last = (d->base->audio_offset + d->base->audio_bytes) / SECTOR;
    size_t count = 1 + below(d, most);
    d->at = (first + below(d, last - first - count)) * SECTOR;
    d->length = count * SECTOR;
    return d->bytes + d->at;
}

static void cut(struct damage *d)
{
    d->at = d->base->audio_offset + below(d, d->base->audio_bytes - 1);
    d->length = d->size - d->at;
    d->size = d->at;
}

static void take_out(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    memmove(place, place + d->length, d->size - d->at - d->length);
    d->size -= d->length;
}

static void zero(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    memset(place, 0, d->length);
}

static void zero_tail(struct damage *d)
{
    size_t end = d->base->audio_offset + d->base->audio_bytes;
    d->at = (end - SECTOR * (8 + below(d, 64))) / SECTOR * SECTOR; /* what a medium loses begins at a sector */
    d->length = end - d->at;
    memset(d->bytes + d->at, 0, d->length);
}

static void repeat(struct damage *d)
{
    sectors_of_sound(d, 16);
    size_t end = d->base->audio_offset + d->base->audio_bytes;
    if (d->at + 2 * d->length > end)
        d->at = (end - 2 * d->length) / SECTOR * SECTOR;
    memmove(d->bytes + d->at + d->length, d->bytes + d->at, d->length);
}

static void replace_by_noise(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    for (size_t i = 0; i < d->length; i++)
        place[i] = (uint8_t)mix(&d->random);
}

static void replace_by_one_byte(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    memset(place, below(d, 2) != 0 ? 0xFF : (int)(1 + below(d, 254)), d->length);
}

static void replace_by_text(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    for (size_t i = 0; i < d->length; i++)
        place[i] = (uint8_t)ixml[(d->at + i) % (sizeof ixml - 1)];
}

static void replace_by_other_recording(struct damage *d)
{
    const struct damage_base *other =
        &d->bases[((size_t)(d->base - d->bases) + 1 + below(d, DAMAGE_BASES - 1)) % DAMAGE_BASES];
    uint8_t *place = sectors_of_sound(d, 32);
    size_t first = (other->audio_offset + SECTOR - 1) / SECTOR;
    size_t count = (other->audio_offset + other->audio_bytes) / SECTOR - first;
    memcpy(place, other->bytes + (first + below(d, count - d->length / SECTOR)) * SECTOR, d->length);
}

static void replace_by_other_place(struct damage *d)
{
    uint8_t *place = sectors_of_sound(d, 32);
    size_t first = (d->base->audio_offset + SECTOR - 1) / SECTOR;
    size_t count = (d->base->audio_offset + d->base->audio_bytes) / SECTOR - first;
    memcpy(place, d->base->bytes + (first + below(d, count - d->length / SECTOR)) * SECTOR, d->length);
}

/* --- header and chunks --- */

static void flip_in_header(struct damage *d)
{
    for (size_t i = 1 + below(d, 4); i > 0; i--)
        d->bytes[below(d, d->base->audio_offset)] ^= (uint8_t)(1u << below(d, 8));
}

static void lie_in_header(struct damage *d)
{
    static const uint32_t lies[] = {0, 1, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000, 44, 0xFFFFFFF0};
    write_32(d->bytes + 4 * below(d, d->base->audio_offset / 4), lies[below(d, sizeof lies / sizeof *lies)]);
}

static const struct damage_chunk *some_chunk(struct damage *d)
{
    const struct damage_chunk *chunk = &d->base->chunks[below(d, d->base->chunk_count)];
    d->at = chunk->at;
    d->length = chunk->size;
    return chunk;
}

/* Half of the broken writers keep the size of the whole right. */
static void mend_size(struct damage *d)
{
    if (below(d, 2) != 0 && read_32(d->bytes + 4) != 0xFFFFFFFF)
        write_32(d->bytes + 4, d->size - 8);
}

static void put_in(struct damage *d, size_t at, const uint8_t *bytes, size_t size)
{
    memmove(d->bytes + at + size, d->bytes + at, d->size - at);
    memcpy(d->bytes + at, bytes, size);
    d->size += size;
}

static void leave_chunk_out(struct damage *d)
{
    const struct damage_chunk *chunk = some_chunk(d);
    memmove(d->bytes + chunk->at, d->bytes + chunk->at + chunk->size, d->size - chunk->at - chunk->size);
    d->size -= chunk->size;
    mend_size(d);
}

static void write_chunk_twice(struct damage *d)
{
    const struct damage_chunk *chunk = some_chunk(d), *before = some_chunk(d);
    put_in(d, before->at, d->base->bytes + chunk->at, chunk->size);
    mend_size(d);
}

static void change_places(struct damage *d)
{
    const struct damage_chunk *a = some_chunk(d), *b = some_chunk(d);
    if (a == b)
        return;
    const struct damage_chunk *first = a->at < b->at ? a : b, *last = a->at < b->at ? b : a;
    const uint8_t *from = d->base->bytes;
    size_t between = last->at - first->at - first->size;
    memcpy(d->bytes + first->at, from + last->at, last->size);
    memcpy(d->bytes + first->at + last->size, from + first->at + first->size, between);
    memcpy(d->bytes + first->at + last->size + between, from + first->at, first->size);
}

static void lie_in_chunk_size(struct damage *d)
{
    const struct damage_chunk *chunk = some_chunk(d);
    uint8_t *field = d->bytes + chunk->at + 4;
    size_t size = read_32(field);
    const size_t lies[] = {0,        size + 1, size - 1,    size + 1 + below(d, 64), size - below(d, size),
                           size / 2, size * 2, 0xFFFFFFFFu, d->size - chunk->at,     below(d, d->size)};
    write_32(field, lies[below(d, sizeof lies / sizeof *lies)]);
}

static void put_in_strange_chunk(struct damage *d)
{
    static const char *const ids[] = {"bext", "iXML", "LIST", "cue ", "ds64",
                                      "fmt ", "fact", "JUNK", "PEAK", "\1\2\3\4"};
    uint8_t chunk[8 + 2048];
    size_t size = 2 * below(d, 1024);
    memcpy(chunk, ids[below(d, sizeof ids / sizeof *ids)], 4);
    write_32(chunk + 4, below(d, 4) == 0 ? (size_t)mix(&d->random) : size);
    for (size_t i = 0; i < size; i++)
        chunk[8 + i] = (uint8_t)mix(&d->random);
    put_in(d, some_chunk(d)->at, chunk, 8 + size);
    mend_size(d);
}

static void change_metadata(struct damage *d)
{
    const struct damage_chunk *chunk = some_chunk(d);
    if (chunk->at + 8 == d->base->audio_offset)
        return;
    for (size_t i = 1 + below(d, 32); i > 0; i--)
        d->bytes[chunk->at + 8 + below(d, chunk->size - 8)] = (uint8_t)mix(&d->random);
}

static void scramble(struct damage *d)
{
    d->size = below(d, d->base->size);
    for (size_t i = below(d, 64); i > 0; i--)
        d->bytes[below(d, d->base->size)] = (uint8_t)mix(&d->random);
}

const struct damage_kind damage_kinds[] = {
    {"cut: file ends early", cut, true, 0},
    {"cut: 1 to 32 sectors taken out", take_out, true, 0},
    {"zeroed: 1 to 32 sectors", zero, true, 0},
    {"zeroed: tail of 8 to 71 sectors", zero_tail, true, 0},
    {"repeated: 1 to 16 sectors written twice", repeat, true, 0},
    {"replaced: sectors of random bytes", replace_by_noise, true, 0},
    {"replaced: sectors of one byte", replace_by_one_byte, true, 0},
    {"replaced: sectors of text", replace_by_text, true, 0},
    {"replaced: sectors of another recording", replace_by_other_recording, true, 3},
    {"replaced: sectors of another place", replace_by_other_place, true, 0},
    {"header: flipped bits", flip_in_header, false, 0},
    {"header: wrong numbers", lie_in_header, false, 0},
    {"chunks: one left out", leave_chunk_out, false, 0},
    {"chunks: one written twice", write_chunk_twice, false, 0},
    {"chunks: two change places", change_places, false, 0},
    {"chunks: a wrong size", lie_in_chunk_size, false, 0},
    {"chunks: a strange one put in", put_in_strange_chunk, false, 0},
    {"chunks: changed bytes, not of the sound", change_metadata, false, 0},
    {"anything: cut and scattered bytes", scramble, false, 0},
};
const size_t damage_kind_count = sizeof damage_kinds / sizeof *damage_kinds;

bool damage_make(const struct damage_base bases[DAMAGE_BASES], uint64_t seed, uint64_t number, struct damage *damage)
{
    *damage = (struct damage){.kind = &damage_kinds[number % damage_kind_count], .bases = bases, .random = seed};
    damage->random = mix(&damage->random) ^ number;
    damage->base = &bases[below(damage, DAMAGE_BASES)];
    damage->size = damage->base->size;
    damage->bytes = malloc(damage->size + DAMAGE_GROWTH);
    if (damage->bytes == NULL)
        exit(3);
    memcpy(damage->bytes, damage->base->bytes, damage->size);
    damage->kind->apply(damage);
    return damage->size != damage->base->size || memcmp(damage->bytes, damage->base->bytes, damage->size) != 0;
}
