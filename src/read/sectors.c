/* SPDX-License-Identifier: MIT */
#include "read/sectors.h"

#include "base/num.h"
#include "base/observe.h"
#include "read/format.h"
#include "read/tail.h"

#include <string.h>
#define XXH_INLINE_ALL /* for a size that is known */
#include <xxhash.h>

/* Bytes from word to word. With this step frames of any usual size up to 64 bytes show two thirds of their bytes or
 * more; 64 would show the same two channels again and again where a frame is 16 or 32 bytes. */
#define WORD_STEP 69
_Static_assert(WORD_STEP *(TP_SECTOR_WORDS - 1) + sizeof(uint64_t) <= TP_SECTOR_BYTES, "inside a sector");
#define DISTINCT_MIN 12u /* byte values among the 64 compared ones: fewer are silence or an idle pattern */
#define BESIDE_MAX 16u   /* bytes: unused channels of a wide frame are zero, too */
#define PERIOD_MAX 384u  /* bytes: 1 kHz in 24 bits and two channels is 288 */
#define COPIES_MAX 3u    /* a longer repeat is a generated sound */
/* Sectors whose prints are made, and their slots fetched, before the first of them is looked at. */
#define BATCH 16u
_Static_assert(TP_SECTOR_MEMORY + BATCH <= TP_SECTOR_RING, "prints of sectors to come leave those before alone");

/* Prints a sector and gives its key: equal prints have equal keys, others hardly ever. No mere sum of the words: those
 * of quiet sound are made of few values, and their sums of hardly more. */
static uint64_t take_print(struct tp_sector_print *print, const uint8_t *sector)
{
#pragma GCC unroll 8 /* so that the words are hashed as they are read */
    for (size_t i = 0; i < TP_SECTOR_WORDS; i++)
        memcpy(&print->words[i], sector + i * WORD_STEP, sizeof print->words[i]);
    return XXH3_64bits(print, sizeof *print);
}

static bool is_living(const struct tp_sector_print *print)
{
    uint8_t bytes[sizeof *print];
    bool seen[256] = {false};
    unsigned distinct = 0;
    memcpy(bytes, print, sizeof bytes);
    for (size_t i = 0; i < sizeof bytes; i++) {
        distinct += !seen[bytes[i]];
        seen[bytes[i]] = true;
    }
    return distinct >= DISTINCT_MIN;
}

static bool is_one_byte(const struct tp_sector_print *print, const uint8_t *sector)
{
    return print->words[0] == print->words[TP_SECTOR_WORDS - 1] && memcmp(sector, sector + 1, TP_SECTOR_BYTES - 1) == 0;
}

/* Does the sector repeat inside itself? Then it is a generated tone. */
static bool is_periodic(const uint8_t *sector)
{
    uint64_t first, there;
    memcpy(&first, sector, sizeof first);
    for (size_t period = 1; period <= PERIOD_MAX; period++) {
        memcpy(&there, sector + period, sizeof there);
        if (there == first && memcmp(sector, sector + period, TP_SECTOR_BYTES - period) == 0)
            return true;
    }
    return false;
}

static size_t alike_at_start(const uint8_t *sector, uint8_t byte)
{
    size_t count = 0;
    while (count < TP_SECTOR_BYTES && sector[count] == byte)
        count++;
    return count;
}

static size_t alike_at_end(const uint8_t *sector)
{
    size_t count = 1;
    while (count < TP_SECTOR_BYTES && sector[TP_SECTOR_BYTES - 1 - count] == sector[TP_SECTOR_BYTES - 1])
        count++;
    return count;
}

/* The run of `runs` ends before this sector. */
static void close_run(struct tp_sector_runs *runs, uint64_t number)
{
    runs->now.end = number;
    if (runs->count < TP_SECTOR_PLACES_MAX)
        runs->items[runs->count++] = runs->now;
    runs->open = false;
}

