/* SPDX-License-Identifier: MIT */
#include "support/wavgen.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PI 3.14159265358979323846

struct bytes {
    uint8_t *items;
    size_t count, capacity;
};

static void give_up(const char *what)
{
    fprintf(stderr, "wavgen: %s: %s\n", what, strerror(errno));
    exit(99);
}

static uint8_t *grow(struct bytes *out, size_t size)
{
    if (out->count + size > out->capacity) {
        size_t capacity = out->capacity * 2 > out->count + size ? out->capacity * 2 : out->count + size + 4096;
        uint8_t *items = realloc(out->items, capacity);
        if (!items)
            give_up("memory");
        out->items = items;
        out->capacity = capacity;
    }
    uint8_t *at = out->items + out->count;
    out->count += size;
    return at;
}

static void put(struct bytes *out, const void *data, size_t size)
{
    if (size == 0)
        return;
    uint8_t *at = grow(out, size);
    if (data)
        memcpy(at, data, size);
    else
        memset(at, 0, size);
}

static void put_le(struct bytes *out, uint64_t value, unsigned width)
{
    uint8_t *at = grow(out, width);
    for (unsigned i = 0; i < width; i++)
        at[i] = (uint8_t)(value >> (8 * i));
}

static void patch_le(struct bytes *out, size_t at, uint64_t value, unsigned width)
{
    for (unsigned i = 0; i < width; i++)
        out->items[at + i] = (uint8_t)(value >> (8 * i));
}

static uint64_t honest_or(struct wavgen_lie lie, uint64_t honest)
{
    return lie.on ? lie.value : honest;
}

static void put_id(struct bytes *out, const char *id)
{
    char four[4] = {' ', ' ', ' ', ' '};
    for (size_t i = 0; i < 4 && id[i]; i++)
        four[i] = id[i];
    put(out, four, 4);
}

/* Opens a chunk and says where its size field is. */
static size_t open_chunk(struct bytes *out, const char *id)
{
    put_id(out, id);
    put_le(out, 0, 4);
    return out->count - 4;
}

static void close_chunk(struct bytes *out, size_t size_at)
{
    size_t size = out->count - size_at - 4;
    patch_le(out, size_at, size, 4);
    if (size & 1)
        put_le(out, 0, 1);
}

uint32_t wavgen_sample_bytes(enum wavgen_sample sample)
{
    switch (sample) {
    case WAVGEN_PCM8: return 1;
    case WAVGEN_PCM16: return 2;
    case WAVGEN_PCM24: return 3;
    case WAVGEN_PCM32:
    case WAVGEN_FLOAT32: return 4;
    case WAVGEN_FLOAT64: return 8;
    }
    return 0;
}

static uint32_t rate_of(const struct wavgen *w)
{
    return w->rate_hz ? w->rate_hz : 48000;
}
static uint32_t channels_of(const struct wavgen *w)
{
    return w->channels ? w->channels : 1;
}
static bool is_float(const struct wavgen *w)
{
    return w->sample == WAVGEN_FLOAT32 || w->sample == WAVGEN_FLOAT64;
}

static void put_fmt(struct bytes *out, const struct wavgen *w)
{
    uint32_t width = wavgen_sample_bytes(w->sample);
    uint32_t align = width * channels_of(w);
    uint32_t tag = is_float(w) ? 3 : 1;
    size_t size_at = open_chunk(out, "fmt ");
    put_le(out, honest_or(w->format_tag, w->extensible ? 0xFFFE : tag), 2);
    put_le(out, honest_or(w->fmt_channels, channels_of(w)), 2);
    put_le(out, honest_or(w->fmt_rate, rate_of(w)), 4);
    put_le(out, honest_or(w->byte_rate, (uint64_t)rate_of(w) * align), 4);
    put_le(out, honest_or(w->block_align, align), 2);
    put_le(out, honest_or(w->bits, width * 8), 2);
    if (w->extensible) {
        static const uint8_t guid_tail[14] = {0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71};
        put_le(out, 22, 2);
        put_le(out, w->valid_bits_zero ? 0 : w->valid_bits ? w->valid_bits : width * 8, 2);
        put_le(out, w->channel_mask, 4);
        put_le(out, tag, 2);
        put(out, guid_tail, sizeof guid_tail);
    }
    close_chunk(out, size_at);
    if (w->fmt_size.on)
        patch_le(out, size_at, w->fmt_size.value, 4);
}

