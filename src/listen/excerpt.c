/* SPDX-License-Identifier: MIT */
#include "listen/excerpt.h"

#include "base/io.h"
#include "base/num.h"
#include "base/text.h"
#include "listen/flac.h"
#include "read/decode.h"
#include "result.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <takeproof/takeproof.h>
#include <unistd.h>

#define RATE_MAX_HZ 768000 /* bounds the memory for one cut */

/* One spot to hear. */
struct spot {
    size_t take, finding;
    size_t rank; /* place among the spots of its take */
    enum tp_severity severity;
    double start_s, end_s; /* with context */
};
struct spots {
    struct spot *items;
    size_t count, capacity;
};

static bool can_be_cut(const struct tp_report *report, const struct tp_finding *finding)
{
    return finding->severity >= TP_LISTEN && tp_exists(finding->start_s) && finding->file < report->file_count &&
           report->files[finding->file].channels != NULL && report->files[finding->file].sample_rate_hz > 0 &&
           report->files[finding->file].sample_rate_hz <= RATE_MAX_HZ;
}

static struct spot make_spot(const struct tp_report *report, size_t take, size_t finding)
{
    const struct tp_finding *f = &report->takes[take].findings[finding];
    /* All as report.json has it, so that a report read back from there asks for the same spots. */
    double length_s = tp_number_round(report->files[f->file].duration_s, 3);
    double start_s = tp_number_round(f->start_s, 3), end_s = tp_number_round(f->end_s, 3);
    if (!tp_exists(end_s) || end_s < start_s)
        end_s = start_s;
    struct spot spot = {.take = take, .finding = finding, .severity = f->severity};
    spot.start_s = fmax(0.0, start_s - TP_EXCERPT_CONTEXT_S);
    spot.end_s = fmin(length_s, fmin(end_s + TP_EXCERPT_CONTEXT_S, spot.start_s + TP_EXCERPT_SECONDS_MAX));
    return spot;
}

/* True when an earlier spot of the take lets one hear this one too. */
static bool is_heard_already(const struct tp_report *report, const struct spots *spots, size_t first,
                             const struct spot *spot)
{
    const struct tp_finding *f = &report->takes[spot->take].findings[spot->finding];
    double start_s = tp_number_round(f->start_s, 3);
    for (size_t i = first; i < spots->count; i++) {
        const struct spot *other = &spots->items[i];
        const struct tp_finding *o = &report->takes[other->take].findings[other->finding];
        if (o->file == f->file && o->channel == f->channel && start_s >= other->start_s && start_s <= other->end_s)
            return true;
    }
    return false;
}

static bool list_take(const struct tp_report *report, size_t take, struct spots *spots)
{
    size_t first = spots->count;
    for (size_t i = 0; i < report->takes[take].finding_count; i++) {
        if (!can_be_cut(report, &report->takes[take].findings[i]))
            continue;
        struct spot spot = make_spot(report, take, i);
        if (spot.end_s <= spot.start_s || is_heard_already(report, spots, first, &spot))
            continue;
        if (!tp_grow(&spots->items, &spots->capacity, spots->count, sizeof *spots->items))
            return false;
        spot.rank = spots->count - first;
        spots->items[spots->count++] = spot;
    }
    return true;
}

static int compare_sizes(size_t a, size_t b)
{
    return a < b ? -1 : a > b;
}

static int compare_spots(const void *a, const void *b)
{
    const struct spot *first = a;
    const struct spot *second = b;
    if (first->severity != second->severity)
        return first->severity > second->severity ? -1 : 1;
    int order = compare_sizes(first->rank, second->rank);
    return order != 0 ? order : compare_sizes(first->take, second->take);
}

/* All spots, those to be cut first in front. */
static bool list_spots(const struct tp_report *report, struct spots *spots)
{
    for (size_t i = 0; i < report->take_count; i++)
        if (!list_take(report, i, spots))
            return false;
    if (spots->count > 1)
        qsort(spots->items, spots->count, sizeof *spots->items, compare_spots);
    return true;
}

