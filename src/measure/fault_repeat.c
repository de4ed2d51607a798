/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/vector.h"
#include "measure/fault_parts.h"

#include <endian.h>
#include <math.h>
#include <string.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define LENGTH_MIN 64u
#define LAG_MAX 16384u
#define CELL_PEAK_MIN (1.0F / 16384.0F) /* below -84 dBFS chance repeats of few levels are no sign */
#define MARK_MIN (1.0F / 1024.0F)
#define DISTINCT_MIN 24u     /* different values in 64 samples */
#define POWER_MIN 1e-7       /* mean square without DC, -70 dB: idle patterns of lossy codecs repeat below it */
#define SLOPE_POWER_MIN 1e-5 /* … and a little above it, at distances that no double buffer makes */
#define LOOP_COPIES 3u       /* more than this many copies is a loop … */
#define LOOP_COPIES_MAX 64u  /* … and more than this is a generator */
#define TONE_FRAMES 1024u
#define TONE_DIFFERENCE 1e-4 /* a sung vowel can come near 1e-3 */
#define LOOP_TONE_DIFFERENCE 1e-3

static uint32_t bits(float x)
{
    uint32_t b;
    memcpy(&b, &x, sizeof b);
    return b;
}

static uint32_t hash_of(uint32_t key)
{
    return key * 2654435761u;
}

static inline uint32_t slot_of(uint32_t hash)
{
    return hash >> 22;
}

/* What a slot holds of a cell. */
static inline uint32_t entry_of(uint32_t hash, uint32_t cell)
{
    return (hash << 10 & 0xFFFF0000u) | (cell & 0xFFFFu);
}

/* Puts `now` into the slot; true when what `was` there has the same hash. */
static inline bool exchange(uint32_t *slot, uint32_t now, uint32_t *was)
{
    *was = *slot;
    *slot = now;
    return (*was ^ now) >> 16 == 0;
}

/* Is the cell that `was` is about near enough before `cell`? */
static bool is_in_reach(uint32_t was, uint64_t cell, uint64_t *earlier)
{
    uint16_t distance = (uint16_t)(cell - was);
    *earlier = cell - distance;
    return distance > 0 && distance <= LAG_MAX / TP_FAULT_CELL + 1 && distance <= cell;
}

static bool equal_at(const struct tp_fault_signal *signal, uint64_t frame, uint64_t lag)
{
    return tp_fault_sample(signal, frame) == tp_fault_sample(signal, frame - lag);
}

/* Starts to follow when [from, to) equals what lay `lag` before. */
static void try_lag(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t from, uint64_t to,
                    uint64_t lag)
{
    if (lag < LENGTH_MIN / 2 || lag > LAG_MAX || from < tp_fault_oldest(signal) + lag || to > signal->end)
        return;
    for (uint64_t f = from; f < to; f++) {
        if (!equal_at(signal, f, lag))
            return;
    }
    uint64_t start = from, oldest = tp_fault_oldest(signal) + lag;
    while (start > oldest && equal_at(signal, start - 1, lag))
        start--;
    repeat->following = true;
    repeat->start_frame = start;
    repeat->checked_to = to;
    repeat->lag = lag;
}

static float peak_of(const struct tp_fault_signal *signal, uint64_t from, uint64_t to)
{
    float peak = 0.0F;
    for (uint64_t f = from; f < to; f++)
        peak = fmaxf(peak, fabsf(tp_fault_sample(signal, f)));
    return peak;
}

/* Chance equality needs few values: a real block has nearly as many values as samples. */
static bool is_varied(const struct tp_fault_signal *signal, uint64_t from)
{
    unsigned distinct = 0;
    for (uint64_t f = from; f < from + LENGTH_MIN; f++) {
        uint64_t g = from;
        while (g < f && tp_fault_sample(signal, g) != tp_fault_sample(signal, f))
            g++;
        distinct += g == f;
    }
    return distinct >= DISTINCT_MIN;
}

/* A block right after itself, or once more one block later? Other distances need more evidence. */
static bool is_buffer_lag(uint64_t length, uint64_t lag)
{
    uint64_t rest = length % lag;
    return (length + 4 >= lag && (rest <= 4 || rest + 4 >= lag)) || (2 * length + 8 >= lag && 2 * length <= lag + 8);
}