static const struct tp_sector_print *print_at(const struct tp_sectors *s, uint64_t number)
{
    return &s->prints[number % TP_SECTOR_RING];
}

/* Of the sector before this one: bytes of this value at its end. */
static size_t beside_before(const struct tp_sectors *s, uint8_t byte)
{
    if (s->before != NULL)
        return s->before[TP_SECTOR_BYTES - 1] == byte ? alike_at_end(s->before) : 0;
    return s->last_byte == byte ? s->last_alike : 0;
}

static void watch_losses(struct tp_sectors *s, const uint8_t *sector, const struct tp_sector_print *print)
{
    struct tp_sector_runs *lost = &s->lost;
    bool one_byte = is_one_byte(print, sector);
    if (lost->open && one_byte && sector[0] == lost->now.byte)
        return;
    if (lost->open) {
        size_t after = alike_at_start(sector, lost->now.byte);
        if (after > lost->now.beside)
            lost->now.beside = after;
        lost->open = false;
        if (is_living(print))
            close_run(lost, s->number);
    }
    if (!one_byte || s->number == 0 || !is_living(print_at(s, s->number - 1)))
        return;
    lost->open = true;
    lost->now = (struct tp_sector_run){.start = s->number, .byte = sector[0], .beside = beside_before(s, sector[0])};
}

/* Tells from one slot, in most cases, that no sector before can have been the same; else from all keys at once. */
static bool may_be_repeated(const struct tp_sectors *s, uint32_t key)
{
    if ((uint16_t)(s->number - s->latest[key % TP_SECTOR_SLOTS]) > TP_SECTOR_MEMORY)
        return false;
    unsigned same = 0;
    for (size_t i = 0; i < TP_SECTOR_RING; i++)
        same |= s->keys[i] == key;
    return same != 0;
}

/* How many sectors ago the same was there; 0 = not seen. */
static uint64_t find_lag(const struct tp_sectors *s, const struct tp_sector_print *print, uint32_t key)
{
    if (!may_be_repeated(s, key))
        return 0;
    for (uint64_t lag = 1; lag <= TP_SECTOR_MEMORY && lag <= s->number; lag++)
        if (memcmp(print_at(s, s->number - lag), print, sizeof *print) == 0)
            return lag;
    return 0;
}

static void watch_repeats(struct tp_sectors *s, const uint8_t *sector, const struct tp_sector_print *print,
                          uint32_t key)
{
    struct tp_sector_runs *twice = &s->twice;
    if (twice->open) {
        uint64_t before = s->number - twice->now.lag;
        if (memcmp(print_at(s, before), print, sizeof *print) == 0)
            return;
        close_run(twice, s->number);
    }
    uint64_t lag = find_lag(s, print, key);
    if (lag == 0 || !is_living(print) || is_periodic(sector))
        return;
    twice->open = true;
    twice->now = (struct tp_sector_run){.start = s->number, .lag = lag};
}

static void take_sector(struct tp_sectors *s, const uint8_t *sector, uint64_t long_key)
{
    const struct tp_sector_print *print = print_at(s, s->number);
    uint32_t key = (uint32_t)(long_key >> 32);
    watch_losses(s, sector, print);
    watch_repeats(s, sector, print, key);
    uint64_t lag = tp_sectors_far_lag(&s->far, s->number, long_key);
    if (lag != 0 && is_living(print) && !is_periodic(sector))
        tp_sectors_far_take(&s->far, s->number, lag, sector);
    s->keys[s->number % TP_SECTOR_RING] = key;
    s->latest[key % TP_SECTOR_SLOTS] = (uint16_t)s->number;
    s->before = sector;
    s->number++;
}

/* At most BATCH. */
static void take_sectors(struct tp_sectors *s, const uint8_t *sectors, size_t count)
{
    uint64_t long_keys[BATCH];
    for (size_t i = 0; i < count; i++) {
        long_keys[i] = take_print(&s->prints[(s->number + i) % TP_SECTOR_RING], sectors + i * TP_SECTOR_BYTES);
        tp_sectors_far_fetch(&s->far, long_keys[i]);
    }
    for (size_t i = 0; i < count; i++)
        take_sector(s, sectors + i * TP_SECTOR_BYTES, long_keys[i]);
}