static void put_text_field(struct bytes *out, const char *text, size_t width)
{
    size_t length = text ? strnlen(text, width) : 0;
    put(out, text, length);
    put(out, NULL, width - length);
}

static void put_bext(struct bytes *out, const struct wavgen_bext *b)
{
    size_t size_at = open_chunk(out, "bext");
    size_t start = out->count;
    put_text_field(out, b->description, 256);
    put_text_field(out, b->originator, 32);
    put_text_field(out, b->originator_reference, 32);
    put_text_field(out, b->date, 10);
    put_text_field(out, b->time, 8);
    put_le(out, b->time_reference, 8);
    put_le(out, b->version, 2);
    put(out, b->umid, 64);
    for (int i = 0; i < 5; i++)
        put_le(out, b->version >= 2 ? (uint16_t)b->loudness[i] : 0, 2);
    put(out, NULL, 180);
    if (b->history)
        put(out, b->history, strlen(b->history));
    if (b->cut_to && out->count - start > b->cut_to)
        out->count = start + b->cut_to;
    close_chunk(out, size_at);
}

static void put_metadata(struct bytes *out, const struct wavgen *w)
{
    if (w->bext)
        put_bext(out, w->bext);
    if (w->ixml) {
        size_t size_at = open_chunk(out, "iXML");
        put(out, w->ixml, strlen(w->ixml));
        put(out, NULL, w->ixml_padding);
        close_chunk(out, size_at);
    }
}

static void put_cue_labels(struct bytes *out, const struct wavgen *w)
{
    size_t list_at = open_chunk(out, "LIST");
    put_id(out, "adtl");
    for (size_t i = 0; i < w->cue_count; i++) {
        if (!w->cues[i].label)
            continue;
        size_t label_at = open_chunk(out, "labl");
        put_le(out, w->cues[i].id, 4);
        put(out, w->cues[i].label, strlen(w->cues[i].label) + 1);
        close_chunk(out, label_at);
    }
    close_chunk(out, list_at);
}

static void put_cues(struct bytes *out, const struct wavgen *w)
{
    if (w->cue_count == 0 && !w->cues_declared.on)
        return;
    size_t size_at = open_chunk(out, "cue ");
    put_le(out, honest_or(w->cues_declared, w->cue_count), 4);
    for (size_t i = 0; i < w->cue_count; i++) {
        put_le(out, w->cues[i].id, 4);
        put_le(out, w->cues[i].sample_offset, 4);
        put_id(out, "data");
        put_le(out, 0, 4);
        put_le(out, 0, 4);
        put_le(out, w->cues[i].sample_offset, 4);
    }
    close_chunk(out, size_at);
    put_cue_labels(out, w);
}

static void put_info(struct bytes *out, const struct wavgen *w)
{
    if (!w->info_name)
        return;
    size_t list_at = open_chunk(out, "LIST");
    put_id(out, "INFO");
    size_t name_at = open_chunk(out, "INAM");
    put(out, w->info_name, strlen(w->info_name) + 1);
    close_chunk(out, name_at);
    close_chunk(out, list_at);
}

enum place { BEFORE_FMT, BEFORE_DATA, AFTER_DATA };

static void put_chunks(struct bytes *out, const struct wavgen *w, enum place place)
{
    for (size_t i = 0; i < w->chunk_count; i++) {
        const struct wavgen_chunk *c = &w->chunks[i];
        enum place own = c->before_fmt ? BEFORE_FMT : c->after_data ? AFTER_DATA : BEFORE_DATA;
        if (own != place)
            continue;
        put_id(out, c->id);
        put_le(out, honest_or(c->declared, c->size), 4);
        put(out, c->data, c->size);
        if ((c->size & 1) && !c->no_pad)
            put_le(out, 0, 1);
    }
}

