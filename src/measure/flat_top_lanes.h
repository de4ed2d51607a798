/* SPDX-License-Identifier: MIT */
/* Part of flat_top.c, compiled for each instruction set by lanes.h. */

#define any_bits TP_LEVEL(any_bits)
#define enter TP_LEVEL(enter)
#define visit_brief TP_LEVEL(visit_brief)

static inline uint32_t any_bits(lanes_bits bits)
{
    uint64_t pairs[TP_LANES / 2], any = 0;
    memcpy(pairs, &bits, sizeof pairs);
    for (size_t i = 0; i < TP_LANES / 2; i++)
        any |= pairs[i];
    return (uint32_t)(any | any >> 32);
}

/* Bit i of each side: sample i of a whole cell is at its level or beyond. The bins that the samples' magnitudes lie in,
 * as of bin_of() but for those far down. */
static inline void enter(const float *samples, const float level[2], uint32_t bits[2], int32_t bins[TP_CELL_FRAMES])
{
    lanes_bits above = {0}, below = {0}, place = {1, 2, 4, 8};
    for (size_t lane = 4; lane < TP_LANES; lane++)
        place[lane] = 1 << lane;
    for (size_t i = 0; i < TP_CELL_FRAMES; i += TP_LANES, place <<= TP_LANES) {
        lanes x = lanes_load(samples + i);
        lanes_bits under_one = ONE_BITS - (lanes_bits)lanes_magnitude(x);
        above |= (x >= level[0]) & place;
        below |= (x <= -level[1]) & place;
        under_one = (under_one & ~(under_one >> 31)) >> BIN_SHIFT;
        memcpy(bins + i, &under_one, sizeof under_one);
    }
    bits[0] = any_bits(above);
    bits[1] = any_bits(below);
}

/* Visits the excursions of up to three samples that lie inside the cell, in loud noise nearly all there are, and takes
 * their bits away. */
static inline void visit_brief(struct tp_flat_top_meter *meter, const float level[2], const int32_t *bins,
                               uint32_t bits[2])
{
    uint32_t first = 0, same = 0, brief[2];
    for (size_t i = 0; i < 2; i++) {
        /* Beyond the ends all is set, or none where nothing goes on from the cell before: what touches them is longer
         * than three, or is not. */
        uint64_t padded = (uint64_t)bits[i] << 4 | (meter->side[i].length > 0 ? 0xF : 0) | UINT64_MAX << 36;
        uint64_t two = padded & padded >> 1, longer = two & two >> 2;
        longer |= longer << 1;
        longer |= longer << 2;
        brief[i] = level[i] >= lowest_ceiling ? (uint32_t)((padded & ~longer) >> 4) : 0;
        bits[i] &= ~brief[i];
        first |= brief[i] & ~(brief[i] << 1);
        same |= brief[i] & brief[i] >> 1;
    }
    for (; first != 0; first &= first - 1) {
        unsigned at = (unsigned)__builtin_ctz(first);
        unsigned second = same >> at & 1, third = second & same >> at >> 1;
        int32_t a = bins[at], b = bins[at + second], c = bins[at + second + third];
        int32_t highest = a < b ? a : b;
        meter->side[brief[1] >> at & 1].visits[highest < c ? highest : c]++;
    }
}

static void TP_LEVEL(push)(struct tp_flat_top_meter *meter, const float *samples, size_t frames,
                           const float *const tops[2])
{
    struct tp_flat_top_side *sides = meter->side;
    for (size_t at = 0, cell = 0; at < frames; at += TP_CELL_FRAMES, cell++) {
        float level[2];
        bool any = sides[0].length > 0 || sides[1].length > 0;
        for (size_t i = 0; i < 2; i++) {
            float top = tops[i][cell] * sides[i].sign;
            sides[i].peak = top > sides[i].peak ? top : sides[i].peak;
            level[i] = top > 0.0f ? sides[i].peak * entry : FLT_MAX;
            any = any || top >= level[i];
        }
        if (!any)
            continue;
        size_t length = frames - at < TP_CELL_FRAMES ? frames - at : TP_CELL_FRAMES;
        uint32_t bits[2] = {0};
        int32_t bins[TP_CELL_FRAMES];
        if (length == TP_CELL_FRAMES) {
            enter(samples + at, level, bits, bins);
            visit_brief(meter, level, bins, bits);
        }
        for (size_t i = 0; i < 2; i++) {
            for (size_t k = 0; length < TP_CELL_FRAMES && k < length; k++)
                bits[i] |= (uint32_t)(samples[at + k] * sides[i].sign >= level[i]) << k;
            if (bits[i] != 0 || sides[i].length > 0)
                follow(meter, &sides[i], samples + at, length, meter->frames + at, bits[i]);
        }
    }
}
#undef any_bits
#undef enter
#undef visit_brief
