/* SPDX-License-Identifier: MIT */
#include "pipeline/opinion.h"

#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "measure/second_opinion.h"
#include "read/decode.h"
#include "read/sndfile_open.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

struct tp_opinion {
    struct tp_decoder *decoder;
    struct tp_second_opinion *meters;
    uint32_t channel_count;
    uint64_t frames_seen;
    uint64_t first_difference; /* frame of the first sample that differs; UINT64_MAX: none */
};

struct tp_opinion *tp_opinion_new(const struct tp_file *file, struct tp_error *error)
{
    struct tp_opinion *opinion = calloc(1, sizeof *opinion);
    if (opinion == NULL) {
        tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for a second opinion");
        return NULL;
    }
    opinion->channel_count = file->channel_count;
    opinion->first_difference = UINT64_MAX;
    if (tp_decoder_new(&opinion->decoder, file, TP_DECODE_LIBSNDFILE, error) != TP_OK) {
        tp_opinion_free(opinion);
        return NULL;
    }
    opinion->meters = tp_second_opinion_new(file->sample_rate_hz, file->channel_count, file->channel_mask);
    if (opinion->meters == NULL) {
        if (tp_second_opinion_takes(file->sample_rate_hz, file->channel_count))
            tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for a second opinion");
        else
            tp_error_set(error, TP_ERR_UNSUPPORTED, 0, "libebur128 does not take this sample rate or channel count");
        tp_opinion_free(opinion);
        return NULL;
    }
    return opinion;
}

void tp_opinion_free(struct tp_opinion *opinion)
{
    if (opinion == NULL)
        return;
    tp_decoder_free(opinion->decoder);
    tp_second_opinion_free(opinion->meters);
    free(opinion);
}

static void compare_samples(struct tp_opinion *opinion, const float *const *ours, const float *const *theirs,
                            size_t frames)
{
    for (uint32_t c = 0; c < opinion->channel_count; c++) {
        if (memcmp(ours[c], theirs[c], frames * sizeof(float)) == 0)
            continue;
        for (size_t i = 0; i < frames; i++) {
            uint64_t frame = opinion->frames_seen + i;
            /* Bit for bit: also NaN and the sign of zero. NOLINTNEXTLINE(bugprone-suspicious-memory-comparison) */
            if (memcmp(&ours[c][i], &theirs[c][i], sizeof(float)) != 0 && frame < opinion->first_difference)
                opinion->first_difference = frame;
        }
    }
}

bool tp_opinion_push(struct tp_opinion *opinion, const uint8_t *bytes, size_t frames, const float *const *planes,
                     struct tp_error *error)
{
    const float *const *theirs;
    if (tp_decoder_push(opinion->decoder, bytes, frames, &theirs, error) != TP_OK)
        return false;
    compare_samples(opinion, planes, theirs, frames);
    opinion->frames_seen += frames;
    if (tp_second_opinion_push(opinion->meters, theirs, frames))
        return true;
    tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for a second opinion");
    return false;
}

/* libebur128 calls the range of fewer than two values 0; Tech 3342 leaves it undefined, and we say so. */
static double range_of(double theirs, double ours)
{
    return !tp_exists(ours) && theirs == 0.0 ? (double)NAN : theirs;
}

/* One figure of ours beside one of theirs. */
struct comparison {
    struct tp_file *file;
    size_t differing;
    double largest_loudness_lu; /* of the figures that agree */
    bool ok;
};

static void compare_level(struct comparison *comparison, uint32_t channel, const char *name, double ours, double theirs,
                          double low_db, double high_db)
{
    /* A level that exists for one and not for the other is a difference without a size. */
    bool both = tp_exists(ours) && tp_exists(theirs);
    if (both && theirs - ours <= high_db && ours - theirs <= low_db) {
        double difference = fabs(ours - theirs);
        if (low_db <= TP_OPINION_LOUDNESS_LU && difference > comparison->largest_loudness_lu)
            comparison->largest_loudness_lu = difference;
        return;
    }
    if (!tp_exists(ours) && !tp_exists(theirs))
        return;
    char first[TP_NUMBER_SIZE];
    char second[TP_NUMBER_SIZE];
    comparison->differing++;
    comparison->ok =
        tp_observe(&comparison->file->observations, TP_CODE_SECOND_OPINION, channel, (double)NAN, (double)NAN, ours,
                   (double)NAN, "Second opinion differs: %s is %s here, and %s by libsndfile and libebur128.", name,
                   tp_exists(ours) ? tp_number_text(first, ours, 3) : "none",
                   tp_exists(theirs) ? tp_number_text(second, theirs, 3) : "none") &&
        comparison->ok;
}