static bool is_loud(const struct tp_fault_signal *signal, uint64_t from, uint64_t to, bool buffer_lag)
{
    double sum = 0.0, squares = 0.0, slopes = 0.0, frames = (double)(to - from);
    for (uint64_t f = from; f < to; f++) {
        double x = (double)tp_fault_sample(signal, f), slope = x - (double)tp_fault_sample(signal, f - 1);
        sum += x;
        squares += x * x;
        slopes += slope * slope;
    }
    return squares - sum * sum / frames >= POWER_MIN * frames && (buffer_lag || slopes >= SLOPE_POWER_MIN * frames);
}

/* Difference of [from, from + frames) to itself `d` later, against its energy: 0 when periodic, 1 when unrelated. */
static double difference_at(const struct tp_fault_signal *signal, uint64_t from, uint64_t frames, uint64_t d)
{
    double difference = 0.0, energy = 1e-30;
    for (uint64_t f = from; f < from + frames; f++) {
        double a = (double)tp_fault_sample(signal, f), b = (double)tp_fault_sample(signal, f + d);
        difference += (a - b) * (a - b);
        energy += a * a + b * b;
    }
    return difference / energy;
}

/* Does the sound have a far shorter period than the block? Then it is a generated tone: recordings carry noise. */
static bool is_tone(const struct tp_fault_signal *signal, uint64_t from, uint64_t lag, double most)
{
    uint64_t longest = lag / 2 < TONE_FRAMES ? lag / 2 : TONE_FRAMES, frames = lag - longest;
    if (frames > TONE_FRAMES)
        frames = TONE_FRAMES;
    bool apart = false; /* past the first hump, where a slow wave merely resembles itself */
    for (uint64_t d = 1; d <= longest; d++) {
        double difference = difference_at(signal, from, frames, d);
        if (difference > 0.5)
            apart = true;
        else if (apart && difference < most)
            return true;
    }
    return false;
}

static void judge(struct tp_repeat *repeat, const struct tp_fault_signal *signal)
{
    uint64_t start = repeat->start_frame, end = repeat->checked_to, lag = repeat->lag, length = end - start;
    uint64_t oldest = tp_fault_oldest(signal);
    if (length < LENGTH_MIN || length > LOOP_COPIES_MAX * lag)
        return;
    uint64_t look = end - (length / 2 > LENGTH_MIN ? length / 2 : LENGTH_MIN);
    if (look < oldest)
        look = oldest;
    uint64_t seen = start > oldest ? start : oldest + 1;
    if (seen >= end || !is_varied(signal, look) || !is_loud(signal, seen, end, is_buffer_lag(length, lag)))
        return;
    uint64_t block = end >= lag && end - lag >= oldest ? end - lag : oldest;
    bool is_loop = length > LOOP_COPIES * lag;
    if (is_tone(signal, block, lag, is_loop ? LOOP_TONE_DIFFERENCE : TONE_DIFFERENCE))
        return;
    if (is_loop) {
        uint64_t first = start - lag; /* a loop begins inside signal, a generator after silence */
        if (first < oldest + lag || 8.0F * peak_of(signal, first - lag, first) < peak_of(signal, first, start))
            return;
    }
    tp_fault_places_add(&repeat->places, start, end, (double)lag);
}

/* Goes on with the run up to `limit`; judges it when it ends before. */
static void follow(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t limit)
{
    while (repeat->checked_to < limit && equal_at(signal, repeat->checked_to, repeat->lag))
        repeat->checked_to++;
    if (repeat->checked_to >= limit)
        return;
    judge(repeat, signal);
    repeat->following = false;
}

/* Where to look the cells of a block up by their sums. Those that chance may repeat go to a slot of no use, by turns
 * with one hash and another. */
struct look_ups {
    uint32_t slots[TP_FAULT_BLOCK_CELLS], entries[TP_FAULT_BLOCK_CELLS];
};
static TP_CLONES void make_look_ups(const struct tp_fault_signal *signal, size_t at, uint32_t first_cell,
                                    struct look_ups *look_ups)
{
    const float *sums = signal->sum + at, *ramps = signal->ramp + at, *peaks = signal->peak + at;
    const int32_t *still = signal->still + at;
    for (uint32_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        uint32_t hash = hash_of(bits(sums[c]) * 31u + bits(ramps[c]));
        bool living = (peaks[c] >= CELL_PEAK_MIN) & (still[c] == 0) & (hash != 0);
        look_ups->slots[c] = living ? slot_of(hash) : TP_REPEAT_SLOTS;
        look_ups->entries[c] = living ? entry_of(hash, first_cell + c) : c << 16;
    }
}

