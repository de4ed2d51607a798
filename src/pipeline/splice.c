/* SPDX-License-Identifier: MIT */
#include <takeproof/splice.h>

#include "base/io.h"
#include "base/num.h"
#include "base/text.h"
#include "read/timecode.h"
#include "report/splice_rows.h"
#include "take/splice_meta.h"
#include "take/splice_plan.h"
#include "take/splice_wave.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define BLOCK_FRAMES 8192
#define NAME_BYTES_MAX 200
#define LIST_NAME "splices.csv"

/* One track on its way to disk. */
struct job {
    const struct tp_splice_options *options;
    struct tp_spliced_track *track;
    const struct tp_pair *pair;
    const struct tp_file *main_file, *safety_file;
    char *path; /* of the track */
    struct tp_splice_source *main, *safety;
    struct tp_splice_plan plan;
    struct tp_progress *progress;
    double *samples, *scratch; /* BLOCK_FRAMES each */
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to splice");
}

static const struct tp_signal *signal_of(const struct tp_report *report, const struct tp_spliced_track *track)
{
    return &report->takes[track->take].signals[track->signal];
}

/* --- what there is to write --- */

static char *why_not(const struct tp_signal *signal, bool left_out)
{
    if (left_out)
        return tp_strdup("the main is undamaged: use it as recorded");
    if (signal->use.choice == TP_CHOICE_NONE)
        return tp_format("there is no clean channel to make a track from: %s",
                         signal->use.reason != NULL ? signal->use.reason : "");
    return tp_strdup("");
}

static bool is_spliced(const struct tp_pair *pair, double start_s, double end_s)
{
    for (size_t i = 0; i < pair->splice_count; i++)
        if (pair->splices[i].start_s < end_s && pair->splices[i].end_s > start_s)
            return true;
    return false;
}

/* Where both are dead the track is, too. */
static void add_dead(struct tp_text *text, const struct tp_report *report, const struct tp_pair *pair)
{
    const struct tp_file *file = &report->files[pair->main.file];
    const struct tp_spans *dead = &file->channels[pair->main.channel].dead;
    char from[TP_NUMBER_SIZE], to[TP_NUMBER_SIZE];
    bool any = false;
    for (size_t i = 0; i < dead->count; i++) {
        double start_s = (double)dead->items[i].start_frame / (double)file->sample_rate_hz;
        double end_s = (double)dead->items[i].end_frame / (double)file->sample_rate_hz;
        if (is_spliced(pair, start_s, end_s))
            continue;
        tp_text_format(text, "%s%s to %s",
                       any                ? ", "
                       : text->length > 0 ? "; main and safety are both silent from "
                                          : "main and safety are both silent from ",
                       tp_duration_text(from, start_s, 1), tp_duration_text(to, end_s, 1));
        any = true;
    }
}

/* A track does not mend what else its take fails for. NULL without memory. */
static char *caution(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                     bool is_written)
{
    struct tp_text text = {0};
    uint32_t rate_hz = report->files[signal->pair->main.file].sample_rate_hz, agreed_hz = report->spec.sample_rate_hz;
    enum tp_code last = TP_CODE_COUNT;
    size_t told = 0;
    if (is_written && agreed_hz != 0 && rate_hz != agreed_hz)
        tp_text_format(&text, "recorded at %u Hz, agreed is %u Hz: the track keeps the rate of the recording",
                       (unsigned)rate_hz, (unsigned)agreed_hz);
    if (is_written)
        add_dead(&text, report, signal->pair);
    for (size_t i = 0; i < take->finding_count; i++) {
        enum tp_code code = take->findings[i].code;
        if (take->findings[i].severity != TP_FAIL || code == last || code == TP_CODE_WRONG_SAMPLE_RATE ||
            code == TP_CODE_BOTH_CLIPPED)
            continue;
        tp_text_format(&text, "%s%s",
                       told++ > 0        ? ", "
                       : text.length > 0 ? "; the take fails: "
                                         : "the take fails: ",
                       tp_finding_info(code)->name);
        last = code;
    }
    return text.length > 0 || text.failed ? tp_text_take(&text) : tp_strdup("");
}

