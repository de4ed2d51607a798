/* SPDX-License-Identifier: MIT */
#include "read/decode.h"

#include "read/sndfile_open.h"
#include "read/unpack.h"

#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

/* What libsndfile sees: a headerless file, of which only the pushed bytes can be read. */
struct span_view {
    const uint8_t *bytes;
    sf_count_t start, end; /* position of `bytes` in the view, and the end of what is there */
    sf_count_t position;
    sf_count_t length;
};

struct tp_decoder {
    enum tp_encoding encoding;
    uint32_t bytes_per_sample;
    uint32_t channel_count;
    float *samples;       /* channel_count planes of TP_DECODE_FRAMES */
    float **planes;       /* the same, one by one */
    uint32_t bits_seen;   /* OR of all samples, left-justified in 32 bits */
    uint64_t *non_finite; /* a channel each */
    SNDFILE *sndfile;     /* NULL with the own engine */
    struct span_view view;
    void *interleaved; /* int32_t or double, TP_DECODE_FRAMES frames, for libsndfile */
};

static inline float finite_or_zero(float sample, uint64_t *non_finite)
{
    if (isfinite(sample))
        return sample;
    *non_finite += 1;
    return 0.0f;
}

/* --- libsndfile engine --- */

static sf_count_t view_length(void *user)
{
    return ((struct span_view *)user)->length;
}

static sf_count_t view_tell(void *user)
{
    return ((struct span_view *)user)->position;
}

static sf_count_t view_seek(sf_count_t offset, int whence, void *user)
{
    struct span_view *view = user;
    sf_count_t from = whence == SEEK_CUR ? view->position : whence == SEEK_END ? view->length : 0;
    view->position = from + offset;
    return view->position;
}

static sf_count_t view_read(void *to, sf_count_t count, void *user)
{
    struct span_view *view = user;
    if (view->position < view->start || view->position >= view->end || count <= 0)
        return 0;
    sf_count_t left = view->end - view->position;
    if (count > left)
        count = left;
    memcpy(to, view->bytes + (view->position - view->start), (size_t)count);
    view->position += count;
    return count;
}

static sf_count_t view_write(const void *from, sf_count_t count, void *user)
{
    (void)from;
    (void)count;
    (void)user;
    return 0;
}

static int sndfile_format(const struct tp_decoder *decoder)
{
    static const int pcm[] = {0, SF_FORMAT_PCM_U8, SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_PCM_32};
    if (decoder->encoding == TP_ENCODING_FLOAT)
        return decoder->bytes_per_sample == 4 ? SF_FORMAT_FLOAT : SF_FORMAT_DOUBLE;
    return pcm[decoder->bytes_per_sample];
}

static enum tp_status open_sndfile(struct tp_decoder *decoder, uint32_t sample_rate_hz, struct tp_error *error)
{
    SF_VIRTUAL_IO io = {view_length, view_seek, view_read, view_write, view_tell};
    SF_INFO info = {0};
    info.samplerate = (int)sample_rate_hz;
    info.channels = (int)decoder->channel_count;
    info.format = SF_FORMAT_RAW | SF_ENDIAN_LITTLE | sndfile_format(decoder);
    decoder->view.length = (sf_count_t)1 << 62;
    decoder->view.length -= decoder->view.length % (sf_count_t)(decoder->bytes_per_sample * decoder->channel_count);
    decoder->sndfile = tp_sndfile_open_virtual(&io, SFM_READ, &info, &decoder->view);
    size_t sample = decoder->encoding == TP_ENCODING_PCM ? sizeof(int32_t) : sizeof(double);
    decoder->interleaved = calloc((size_t)TP_DECODE_FRAMES * decoder->channel_count, sample);
    /* Raw sound of these encodings is refused for its rate or channel count (SF_MAX_CHANNELS) or for want of memory. */
    bool taken = info.samplerate > 0 && info.channels <= 1024;
    if (decoder->sndfile == NULL && !taken)
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0, "libsndfile does not take this encoding");
    if (decoder->sndfile == NULL || decoder->interleaved == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to decode");
    return TP_OK;
}

static void spread_ints(struct tp_decoder *decoder, size_t frames, float *const *planes)
{
    const int32_t *in = decoder->interleaved;
    for (uint32_t c = 0; c < decoder->channel_count; c++) {
        float *out = planes[c];
        for (size_t i = 0; i < frames; i++) {
            int32_t value = in[i * decoder->channel_count + c];
            decoder->bits_seen |= (uint32_t)value;
            out[i] = tp_float_from_left_justified(value);
        }
    }
}