/* The bytes of the latest sector will be gone. */
static void keep_end(struct tp_sectors *s)
{
    s->last_byte = s->before[TP_SECTOR_BYTES - 1];
    s->last_alike = alike_at_end(s->before);
    s->before = NULL;
}

static void on_bytes(void *user, const uint8_t *bytes, size_t size)
{
    struct tp_sectors *s = user;
    uint64_t first = s->number;
    if (s->partial_size > 0) {
        size_t missing = TP_SECTOR_BYTES - s->partial_size, part = size < missing ? size : missing;
        memcpy(s->partial + s->partial_size, bytes, part);
        s->partial_size += part;
        bytes += part;
        size -= part;
        if (s->partial_size < TP_SECTOR_BYTES)
            return;
        take_sectors(s, s->partial, 1);
    }
    while (size >= TP_SECTOR_BYTES) {
        size_t whole = size / TP_SECTOR_BYTES, count = whole < BATCH ? whole : BATCH;
        take_sectors(s, bytes, count);
        bytes += count * TP_SECTOR_BYTES;
        size -= count * TP_SECTOR_BYTES;
    }
    if (s->number > first)
        keep_end(s);
    memcpy(s->partial, bytes, size);
    s->partial_size = size;
}

struct tp_tap tp_sectors_tap(struct tp_sectors *sectors)
{
    return (struct tp_tap){.bytes = on_bytes, .user = sectors};
}

/* A stretch of the sound in bytes of the file and in seconds. */
struct stretch {
    uint64_t start, end;
    double start_s, end_s;
};

/* False when the run does not lie inside the sound, with sound before it. */
static bool locate(const struct tp_sector_run *run, const struct tp_file *file, struct stretch *stretch)
{
    uint64_t sound_end = file->audio_offset + file->audio_bytes;
    double frame_bytes = tp_format_frame_bytes(file);
    stretch->start = run->start * TP_SECTOR_BYTES;
    stretch->end = run->end * TP_SECTOR_BYTES;
    if (stretch->start <= file->audio_offset || stretch->end > sound_end)
        return false;
    stretch->start_s = (double)(stretch->start - file->audio_offset) / frame_bytes / file->sample_rate_hz;
    stretch->end_s = (double)(stretch->end - file->audio_offset) / frame_bytes / file->sample_rate_hz;
    return true;
}

static bool is_told(const struct tp_file *file, enum tp_code code, const struct stretch *stretch)
{
    for (size_t i = 0; i < file->observations.count; i++) {
        const struct tp_observation *told = &file->observations.items[i];
        if (told->code == code && told->start_s < stretch->end_s && told->end_s > stretch->start_s)
            return true;
    }
    return false;
}

static bool observe_loss(const struct tp_sector_run *run, struct tp_file *file)
{
    struct stretch stretch;
    uint32_t frame = tp_format_frame_bytes(file);
    size_t beside_max = frame < TP_TAIL_BESIDE ? TP_TAIL_BESIDE : frame > BESIDE_MAX ? BESIDE_MAX : frame;
    if (run->beside >= beside_max || !locate(run, file, &stretch) ||
        stretch.end >= file->audio_offset + file->audio_bytes || is_told(file, TP_CODE_DROPOUT, &stretch))
        return true;
    double length_ms = 1000.0 * (stretch.end_s - stretch.start_s);
    char length[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE];
    return tp_observe(
        &file->observations, TP_CODE_DROPOUT, TP_NO_CHANNEL, stretch.start_s, stretch.end_s, length_ms,
        1000.0 * TP_SECTOR_BYTES / frame / file->sample_rate_hz,
        "%s ms at %s are nothing but the byte %u, in whole sectors of the card: what was recorded there is "
        "lost in all channels",
        tp_number_text(length, length_ms, 1), tp_duration_text(at, stretch.start_s, 3), (unsigned)run->byte);
}