static size_t count_pairs(const struct tp_take *take)
{
    size_t pairs = 0;
    for (size_t s = 0; s < take->signal_count; s++)
        pairs += take->signals[s].pair != NULL;
    return pairs;
}

/* A name that every file system takes: no separators, no control characters, no leading dot, bounded. */
static char *file_name(const struct tp_take *take, const struct tp_pair *pair, size_t pairs)
{
    struct tp_text name = {0};
    size_t length = strlen(take->id);
    while (length > NAME_BYTES_MAX || (length > 0 && length < strlen(take->id) && (take->id[length] & 0xC0) == 0x80))
        length--;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)take->id[i];
        bool awkward = c < 0x20 || c == 0x7F || strchr("/\\:*?\"<>|", c) != NULL || (i == 0 && c == '.');
        tp_text_append(&name, awkward ? "_" : take->id + i, 1);
    }
    if (length == 0)
        tp_text_add(&name, "take");
    if (pairs > 1)
        tp_text_format(&name, "_f%zuch%u", pair->main.file + 1, (unsigned)pair->main.channel + 1);
    tp_text_add(&name, "_clean.wav");
    return tp_text_take(&name);
}

static bool is_name_taken(const struct tp_splice_result *result, const char *name)
{
    for (size_t i = 0; i < result->track_count; i++)
        if (result->tracks[i].name != NULL && strcasecmp(result->tracks[i].name, name) == 0)
            return true;
    return false;
}

/* Two ids may come to one name once awkward characters are replaced. */
static char *unique_name(const struct tp_splice_result *result, char *name)
{
    for (unsigned number = 2; name != NULL && is_name_taken(result, name); number++) {
        size_t stem = strlen(name) - strlen("_clean.wav");
        char *next = tp_format("%.*s-%u_clean.wav", (int)stem, name, number);
        free(name);
        name = next;
    }
    return name;
}

static enum tp_status list_tracks(const struct tp_splice_options *options, struct tp_splice_result *result,
                                  struct tp_error *error)
{
    const struct tp_report *report = options->report;
    size_t total = 0;
    for (size_t t = 0; t < report->take_count; t++)
        total += count_pairs(&report->takes[t]);
    result->tracks = calloc(total + 1, sizeof *result->tracks);
    if (result->tracks == NULL)
        return no_memory(error);
    for (size_t t = 0; t < report->take_count; t++) {
        const struct tp_take *take = &report->takes[t];
        for (size_t s = 0; s < take->signal_count; s++) {
            const struct tp_signal *signal = &take->signals[s];
            if (signal->pair == NULL)
                continue;
            bool left_out = options->only_damaged && signal->use.choice == TP_CHOICE_MAIN;
            bool none = left_out || signal->use.choice == TP_CHOICE_NONE;
            char *name = none ? tp_strdup("") : unique_name(result, file_name(take, signal->pair, count_pairs(take)));
            struct tp_spliced_track *track = &result->tracks[result->track_count++];
            *track = (struct tp_spliced_track){
                .take = t,
                .signal = s,
                .choice = signal->use.choice,
                .name = name,
                .why_not = why_not(signal, left_out),
                .caution = caution(report, &report->takes[t], signal, name != NULL && *name != '\0'),
                .gain_db = -signal->pair->offset_db,
                .peak_dbfs = (double)NAN};
            if (track->name == NULL || track->why_not == NULL || track->caution == NULL)
                return no_memory(error);
        }
    }
    return TP_OK;
}

/* --- where things are --- */

/* How a file of the report is opened; owned by the caller. */
static char *source_path(const struct tp_splice_options *options, const struct tp_file *file)
{
    const char *source = options->sources[file->source];
    struct stat status;
    if (stat(source, &status) == 0 && S_ISDIR(status.st_mode))
        return tp_path_join(source, file->path_raw);
    return tp_strdup(source);
}