static void compare_all(struct comparison *comparison, const struct tp_second_opinion_channel *channels,
                        const struct tp_second_opinion_channel *programme)
{
    const double lu = TP_OPINION_LOUDNESS_LU;
    const double peak = TP_OPINION_SAMPLE_PEAK_DB;
    struct tp_file *file = comparison->file;
    for (uint32_t c = 0; c < file->channel_count; c++) {
        const struct tp_channel *ours = &file->channels[c];
        compare_level(comparison, c, "integrated loudness", ours->integrated_lufs, channels[c].integrated_lufs, lu, lu);
        compare_level(comparison, c, "loudness range", ours->loudness_range_lu,
                      range_of(channels[c].loudness_range_lu, ours->loudness_range_lu), lu, lu);
        compare_level(comparison, c, "sample peak", ours->sample_peak_dbfs, channels[c].sample_peak_dbfs, peak, peak);
        if (file->sample_rate_hz < 192000)
            compare_level(comparison, c, "true peak", ours->true_peak_dbtp, channels[c].true_peak_dbtp,
                          TP_OPINION_TRUE_PEAK_LOW_DB, TP_OPINION_TRUE_PEAK_HIGH_DB);
    }
    compare_level(comparison, TP_NO_CHANNEL, "integrated loudness", file->programme.integrated_lufs,
                  programme->integrated_lufs, lu, lu);
    compare_level(comparison, TP_NO_CHANNEL, "loudness range", file->programme.loudness_range_lu,
                  range_of(programme->loudness_range_lu, file->programme.loudness_range_lu), lu, lu);
}

static void differ_in_header(struct comparison *comparison, double ours, char *words)
{
    comparison->differing++;
    comparison->ok = words != NULL &&
                     tp_observe(&comparison->file->observations, TP_CODE_SECOND_OPINION, TP_NO_CHANNEL, (double)NAN,
                                (double)NAN, ours, (double)NAN, "%s", words) &&
                     comparison->ok;
    free(words);
}

static int subtype_of(const struct tp_file *file)
{
    if (file->encoding == TP_ENCODING_FLOAT)
        return file->bit_depth == 32 ? SF_FORMAT_FLOAT : SF_FORMAT_DOUBLE;
    static const int pcm[] = {0, SF_FORMAT_PCM_U8, SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_PCM_32};
    return file->bit_depth <= 32 ? pcm[file->bit_depth / 8] : 0;
}

/* libsndfile reads the header by itself, and repairs what it finds wrong without a word. A file that cannot be opened
 * again is told by whoever reads it. */
static void compare_header(struct comparison *comparison, const char *path)
{
    const struct tp_file *file = comparison->file;
    SF_INFO theirs;
    char why[TP_SNDFILE_WHY_BYTES];
    if (tp_sndfile_look(path, &theirs, why, NULL) != TP_OK)
        return;
    if (why[0] != '\0') {
        differ_in_header(comparison, (double)file->frames,
                         tp_format("Second opinion differs: libsndfile does not open this file (%s); %" PRIu64
                                   " frames of sound were read here.",
                                   why, file->frames));
        return;
    }
    if ((uint64_t)theirs.frames != file->frames)
        differ_in_header(comparison, (double)file->frames,
                         tp_format("Second opinion differs: by its own reading of the header libsndfile finds %" PRId64
                                   " frames of sound, here they are %" PRIu64 ".",
                                   (int64_t)theirs.frames, file->frames));
    if ((uint32_t)theirs.channels != file->channel_count || (uint32_t)theirs.samplerate != file->sample_rate_hz ||
        (theirs.format & SF_FORMAT_SUBMASK) != subtype_of(file))
        differ_in_header(comparison, file->sample_rate_hz,
                         tp_format("Second opinion differs: libsndfile reads the header as %d channels at %d Hz in "
                                   "format %06x, here they are %" PRIu32 " at %" PRIu32 " Hz, %" PRIu32 "-bit.",
                                   theirs.channels, theirs.samplerate, (unsigned)theirs.format, file->channel_count,
                                   file->sample_rate_hz, file->bit_depth));
}

bool tp_opinion_finish(struct tp_opinion *opinion, const char *path, struct tp_file *file)
{
    struct tp_second_opinion_channel programme;
    struct tp_second_opinion_channel *channels = calloc(opinion->channel_count, sizeof *channels);
    if (channels == NULL || !tp_second_opinion_finish(opinion->meters, channels, &programme)) {
        free(channels);
        return false;
    }
    struct comparison comparison = {.file = file, .ok = true};
    compare_all(&comparison, channels, &programme);
    free(channels);
    compare_header(&comparison, path);
    if (opinion->first_difference != UINT64_MAX) {
        double at_s = (double)opinion->first_difference / (double)file->sample_rate_hz;
        comparison.differing++;
        comparison.ok = tp_observe(&file->observations, TP_CODE_SECOND_OPINION, TP_NO_CHANNEL, at_s, at_s, (double)NAN,
                                   (double)NAN, "Second opinion differs: libsndfile reads other samples.") &&
                        comparison.ok;
    }
    char largest[TP_NUMBER_SIZE];
    if (comparison.differing == 0)
        comparison.ok =
            tp_observe(&file->observations, TP_CODE_SECOND_OPINION, TP_NO_CHANNEL, (double)NAN, (double)NAN,
                       comparison.largest_loudness_lu, TP_OPINION_LOUDNESS_LU,
                       "Second opinion agrees: libsndfile reads the same header and samples, and libebur128 the same "
                       "loudness within %s LU.",
                       tp_number_text(largest, comparison.largest_loudness_lu, 9)) &&
            comparison.ok;
    return comparison.ok;
}
