/* SPDX-License-Identifier: MIT */
#include "measure/programme.h"

#include "measure/channel_meter.h"
#include "measure/loudness.h"

#include <stdlib.h>

struct tp_programme_meter {
    uint32_t channel_count;
    struct tp_loudness *loudness;
    struct tp_channel_meter **channels;
    double *weights;
};

/* dwChannelMask bits of WAVE_FORMAT_EXTENSIBLE. */
enum { MASK_LFE = 0x8, MASK_BACK = 0x10 | 0x20, MASK_SIDE = 0x200 | 0x400 };

double tp_programme_weight(uint32_t channel_mask, uint32_t channel_count, uint32_t channel)
{
    if (channel_count < 3)
        return 1.0;
    uint32_t bit = channel_mask & -channel_mask;
    for (uint32_t i = 0; i < channel && channel_mask != 0; i++) {
        channel_mask &= channel_mask - 1;
        bit = channel_mask & -channel_mask;
    }
    if (bit == MASK_LFE)
        return 0.0;
    return (bit & (MASK_BACK | MASK_SIDE)) != 0 ? 1.41 : 1.0;
}

struct tp_programme_meter *tp_programme_meter_new(uint32_t sample_rate_hz, uint32_t channel_count,
                                                  uint32_t channel_mask, double full_scale_lin)
{
    struct tp_programme_meter *meter = calloc(1, sizeof *meter);
    if (meter == NULL)
        return NULL;
    meter->channels = calloc(channel_count, sizeof(struct tp_channel_meter *));
    meter->weights = calloc(channel_count, sizeof *meter->weights);
    meter->loudness = tp_loudness_new(tp_block_frames(sample_rate_hz));
    bool ok = meter->channels != NULL && meter->weights != NULL && meter->loudness != NULL;
    if (ok)
        meter->channel_count = channel_count;
    for (uint32_t i = 0; ok && i < channel_count; i++) {
        meter->weights[i] = tp_programme_weight(channel_mask, channel_count, i);
        meter->channels[i] = tp_channel_meter_new(sample_rate_hz, full_scale_lin);
        ok = meter->channels[i] != NULL;
    }
    if (!ok) {
        tp_programme_meter_free(meter);
        return NULL;
    }
    return meter;
}

void tp_programme_meter_free(struct tp_programme_meter *meter)
{
    if (meter == NULL)
        return;
    for (uint32_t i = 0; i < meter->channel_count; i++)
        tp_channel_meter_free(meter->channels[i]);
    free(meter->channels);
    free(meter->weights);
    tp_loudness_free(meter->loudness);
    free(meter);
}

void tp_programme_meter_place(struct tp_programme_meter *meter, uint64_t audio_offset, uint32_t frame_bytes)
{
    for (uint32_t i = 0; i < meter->channel_count; i++)
        tp_channel_meter_place(meter->channels[i], audio_offset, frame_bytes);
}

/* The channels have all ended the same hops. */
static void join_hops(struct tp_programme_meter *meter)
{
    size_t count = 0;
    if (meter->channel_count > 0)
        (void)tp_channel_meter_hops(meter->channels[0], &count);
    for (size_t hop = 0; hop < count; hop++) {
        double energy = 0.0;
        for (uint32_t i = 0; i < meter->channel_count; i++) {
            size_t same;
            energy += meter->weights[i] * tp_channel_meter_hops(meter->channels[i], &same)[hop];
        }
        tp_loudness_push_hop(meter->loudness, energy);
    }
}

size_t tp_programme_meter_room(struct tp_programme_meter *meter, float **planes)
{
    size_t frames = 0; /* the same for all of them */
    for (uint32_t i = 0; i < meter->channel_count; i++)
        planes[i] = tp_channel_meter_room(meter->channels[i], &frames);
    return frames;
}

void tp_programme_meter_push(struct tp_programme_meter *meter, const float *const *planes, size_t frames)
{
    for (size_t at = 0; at < frames; at += TP_CHANNEL_METER_CHUNK) {
        size_t take = frames - at < TP_CHANNEL_METER_CHUNK ? frames - at : TP_CHANNEL_METER_CHUNK;
        for (uint32_t i = 0; i < meter->channel_count; i++)
            tp_channel_meter_push(meter->channels[i], planes[i] + at, take);
        join_hops(meter);
    }
}

struct tp_sums tp_programme_meter_sums(const struct tp_programme_meter *meter, uint32_t channel)
{
    return tp_channel_meter_sums(meter->channels[channel]);
}

static double larger(double level, double other)
{
    return fmax(level, other); /* of a NaN and a number: the number */
}

bool tp_programme_meter_finish(struct tp_programme_meter *meter, double full_scale_lin, struct tp_channel *channels,
                               struct tp_programme *programme, struct tp_observations *observations)
{
    bool ok = true;
    programme->true_peak_max_dbtp = programme->sample_peak_max_dbfs = (double)NAN;
    for (uint32_t i = 0; i < meter->channel_count; i++)
        tp_channel_meter_flush(meter->channels[i]);
    join_hops(meter);
    for (uint32_t i = 0; i < meter->channel_count; i++) {
        ok = tp_channel_meter_finish(meter->channels[i], full_scale_lin, i, &channels[i], observations) && ok;
        programme->true_peak_max_dbtp = larger(programme->true_peak_max_dbtp, channels[i].true_peak_dbtp);
        programme->sample_peak_max_dbfs = larger(programme->sample_peak_max_dbfs, channels[i].sample_peak_dbfs);
    }
    struct tp_loudness_result loudness;
    ok = tp_loudness_finish(meter->loudness, &loudness) && ok;
    programme->integrated_lufs = loudness.integrated_lufs;
    programme->momentary_max_lufs = loudness.momentary_max_lufs;
    programme->short_term_max_lufs = loudness.short_term_max_lufs;
    programme->loudness_range_lu = loudness.loudness_range_lu;
    return ok;
}