static void put_real(struct bytes *out, const struct wavgen *w, double x)
{
    if (w->sample == WAVGEN_FLOAT32) {
        float single = (float)x;
        uint32_t bits;
        memcpy(&bits, &single, sizeof bits);
        put_le(out, bits, 4);
        return;
    }
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    put_le(out, bits, 8);
}

static void put_int(struct bytes *out, const struct wavgen *w, int64_t value)
{
    uint32_t width = wavgen_sample_bytes(w->sample);
    uint64_t bits = (uint64_t)value & ~(((uint64_t)1 << w->pad_bits) - 1);
    put_le(out, w->sample == WAVGEN_PCM8 ? bits + 128 : bits, width);
}

static int64_t quantise(const struct wavgen *w, double x)
{
    double full = ldexp(1.0, (int)wavgen_sample_bytes(w->sample) * 8 - 1);
    double scaled = nearbyint(x * full);
    if (isnan(scaled))
        return 0;
    return (int64_t)fmin(fmax(scaled, -full), full - 1.0);
}

static double real_sample(const struct wavgen *w, uint64_t frame, unsigned channel)
{
    if (w->reals)
        return w->reals[frame * channels_of(w) + channel];
    if (w->sound)
        return w->sound(w->sound_user, frame, channel);
    struct wavgen_tone tone = {.hz = 997.0, .rate_hz = rate_of(w), .peak = 0.1};
    return wavgen_sine(&tone, frame, channel);
}

static void put_samples(struct bytes *out, const struct wavgen *w)
{
    unsigned channels = channels_of(w);
    for (uint64_t frame = 0; frame < w->frames; frame++) {
        for (unsigned c = 0; c < channels; c++) {
            if (w->ints && !is_float(w))
                put_int(out, w, w->ints[frame * channels + c]);
            else if (is_float(w))
                put_real(out, w, real_sample(w, frame, c));
            else
                put_int(out, w, quantise(w, real_sample(w, frame, c)));
        }
    }
    for (size_t i = 0; i < w->extra_data_bytes; i++)
        put_le(out, 0x11, 1);
}

static bool is_wide(const struct wavgen *w)
{
    return w->container != WAVGEN_RIFF;
}

/* Says where the body begins. */
static size_t put_data(struct bytes *out, const struct wavgen *w)
{
    size_t size_at = open_chunk(out, "data");
    size_t start = out->count;
    put_samples(out, w);
    size_t size = out->count - start;
    patch_le(out, size_at, honest_or(w->data_size, is_wide(w) && !w->no_ds64 ? 0xFFFFFFFF : size), 4);
    if ((size & 1) && !w->data_no_pad)
        put_le(out, 0, 1);
    return start;
}

static void put_ds64(struct bytes *out)
{
    size_t size_at = open_chunk(out, "ds64");
    put(out, NULL, 28);
    close_chunk(out, size_at);
}

static void put_head(struct bytes *out, const struct wavgen *w)
{
    static const char *const ids[] = {[WAVGEN_RIFF] = "RIFF", [WAVGEN_RF64] = "RF64", [WAVGEN_BW64] = "BW64"};
    put_id(out, ids[w->container]);
    put_le(out, 0, 4);
    put_id(out, "WAVE");
    if (is_wide(w) && !w->no_ds64)
        put_ds64(out);
    if (w->junk_reservation) {
        size_t size_at = open_chunk(out, "JUNK");
        put(out, NULL, 28);
        close_chunk(out, size_at);
    }
    put_chunks(out, w, BEFORE_FMT);
    if (!w->no_fmt && !w->fmt_after_data)
        put_fmt(out, w);
    if (w->fmt_twice)
        put_fmt(out, w);
    put_chunks(out, w, BEFORE_DATA);
    if (!w->metadata_after_data)
        put_metadata(out, w);
    put_cues(out, w);
    put_info(out, w);
}