/* The cell has the sums of an earlier one; false when that has led to a repeat that goes on to the limit. */
static bool try_cell(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t cell, uint32_t was,
                     uint64_t limit)
{
    uint64_t from = cell * TP_FAULT_CELL, earlier;
    if (!is_in_reach(was, cell, &earlier))
        return true;
    try_lag(repeat, signal, from, from + TP_FAULT_CELL, from - earlier * TP_FAULT_CELL);
    if (repeat->following)
        follow(repeat, signal, limit);
    return !repeat->following;
}

/* Looks the cells up that begin in [start, limit) and were not followed already, until one leads to a repeat. */
static void try_cells(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first_frame,
                      uint64_t limit)
{
    struct look_ups look_ups;
    uint64_t first_cell = first_frame / TP_FAULT_CELL, next = (repeat->checked_to + TP_FAULT_CELL - 1) / TP_FAULT_CELL;
    size_t count = limit > first_frame ? (size_t)((limit - first_frame - 1) / TP_FAULT_CELL) + 1 : 0;
    make_look_ups(signal, first_frame % TP_FAULT_RING / TP_FAULT_CELL, (uint32_t)first_cell, &look_ups);
    for (size_t c = next > first_cell ? (size_t)(next - first_cell) : 0; c < count; c++) {
        uint32_t slot = look_ups.slots[c], was;
        if (!exchange(&repeat->cells[slot], look_ups.entries[c], &was) || slot == TP_REPEAT_SLOTS)
            continue;
        if (!try_cell(repeat, signal, first_cell + c, was, limit))
            return;
        while ((first_cell + c + 1) * TP_FAULT_CELL < repeat->checked_to)
            c++;
    }
}

/* |Third differences| of a cell, as tp_fault_edge() gives them. */
static void edges_of(const struct tp_fault_signal *signal, uint64_t first_frame, float edges[TP_FAULT_CELL])
{
    enum { BACK = TP_CELLS_BEFORE - 1 };
    float x[BACK + TP_FAULT_CELL];
    for (size_t i = 0; i < BACK; i++)
        x[i] = tp_fault_sample(signal, first_frame - BACK + i);
    memcpy(x + BACK, signal->samples + first_frame % TP_FAULT_RING, TP_FAULT_CELL * sizeof *x);
    for (size_t i = 0; i < TP_FAULT_CELL; i++)
        edges[i] = fabsf(tp_third_difference(x + BACK + i));
    for (size_t i = 0; first_frame == 0 && i < BACK; i++)
        edges[i] = 0.0F;
}

/* First frame of the cell with this |sample|, or this |third difference|. */
static uint64_t place_of(const struct tp_fault_signal *signal, uint64_t cell, const float *marks)
{
    uint64_t first = cell * TP_FAULT_CELL;
    float edges[TP_FAULT_CELL], mark = marks[cell % TP_FAULT_RING_CELLS];
    const float *x = signal->samples + first % TP_FAULT_RING;
    size_t i = 0;
    if (marks == signal->edge) {
        edges_of(signal, first, edges);
        x = edges;
    }
    while (i < TP_FAULT_CELL - 1 && fabsf(x[i]) != mark)
        i++;
    return first + i;
}

#define MASK_BITS 64u
#define MASKS (TP_FAULT_BLOCK_CELLS / MASK_BITS)

/* Of m[1] and on: whether they exceed both neighbours. */
static TP_CLONES void compare_marks(const float *m, uint8_t is_mark[TP_FAULT_BLOCK_CELLS])
{
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++)
        is_mark[c] = (m[c + 1] > m[c]) & (m[c + 1] > m[c + 2]) & (m[c + 1] >= MARK_MIN);
}

/* A bit for each of eight bytes that are 0 or 1. */
static uint64_t bits_of_eight(const uint8_t *flags)
{
    uint64_t word;
    memcpy(&word, flags, sizeof word);
    return le64toh(word) * UINT64_C(0x0102040810204080) >> 56;
}

/* Cells whose mark exceeds both neighbours' have the same mark wherever the grid of cells falls on the sound. Gives a
 * bit for each from the last cell of the block before to the last but one; without branches, because every third cell
 * is one. */