/* --- what to cut --- */

static bool is_channel(struct tp_channel_ref ref, size_t file, uint32_t channel)
{
    return ref.file == file && (channel == TP_NO_CHANNEL || ref.channel == channel);
}

/* The channels to hear for a finding: main and safety when it lies in a pair, else its own, else the first to use. */
static size_t channels_of(const struct tp_take *take, const struct tp_finding *finding, struct tp_channel_ref out[2])
{
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_pair *pair = take->signals[i].pair;
        if (pair == NULL || (!is_channel(pair->main, finding->file, finding->channel) &&
                             !is_channel(pair->safety, finding->file, finding->channel)))
            continue;
        out[0] = pair->main;
        out[1] = pair->safety;
        return 2;
    }
    out[0] = (struct tp_channel_ref){finding->file, finding->channel == TP_NO_CHANNEL ? 0 : finding->channel};
    return 1;
}

/* --- reading --- */

/* The file as it was opened by the check: a source that is one file is the file. NULL when memory is short. */
static char *path_of(const struct tp_excerpt_options *options, const struct tp_file *file)
{
    const char *source = options->sources[file->source];
    struct stat status;
    if (stat(source, &status) == 0 && S_ISREG(status.st_mode))
        return tp_strdup(source);
    return tp_path_join(source, file->path_raw);
}

struct cut {
    const struct tp_file *file;
    const char *path;
    uint32_t channel;
    uint64_t first_frame;
    size_t frames;
    float *samples;
};

static enum tp_status decode_block(struct tp_decoder *decoder, struct cut *cut, int fd, uint8_t *block, size_t done,
                                   size_t *frames, struct tp_error *error)
{
    size_t frame_bytes = (size_t)cut->file->channel_count * (cut->file->bit_depth / 8);
    uint64_t at = cut->file->audio_offset + (cut->first_frame + done) * frame_bytes;
    const float *const *planes;
    size_t got;
    *frames = cut->frames - done < TP_DECODE_FRAMES ? cut->frames - done : TP_DECODE_FRAMES;
    enum tp_status status = tp_file_read_at(fd, cut->path, at, block, *frames * frame_bytes, &got, error);
    if (status == TP_OK && got < *frames * frame_bytes)
        status = tp_error_set(error, TP_ERR_READ, 0, "'%s' has become shorter", cut->path);
    if (status == TP_OK)
        status = tp_decoder_push(decoder, block, *frames, &planes, error);
    if (status == TP_OK)
        memcpy(cut->samples + done, planes[cut->channel], *frames * sizeof(float));
    return status;
}

static enum tp_status decode_cut(struct cut *cut, struct tp_error *error)
{
    struct tp_decoder *decoder = NULL;
    int fd = -1;
    uint64_t bytes;
    int64_t modified_s;
    size_t block_bytes = (size_t)TP_DECODE_FRAMES * cut->file->channel_count * (cut->file->bit_depth / 8);
    uint8_t *block = malloc(block_bytes > 0 ? block_bytes : 1);
    enum tp_status status = block != NULL ? tp_file_open(cut->path, &fd, &bytes, &modified_s, error) : TP_ERR_MEMORY;
    if (status == TP_OK)
        status = tp_decoder_new(&decoder, cut->file, TP_DECODE_OWN, error);
    for (size_t done = 0, frames = 0; status == TP_OK && done < cut->frames; done += frames)
        status = decode_block(decoder, cut, fd, block, done, &frames, error);
    tp_decoder_free(decoder);
    if (fd >= 0)
        close(fd);
    free(block);
    return status;
}

