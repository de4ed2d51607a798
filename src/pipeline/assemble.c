/* SPDX-License-Identifier: MIT */
#include "pipeline/assemble.h"

#include "base/text.h"
#include "read/timecode.h"
#include "result.h"
#include "take/choose.h"
#include "take/dead.h"
#include "take/names.h"
#include "take/segments.h"

#include <stdlib.h>
#include <string.h>

static enum tp_status out_of_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to put the takes together");
}

/* --- which files of a group are one take --- */

static bool same_length_and_start(const struct tp_file *a, const struct tp_file *b)
{
    return a->frames > 0 && a->frames == b->frames && a->sample_rate_hz == b->sample_rate_hz &&
           tp_start_samples(a) == tp_start_samples(b);
}

static bool linked_by_pair(const struct tp_lockstep_pairs *pairs, size_t a, size_t b)
{
    for (size_t p = 0; p < pairs->count; p++) {
        size_t main = pairs->items[p].main.file;
        size_t safety = pairs->items[p].safety.file;
        if ((main == a && safety == b) || (main == b && safety == a))
            return true;
    }
    return false;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* Gives each file of the group the position of the first file of its take. */
static void divide_group(const struct tp_report *report, const struct tp_group *group,
                         const struct tp_lockstep_pairs *pairs, size_t *leader)
{
    enum tp_track_kind kind;
    (void)tp_group_stem(base_name(report->files[group->files[0]].path_raw), &kind);
    for (size_t i = 0; i < group->file_count; i++)
        leader[i] = i;
    for (size_t i = 0; i < group->file_count; i++) {
        for (size_t j = 0; j < i; j++) {
            const struct tp_file *a = &report->files[group->files[i]];
            const struct tp_file *b = &report->files[group->files[j]];
            bool together = kind == TP_TRACK_SURE || same_length_and_start(a, b) ||
                            linked_by_pair(pairs, group->files[i], group->files[j]);
            if (!together || leader[i] == leader[j])
                continue;
            size_t from = leader[i] > leader[j] ? leader[i] : leader[j];
            size_t to = leader[i] > leader[j] ? leader[j] : leader[i];
            for (size_t k = 0; k < group->file_count; k++)
                if (leader[k] == from)
                    leader[k] = to;
        }
    }
}

/* --- names and time --- */

static const char *first_text(const char *first, const char *second)
{
    return first != NULL && *first != '\0' ? first : second;
}

static char *take_id(const struct tp_file *file, size_t file_count)
{
    const char *name = base_name(file->path);
    enum tp_track_kind kind;
    size_t stem = tp_group_stem(name, &kind);
    if (kind == TP_TRACK_MAYBE && file_count == 1) {
        const char *dot = strrchr(name, '.');
        stem = dot != NULL && dot != name ? (size_t)(dot - name) : strlen(name);
    }
    return tp_strndup(name, stem);
}

static struct tp_timecode_rate rate_of(const struct tp_file *file, const struct tp_spec *spec)
{
    if (file->ixml != NULL && tp_timecode_rate_is_known(file->ixml->timecode_rate))
        return file->ixml->timecode_rate;
    if (tp_timecode_rate_is_known(spec->timecode_rate))
        return spec->timecode_rate;
    return (struct tp_timecode_rate){25, 1, false};
}

static enum tp_status set_timecode(struct tp_take *take, const struct tp_file *file, const struct tp_spec *spec)
{
    char start[TP_TIMECODE_SIZE] = "";
    char end[TP_TIMECODE_SIZE] = "";
    take->start_samples = tp_start_samples(file);
    take->timecode_rate = rate_of(file, spec);
    uint32_t stamp_hz = file->ixml != NULL && file->ixml->timestamp_sample_rate_hz != 0
                            ? file->ixml->timestamp_sample_rate_hz
                            : file->sample_rate_hz;
    if (take->start_samples != TP_NO_TIMECODE && stamp_hz > 0 && take->start_samples < TP_NO_TIMECODE - file->frames) {
        tp_timecode_text(start, tp_timecode_frame(take->start_samples, stamp_hz, take->timecode_rate),
                         take->timecode_rate);
        tp_timecode_text(end, tp_timecode_frame(take->start_samples + file->frames, stamp_hz, take->timecode_rate),
                         take->timecode_rate);
    }
    take->start_timecode = tp_strdup(start);
    take->end_timecode = tp_strdup(end);
    return take->start_timecode != NULL && take->end_timecode != NULL ? TP_OK : TP_ERR_MEMORY;
}

static enum tp_status name_take(struct tp_take *take, const struct tp_report *report)
{
    const struct tp_file *file = &report->files[take->files[0]];
    const struct tp_ixml *ixml = file->ixml;
    take->id = take_id(file, take->file_count);
    struct tp_name_fields name = {0};
    (void)tp_name_read(report->spec.pattern, file->path_raw, &name);
    /* What the metadata says goes before the file name, and the spec's scene is for files that say nothing. */
    const char *named_scene = first_text(name.scene, report->spec.scene);
    char *scene = tp_strdup(ixml != NULL ? first_text(ixml->scene, named_scene) : named_scene);
    char *number = tp_strdup(ixml != NULL ? first_text(ixml->take, name.take) : name.take);
    take->scene = scene != NULL ? tp_utf8_repair(scene, strlen(scene)) : NULL;
    take->take = number != NULL ? tp_utf8_repair(number, strlen(number)) : NULL;
    free(scene);
    free(number);
    /* Where there is iXML, a recorder's bext description repeats its fields; alone it is where people write. */
    const char *description = file->bext != NULL && (ixml == NULL || ixml->damaged) ? file->bext->description : "";
    take->notes = tp_strdup(ixml != NULL ? first_text(ixml->note, description) : description);
    take->circled = ixml != NULL ? ixml->circled : -1;
    take->no_good = ixml != NULL ? ixml->no_good : -1;
    for (size_t i = 0; i < take->file_count; i++)
        if (report->files[take->files[i]].duration_s > take->duration_s)
            take->duration_s = report->files[take->files[i]].duration_s;
    if (take->id == NULL || take->scene == NULL || take->take == NULL || take->notes == NULL)
        return TP_ERR_MEMORY;
    return set_timecode(take, file, &report->spec);
}

/* --- signals --- */

/* The channels of one take, and which of them already belong to a signal. */
struct take_channels {
    struct tp_pair_channel *items;
    bool *used;
    size_t count;
};

static enum tp_status list_take_channels(const struct tp_report *report, const struct tp_take *take,
                                         struct take_channels *channels)
{
    size_t total = 0;
    for (size_t i = 0; i < take->file_count; i++)
        if (report->files[take->files[i]].channels != NULL)
            total += report->files[take->files[i]].channel_count;
    channels->items = calloc(total + 1, sizeof *channels->items);
    channels->used = calloc(total + 1, sizeof *channels->used);
    if (channels->items == NULL || channels->used == NULL)
        return TP_ERR_MEMORY;
    for (size_t i = 0; i < take->file_count; i++) {
        const struct tp_file *file = &report->files[take->files[i]];
        for (uint32_t c = 0; file->channels != NULL && c < file->channel_count; c++)
            channels->items[channels->count++] = (struct tp_pair_channel){
                .file = take->files[i], .channel = c, .levels = &file->channels[c], .frames = file->frames};
    }
    return TP_OK;
}

static size_t find_channel(const struct take_channels *channels, const struct tp_pair_channel *wanted)
{
    for (size_t i = 0; i < channels->count; i++)
        if (channels->items[i].file == wanted->file && channels->items[i].channel == wanted->channel)
            return i;
    return TP_NO_INDEX;
}

static bool is_dead(const struct tp_pair_channel *channel)
{
    return channel->levels->digital_silence;
}

static struct tp_signal *new_signal(struct tp_take *take, const struct tp_pair_channel *channel)
{
    struct tp_signal *signal = &take->signals[take->signal_count++];
    signal->channel = (struct tp_channel_ref){.file = channel->file, .channel = channel->channel};
    signal->copy.file = TP_NO_INDEX;
    signal->dead_partner.file = TP_NO_INDEX;
    signal->same_as.file = TP_NO_INDEX;
    signal->use.file = TP_NO_INDEX;
    signal->name = tp_strdup(channel->levels->name);
    return signal;
}

static struct tp_signal *signal_of(struct tp_take *take, const struct tp_pair_channel *channel)
{
    for (size_t i = 0; i < take->signal_count; i++)
        if (take->signals[i].channel.file == channel->file && take->signals[i].channel.channel == channel->channel)
            return &take->signals[i];
    return NULL;
}

/* Kin come behind the pairs and copies: `pair->safety` may be the first of two copies, which has its signal already. */
static enum tp_status add_kin(struct tp_take *take, const struct tp_lockstep_pair *pair, uint32_t rate_hz,
                              struct tp_error *error)
{
    struct tp_signal *signal = signal_of(take, &pair->safety);
    if (signal == NULL)
        signal = new_signal(take, &pair->safety);
    signal->same_as = (struct tp_channel_ref){.file = pair->main.file, .channel = pair->main.channel};
    free(signal->use.reason);
    signal->use.reason = NULL;
    enum tp_status status = tp_choose_kin(&pair->safety, pair->main.channel + 1, rate_hz, signal, error);
    return status != TP_OK ? status : signal->name == NULL ? out_of_memory(error) : TP_OK;
}

static enum tp_status add_matches(const struct tp_report *report, struct tp_take *take, struct take_channels *channels,
                                  const struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    for (size_t p = 0; p < pairs->count; p++) {
        const struct tp_lockstep_pair *pair = &pairs->items[p];
        size_t main = find_channel(channels, &pair->main);
        size_t safety = find_channel(channels, &pair->safety);
        if (main == TP_NO_INDEX || safety == TP_NO_INDEX)
            continue;
        uint32_t rate_hz = report->files[pair->main.file].sample_rate_hz;
        enum tp_status status;
        channels->used[safety] = true;
        if (pair->match.kin) {
            status = add_kin(take, pair, rate_hz, error);
            if (status != TP_OK)
                return status;
            continue;
        }
        channels->used[main] = true;
        struct tp_signal *signal = new_signal(take, &pair->main);
        if (pair->match.copy) {
            signal->copy = (struct tp_channel_ref){.file = pair->safety.file, .channel = pair->safety.channel};
            status = tp_choose_single(&pair->main, rate_hz, signal, error);
        } else {
            status = tp_choose_pair(&pair->match, &pair->main, &pair->safety, rate_hz, signal, error);
        }
        if (status != TP_OK || signal->name == NULL)
            return status != TP_OK ? status : out_of_memory(error);
    }
    return TP_OK;
}

/* A take of two channels, one of them dead: the pair cannot be seen in the signal, but the dead half must not pass
 * unseen. */
static bool find_dead_partner(const struct take_channels *channels, const struct tp_spec *spec, size_t channel,
                              size_t *partner)
{
    if (spec->pair == TP_PAIR_OFF || channels->count != 2 || is_dead(&channels->items[channel]))
        return false;
    *partner = 1 - channel;
    return !channels->used[*partner] && is_dead(&channels->items[*partner]);
}

static enum tp_status add_singles(const struct tp_report *report, struct tp_take *take, struct take_channels *channels,
                                  struct tp_error *error)
{
    for (size_t c = 0; c < channels->count; c++) {
        const struct tp_pair_channel *channel = &channels->items[c];
        size_t partner;
        size_t other;
        if (channels->used[c])
            continue;
        /* A dead channel with a live partner is told with the partner. */
        if (is_dead(channel) && channels->count == 2 && find_dead_partner(channels, &report->spec, 1 - c, &other) &&
            !channels->used[1 - c])
            continue;
        uint32_t rate_hz = report->files[channel->file].sample_rate_hz;
        struct tp_signal *signal = new_signal(take, channel);
        bool has_dead_partner = find_dead_partner(channels, &report->spec, c, &partner);
        enum tp_status status = has_dead_partner
                                    ? tp_choose_with_dead_partner(channel, partner < c, rate_hz, signal, error)
                                    : tp_choose_single(channel, rate_hz, signal, error);
        if (status != TP_OK || signal->name == NULL)
            return status != TP_OK ? status : out_of_memory(error);
        if (has_dead_partner) {
            const struct tp_pair_channel *dead = &channels->items[partner];
            signal->dead_partner = (struct tp_channel_ref){.file = dead->file, .channel = dead->channel};
            signal->dead_partner_is_main = partner < c;
        }
    }
    return TP_OK;
}

static int compare_signals(const void *a, const void *b)
{
    const struct tp_signal *first = a;
    const struct tp_signal *second = b;
    if (first->channel.file != second->channel.file)
        return first->channel.file < second->channel.file ? -1 : 1;
    return first->channel.channel < second->channel.channel ? -1 : first->channel.channel > second->channel.channel;
}

static enum tp_status judge_dead(struct tp_report *report, const struct take_channels *channels,
                                 const struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    for (size_t p = 0; p < pairs->count && status == TP_OK; p++) {
        const struct tp_lockstep_pair *pair = &pairs->items[p];
        if (!pair->match.copy && !pair->match.kin && find_channel(channels, &pair->main) != TP_NO_INDEX &&
            find_channel(channels, &pair->safety) != TP_NO_INDEX)
            status = tp_dead_judge_pair(report->files, &pair->match, &pair->main, &pair->safety, error);
    }
    for (size_t c = 0; c < channels->count && status == TP_OK; c++)
        status = tp_dead_judge_channel(&report->files[channels->items[c].file], channels->items[c].channel, error);
    return status;
}

/* What a person asks for first of a take: the pair, else a microphone, else what there is. Smaller is better. */
static int importance(const struct tp_report *report, const struct tp_signal *signal)
{
    const struct tp_file *file = &report->files[signal->channel.file];
    struct tp_track track;
    tp_file_track(file, signal->channel.channel, &track);
    if (file->channels[signal->channel.channel].digital_silence)
        return 5;
    if (track.is_mix)
        return signal->pair != NULL ? 3 : 4;
    if (signal->pair != NULL || signal->dead_partner.file != TP_NO_INDEX)
        return 0;
    return signal->same_as.file != TP_NO_INDEX ? 2 : 1;
}

static void put_first(const struct tp_report *report, struct tp_take *take)
{
    size_t best = 0;
    for (size_t i = 1; i < take->signal_count; i++)
        if (importance(report, &take->signals[i]) < importance(report, &take->signals[best]))
            best = i;
    if (best == 0)
        return;
    struct tp_signal first = take->signals[best];
    memmove(take->signals + 1, take->signals, best * sizeof *take->signals);
    take->signals[0] = first;
}

static enum tp_status add_signals(struct tp_report *report, struct tp_take *take, const struct tp_lockstep_pairs *pairs,
                                  struct tp_error *error)
{
    struct take_channels channels = {0};
    enum tp_status status = TP_OK;
    if (list_take_channels(report, take, &channels) != TP_OK)
        status = out_of_memory(error);
    if (status == TP_OK && channels.count > 0) {
        take->signals = calloc(channels.count, sizeof *take->signals);
        status = take->signals == NULL ? out_of_memory(error) : judge_dead(report, &channels, pairs, error);
        if (status == TP_OK)
            status = add_matches(report, take, &channels, pairs, error);
        if (status == TP_OK)
            status = add_singles(report, take, &channels, error);
        if (status == TP_OK) {
            qsort(take->signals, take->signal_count, sizeof *take->signals, compare_signals);
            put_first(report, take);
        }
    }
    free(channels.items);
    free(channels.used);
    return status;
}

/* --- takes --- */

static enum tp_status build_take(struct tp_report *report, const struct tp_group *group, const size_t *leader,
                                 size_t first, const struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    size_t number = report->take_count++;
    struct tp_take *take = &report->takes[number];
    take->files = calloc(group->file_count, sizeof *take->files);
    if (take->files == NULL)
        return out_of_memory(error);
    for (size_t i = 0; i < group->file_count; i++) {
        if (leader[i] != first)
            continue;
        take->files[take->file_count++] = group->files[i];
        report->files[group->files[i]].take = number;
    }
    if (name_take(take, report) != TP_OK)
        return out_of_memory(error);
    return add_signals(report, take, pairs, error);
}

static int compare_ids(const void *a, const void *b)
{
    const struct tp_take *const *first = a;
    const struct tp_take *const *second = b;
    int order = strcmp((*first)->id, (*second)->id);
    return order != 0 ? order : *first < *second ? -1 : *first > *second;
}

/* Ids must be unique: takes of one name are numbered after the first, " (2)", " (3)" … */
static enum tp_status make_ids_unique(struct tp_report *report)
{
    struct tp_take **order = calloc(report->take_count + 1, sizeof(struct tp_take *));
    if (order == NULL)
        return TP_ERR_MEMORY;
    for (size_t i = 0; i < report->take_count; i++)
        order[i] = &report->takes[i];
    qsort(order, report->take_count, sizeof(struct tp_take *), compare_ids);
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < report->take_count && status == TP_OK;) {
        size_t end = i + 1;
        while (end < report->take_count && strcmp(order[end]->id, order[i]->id) == 0)
            end++;
        for (size_t k = i + 1; k < end && status == TP_OK; k++) {
            char *id = tp_format("%s (%zu)", order[k]->id, k - i + 1);
            if (id == NULL) {
                status = TP_ERR_MEMORY;
                break;
            }
            free(order[k]->id);
            order[k]->id = id;
        }
        i = end;
    }
    free(order);
    return status;
}

