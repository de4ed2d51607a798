/* SPDX-License-Identifier: MIT */
#include "measure/channel_meter.h"

#include "base/num.h"
#include "measure/activity.h"
#include "measure/clip.h"
#include "measure/dead.h"
#include "measure/fault.h"
#include "measure/fault_signal.h"
#include "measure/flat_top.h"
#include "measure/kweight.h"
#include "measure/level.h"
#include "measure/loudness.h"
#include "measure/overview.h"
#include "measure/true_peak.h"

#include <stdlib.h>
#include <string.h>

#define CHUNK TP_CHANNEL_METER_CHUNK
#define CELL TP_CELL_FRAMES
#define OFFSET_MAX 100.0 /* power of the mean over that of the rest, up to which sums of cells will do */
#define PARTS TP_KWEIGHT_PARTS
/* Parts of at most this many frames: then a group of them is there in the fault meter's signal when its end comes. */
#define PART_FRAMES_MAX 1001u
#define GROUP_FRAMES_MAX (PARTS * (size_t)(PART_FRAMES_MAX + 1))
_Static_assert(TP_KWEIGHT_HISTORY + GROUP_FRAMES_MAX + CHUNK <= TP_FAULT_RING, "a group fits");
/* A hop has at least a hundredth of the lowest rate in frames. */
#define HOPS_MAX (CHUNK / (TP_KWEIGHT_RATE_MIN_HZ / 100) + 2 + PARTS)

struct tp_channel_meter {
    uint32_t sample_rate_hz, block_frames;
    bool has_loudness;
    uint64_t frames; /* taken */
    struct tp_sums sums;
    double hops[HOPS_MAX]; /* energies that ended in the latest push */
    size_t hop_count;
    struct tp_kweight kweight;
    /* Hops are worked on in groups of PARTS parts: */
    uint32_t parts_per_hop; /* 0: the rate is beyond any sound, there are no hops */
    bool hops_ended;
    uint64_t group_hop;       /* the first of the group in hand */
    size_t starts[PARTS + 1]; /* of its parts, in frames from the first one's */
    struct tp_loudness *loudness;
    struct tp_fault_meter *fault;
    struct tp_activity activity;
    struct tp_true_peak true_peak;
    struct tp_clip_meter clip;
    struct tp_flat_top_meter flat_top;
    struct tp_overview_meter overview;
    struct tp_cells cells;         /* of the latest chunk */
    float before[TP_CELLS_BEFORE]; /* the samples before the next chunk */
    size_t fill;                   /* of an incomplete chunk, which lies in the fault meter's room */
};

static uint64_t hop_start(const struct tp_channel_meter *meter, uint64_t hop)
{
    return tp_hop_start(meter->block_frames, hop);
}

static size_t part_frames(const struct tp_channel_meter *meter)
{
    return meter->block_frames / 10 / meter->parts_per_hop;
}

static void begin_group(struct tp_channel_meter *meter)
{
    uint64_t first = hop_start(meter, meter->group_hop);
    for (uint64_t part = 0; part <= PARTS; part++) {
        uint64_t hop = meter->group_hop + part / meter->parts_per_hop;
        meter->starts[part] =
            (size_t)(hop_start(meter, hop) - first) + (size_t)(part % meter->parts_per_hop) * part_frames(meter);
    }
}

static bool make_groups(struct tp_channel_meter *meter, uint32_t sample_rate_hz)
{
    meter->parts_per_hop = 1;
    while (part_frames(meter) > PART_FRAMES_MAX && meter->parts_per_hop < PARTS)
        meter->parts_per_hop *= 2;
    if (part_frames(meter) > PART_FRAMES_MAX) {
        meter->parts_per_hop = 0;
        meter->has_loudness = false;
        return true;
    }
    begin_group(meter);
    return !meter->has_loudness || tp_kweight_init(&meter->kweight, sample_rate_hz, part_frames(meter));
}

struct tp_channel_meter *tp_channel_meter_new(uint32_t sample_rate_hz, double full_scale_lin)
{
    struct tp_channel_meter *meter = calloc(1, sizeof *meter);
    if (meter == NULL)
        return NULL;
    uint64_t guard_frames = sample_rate_hz / 100;
    meter->sample_rate_hz = sample_rate_hz;
    meter->block_frames = tp_block_frames(sample_rate_hz);
    meter->has_loudness = sample_rate_hz >= TP_KWEIGHT_RATE_MIN_HZ;
    tp_activity_init(&meter->activity);
    tp_true_peak_init(&meter->true_peak, sample_rate_hz);
    tp_clip_init(&meter->clip, full_scale_lin, guard_frames);
    tp_flat_top_init(&meter->flat_top, sample_rate_hz, guard_frames);
    tp_overview_init(&meter->overview);
    meter->loudness = tp_loudness_new(meter->block_frames);
    meter->fault = tp_fault_meter_new(sample_rate_hz);
    if (meter->loudness == NULL || meter->fault == NULL || !make_groups(meter, sample_rate_hz)) {
        tp_channel_meter_free(meter);
        return NULL;
    }
    return meter;
}