double tp_excerpt_make_safe(const float *samples, size_t frames, uint32_t sample_rate_hz, int16_t *out)
{
    double peak = 0.0;
    for (size_t i = 0; i < frames; i++)
        peak = fmax(peak, fabs((double)samples[i]));
    double limit = tp_lin_from_db(TP_EXCERPT_PEAK_MAX_DBFS);
    double gain = peak > limit ? limit / peak : 1.0;
    double fade_in = TP_EXCERPT_FADE_IN_S * sample_rate_hz, fade_out = TP_EXCERPT_FADE_OUT_S * sample_rate_hz;
    for (size_t i = 0; i < frames; i++) {
        double ramp = fmin(1.0, fmin((double)i / fade_in, (double)(frames - 1 - i) / fade_out));
        /* Towards zero, so that the limit holds to the last bit. */
        out[i] = (int16_t)trunc((double)samples[i] * gain * ramp * 32768.0);
    }
    return gain < 1.0 ? tp_db_from_lin(gain) : 0.0;
}

static enum tp_status cut_channel(const struct tp_report *report, const struct tp_excerpt_options *options,
                                  const struct spot *spot, struct tp_channel_ref ref, struct tp_sound_excerpt *excerpt,
                                  struct tp_error *error)
{
    const struct tp_file *file = &report->files[ref.file];
    uint64_t first = (uint64_t)(spot->start_s * file->sample_rate_hz);
    uint64_t end = (uint64_t)(spot->end_s * file->sample_rate_hz);
    if (file->channels == NULL || ref.channel >= file->channel_count || first >= file->frames)
        return TP_ERR_READ;
    if (end > file->frames)
        end = file->frames;
    struct cut cut = {.file = file, .channel = ref.channel, .first_frame = first, .frames = (size_t)(end - first)};
    char *path = path_of(options, file);
    cut.path = path;
    cut.samples = malloc((cut.frames + 1) * sizeof(float));
    int16_t *safe = malloc((cut.frames + 1) * sizeof *safe);
    *excerpt = (struct tp_sound_excerpt){.take = spot->take,
                                         .finding = spot->finding,
                                         .file = ref.file,
                                         .channel = ref.channel,
                                         .start_s = (double)first / file->sample_rate_hz,
                                         .end_s = (double)end / file->sample_rate_hz,
                                         .mime = tp_strdup("audio/flac")};
    bool has_memory = path != NULL && cut.samples != NULL && safe != NULL && excerpt->mime != NULL;
    enum tp_status status =
        has_memory ? decode_cut(&cut, error) : tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    if (status == TP_OK) {
        excerpt->gain_db = tp_excerpt_make_safe(cut.samples, cut.frames, file->sample_rate_hz, safe);
        status = tp_flac_encode(safe, cut.frames, file->sample_rate_hz, &excerpt->bytes, &excerpt->size, error);
    }
    free(safe);
    free(cut.samples);
    free(path);
    if (status != TP_OK)
        tp_excerpt_clear(excerpt);
    return status;
}

/* --- the budget --- */

struct budget {
    size_t findings_left, bytes_left;
};

/* The first spot that does not fit ends it, so that what is kept does not depend on where the rest comes from. */
static bool spend(struct budget *budget, const struct tp_sound_excerpt *excerpts, size_t count)
{
    size_t bytes = 0;
    for (size_t i = 0; i < count; i++)
        bytes += excerpts[i].size;
    if (budget->findings_left == 0 || bytes > budget->bytes_left) {
        budget->findings_left = 0;
        return false;
    }
    budget->findings_left--;
    budget->bytes_left -= bytes;
    return true;
}

/* Cuts one spot into `made`. A file that cannot be read again gives nothing; *count is then 0. */
static enum tp_status cut_spot(const struct tp_report *report, const struct tp_excerpt_options *options,
                               const struct spot *spot, struct tp_sound_excerpt made[2], size_t *count,
                               struct tp_error *error)
{
    struct tp_channel_ref channels[2];
    const struct tp_take *take = &report->takes[spot->take];
    size_t wanted = channels_of(take, &take->findings[spot->finding], channels);
    *count = 0;
    for (size_t i = 0; i < wanted; i++) {
        enum tp_status status = cut_channel(report, options, spot, channels[i], &made[*count], error);
        if (status == TP_ERR_MEMORY)
            return status;
        *count += status == TP_OK;
    }
    return TP_OK;
}