/* A source is never written to, not even under the name of a track. */
static enum tp_status refuse_source(const struct tp_splice_options *options, const char *path, struct tp_error *error)
{
    struct stat target, source;
    if (stat(path, &target) != 0)
        return TP_OK;
    for (size_t i = 0; i < options->report->file_count; i++) {
        char *opened = source_path(options, &options->report->files[i]);
        if (opened == NULL)
            return no_memory(error);
        bool same = stat(opened, &source) == 0 && source.st_dev == target.st_dev && source.st_ino == target.st_ino;
        free(opened);
        if (same)
            return tp_error_set(error, TP_ERR_USAGE, 0, "'%s' is a source; choose another folder", path);
    }
    return TP_OK;
}

static enum tp_status check_target(const struct tp_splice_options *options, const char *name, struct tp_error *error)
{
    char *path = tp_path_join(options->directory, name);
    struct stat there;
    if (path == NULL)
        return no_memory(error);
    enum tp_status status = refuse_source(options, path, error);
    if (status == TP_OK && !options->replace && lstat(path, &there) == 0)
        status =
            tp_error_set(error, TP_ERR_EXISTS, 0, "'%s' is there already and is left alone; nothing was written", path);
    free(path);
    return status;
}

/* A list that is there is added to. */
static enum tp_status check_list(const struct tp_splice_options *options, struct tp_error *error)
{
    char *path = tp_path_join(options->directory, LIST_NAME);
    struct tp_splice_rows rows = {0};
    enum tp_status status = path != NULL ? refuse_source(options, path, error) : no_memory(error);
    if (status == TP_OK)
        status = tp_splice_rows_read(&rows, path, error);
    tp_splice_rows_clear(&rows);
    free(path);
    return status;
}

static enum tp_status check_targets(const struct tp_splice_options *options, const struct tp_splice_result *result,
                                    struct tp_error *error)
{
    const struct tp_output_options output = {.kind = TP_OUTPUT_TRACKS,
                                             .directory = options->directory,
                                             .sources = options->sources,
                                             .source_count = options->source_count,
                                             .not_on_card = options->not_on_card};
    enum tp_status status = tp_output_check(&output, error);
    if (status == TP_OK)
        status = check_list(options, error);
    for (size_t i = 0; i < result->track_count && status == TP_OK; i++)
        if (*result->tracks[i].name != '\0')
            status = check_target(options, result->tracks[i].name, error);
    return status;
}

/* --- one track --- */

static bool is_cancelled(const struct tp_splice_options *options)
{
    return options->cancel != NULL && __atomic_load_n(options->cancel, __ATOMIC_RELAXED) != 0;
}

static enum tp_status open_source(const struct job *job, const struct tp_file *file, uint32_t channel,
                                  struct tp_splice_source **source, struct tp_error *error)
{
    char *path = source_path(job->options, file);
    if (path == NULL)
        return no_memory(error);
    enum tp_status status = tp_splice_source_open(source, path, file, channel, error);
    free(path);
    return status;
}

static enum tp_status prepare(struct job *job, struct tp_error *error)
{
    const struct tp_pair *pair = job->pair;
    const struct tp_channel *main_levels = &job->main_file->channels[pair->main.channel];
    const struct tp_channel *safety_levels = &job->safety_file->channels[pair->safety.channel];
    enum tp_status status = open_source(job, job->main_file, pair->main.channel, &job->main, error);
    if (status == TP_OK)
        status = open_source(job, job->safety_file, pair->safety.channel, &job->safety, error);
    if (status == TP_OK && job->track->choice != TP_CHOICE_MAIN)
        status = tp_splice_plan_make(&job->plan, pair, main_levels, safety_levels, job->main_file->sample_rate_hz,
                                     job->track->choice == TP_CHOICE_SAFETY, job->main, job->safety, error);
    job->samples = malloc(BLOCK_FRAMES * sizeof *job->samples);
    job->scratch = malloc(BLOCK_FRAMES * sizeof *job->scratch);
    if (status == TP_OK && (job->samples == NULL || job->scratch == NULL))
        status = no_memory(error);
    if (status != TP_OK)
        return status;
    job->track->sample_rate_hz = job->main_file->sample_rate_hz;
    job->track->frames = tp_splice_source_frames(job->main);
    return TP_OK;
}

