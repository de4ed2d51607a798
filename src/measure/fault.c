/* SPDX-License-Identifier: MIT */
#include "measure/fault.h"

#include "base/observe.h"
#include "base/text.h"
#include "measure/fault_parts.h"
#include "measure/fault_signal.h"

#include <stdlib.h>
#include <string.h>

struct tp_fault_meter {
    struct tp_fault_signal signal;
    struct tp_dropout dropout;
    struct tp_repeat repeat;
    struct tp_click click;
    struct tp_foreign foreign;
    struct tp_crackle crackle;
    struct tp_low low;
    struct tp_hum hum;
    struct tp_rumble rumble;
    struct tp_steady steady;
    struct tp_buzz buzz;
    size_t gathered_frames; /* of an incomplete block, which lies in the signal's room */
};

void tp_fault_places_add(struct tp_fault_places *places, uint64_t start_frame, uint64_t end_frame, double value)
{
    places->total++;
    if (places->count >= TP_OBSERVATIONS_PER_CODE || places->failed)
        return;
    if (!tp_grow(&places->items, &places->capacity, places->count, sizeof *places->items)) {
        places->failed = true;
        return;
    }
    places->items[places->count++] = (struct tp_fault_place){start_frame, end_frame, value};
}

void tp_fault_places_clear(struct tp_fault_places *places)
{
    free(places->items);
    *places = (struct tp_fault_places){0};
}

bool tp_fault_places_touch(const struct tp_fault_places *places, uint64_t start_frame, uint64_t end_frame,
                           uint64_t guard)
{
    for (size_t i = 0; i < places->count; i++) {
        const struct tp_fault_place *place = &places->items[i];
        if (end_frame + guard >= place->start_frame && start_frame <= place->end_frame + guard)
            return true;
    }
    return false;
}

struct tp_fault_meter *tp_fault_meter_new(uint32_t sample_rate_hz)
{
    struct tp_fault_meter *meter = calloc(1, sizeof *meter);
    if (!meter)
        return NULL;
    uint32_t rate_hz = sample_rate_hz > 0 ? sample_rate_hz : 1;
    meter->signal.sample_rate_hz = rate_hz;
    tp_low_start(&meter->low, rate_hz);
    tp_rumble_start(&meter->rumble, &meter->low);
    tp_buzz_start(&meter->buzz, rate_hz);
    return meter;
}

void tp_fault_meter_free(struct tp_fault_meter *meter)
{
    if (!meter)
        return;
    tp_fault_places_clear(&meter->dropout.places);
    tp_fault_places_clear(&meter->repeat.places);
    tp_fault_places_clear(&meter->click.places);
    free(meter->click.heights_lin);
    tp_fault_places_clear(&meter->foreign.places);
    tp_fault_places_clear(&meter->crackle.places);
    tp_hum_clear(&meter->hum);
    tp_fault_places_clear(&meter->rumble.places);
    tp_fault_places_clear(&meter->buzz.places);
    tp_trace_clear(&meter->steady.trace);
    free(meter);
}

void tp_fault_meter_place(struct tp_fault_meter *meter, uint64_t audio_offset, uint32_t frame_bytes)
{
    meter->foreign.audio_offset = audio_offset;
    meter->foreign.frame_bytes = frame_bytes;
}

static void take_block(struct tp_fault_meter *meter, const float *samples, size_t frames, const struct tp_cells *cells)
{
    struct tp_fault_signal *signal = &meter->signal;
    uint64_t newest = signal->filled;
    tp_fault_signal_block(signal, samples, frames, cells);
    tp_repeat_block(&meter->repeat, signal, newest);
    tp_low_block(&meter->low, signal, newest);
    tp_hum_block(&meter->hum, &meter->low, signal->end);
    tp_rumble_block(&meter->rumble, &meter->low, signal->end, signal->sample_rate_hz);
    tp_steady_block(&meter->steady, signal, newest);
    tp_buzz_block(&meter->buzz, signal, newest);
    if (newest == 0)
        return;
    tp_dropout_block(&meter->dropout, signal, newest - TP_FAULT_BLOCK);
    tp_click_block(&meter->click, signal, newest - TP_FAULT_BLOCK);
    tp_foreign_block(&meter->foreign, signal, newest - TP_FAULT_BLOCK);
    tp_crackle_block(&meter->crackle, signal, newest - TP_FAULT_BLOCK);
}

void tp_fault_meter_push(struct tp_fault_meter *meter, const float *samples, size_t frames)
{
    while (frames > 0) {
        float *room = tp_fault_meter_room(meter);
        size_t left = TP_FAULT_BLOCK - meter->gathered_frames, take = frames < left ? frames : left;
        if (samples != room + meter->gathered_frames)
            memcpy(room + meter->gathered_frames, samples, take * sizeof *samples);
        meter->gathered_frames += take;
        samples += take;
        frames -= take;
        if (meter->gathered_frames == TP_FAULT_BLOCK) {
            meter->gathered_frames = 0;
            take_block(meter, room, TP_FAULT_BLOCK, NULL);
        }
    }
}

void tp_fault_meter_push_cells(struct tp_fault_meter *meter, const float *samples, const struct tp_cells *cells)
{
    take_block(meter, samples, TP_FAULT_BLOCK, cells);
}

float *tp_fault_meter_room(struct tp_fault_meter *meter)
{
    return tp_fault_room(&meter->signal);
}

const struct tp_fault_signal *tp_fault_meter_signal(const struct tp_fault_meter *meter)
{
    return &meter->signal;
}

bool tp_fault_meter_finish(struct tp_fault_meter *meter, uint32_t channel, const struct tp_channel *levels,
                           struct tp_observations *observations, struct tp_spans *damage)
{
    if (meter->gathered_frames > 0)
        take_block(meter, tp_fault_meter_room(meter), meter->gathered_frames, NULL);
    meter->gathered_frames = 0;
    take_block(meter, NULL, 0, NULL);
    struct tp_fault_out out = {&meter->signal, channel, levels, observations};
    const struct tp_fault_places *const explaining[] = {&meter->dropout.places, &meter->repeat.places,
                                                        &meter->foreign.places, &meter->crackle.places};
    return tp_dropout_finish(&meter->dropout, &out, damage) && tp_repeat_finish(&meter->repeat, &out) &&
           tp_foreign_finish(&meter->foreign, &out) && tp_crackle_finish(&meter->crackle, &out, explaining, 3) &&
           tp_click_finish(&meter->click, &out, explaining, 4) && tp_hum_finish(&meter->hum, &meter->low, &out) &&
           tp_rumble_finish(&meter->rumble, &out) && tp_steady_finish(&meter->steady, &out) &&
           tp_buzz_finish(&meter->buzz, &out);
}

bool tp_fault_meter_trace(struct tp_fault_meter *meter, struct tp_trace *trace)
{
    return tp_steady_trace(&meter->steady, meter->signal.sample_rate_hz, trace);
}