void tp_channel_meter_free(struct tp_channel_meter *meter)
{
    if (meter == NULL)
        return;
    tp_loudness_free(meter->loudness);
    tp_fault_meter_free(meter->fault);
    tp_clip_clear(&meter->clip);
    tp_flat_top_clear(&meter->flat_top);
    tp_kweight_clear(&meter->kweight);
    free(meter);
}

void tp_channel_meter_place(struct tp_channel_meter *meter, uint64_t audio_offset, uint32_t frame_bytes)
{
    tp_fault_meter_place(meter->fault, audio_offset, frame_bytes);
}

static void end_hop(struct tp_channel_meter *meter, const struct tp_sums *sums, double energy)
{
    tp_activity_push_hop(&meter->activity, sums);
    tp_sums_join(&meter->sums, sums);
    if (!meter->has_loudness)
        return;
    tp_loudness_push_hop(meter->loudness, energy);
    if (meter->hop_count < HOPS_MAX)
        meter->hops[meter->hop_count++] = energy;
}

/* Frames of the sound taken so far, from `first` on, in the ring of the fault meter's signal: up to its end, and what
 * goes on at its start, mostly nothing. The chunk in hand is where it goes; what was before the start is where it would
 * be, in the last places, which are still zero then. */
static void recent(const struct tp_channel_meter *meter, int64_t first, size_t frames, struct tp_kweight_part pieces[2])
{
    const float *ring = tp_fault_meter_signal(meter->fault)->samples;
    size_t at = (size_t)((uint64_t)first % TP_FAULT_RING);
    size_t straight = TP_FAULT_RING - at < frames ? TP_FAULT_RING - at : frames;
    pieces[0] = (struct tp_kweight_part){ring + at, straight};
    pieces[1] = (struct tp_kweight_part){ring, frames - straight};
}

static struct tp_sums exact_sums(const struct tp_channel_meter *meter, uint64_t first, size_t frames)
{
    struct tp_kweight_part pieces[2];
    recent(meter, (int64_t)first, frames, pieces);
    struct tp_sums sums = tp_sums_of(pieces[0].samples, pieces[0].frames);
    if (pieces[1].frames > 0) {
        struct tp_sums rest = tp_sums_of(pieces[1].samples, pieces[1].frames);
        tp_sums_join(&sums, &rest);
    }
    return sums;
}

static void add_exact(const struct tp_channel_meter *meter, struct tp_sums *sums, uint64_t first, size_t frames)
{
    if (frames == 0)
        return;
    struct tp_sums more = exact_sums(meter, first, frames);
    tp_sums_join(sums, &more);
}

/* Do sums of cells, in single precision, hide what differs from the mean, or leave the range where squares fit? */
static bool are_rough(const struct tp_sums *sums)
{
    return sums->sum * sums->sum * (1.0 + 1.0 / OFFSET_MAX) > sums->sum_squares * (double)sums->frames ||
           sums->peak > 1e15F || sums->peak < 1e-12F;
}

/* From the cells and what is beside whole ones. */
static struct tp_sums sums_of(const struct tp_channel_meter *meter, uint64_t first, size_t frames)
{
    const struct tp_fault_signal *signal = tp_fault_meter_signal(meter->fault);
    uint64_t end = first + frames, first_cell = (first + CELL - 1) / CELL, end_cell = end / CELL;
    if (end > signal->filled || first_cell >= end_cell)
        return exact_sums(meter, first, frames);
    struct tp_sums sums = tp_fault_signal_sums(signal, first_cell, end_cell);
    add_exact(meter, &sums, first, (size_t)(first_cell * CELL - first));
    add_exact(meter, &sums, end_cell * CELL, (size_t)(end - end_cell * CELL));
    return are_rough(&sums) ? exact_sums(meter, first, frames) : sums;
}