static double largest(const double *samples, size_t frames, double so_far)
{
    for (size_t i = 0; i < frames; i++)
        so_far = fabs(samples[i]) > so_far ? fabs(samples[i]) : so_far;
    return so_far;
}

/* Highest sample in the replaced stretches. */
static enum tp_status replaced_peak(struct job *job, double *peak, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < job->plan.count && status == TP_OK; i++) {
        const struct tp_splice_region *r = &job->plan.regions[i];
        uint64_t end = r->out.start_frame + r->out.frames;
        for (uint64_t at = r->in.start_frame; at < end && status == TP_OK;) {
            size_t n = end - at < BLOCK_FRAMES ? (size_t)(end - at) : BLOCK_FRAMES;
            if (is_cancelled(job->options))
                return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped on request");
            status = tp_splice_mix(&job->plan, job->main, job->safety, at, n, job->samples, job->scratch, error);
            *peak = largest(job->samples, n, *peak);
            at += n;
        }
    }
    return status;
}

/* Encoding and width of the track, and whether it must be lowered. */
static void choose_format(struct job *job, double peak)
{
    const struct tp_file *file = job->main_file;
    struct tp_spliced_track *track = job->track;
    bool wide = file->bit_depth > 32 || (file->bit_depth == 32 && file->effective_bits > 24);
    track->encoding = file->encoding;
    if (file->encoding == TP_ENCODING_FLOAT) {
        track->bit_depth = file->bit_depth;
        return;
    }
    track->bit_depth = wide ? 32 : 24;
    if (peak <= 1.0 - ldexp(1.0, 1 - (int)track->bit_depth))
        return;
    if (job->options->headroom) {
        track->lowered_db = ceil(tp_db_from_lin(peak) + 1.0);
        return;
    }
    track->encoding = TP_ENCODING_FLOAT;
    track->bit_depth = wide ? 64 : 32;
}

/* At the main's sample rate; "" when the start is not known. */
static void timecode_at(const struct job *job, uint64_t frame, char text[TP_TIMECODE_SIZE])
{
    const struct tp_take *take = &job->options->report->takes[job->track->take];
    uint32_t rate_hz = job->main_file->sample_rate_hz;
    text[0] = '\0';
    if (take->start_samples == TP_NO_TIMECODE || !tp_timecode_rate_is_known(take->timecode_rate) || rate_hz == 0 ||
        take->start_samples > UINT64_MAX - frame)
        return;
    tp_timecode_text(text, tp_timecode_frame(take->start_samples + frame, rate_hz, take->timecode_rate),
                     take->timecode_rate);
}

_Static_assert(sizeof((struct tp_spliced_span *)0)->start_timecode == TP_TIMECODE_SIZE, "room for a timecode");

static bool tell_spans(struct job *job)
{
    struct tp_spliced_track *track = job->track;
    double rate = (double)track->sample_rate_hz;
    if (job->plan.count == 0)
        return true;
    track->spans = calloc(job->plan.count, sizeof *track->spans);
    if (track->spans == NULL)
        return false;
    for (size_t i = 0; i < job->plan.count; i++) {
        const struct tp_splice_region *r = &job->plan.regions[i];
        bool has_splice = r->first_splice < job->pair->splice_count;
        track->spans[i] =
            (struct tp_spliced_span){.start_s = (double)r->in.start_frame / rate,
                                     .end_s = (double)(r->out.start_frame + r->out.frames) / rate,
                                     .damage_start_s = (double)r->core_start / rate,
                                     .damage_end_s = (double)r->core_end / rate,
                                     .fade_in_s = r->in.frames / rate,
                                     .fade_out_s = r->out.frames / rate,
                                     .fade_in_equal_power = r->in.equal_power,
                                     .fade_out_equal_power = r->out.equal_power,
                                     .lag_samples = r->lag,
                                     .gain_in_db = tp_db_from_lin(r->gain_in),
                                     .gain_out_db = tp_db_from_lin(r->gain_out),
                                     .cause = has_splice ? job->pair->splices[r->first_splice].cause : TP_CODE_CLIPPED};
        timecode_at(job, r->in.start_frame, track->spans[i].start_timecode);
        timecode_at(job, r->out.start_frame + r->out.frames, track->spans[i].end_timecode);
        track->spliced_s += track->spans[i].end_s - track->spans[i].start_s;
    }
    track->span_count = job->plan.count;
    return true;
}