static void spread_doubles(struct tp_decoder *decoder, size_t frames, float *const *planes)
{
    const double *in = decoder->interleaved;
    for (uint32_t c = 0; c < decoder->channel_count; c++) {
        float *out = planes[c];
        for (size_t i = 0; i < frames; i++)
            out[i] = finite_or_zero(tp_float_from_double(in[i * decoder->channel_count + c]), &decoder->non_finite[c]);
    }
}

static enum tp_status push_sndfile(struct tp_decoder *decoder, const uint8_t *bytes, size_t frames,
                                   float *const *planes, struct tp_error *error)
{
    struct span_view *view = &decoder->view;
    view->bytes = bytes;
    view->start = view->position;
    view->end = view->start + (sf_count_t)(frames * decoder->bytes_per_sample * decoder->channel_count);
    sf_count_t want = (sf_count_t)frames;
    sf_count_t got = decoder->encoding == TP_ENCODING_PCM
                         ? sf_readf_int(decoder->sndfile, decoder->interleaved, want)
                         : sf_readf_double(decoder->sndfile, decoder->interleaved, want);
    if (got != want)
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0, "libsndfile stopped: %s", sf_strerror(decoder->sndfile));
    if (decoder->encoding == TP_ENCODING_PCM)
        spread_ints(decoder, frames, planes);
    else
        spread_doubles(decoder, frames, planes);
    return TP_OK;
}

/* --- the seam --- */

static bool format_is_known(const struct tp_file *file)
{
    uint32_t bits = file->bit_depth;
    bool known = file->encoding == TP_ENCODING_PCM     ? bits == 8 || bits == 16 || bits == 24 || bits == 32
                 : file->encoding == TP_ENCODING_FLOAT ? bits == 32 || bits == 64
                                                       : false;
    return known && file->channel_count > 0;
}

enum tp_status tp_decoder_new(struct tp_decoder **decoder, const struct tp_file *file, enum tp_decode_engine engine,
                              struct tp_error *error)
{
    if (!format_is_known(file))
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0, "this encoding is not decoded");
    struct tp_decoder *made = calloc(1, sizeof *made);
    if (made == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to decode");
    made->encoding = file->encoding;
    made->bytes_per_sample = file->bit_depth / 8;
    made->channel_count = file->channel_count;
    made->samples = calloc((size_t)file->channel_count * TP_DECODE_FRAMES, sizeof *made->samples);
    made->planes = calloc(file->channel_count, sizeof *made->planes);
    made->non_finite = calloc(file->channel_count, sizeof *made->non_finite);
    enum tp_status status = TP_OK;
    if (made->samples == NULL || made->planes == NULL || made->non_finite == NULL)
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to decode");
    else if (engine == TP_DECODE_LIBSNDFILE)
        status = open_sndfile(made, file->sample_rate_hz, error);
    if (status != TP_OK) {
        tp_decoder_free(made);
        return status;
    }
    for (uint32_t c = 0; c < made->channel_count; c++)
        made->planes[c] = made->samples + (size_t)c * TP_DECODE_FRAMES;
    *decoder = made;
    return TP_OK;
}

void tp_decoder_free(struct tp_decoder *decoder)
{
    if (decoder == NULL)
        return;
    if (decoder->sndfile != NULL)
        sf_close(decoder->sndfile);
    free(decoder->interleaved);
    free(decoder->samples);
    free(decoder->planes);
    free(decoder->non_finite);
    free(decoder);
}

enum tp_status tp_decoder_push(struct tp_decoder *decoder, const uint8_t *bytes, size_t frames,
                               const float *const **channels, struct tp_error *error)
{
    *channels = (const float *const *)decoder->planes;
    return tp_decoder_push_to(decoder, bytes, frames, decoder->planes, error);
}

enum tp_status tp_decoder_push_to(struct tp_decoder *decoder, const uint8_t *bytes, size_t frames, float *const *planes,
                                  struct tp_error *error)
{
    if (decoder->sndfile != NULL)
        return push_sndfile(decoder, bytes, frames, planes, error);
    const struct tp_packing format = {decoder->encoding, decoder->bytes_per_sample, decoder->channel_count};
    decoder->bits_seen |= tp_unpack(&format, bytes, frames, planes, decoder->non_finite);
    return TP_OK;
}

uint32_t tp_decoder_effective_bits(const struct tp_decoder *decoder)
{
    if (decoder->encoding != TP_ENCODING_PCM || decoder->bits_seen == 0)
        return 0;
    return 32u - (uint32_t)__builtin_ctz(decoder->bits_seen);
}

uint64_t tp_decoder_non_finite(const struct tp_decoder *decoder, uint32_t channel)
{
    return decoder->non_finite[channel];
}