/* A part and the samples before it: where they lie one after another, else copied to `room`. */
static struct tp_kweight_part part_at(const struct tp_channel_meter *meter, uint64_t first, size_t frames, float *room)
{
    struct tp_kweight_part pieces[2];
    recent(meter, (int64_t)first - TP_KWEIGHT_HISTORY, TP_KWEIGHT_HISTORY + frames, pieces);
    if (pieces[1].frames == 0)
        return (struct tp_kweight_part){pieces[0].samples + TP_KWEIGHT_HISTORY, frames};
    memcpy(room, pieces[0].samples, pieces[0].frames * sizeof *room);
    memcpy(room + pieces[0].frames, pieces[1].samples, pieces[1].frames * sizeof *room);
    return (struct tp_kweight_part){room + TP_KWEIGHT_HISTORY, frames};
}

static void work_on_group(struct tp_channel_meter *meter)
{
    float room[TP_KWEIGHT_HISTORY + PART_FRAMES_MAX + 1]; /* for the one part that the ring's end may cut */
    struct tp_kweight_part parts[PARTS];
    double energies[PARTS] = {0};
    uint64_t first = hop_start(meter, meter->group_hop);
    for (size_t part = 0; part < PARTS; part++)
        parts[part] = part_at(meter, first + meter->starts[part], meter->starts[part + 1] - meter->starts[part], room);
    if (meter->has_loudness)
        tp_kweight_parts(&meter->kweight, parts, energies);
    for (size_t part = 0; part < PARTS; part += meter->parts_per_hop) {
        size_t from = meter->starts[part], to = meter->starts[part + meter->parts_per_hop];
        struct tp_sums sums = sums_of(meter, first + from, to - from);
        double energy = 0.0;
        for (size_t i = 0; i < meter->parts_per_hop; i++)
            energy += energies[part + i];
        end_hop(meter, &sums, energy);
    }
    meter->group_hop += PARTS / meter->parts_per_hop;
    begin_group(meter);
}

static double energy_of(struct tp_channel_meter *meter, uint64_t first, size_t frames)
{
    struct tp_kweight_part pieces[2];
    recent(meter, (int64_t)first, frames, pieces);
    double energy = tp_kweight_energy(&meter->kweight, pieces[0].samples, pieces[0].frames);
    return energy + tp_kweight_energy(&meter->kweight, pieces[1].samples, pieces[1].frames);
}

/* The group in hand, as far as it goes. What is left of a hop counts for the levels only. */
static void end_hops(struct tp_channel_meter *meter)
{
    if (meter->parts_per_hop == 0 || meter->hops_ended)
        return;
    meter->hops_ended = true;
    uint64_t hop = meter->group_hop, first;
    for (; first = hop_start(meter, hop), hop_start(meter, hop + 1) <= meter->frames; hop++) {
        size_t frames = (size_t)(hop_start(meter, hop + 1) - first);
        struct tp_sums sums = sums_of(meter, first, frames);
        end_hop(meter, &sums, meter->has_loudness ? energy_of(meter, first, frames) : 0.0);
    }
    struct tp_sums rest = sums_of(meter, first, (size_t)(meter->frames - first));
    tp_sums_join(&meter->sums, &rest);
}

static void measure_chunk(struct tp_channel_meter *meter, const float *samples, size_t frames)
{
    struct tp_cells *cells = &meter->cells;
    tp_cells_make(cells, samples, frames, meter->before);
    tp_overview_push(&meter->overview, cells);
    tp_clip_push(&meter->clip, samples, frames, cells);
    tp_flat_top_push(&meter->flat_top, samples, frames, cells);
    if (frames == CHUNK) {
        tp_true_peak_push_cells(&meter->true_peak, samples, cells);
        tp_fault_meter_push_cells(meter->fault, samples, cells);
        memcpy(meter->before, samples + CHUNK - TP_CELLS_BEFORE, sizeof meter->before);
    } else {
        tp_true_peak_push(&meter->true_peak, samples, frames);
        tp_fault_meter_push(meter->fault, samples, frames);
    }
    meter->frames += frames;
    if (meter->parts_per_hop == 0) {
        struct tp_sums sums = tp_sums_of(samples, frames);
        tp_sums_join(&meter->sums, &sums);
        return;
    }
    while (hop_start(meter, meter->group_hop) + meter->starts[PARTS] <= meter->frames)
        work_on_group(meter);
}

float *tp_channel_meter_room(struct tp_channel_meter *meter, size_t *frames)
{
    *frames = CHUNK - meter->fill;
    return tp_fault_meter_room(meter->fault) + meter->fill;
}

void tp_channel_meter_push(struct tp_channel_meter *meter, const float *samples, size_t frames)
{
    meter->hop_count = 0;
    while (frames > 0) {
        size_t left;
        float *room = tp_channel_meter_room(meter, &left);
        size_t take = left < frames ? left : frames;
        if (samples != room)
            memcpy(room, samples, take * sizeof *samples);
        meter->fill += take;
        if (meter->fill == CHUNK) {
            meter->fill = 0;
            measure_chunk(meter, tp_fault_meter_room(meter->fault), CHUNK);
        }
        samples += take;
        frames -= take;
    }
}