static enum tp_status write_samples(struct job *job, const struct tp_splice_wave *wave, FILE *out,
                                    struct tp_error *error)
{
    double gain = tp_lin_from_db(-job->track->lowered_db), peak = 0.0;
    enum tp_status status = TP_OK;
    for (uint64_t at = 0; at < wave->frames && status == TP_OK;) {
        size_t n = wave->frames - at < BLOCK_FRAMES ? (size_t)(wave->frames - at) : BLOCK_FRAMES;
        if (is_cancelled(job->options))
            return tp_error_set(error, TP_ERR_CANCELLED, 0, "stopped on request");
        status = tp_splice_mix(&job->plan, job->main, job->safety, at, n, job->samples, job->scratch, error);
        if (status != TP_OK)
            break;
        for (size_t i = 0; gain < 1.0 && i < n; i++)
            job->samples[i] *= gain;
        peak = largest(job->samples, n, peak);
        tp_splice_wave_samples(wave, job->samples, n, out);
        if (ferror(out))
            break; /* the commit tells why */
        at += n;
        job->progress->bytes_done += n * (wave->bit_depth / 8);
        if (job->options->progress != NULL)
            job->options->progress(job->options->progress_user, job->progress);
    }
    job->track->peak_dbfs = tp_db_from_lin(peak);
    return status;
}

static enum tp_status write_file(struct job *job, const struct tp_splice_meta *meta, struct tp_error *error)
{
    const struct tp_spliced_track *track = job->track;
    struct tp_splice_wave wave = {.sample_rate_hz = track->sample_rate_hz,
                                  .encoding = track->encoding,
                                  .bit_depth = track->bit_depth,
                                  .frames = track->frames,
                                  .bext = meta->bext,
                                  .bext_bytes = meta->bext_bytes,
                                  .ixml = meta->ixml,
                                  .ixml_bytes = meta->ixml_bytes};
    struct tp_whole_file file;
    enum tp_status status = tp_whole_file_open(&file, job->path, job->options->replace, error);
    if (status != TP_OK)
        return status;
    tp_splice_wave_begin(&wave, file.stream);
    status = write_samples(job, &wave, file.stream, error);
    tp_splice_wave_end(&wave, file.stream);
    if (status == TP_OK)
        return tp_whole_file_commit(&file, error);
    tp_whole_file_abandon(&file);
    return status;
}

static enum tp_status make_track(struct job *job, struct tp_error *error)
{
    double peak = 0.0;
    enum tp_status status = prepare(job, error);
    if (status == TP_OK)
        status = replaced_peak(job, &peak, error);
    if (status != TP_OK)
        return status;
    choose_format(job, peak);
    if (!tell_spans(job))
        return no_memory(error);
    struct tp_splice_meta meta;
    struct tp_splice_story story = {.main = job->main_file,
                                    .safety = job->safety_file,
                                    .main_channel = job->pair->main.channel,
                                    .safety_channel = job->pair->safety.channel,
                                    .choice = job->track->choice,
                                    .encoding = job->track->encoding,
                                    .bit_depth = job->track->bit_depth,
                                    .gain_db = job->track->gain_db,
                                    .lowered_db = job->track->lowered_db,
                                    .spliced_s = job->track->spliced_s,
                                    .lag_samples = job->pair->lag_samples,
                                    .inverted = job->pair->inverted,
                                    .span_count = job->track->span_count};
    status = tp_splice_meta_make(&meta, &story, job->main, error);
    if (status != TP_OK)
        return status;
    status = write_file(job, &meta, error);
    tp_splice_meta_clear(&meta);
    return status;
}

