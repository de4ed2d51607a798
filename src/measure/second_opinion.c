/* SPDX-License-Identifier: MIT */
#include "measure/second_opinion.h"

#include "base/num.h"
#include "measure/programme.h"

#include <ebur128.h>
#include <pthread.h>
#include <stdlib.h>

#define BLOCK 1024

struct tp_second_opinion {
    uint32_t channel_count;
    ebur128_state *programme; /* loudness and range together; peaks of every channel */
    ebur128_state **mono;     /* loudness and range of each */
    float *interleaved;       /* BLOCK frames */
};

static ebur128_state *open_state(uint32_t channels, uint32_t sample_rate_hz, int mode)
{
    /* ebur128_init() writes file-level constants of the library, the same each time. */
    static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
    pthread_mutex_lock(&lock);
    ebur128_state *state = ebur128_init(channels, sample_rate_hz, mode);
    pthread_mutex_unlock(&lock);
    return state;
}

/* The library's own maps leave out channels 4 and 7 up: say what every channel is. */
static void set_places(ebur128_state *state, uint32_t channel_count, uint32_t channel_mask)
{
    for (uint32_t i = 0; i < channel_count; i++) {
        double weight = tp_programme_weight(channel_mask, channel_count, i);
        int place = weight > 1.0 ? EBUR128_LEFT_SURROUND : weight > 0.0 ? EBUR128_LEFT : EBUR128_UNUSED;
        ebur128_set_channel(state, i, place);
    }
}

/* The limits of libebur128 1.2.6 (VALIDATE_MAX_CHANNELS, VALIDATE_MAX_SAMPLERATE in ebur128.c). */
bool tp_second_opinion_takes(uint32_t sample_rate_hz, uint32_t channel_count)
{
    return channel_count > 0 && channel_count <= 64 && sample_rate_hz >= 16 && sample_rate_hz <= 2822400;
}

struct tp_second_opinion *tp_second_opinion_new(uint32_t sample_rate_hz, uint32_t channel_count, uint32_t channel_mask)
{
    struct tp_second_opinion *opinion = calloc(1, sizeof *opinion);
    if (opinion == NULL)
        return NULL;
    const int loudness = EBUR128_MODE_I | EBUR128_MODE_LRA;
    size_t size = 0;
    opinion->mono = calloc(channel_count, sizeof(ebur128_state *));
    if (tp_size_mul(channel_count, BLOCK * sizeof(float), &size))
        opinion->interleaved = malloc(size);
    opinion->programme = open_state(channel_count, sample_rate_hz, loudness | EBUR128_MODE_TRUE_PEAK);
    bool ok = opinion->mono != NULL && opinion->interleaved != NULL && opinion->programme != NULL;
    if (ok)
        set_places(opinion->programme, channel_count, channel_mask);
    for (uint32_t i = 0; ok && i < channel_count; i++) {
        opinion->channel_count = i + 1;
        opinion->mono[i] = open_state(1, sample_rate_hz, loudness);
        ok = opinion->mono[i] != NULL;
    }
    if (!ok) {
        tp_second_opinion_free(opinion);
        return NULL;
    }
    return opinion;
}

void tp_second_opinion_free(struct tp_second_opinion *opinion)
{
    if (opinion == NULL)
        return;
    for (uint32_t i = 0; i < opinion->channel_count; i++)
        if (opinion->mono[i] != NULL)
            ebur128_destroy(&opinion->mono[i]);
    if (opinion->programme != NULL)
        ebur128_destroy(&opinion->programme);
    free(opinion->mono);
    free(opinion->interleaved);
    free(opinion);
}

bool tp_second_opinion_push(struct tp_second_opinion *opinion, const float *const *planes, size_t frames)
{
    uint32_t channels = opinion->channel_count;
    for (uint32_t i = 0; i < channels; i++)
        if (ebur128_add_frames_float(opinion->mono[i], planes[i], frames) != EBUR128_SUCCESS)
            return false;
    for (size_t at = 0; at < frames; at += BLOCK) {
        size_t take = frames - at < BLOCK ? frames - at : BLOCK;
        for (uint32_t i = 0; i < channels; i++)
            for (size_t k = 0; k < take; k++)
                opinion->interleaved[k * channels + i] = planes[i][at + k];
        if (ebur128_add_frames_float(opinion->programme, opinion->interleaved, take) != EBUR128_SUCCESS)
            return false;
    }
    return true;
}

/* The library says -inf for nothing above the gate, and 0 LU for a range of nothing. */
static bool read_loudness(ebur128_state *state, struct tp_second_opinion_channel *channel)
{
    double value;
    if (ebur128_loudness_global(state, &value) != EBUR128_SUCCESS)
        return false;
    channel->integrated_lufs = isfinite(value) ? value : (double)NAN;
    if (ebur128_loudness_range(state, &value) != EBUR128_SUCCESS)
        return false;
    channel->loudness_range_lu = isfinite(value) ? value : (double)NAN;
    return true;
}

static bool flush_peaks(struct tp_second_opinion *opinion)
{
    size_t values = (size_t)opinion->channel_count * TP_SECOND_OPINION_FLUSH_FRAMES;
    for (size_t i = 0; i < values; i++)
        opinion->interleaved[i] = 0.0f;
    return ebur128_add_frames_float(opinion->programme, opinion->interleaved, TP_SECOND_OPINION_FLUSH_FRAMES) ==
           EBUR128_SUCCESS;
}

bool tp_second_opinion_finish(struct tp_second_opinion *opinion, struct tp_second_opinion_channel *channels,
                              struct tp_second_opinion_channel *programme)
{
    double sample_max = 0.0, true_max = 0.0;
    if (!read_loudness(opinion->programme, programme) || !flush_peaks(opinion))
        return false;
    for (uint32_t i = 0; i < opinion->channel_count; i++) {
        double sample_peak, true_peak;
        if (!read_loudness(opinion->mono[i], &channels[i]) ||
            ebur128_sample_peak(opinion->programme, i, &sample_peak) != EBUR128_SUCCESS ||
            ebur128_true_peak(opinion->programme, i, &true_peak) != EBUR128_SUCCESS)
            return false;
        channels[i].sample_peak_dbfs = tp_db_from_lin(sample_peak);
        channels[i].true_peak_dbtp = tp_db_from_lin(true_peak);
        sample_max = fmax(sample_max, sample_peak);
        true_max = fmax(true_max, true_peak);
    }
    programme->sample_peak_dbfs = tp_db_from_lin(sample_max);
    programme->true_peak_dbtp = tp_db_from_lin(true_max);
    return true;
}