void tp_channel_meter_flush(struct tp_channel_meter *meter)
{
    meter->hop_count = 0;
    if (meter->fill > 0)
        measure_chunk(meter, tp_fault_meter_room(meter->fault), meter->fill);
    meter->fill = 0;
    end_hops(meter);
}

const double *tp_channel_meter_hops(const struct tp_channel_meter *meter, size_t *count)
{
    *count = meter->hop_count;
    return meter->hops;
}

struct tp_sums tp_channel_meter_sums(const struct tp_channel_meter *meter)
{
    const struct tp_cells *cells = &meter->cells;
    bool is_whole = meter->fill == 0 && meter->frames > 0 && meter->frames % CHUNK == 0;
    return (struct tp_sums){.sum = cells->total,
                            .sum_squares = cells->total_squares,
                            .peak = tp_peak_between(cells->lowest, cells->highest),
                            .frames = is_whole ? CHUNK : 0};
}

static void finish_levels(struct tp_channel_meter *meter, struct tp_channel *channel)
{
    double peak = (double)meter->sums.peak;
    channel->sample_peak_dbfs = tp_db_from_lin(peak);
    channel->true_peak_dbtp = tp_db_from_lin(fmax(peak, tp_true_peak_finish(&meter->true_peak)));
    channel->rms_dbfs = tp_sums_rms_dbfs(&meter->sums);
    channel->dc_offset = tp_sums_dc(&meter->sums);
    channel->digital_silence = peak == 0.0;
    struct tp_activity_result activity = tp_activity_finish(&meter->activity);
    channel->noise_floor_dbfs = activity.noise_floor_dbfs;
    channel->working_level_dbfs = activity.working_level_dbfs;
    channel->active_s = activity.active_s;
}

static bool finish_loudness(const struct tp_channel_meter *meter, struct tp_channel *channel)
{
    struct tp_loudness_result loudness;
    bool ok = tp_loudness_finish(meter->loudness, &loudness);
    channel->integrated_lufs = loudness.integrated_lufs;
    channel->momentary_max_lufs = loudness.momentary_max_lufs;
    channel->short_term_max_lufs = loudness.short_term_max_lufs;
    channel->loudness_range_lu = loudness.loudness_range_lu;
    return ok;
}

static bool finish_clips(struct tp_channel_meter *meter, double full_scale_lin, struct tp_channel *channel)
{
    struct tp_run_list *list = tp_clip_finish(&meter->clip, full_scale_lin);
    channel->clip_runs = list->runs;
    channel->whole_clip_runs = meter->clip.whole_runs;
    channel->clipped_samples = list->samples;
    channel->longest_clip_run = list->longest_run;
    tp_run_list_take(list, &channel->clips, &channel->clip_count);
    return tp_spans_append(&channel->damage, list->spans, list->span_count) && !list->failed;
}

static bool finish_flat_tops(struct tp_channel_meter *meter, double full_scale_lin, struct tp_channel *channel)
{
    struct tp_run_list list = {0};
    tp_flat_top_finish(&meter->flat_top, full_scale_lin, &list);
    channel->flat_top_runs = list.runs;
    bool ok = tp_spans_append(&channel->damage, list.spans, list.span_count) && !list.failed;
    tp_run_list_take(&list, &channel->flat_tops, &channel->flat_top_count);
    tp_run_list_clear(&list);
    return ok;
}

bool tp_channel_meter_finish(struct tp_channel_meter *meter, double full_scale_lin, uint32_t channel_index,
                             struct tp_channel *channel, struct tp_observations *observations)
{
    tp_channel_meter_flush(meter);
    channel->damage = (struct tp_spans){0};
    finish_levels(meter, channel);
    bool ok = finish_loudness(meter, channel);
    ok = finish_clips(meter, full_scale_lin, channel) && ok;
    ok = finish_flat_tops(meter, full_scale_lin, channel) && ok;
    ok = tp_overview_finish(&meter->overview, &channel->overview) && ok;
    ok = tp_fault_meter_finish(meter->fault, channel_index, channel, observations, &channel->damage) && ok;
    tp_spans_settle(&channel->damage, meter->frames);
    ok = tp_fault_meter_trace(meter->fault, &channel->trace) && ok;
    channel->dead = (struct tp_spans){0};
    return tp_dead_find(&channel->trace, meter->sample_rate_hz, meter->frames, &channel->dead) && ok;
}