static void find_marks(const float *marks, size_t first_cell, uint64_t masks[MASKS])
{
    float straight[TP_FAULT_BLOCK_CELLS + 2];
    uint8_t is_mark[TP_FAULT_BLOCK_CELLS];
    if (first_cell == 0) {
        memcpy(straight, marks + TP_FAULT_RING_CELLS - 2, 2 * sizeof *straight);
        memcpy(straight + 2, marks, TP_FAULT_BLOCK_CELLS * sizeof *straight);
    }
    compare_marks(first_cell == 0 ? straight : marks + first_cell - 2, is_mark);
    for (size_t mask = 0; mask < MASKS; mask++) {
        masks[mask] = 0;
        for (size_t c = 0; c < MASK_BITS; c += 8)
            masks[mask] |= bits_of_eight(is_mark + mask * MASK_BITS + c) << c;
    }
}

/* Looks up the marks of the cells from `first` on; false when one has led to a repeat that goes on to the limit. */
static bool try_mask(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first, uint64_t mask,
                     uint64_t limit, const float *marks, uint32_t *slots)
{
    for (uint64_t earlier; mask != 0; mask &= mask - 1) {
        uint64_t cell = first + (uint64_t)__builtin_ctzll(mask);
        uint32_t hash = hash_of(bits(marks[cell % TP_FAULT_RING_CELLS])), was;
        if (!exchange(&slots[slot_of(hash)], entry_of(hash, (uint32_t)cell), &was) ||
            !is_in_reach(was, cell, &earlier) || cell * TP_FAULT_CELL < repeat->checked_to)
            continue;
        uint64_t f = place_of(signal, cell, marks), g = place_of(signal, earlier, marks);
        if (g >= 8)
            try_lag(repeat, signal, f - 8, f + 8, f - g);
        if (!repeat->following)
            continue;
        follow(repeat, signal, limit);
        if (repeat->following)
            return false;
    }
    return true;
}

static void try_marks(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first_cell,
                      uint64_t limit, const float *marks, uint32_t *slots)
{
    uint64_t masks[MASKS];
    bool going_on = true;
    find_marks(marks, first_cell % TP_FAULT_RING_CELLS, masks);
    for (size_t i = 0; i < MASKS && going_on; i++) /* before the first block all marks are 0 */
        going_on = try_mask(repeat, signal, first_cell - 1 + i * MASK_BITS, masks[i], limit, marks, slots);
}

void tp_repeat_block(struct tp_repeat *repeat, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    uint64_t limit = signal->end < first_frame + TP_FAULT_BLOCK ? signal->end : first_frame + TP_FAULT_BLOCK;
    if (repeat->following)
        follow(repeat, signal, limit);
    if (!repeat->following)
        try_cells(repeat, signal, first_frame, limit);
    if (!repeat->following)
        try_marks(repeat, signal, first_frame / TP_FAULT_CELL, limit, signal->peak, repeat->peaks);
    if (!repeat->following)
        try_marks(repeat, signal, first_frame / TP_FAULT_CELL, limit, signal->edge, repeat->edges);
}

bool tp_repeat_finish(struct tp_repeat *repeat, const struct tp_fault_out *out)
{
    if (repeat->following)
        judge(repeat, out->signal);
    repeat->following = false;
    uint32_t rate_hz = out->signal->sample_rate_hz;
    for (size_t i = 0; i < repeat->places.count; i++) {
        const struct tp_fault_place *place = &repeat->places.items[i];
        double start_s = tp_fault_seconds(out->signal, place->start_frame),
               end_s = tp_fault_seconds(out->signal, place->end_frame), length_ms = 1000.0 * (end_s - start_s);
        char length[TP_NUMBER_SIZE], lag[TP_NUMBER_SIZE], at[TP_NUMBER_SIZE];
        if (!tp_observe(out->observations, TP_CODE_REPEATED_BLOCK, out->channel, start_s, end_s, length_ms,
                        1000.0 * LENGTH_MIN / rate_hz,
                        "%s ms (%llu samples) at %s are exactly the sound of %s ms (%.0f samples) before",
                        tp_number_text(length, length_ms, 1),
                        (unsigned long long)(place->end_frame - place->start_frame), tp_duration_text(at, start_s, 3),
                        tp_number_text(lag, 1000.0 * place->value / rate_hz, 1), place->value))
            return false;
    }
    out->observations->total += (size_t)(repeat->places.total - repeat->places.count);
    return !repeat->places.failed;
}