static void settle_sizes(struct bytes *out, const struct wavgen *w, size_t counted, uint64_t data_bytes)
{
    uint64_t riff = counted - 8;
    patch_le(out, 4, honest_or(w->riff_size, is_wide(w) && !w->no_ds64 ? 0xFFFFFFFF : riff), 4);
    if (is_wide(w) && !w->no_ds64) {
        patch_le(out, 20, honest_or(w->ds64_riff_size, riff), 8);
        patch_le(out, 28, honest_or(w->ds64_data_size, data_bytes), 8);
        patch_le(out, 36, honest_or(w->ds64_frames, w->frames), 8);
    }
}

static struct bytes build(const struct wavgen *w, size_t *audio_offset)
{
    struct bytes out = {0};
    put_head(&out, w);
    *audio_offset = w->no_data ? 0 : put_data(&out, w);
    if (w->data_twice)
        put_data(&out, w);
    if (w->fmt_after_data)
        put_fmt(&out, w);
    if (w->metadata_after_data)
        put_metadata(&out, w);
    put_chunks(&out, w, AFTER_DATA);
    size_t counted = out.count;
    put(&out, w->trailing, w->trailing_size);
    uint64_t width = (uint64_t)wavgen_sample_bytes(w->sample) * channels_of(w);
    settle_sizes(&out, w, w->trailing_counted ? out.count : counted, w->frames * width + w->extra_data_bytes);
    if (w->truncate_at.on && w->truncate_at.value < out.count)
        out.count = (size_t)w->truncate_at.value;
    out.count -= w->drop_tail < out.count ? w->drop_tail : out.count;
    return out;
}

uint8_t *wavgen_bytes(const struct wavgen *description, size_t *size)
{
    size_t audio_offset;
    struct bytes out = build(description, &audio_offset);
    *size = out.count;
    return out.items;
}

size_t wavgen_audio_offset(const struct wavgen *description)
{
    struct wavgen empty = *description;
    empty.frames = 0;
    size_t audio_offset;
    struct bytes out = build(&empty, &audio_offset);
    free(out.items);
    return audio_offset;
}

static FILE *create(const char *path)
{
    FILE *file = fopen(path, "wb");
    if (!file)
        give_up(path);
    return file;
}

static void write_all(FILE *file, const char *path, const void *bytes, size_t size)
{
    if (size && fwrite(bytes, 1, size, file) != size)
        give_up(path);
}

void wavgen_write(const struct wavgen *description, const char *path)
{
    size_t size;
    uint8_t *bytes = wavgen_bytes(description, &size);
    FILE *file = create(path);
    write_all(file, path, bytes, size);
    if (fclose(file) != 0)
        give_up(path);
    free(bytes);
}

void wavgen_write_repeated(const struct wavgen *description, uint64_t repeats, const char *path)
{
    struct wavgen once = *description;
    size_t offset;
    struct bytes out = build(&once, &offset);
    size_t body = (size_t)once.frames * wavgen_sample_bytes(once.sample) * channels_of(&once);
    uint64_t total = body * repeats;
    bool odd = total & 1;
    if (is_wide(&once)) {
        patch_le(&out, 20, offset + total + odd - 8, 8);
        patch_le(&out, 28, total, 8);
        patch_le(&out, 36, once.frames * repeats, 8);
    } else {
        patch_le(&out, 4, offset + total + odd - 8, 4);
        patch_le(&out, offset - 4, total, 4);
    }
    FILE *file = create(path);
    write_all(file, path, out.items, offset);
    for (uint64_t i = 0; i < repeats; i++)
        write_all(file, path, out.items + offset, body);
    write_all(file, path, "", odd);
    if (fclose(file) != 0)
        give_up(path);
    free(out.items);
}