/* The names of parts follow the pattern of the take once their number is taken off. */
static enum tp_status read_slate_of_parts(struct tp_take *take, const struct tp_report *report)
{
    struct tp_name_fields name;
    const struct tp_spec *spec = tp_report_take_spec(report, take);
    if (take->part_count < 2 || take->take[0] != '\0' || spec->pattern[0] == '\0' ||
        !tp_name_read_part(spec->pattern, report->files[take->files[0]].path_raw, &name))
        return TP_OK;
    char *number = tp_utf8_repair(name.take, strlen(name.take));
    char *scene = take->scene[0] == '\0' || strcmp(take->scene, report->spec.scene) == 0
                      ? tp_utf8_repair(first_text(name.scene, take->scene), strlen(first_text(name.scene, take->scene)))
                      : tp_strdup(take->scene);
    if (number == NULL || scene == NULL) {
        free(number);
        free(scene);
        return TP_ERR_MEMORY;
    }
    free(take->take);
    free(take->scene);
    take->take = number;
    take->scene = scene;
    return TP_OK;
}

enum tp_status tp_takes_name(struct tp_report *report, struct tp_error *error)
{
    for (size_t i = 0; i < report->take_count; i++) {
        struct tp_take *take = &report->takes[i];
        if (take->file_count == 0)
            continue;
        char *id = take_id(&report->files[take->files[0]], take->file_count);
        if (id == NULL)
            return out_of_memory(error);
        free(take->id);
        take->id = id;
        if (read_slate_of_parts(take, report) != TP_OK)
            return out_of_memory(error);
    }
    return make_ids_unique(report) == TP_OK ? TP_OK : out_of_memory(error);
}

static void drop_traces(struct tp_report *report)
{
    for (size_t f = 0; f < report->file_count; f++) {
        struct tp_file *file = &report->files[f];
        for (uint32_t c = 0; file->channels != NULL && c < file->channel_count; c++) {
            free(file->channels[c].trace.steps);
            file->channels[c].trace = (struct tp_trace){0};
        }
    }
}

enum tp_status tp_assemble_takes(struct tp_report *report, const struct tp_groups *groups,
                                 const struct tp_lockstep_pairs *pairs, struct tp_error *error)
{
    report->takes = calloc(report->file_count + 1, sizeof *report->takes);
    if (report->takes == NULL)
        return out_of_memory(error);
    for (size_t g = 0; g < groups->count; g++) {
        size_t leader[TP_GROUP_FILES_MAX];
        divide_group(report, &groups->items[g], &pairs[g], leader);
        for (size_t i = 0; i < groups->items[g].file_count; i++) {
            if (leader[i] != i)
                continue;
            enum tp_status status = build_take(report, &groups->items[g], leader, i, &pairs[g], error);
            if (status != TP_OK)
                return status;
        }
    }
    drop_traces(report);
    return make_ids_unique(report) == TP_OK ? TP_OK : out_of_memory(error);
}