static enum tp_status write_track(const struct tp_splice_options *options, struct tp_spliced_track *track,
                                  struct tp_progress *progress, struct tp_error *error)
{
    const struct tp_report *report = options->report;
    const struct tp_pair *pair = signal_of(report, track)->pair;
    struct job job = {.options = options,
                      .track = track,
                      .pair = pair,
                      .main_file = &report->files[pair->main.file],
                      .safety_file = &report->files[pair->safety.file],
                      .path = tp_path_join(options->directory, track->name),
                      .progress = progress};
    enum tp_status status = job.path != NULL ? make_track(&job, error) : no_memory(error);
    tp_splice_source_close(job.main);
    tp_splice_source_close(job.safety);
    tp_splice_plan_clear(&job.plan);
    free(job.path);
    free(job.samples);
    free(job.scratch);
    return status;
}

/* --- all of it --- */

struct list {
    struct tp_splice_rows rows; /* that were there */
    const struct tp_splice_result *result;
};

static enum tp_status write_rows(const void *user, FILE *out, struct tp_error *error)
{
    const struct list *list = user;
    return tp_splice_rows_write(&list->rows, list->result, out, error);
}

static enum tp_status write_list(const struct tp_splice_options *options, const struct tp_splice_result *result,
                                 struct tp_error *error)
{
    struct list list = {.result = result};
    char *path = tp_path_join(options->directory, LIST_NAME);
    if (path == NULL)
        return no_memory(error);
    enum tp_status status = tp_splice_rows_read(&list.rows, path, error);
    free(path);
    if (status == TP_OK)
        status = tp_whole_file_write(options->directory, LIST_NAME, write_rows, &list, error);
    tp_splice_rows_clear(&list.rows);
    return status;
}

static void count_work(const struct tp_splice_options *options, const struct tp_splice_result *result,
                       struct tp_progress *progress)
{
    for (size_t i = 0; i < result->track_count; i++) {
        if (*result->tracks[i].name == '\0')
            continue;
        const struct tp_file *main =
            &options->report->files[signal_of(options->report, &result->tracks[i])->pair->main.file];
        progress->files_total++;
        progress->bytes_total += main->frames * (main->bit_depth > 24 ? main->bit_depth / 8 : 4);
    }
}

static enum tp_status write_tracks(const struct tp_splice_options *options, struct tp_splice_result *result,
                                   struct tp_error *error)
{
    struct tp_progress progress = {0};
    enum tp_status status = tp_folder_make(options->directory, error);
    count_work(options, result, &progress);
    for (size_t i = 0; i < result->track_count && status == TP_OK; i++) {
        if (*result->tracks[i].name == '\0')
            continue;
        progress.path = result->tracks[i].name;
        status = write_track(options, &result->tracks[i], &progress, error);
        result->written += status == TP_OK;
        progress.files_done++;
    }
    return status == TP_OK ? write_list(options, result, error) : status;
}

enum tp_status tp_splice_write(const struct tp_splice_options *options, struct tp_splice_result **result,
                               struct tp_error *error)
{
    const struct tp_report *report = options->report;
    for (size_t i = 0; i < report->file_count; i++)
        if (report->files[i].source >= options->source_count)
            return tp_error_set(error, TP_ERR_USAGE, 0, "the sources are not those that were checked");
    struct tp_splice_result *made = calloc(1, sizeof *made);
    if (made == NULL)
        return no_memory(error);
    made->report = report;
    enum tp_status status = list_tracks(options, made, error);
    if (status == TP_OK)
        status = check_targets(options, made, error);
    if (status == TP_OK)
        status = write_tracks(options, made, error);
    if (status != TP_OK) {
        tp_splice_result_free(made);
        return status;
    }
    *result = made;
    return TP_OK;
}

void tp_splice_result_free(struct tp_splice_result *result)
{
    if (result == NULL)
        return;
    for (size_t i = 0; i < result->track_count; i++) {
        free(result->tracks[i].name);
        free(result->tracks[i].why_not);
        free(result->tracks[i].caution);
        free(result->tracks[i].spans);
    }
    free(result->tracks);
    free(result);
}
