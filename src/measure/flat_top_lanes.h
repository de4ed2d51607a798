/* SPDX-License-Identifier: MIT */
/* Part of flat_top.c, compiled for each instruction set by lanes.h. */

#define entered TP_LEVEL(entered)
#define visit_brief TP_LEVEL(visit_brief)

/* Bit i: sample i of a whole cell times `sign` is at `level` or above. */
static inline uint32_t entered(const float *samples, float sign, float level)
{
    lanes_bits bits = {0}, place = {1, 2, 4, 8};
    for (size_t lane = 4; lane < TP_LANES; lane++)
        place[lane] = 1 << lane;
    for (size_t i = 0; i < TP_CELL_FRAMES; i += TP_LANES, place <<= TP_LANES)
        bits |= (lanes_load(samples + i) * sign >= level) & place;
    uint64_t pairs[TP_LANES / 2], any = 0;
    memcpy(pairs, &bits, sizeof pairs);
    for (size_t i = 0; i < TP_LANES / 2; i++)
        any |= pairs[i];
    return (uint32_t)(any | any >> 32);
}

/* Visits the excursions of up to three samples that lie inside the cell, in loud noise nearly all there are; `in_hand`:
 * one goes on from the cell before. Returns what is left of `bits`. */
static inline uint32_t visit_brief(struct tp_flat_top_side *side, const float *samples, uint32_t bits, bool in_hand)
{
    /* Beyond the ends all is set, or none: what touches them is longer than three, or is not. */
    uint64_t padded = (uint64_t)bits << 4 | (in_hand ? 0xF : 0) | UINT64_MAX << 36;
    uint64_t four = padded & padded >> 1, any = four & four >> 2;
    any |= any << 1;
    any |= any << 2;
    uint32_t brief = (uint32_t)((padded & ~any) >> 4), next = brief >> 1;
    for (uint32_t first = brief & ~(brief << 1); first != 0; first &= first - 1) {
        unsigned at = (unsigned)__builtin_ctz(first);
        unsigned second = next >> at & 1, third = second & (next >> 1 >> at);
        float a = samples[at] * side->sign, b = samples[at + second] * side->sign,
              c = samples[at + second + third] * side->sign;
        float top = a > b ? a : b;
        visit(side, c > top ? c : top);
    }
    return bits & ~brief;
}

static void TP_LEVEL(push_side)(struct tp_flat_top_meter *meter, struct tp_flat_top_side *side, const float *samples,
                                size_t frames, const float *tops)
{
    for (size_t at = 0, cell = 0; at < frames; at += TP_CELL_FRAMES, cell++) {
        float top = tops[cell] * side->sign;
        side->peak = top > side->peak ? top : side->peak;
        if (top < side->peak * entry || !(top > 0.0f)) {
            if (side->length > 0)
                end_excursion(meter, side);
            continue;
        }
        uint64_t bits = 0;
        size_t length = frames - at < TP_CELL_FRAMES ? frames - at : TP_CELL_FRAMES;
        if (length == TP_CELL_FRAMES)
            bits = visit_brief(side, samples + at, entered(samples + at, side->sign, side->peak * entry),
                               side->length > 0);
        else
            for (size_t i = 0; i < length; i++)
                bits |= (uint64_t)(samples[at + i] * side->sign >= side->peak * entry) << i;
        if (bits != 0 || side->length > 0)
            follow(meter, side, samples + at, length, meter->frames + at, bits);
    }
}
#undef entered
#undef visit_brief