static void clear_all(struct tp_sound_excerpt *made, size_t count)
{
    for (size_t i = 0; i < count; i++)
        tp_excerpt_clear(&made[i]);
}

/* Hands `made` over to the report; what there is no memory for is freed. */
static bool keep(struct tp_report *report, size_t *capacity, struct tp_sound_excerpt *made, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (!tp_grow(&report->excerpts, capacity, report->excerpt_count, sizeof *report->excerpts)) {
            clear_all(made + i, count - i);
            return false;
        }
        report->excerpts[report->excerpt_count++] = made[i];
    }
    return true;
}

static enum tp_status cut_all(struct tp_report *report, const struct tp_excerpt_options *options,
                              const struct spots *spots, struct tp_error *error)
{
    struct budget budget = {options->findings_max, TP_EXCERPT_BYTES_MAX};
    size_t capacity = 0;
    for (size_t i = 0; i < spots->count && budget.findings_left > 0; i++) {
        struct tp_sound_excerpt made[2] = {{0}, {0}};
        size_t count;
        if (options->cancel != NULL && *options->cancel)
            return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped on request");
        enum tp_status status = cut_spot(report, options, &spots->items[i], made, &count, error);
        if (status != TP_OK || (count > 0 && !spend(&budget, made, count)))
            clear_all(made, count);
        else if (!keep(report, &capacity, made, count))
            status = TP_ERR_MEMORY;
        if (status != TP_OK)
            return status;
    }
    return TP_OK;
}

enum tp_status tp_report_add_excerpts(struct tp_report *report, const struct tp_excerpt_options *options,
                                      struct tp_error *error)
{
    struct spots spots = {0};
    tp_excerpts_drop(report);
    if (options->source_count != report->source_count)
        return tp_error_set(error, TP_ERR_USAGE, 0, "cannot cut excerpts: the sources are not those of the report");
    struct tp_error passed_over = {0};
    enum tp_status status = TP_ERR_MEMORY;
    if (list_spots(report, &spots))
        status = cut_all(report, options, &spots, &passed_over);
    free(spots.items);
    tp_error_clear(&passed_over);
    if (status != TP_OK) {
        tp_excerpts_drop(report);
        return tp_error_set(error, status, 0,
                            status == TP_ERR_MEMORY ? "cannot cut excerpts: not enough memory" : "stopped on request");
    }
    return TP_OK;
}

/* Moves the excerpts of one spot to `made`. */
static size_t take_out(struct tp_report *report, const struct spot *spot, struct tp_sound_excerpt made[2])
{
    size_t count = 0;
    for (size_t i = 0; i < report->excerpt_count && count < 2; i++) {
        struct tp_sound_excerpt *excerpt = &report->excerpts[i];
        if (excerpt->bytes == NULL || excerpt->take != spot->take || excerpt->finding != spot->finding)
            continue;
        made[count++] = *excerpt;
        *excerpt = (struct tp_sound_excerpt){0};
    }
    return count;
}

enum tp_status tp_report_limit_excerpts(struct tp_report *report, size_t findings_max, struct tp_error *error)
{
    struct spots spots = {0};
    struct tp_report kept = {0};
    struct budget budget = {findings_max, TP_EXCERPT_BYTES_MAX};
    size_t capacity = 0;
    bool has_memory = list_spots(report, &spots);
    for (size_t i = 0; has_memory && i < spots.count && budget.findings_left > 0; i++) {
        struct tp_sound_excerpt made[2];
        size_t count = take_out(report, &spots.items[i], made);
        if (count > 0 && spend(&budget, made, count))
            has_memory = keep(&kept, &capacity, made, count);
        else
            clear_all(made, count);
    }
    free(spots.items);
    tp_excerpts_drop(report);
    report->excerpts = kept.excerpts;
    report->excerpt_count = kept.excerpt_count;
    return has_memory ? TP_OK : tp_error_set(error, TP_ERR_MEMORY, 0, "cannot keep the excerpts: not enough memory");
}