static bool observe_repeat(const struct tp_sector_run *run, struct tp_file *file)
{
    struct stretch stretch;
    uint32_t frame = tp_format_frame_bytes(file);
    uint64_t length = run->end - run->start;
    bool whole_frames = run->lag * TP_SECTOR_BYTES % frame == 0;
    if ((whole_frames ? length != run->lag : length > COPIES_MAX * run->lag) || !locate(run, file, &stretch) ||
        is_told(file, TP_CODE_REPEATED_BLOCK, &stretch))
        return true;
    double length_ms = 1000.0 * (stretch.end_s - stretch.start_s);
    char number[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE];
    return tp_observe(&file->observations, TP_CODE_REPEATED_BLOCK, TP_NO_CHANNEL, stretch.start_s, stretch.end_s,
                      length_ms, 1000.0 * TP_SECTOR_BYTES / frame / file->sample_rate_hz,
                      "%s ms at %s hold the bytes of %llu sectors of the card before: written twice%s",
                      tp_number_text(number, length_ms, 1), tp_duration_text(at, stretch.start_s, 3),
                      (unsigned long long)run->lag,
                      whole_frames ? "" : ", cut through a sample, so that it is noise here");
}

static bool observe_far(const struct tp_sector_far_run *far, struct tp_file *file)
{
    struct tp_sector_run run = {.start = far->start, .end = far->end, .lag = far->lag};
    struct stretch stretch;
    uint32_t frame = tp_format_frame_bytes(file);
    if ((run.start - run.lag) * TP_SECTOR_BYTES < file->audio_offset || !locate(&run, file, &stretch) ||
        is_told(file, TP_CODE_REPEATED_BLOCK, &stretch) || !tp_sectors_far_is_damage(far, file))
        return true;
    double length_ms = 1000.0 * (stretch.end_s - stretch.start_s);
    double before_s = stretch.start_s - (double)(run.lag * TP_SECTOR_BYTES) / frame / file->sample_rate_hz;
    char number[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE], before[TP_NUMBER_SIZE];
    return tp_observe(&file->observations, TP_CODE_REPEATED_BLOCK, TP_NO_CHANNEL, stretch.start_s, stretch.end_s,
                      length_ms, 1000.0 * TP_SECTOR_BYTES / frame / file->sample_rate_hz,
                      "%s ms at %s hold the same bytes as those at %s, in whole sectors of the card: one of the two "
                      "is not what was recorded there",
                      tp_number_text(number, length_ms, 1), tp_duration_text(at, stretch.start_s, 3),
                      tp_duration_text(before, before_s, 3));
}

/* After the last whole sector: the rest may be too short to tell whether it lives, but not to tell that it differs. */
static void finish(struct tp_sectors *s)
{
    if (s->twice.open)
        close_run(&s->twice, s->number);
    size_t after = 0;
    while (after < s->partial_size && s->partial[after] == s->lost.now.byte)
        after++;
    if (s->lost.open && after < s->partial_size) {
        if (after > s->lost.now.beside)
            s->lost.now.beside = after;
        close_run(&s->lost, s->number);
    }
    s->lost.open = false;
}

bool tp_sectors_observe(struct tp_sectors *sectors, struct tp_file *file)
{
    finish(sectors);
    if (tp_format_frame_bytes(file) == 0 || file->sample_rate_hz == 0)
        return true;
    for (size_t i = 0; i < sectors->lost.count; i++)
        if (!observe_loss(&sectors->lost.items[i], file))
            return false;
    for (size_t i = 0; i < sectors->twice.count; i++)
        if (!observe_repeat(&sectors->twice.items[i], file))
            return false;
    for (size_t i = 0; i < sectors->far.count; i++)
        if (!observe_far(&sectors->far.items[i], file))
            return false;
    return true;
}