static void add(struct bytes *out, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void add(struct bytes *out, const char *format, ...)
{
    char line[512];
    va_list values;
    va_start(values, format);
    int length = vsnprintf(line, sizeof line, format, values);
    va_end(values);
    put(out, line, length < 0 ? 0 : (size_t)length < sizeof line ? (size_t)length : sizeof line - 1);
}

static void add_element(struct bytes *out, const char *name, const char *text)
{
    if (!text)
        return;
    add(out, "<%s>", name);
    for (; *text; text++) {
        switch (*text) {
        case '<': put(out, "&lt;", 4); break;
        case '>': put(out, "&gt;", 4); break;
        case '&': put(out, "&amp;", 5); break;
        default: put(out, text, 1);
        }
    }
    add(out, "</%s>\n", name);
}

static void add_number(struct bytes *out, const char *name, uint64_t number)
{
    if (number)
        add(out, "<%s>%llu</%s>\n", name, (unsigned long long)number, name);
}

static void add_speed(struct bytes *out, const struct wavgen_ixml *x)
{
    add(out, "<SPEED>\n");
    add_element(out, "TIMECODE_RATE", x->timecode_rate);
    add_element(out, "TIMECODE_FLAG", x->timecode_flag);
    add_number(out, "FILE_SAMPLE_RATE", x->file_sample_rate);
    add_number(out, "AUDIO_BIT_DEPTH", x->audio_bit_depth);
    if (x->has_timestamp) {
        add(out, "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>%u</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>\n",
            (unsigned)(x->timestamp_samples >> 32));
        add(out, "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>%u</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>\n",
            (unsigned)(x->timestamp_samples & 0xFFFFFFFF));
        add_number(out, "TIMESTAMP_SAMPLE_RATE", x->file_sample_rate);
    }
    add(out, "</SPEED>\n");
}

static void add_tracks(struct bytes *out, const struct wavgen_ixml *x)
{
    if (!x->track_count)
        return;
    add(out, "<TRACK_LIST>\n");
    add_number(out, "TRACK_COUNT", x->track_count);
    for (uint32_t i = 0; i < x->track_count && i < 16; i++) {
        add(out, "<TRACK>\n");
        add_number(out, "CHANNEL_INDEX", x->tracks[i].channel);
        add_number(out, "INTERLEAVE_INDEX", x->tracks[i].interleave);
        add_element(out, "NAME", x->tracks[i].name);
        add_element(out, "FUNCTION", x->tracks[i].function);
        add(out, "</TRACK>\n");
    }
    add(out, "</TRACK_LIST>\n");
}

char *wavgen_ixml_text(const struct wavgen_ixml *x)
{
    struct bytes out = {0};
    add(&out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML>\n<IXML_VERSION>1.51</IXML_VERSION>\n");
    add_element(&out, "PROJECT", x->project);
    add_element(&out, "SCENE", x->scene);
    add_element(&out, "TAKE", x->take);
    add_element(&out, "TAPE", x->tape);
    add_element(&out, "NOTE", x->note);
    add_element(&out, "CIRCLED", x->circled);
    add_element(&out, "WILD_TRACK", x->wild_track);
    add_element(&out, "NO_GOOD", x->no_good);
    add_speed(&out, x);
    if (x->family_uid) {
        add(&out, "<FILE_SET>\n");
        add_number(&out, "TOTAL_FILES", x->total_files);
        add_element(&out, "FAMILY_UID", x->family_uid);
        if (x->file_index)
            add(&out, "<FILE_SET_INDEX>%u</FILE_SET_INDEX>\n", (unsigned)x->file_index);
        add(&out, "</FILE_SET>\n");
    }
    add_tracks(&out, x);
    add(&out, "</BWFXML>\n");
    put_le(&out, 0, 1);
    return (char *)out.items;
}

double wavgen_sine(const void *user, uint64_t frame, unsigned channel)
{
    (void)channel;
    const struct wavgen_tone *tone = user;
    double rate = tone->rate_hz > 0.0 ? tone->rate_hz : 48000.0;
    return tone->peak * sin(2.0 * PI * fmod(tone->hz * (double)frame, rate) / rate + tone->phase_rad);
}

/* SplitMix64's finaliser (Steele, Lea, Flood 2014): from memory; only its spread matters here. */
double wavgen_random(uint64_t key)
{
    uint64_t z = key + 0x9E3779B97F4A7C15u;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    return (double)(int64_t)z * 0x1p-63;
}

double wavgen_noise(const void *user, uint64_t frame, unsigned channel)
{
    return *(const double *)user * wavgen_random(frame * 64 + channel);
}

double wavgen_silence(const void *user, uint64_t frame, unsigned channel)
{
    (void)user, (void)frame, (void)channel;
    return 0.0;
}
