/* SPDX-License-Identifier: MIT */
#include "judge/rules_take.h"

#include "base/num.h"
#include "base/text.h"
#include "judge/channel_name.h"
#include "judge/rules_file.h"
#include "result.h"

#include <string.h>
#include <strings.h>

static enum tp_severity usual(enum tp_code code)
{
    return tp_finding_info(code)->severity;
}

static const struct tp_channel *channel_of(const struct tp_report *report, struct tp_channel_ref ref)
{
    return &report->files[ref.file].channels[ref.channel];
}

static double rate_of(const struct tp_report *report, struct tp_channel_ref ref)
{
    return (double)report->files[ref.file].sample_rate_hz;
}

static struct tp_finding_place at_channel(struct tp_channel_ref ref, double value, double limit)
{
    struct tp_finding_place place = tp_nowhere();
    place.file = ref.file;
    place.channel = ref.channel;
    place.value = value;
    place.limit = limit;
    return place;
}

static bool is_same(struct tp_channel_ref a, struct tp_channel_ref b)
{
    return a.file == b.file && a.channel == b.channel;
}

static struct tp_track track_of(const struct tp_report *report, struct tp_channel_ref ref)
{
    struct tp_track track;
    tp_file_track(&report->files[ref.file], ref.channel, &track);
    return track;
}

/* --- overload --- */

static bool is_small_overload(const struct tp_channel *channel, double rate_hz)
{
    return channel->clip_runs <= TP_SMALL_CLIP_RUNS &&
           (double)channel->longest_clip_run * 1000.0 / rate_hz <= TP_SMALL_CLIP_MS;
}

static const struct tp_clip_run *longest_run(const struct tp_clip_run *runs, size_t count)
{
    const struct tp_clip_run *longest = runs;
    for (size_t i = 1; i < count; i++)
        if (runs[i].frames > longest->frames)
            longest = &runs[i];
    return longest;
}

static void place_run(struct tp_finding_place *place, const struct tp_clip_run *runs, size_t count, double rate_hz)
{
    if (count == 0)
        return;
    const struct tp_clip_run *longest = longest_run(runs, count);
    place->start_s = (double)longest->start_frame / rate_hz;
    place->end_s = (double)(longest->start_frame + longest->frames) / rate_hz;
}

/* Float holds it, but nothing else on the way to the listener does. */
static void tell_beyond_full_scale(const struct tp_channel *channel, struct tp_finding_place place,
                                   enum tp_severity severity, struct tp_finding_list *list)
{
    char peak[TP_NUMBER_SIZE];
    char lower[TP_NUMBER_SIZE];
    tp_finding_add(
        list, TP_CODE_CLIPPED, severity, place,
        "Beyond full scale in %llu %s, up to %s dBFS. This is float: the peaks are whole, not cut off. Lower "
        "the recording by %s dB or more before anything but float is made of it.",
        (unsigned long long)channel->clip_runs, channel->clip_runs == 1 ? "place" : "places",
        tp_number_text(peak, channel->sample_peak_dbfs, 1),
        tp_number_text(lower, ceil(channel->sample_peak_dbfs + 1.0), 0));
}

static bool is_whole(const struct tp_channel *channel)
{
    return channel->whole_clip_runs == channel->clip_runs;
}

static void tell_clipped(const struct tp_report *report, struct tp_channel_ref ref, enum tp_severity severity,
                         struct tp_finding_list *list)
{
    const struct tp_channel *channel = channel_of(report, ref);
    if (channel->clip_runs == 0)
        return;
    double rate_hz = rate_of(report, ref);
    struct tp_finding_place place = at_channel(ref, (double)channel->longest_clip_run, 3.0);
    place_run(&place, channel->clips, channel->clip_count, rate_hz);
    if (is_whole(channel)) {
        tell_beyond_full_scale(channel, place, severity, list);
        return;
    }
    char total[TP_NUMBER_SIZE];
    char longest[TP_NUMBER_SIZE];
    char share[TP_NUMBER_SIZE];
    double clipped_s = (double)channel->clipped_samples / rate_hz;
    tp_number_text(total, clipped_s * 1000.0, 1);
    tp_number_text(longest, (double)channel->longest_clip_run * 1000.0 / rate_hz, 2);
    tp_number_text(share, channel->active_s > 0.0 ? 100.0 * clipped_s / channel->active_s : 100.0, 2);
    tp_finding_add(
        list, TP_CODE_CLIPPED, severity, place,
        "Overload: %llu %s of samples at full scale, together %s ms (%s %% of the speech), the longest %s ms.",
        (unsigned long long)channel->clip_runs, channel->clip_runs == 1 ? "run" : "runs", total, share, longest);
}

static void tell_flat_topped(const struct tp_report *report, struct tp_channel_ref ref, enum tp_severity severity,
                             struct tp_finding_list *list)
{
    const struct tp_channel *channel = channel_of(report, ref);
    if (channel->flat_top_runs == 0)
        return;
    const struct tp_clip_run *longest =
        channel->flat_top_count > 0 ? longest_run(channel->flat_tops, channel->flat_top_count) : NULL;
    struct tp_finding_place place = at_channel(ref, longest != NULL ? longest->level_dbfs : (double)NAN, (double)NAN);
    place_run(&place, channel->flat_tops, channel->flat_top_count, rate_of(report, ref));
    char level[TP_NUMBER_SIZE];
    tp_finding_add(
        list, TP_CODE_FLAT_TOPPED, severity, place,
        "Overload before the converter: %llu flat tops at %s dBFS. Lowering the level afterwards does not help.",
        (unsigned long long)channel->flat_top_runs, tp_number_text(level, place.value, 2));
}

static void judge_overload_single(const struct tp_report *report, struct tp_channel_ref ref,
                                  struct tp_finding_list *list)
{
    const struct tp_channel *channel = channel_of(report, ref);
    bool small = is_small_overload(channel, rate_of(report, ref)) || is_whole(channel);
    tell_clipped(report, ref, small ? TP_LISTEN : usual(TP_CODE_CLIPPED), list);
    tell_flat_topped(report, ref, usual(TP_CODE_FLAT_TOPPED), list);
}

/* --- levels of a channel that will be used --- */

static void judge_working_level(const struct tp_report *report, struct tp_channel_ref ref, struct tp_finding_list *list)
{
    const struct tp_spec *spec = &report->spec;
    double level = channel_of(report, ref)->working_level_dbfs;
    if (!tp_exists(level))
        return;
    char is[TP_NUMBER_SIZE];
    char lowest[TP_NUMBER_SIZE];
    char highest[TP_NUMBER_SIZE];
    char by[TP_NUMBER_SIZE];
    tp_number_text(is, level, 1);
    tp_number_text(lowest, spec->working_level_min_dbfs, 1);
    tp_number_text(highest, spec->working_level_max_dbfs, 1);
    /* Judged as printed, so that no report says "-16.0 is below -16.0". */
    double shown = tp_number_round(level, 1);
    if (shown < spec->working_level_min_dbfs)
        tp_finding_add(list, TP_CODE_LEVEL_LOW, usual(TP_CODE_LEVEL_LOW),
                       at_channel(ref, level, spec->working_level_min_dbfs),
                       "Dialogue sits at %s dBFS, %s dB under the agreed window of %s to %s dBFS.", is,
                       tp_number_text(by, spec->working_level_min_dbfs - shown, 1), lowest, highest);
    if (shown > spec->working_level_max_dbfs)
        tp_finding_add(list, TP_CODE_LEVEL_HIGH, usual(TP_CODE_LEVEL_HIGH),
                       at_channel(ref, level, spec->working_level_max_dbfs),
                       "Dialogue sits at %s dBFS, %s dB over the agreed window of %s to %s dBFS.", is,
                       tp_number_text(by, shown - spec->working_level_max_dbfs, 1), lowest, highest);
}

static void judge_true_peak(const struct tp_report *report, struct tp_channel_ref ref, struct tp_finding_list *list)
{
    double peak = channel_of(report, ref)->true_peak_dbtp;
    double limit = report->spec.true_peak_max_dbtp;
    if (!tp_exists(peak) || tp_number_round(peak, 2) <= limit)
        return;
    char is[TP_NUMBER_SIZE];
    char most[TP_NUMBER_SIZE];
    const char *between = peak > 0.0 && channel_of(report, ref)->clip_runs == 0
                              ? " The wave passes full scale between samples although none is clipped."
                              : "";
    tp_finding_add(list, TP_CODE_TRUE_PEAK_OVER, usual(TP_CODE_TRUE_PEAK_OVER), at_channel(ref, peak, limit),
                   "True peak %s dBTP; agreed is at most %s dBTP.%s", tp_number_text(is, peak, 2),
                   tp_number_text(most, limit, 2), between);
}

static void judge_noise_and_dc(const struct tp_report *report, struct tp_channel_ref ref, struct tp_finding_list *list)
{
    const struct tp_channel *channel = channel_of(report, ref);
    const struct tp_spec *spec = &report->spec;
    char is[TP_NUMBER_SIZE];
    char most[TP_NUMBER_SIZE];
    if (tp_exists(channel->noise_floor_dbfs) &&
        tp_number_round(channel->noise_floor_dbfs, 1) > spec->noise_floor_max_dbfs)
        tp_finding_add(list, TP_CODE_NOISE_HIGH, usual(TP_CODE_NOISE_HIGH),
                       at_channel(ref, channel->noise_floor_dbfs, spec->noise_floor_max_dbfs),
                       "Even the quietest stretches are at %s dBFS; agreed is at most %s dBFS.",
                       tp_number_text(is, channel->noise_floor_dbfs, 1),
                       tp_number_text(most, spec->noise_floor_max_dbfs, 1));
    if (tp_exists(channel->dc_offset) && fabs(channel->dc_offset) > spec->dc_offset_max)
        tp_finding_add(
            list, TP_CODE_DC_OFFSET, usual(TP_CODE_DC_OFFSET), at_channel(ref, channel->dc_offset, spec->dc_offset_max),
            "The wave is shifted by %s %% of full scale; agreed is at most %s %%.",
            tp_number_text(is, channel->dc_offset * 100.0, 2), tp_number_text(most, spec->dc_offset_max * 100.0, 2));
}

static void judge_levels(const struct tp_report *report, struct tp_channel_ref ref, bool peaks_matter,
                         struct tp_finding_list *list)
{
    judge_working_level(report, ref, list);
    judge_noise_and_dc(report, ref, list);
    if (peaks_matter)
        judge_true_peak(report, ref, list);
}

/* --- pairs --- */

static void judge_offset(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                         struct tp_finding_list *list)
{
    const struct tp_spec *spec = &report->spec;
    double below_db = tp_number_round(-pair->offset_db, 1);
    if (below_db >= spec->safety_below_min_db && below_db <= spec->safety_below_max_db)
        return;
    char is[TP_NUMBER_SIZE];
    char least[TP_NUMBER_SIZE];
    char most[TP_NUMBER_SIZE];
    double limit = below_db < spec->safety_below_min_db ? spec->safety_below_min_db : spec->safety_below_max_db;
    tp_finding_add(list, TP_CODE_PAIR_OFFSET, usual(TP_CODE_PAIR_OFFSET),
                   at_channel(pair->safety, pair->offset_db, -limit), "%s is %s dB under %s; agreed are %s to %s dB.%s",
                   tp_channel_role_of(report, take, pair->safety, "The safety").text, tp_number_text(is, below_db, 1),
                   tp_channel_role_of(report, take, pair->main, "the main").text,
                   tp_number_text(least, spec->safety_below_min_db, 1),
                   tp_number_text(most, spec->safety_below_max_db, 1),
                   below_db < 1.0 ? " At equal level it protects nothing." : "");
}

/* Two recorders whose clocks are not locked. Half a sample more than the agreed lag: the line is not known better. */
static void judge_drift(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                        struct tp_finding_list *list)
{
    const struct tp_file *file = &report->files[pair->main.file];
    double samples = pair->drift_ppm * 1e-6 * file->duration_s * (double)file->sample_rate_hz;
    char by[TP_NUMBER_SIZE];
    char ppm[TP_NUMBER_SIZE];
    if (!tp_exists(samples) || !(fabs(samples) > (double)report->spec.lag_max_samples + 0.5))
        return;
    tp_finding_add(list, TP_CODE_PAIR_LAG, usual(TP_CODE_PAIR_LAG),
                   at_channel(pair->safety, tp_number_round(samples, 1), report->spec.lag_max_samples),
                   "%s drifts against %s by %s samples from start to end (%s parts in a million): their "
                   "clocks were not locked.",
                   tp_channel_role_of(report, take, pair->safety, "The safety").text,
                   tp_channel_role_of(report, take, pair->main, "the main").text, tp_number_text(by, samples, 1),
                   tp_number_text(ppm, pair->drift_ppm, 2));
}

/* The level says which is the main. Where that is the later channel or file, people may have meant it the other way. */
static void judge_order(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                        struct tp_finding_list *list)
{
    bool later = pair->main.file == pair->safety.file ? pair->main.channel > pair->safety.channel
                                                      : pair->main.file > pair->safety.file;
    char louder[TP_NUMBER_SIZE];
    if (!later || pair->offset_db > -1.0)
        return;
    tp_number_text(louder, -pair->offset_db, 1);
    if (pair->main.file != pair->safety.file) {
        tp_finding_add(list, TP_CODE_PAIR_OFFSET, TP_NOTE, at_channel(pair->main, pair->offset_db, (double)NAN),
                       "Main and safety lie the other way round: this file is %s dB louder than the one before it and "
                       "is taken as the main.",
                       louder);
        return;
    }
    tp_finding_add(list, TP_CODE_PAIR_OFFSET, TP_NOTE, at_channel(pair->main, pair->offset_db, (double)NAN),
                   "Main and safety lie the other way round: %s is %s dB louder than %s before it and is taken as the "
                   "main.",
                   tp_channel_name_of(report, take, pair->main).text, louder,
                   tp_channel_name_of(report, take, pair->safety).text);
}

static void judge_pair_signal(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                              struct tp_finding_list *list)
{
    struct tp_channel_role safety = tp_channel_role_of(report, take, pair->safety, "The safety"),
                           main = tp_channel_role_of(report, take, pair->main, "the main");
    judge_offset(report, take, pair, list);
    judge_order(report, take, pair, list);
    judge_drift(report, take, pair, list);
    int64_t lag = pair->lag_samples < 0 ? -pair->lag_samples : pair->lag_samples;
    if ((uint64_t)lag > report->spec.lag_max_samples)
        tp_finding_add(list, TP_CODE_PAIR_LAG, usual(TP_CODE_PAIR_LAG),
                       at_channel(pair->safety, (double)pair->lag_samples, report->spec.lag_max_samples),
                       "%s is %lld samples %s than %s: shift it before cutting between them.", safety.text,
                       (long long)lag, pair->lag_samples > 0 ? "later" : "earlier", main.text);
    if (pair->inverted)
        tp_finding_add(list, TP_CODE_PAIR_POLARITY, usual(TP_CODE_PAIR_POLARITY),
                       at_channel(pair->safety, (double)NAN, (double)NAN),
                       "%s has the opposite polarity of %s: invert it before cutting between them.", safety.text,
                       main.text);
    char range[TP_NUMBER_SIZE];
    if (tp_exists(pair->offset_range_db) && pair->offset_range_db > TP_LEVEL_CHANGE_DB)
        tp_finding_add(list, TP_CODE_PAIR_LEVEL_CHANGE, usual(TP_CODE_PAIR_LEVEL_CHANGE),
                       at_channel(pair->safety, pair->offset_range_db, TP_LEVEL_CHANGE_DB),
                       "The distance between %s and %s changes by %s dB from quiet to loud: a limiter or automatic "
                       "gain is on in one of them.",
                       tp_channel_role_of(report, take, pair->main, "main").text,
                       tp_channel_role_of(report, take, pair->safety, "safety").text,
                       tp_number_text(range, pair->offset_range_db, 1));
}

/* " (0:16.0, 0:16.3 and 5 more)": where to listen when it is more than one place. */
static void list_times(const struct tp_pair *pair, struct tp_text *times)
{
    enum { LISTED = 12 };
    size_t count = 0;
    char at[TP_NUMBER_SIZE];
    for (size_t i = 0; i < pair->splice_count; i++)
        if (pair->splices[i].covered && count++ < LISTED)
            tp_text_format(times, "%s%s", count == 1 ? " (" : ", ", tp_duration_text(at, pair->splices[i].start_s, 1));
    if (count < 2) {
        tp_text_clear(times);
        return;
    }
    if (count > LISTED)
        tp_text_format(times, " and %zu more", count - LISTED);
    tp_text_add(times, ")");
}

static void tell_uncovered(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                           struct tp_finding_list *list)
{
    size_t told = 0, uncovered = 0;
    char seconds[TP_NUMBER_SIZE];
    for (size_t i = 0; i < pair->splice_count; i++)
        uncovered += !pair->splices[i].covered;
    for (size_t i = 0; i < pair->splice_count && told < TP_FINDINGS_PER_CODE; i++) {
        const struct tp_splice *splice = &pair->splices[i];
        double length_s = splice->end_s - splice->start_s;
        if (splice->covered)
            continue;
        struct tp_finding_place place = at_channel(pair->main, length_s, (double)NAN);
        place.start_s = splice->start_s;
        place.end_s = splice->end_s;
        if (++told == TP_FINDINGS_PER_CODE)
            place.more_places = uncovered - told;
        struct tp_channel_role main = tp_channel_role_of(report, take, pair->main, "The main");
        struct tp_channel_role safety = tp_channel_role_of(report, take, pair->safety, "the safety");
        tp_number_text(seconds, length_s, length_s < 0.1 ? 3 : 2);
        if (splice->cause == TP_CODE_DROPOUT)
            tp_finding_add(list, TP_CODE_BOTH_CLIPPED, usual(TP_CODE_BOTH_CLIPPED), place,
                           "%s breaks off here for %s s, and %s is damaged too: there is no clean channel. "
                           "Lower gain does not help: look at the link, the card and the recorder.",
                           main.text, seconds, safety.text);
        else
            tp_finding_add(list, TP_CODE_BOTH_CLIPPED, usual(TP_CODE_BOTH_CLIPPED), place,
                           "%s and %s are both damaged here for %s s: there is no clean channel.",
                           tp_channel_role_of(report, take, pair->main, "Main").text,
                           tp_channel_role_of(report, take, pair->safety, "safety").text, seconds);
    }
}

static void tell_covered(const struct tp_report *report, const struct tp_take *take, const struct tp_pair *pair,
                         struct tp_finding_list *list)
{
    size_t covered = 0;
    double covered_s = 0.0;
    const struct tp_splice *first = NULL;
    char seconds[TP_NUMBER_SIZE];
    for (size_t i = 0; i < pair->splice_count; i++) {
        const struct tp_splice *splice = &pair->splices[i];
        if (!splice->covered)
            continue;
        first = first == NULL ? splice : first;
        covered++;
        covered_s += splice->end_s - splice->start_s;
    }
    if (first == NULL)
        return;
    struct tp_finding_place place = at_channel(pair->main, covered_s, (double)NAN);
    place.start_s = first->start_s;
    place.end_s = first->end_s;
    place.more_places = covered - 1;
    struct tp_text times = {0};
    list_times(pair, &times);
    tp_finding_add(list, TP_CODE_SAFETY_NEEDED, usual(TP_CODE_SAFETY_NEEDED), place,
                   "%s is damaged at %zu %s, %s s to cover in all%s; %s is clean there.",
                   tp_channel_role_of(report, take, pair->main, "The main").text, covered,
                   covered == 1 ? "place" : "places", tp_number_text(seconds, covered_s, covered_s < 0.1 ? 3 : 2),
                   times.bytes != NULL ? times.bytes : "",
                   tp_channel_role_of(report, take, pair->safety, "the safety").text);
    list->failed = list->failed || times.failed;
    tp_text_clear(&times);
}

static void judge_pair(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                       struct tp_finding_list *list)
{
    const struct tp_pair *pair = signal->pair;
    /* What damage means for the take is told by the splices; the bare facts go along as notes. */
    bool is_main_beyond = signal->use.choice != TP_CHOICE_SAFETY && is_whole(channel_of(report, pair->main));
    tell_clipped(report, pair->main, is_main_beyond ? TP_LISTEN : TP_NOTE, list);
    tell_flat_topped(report, pair->main, TP_NOTE, list);
    tell_clipped(report, pair->safety, TP_NOTE, list);
    tell_flat_topped(report, pair->safety, TP_NOTE, list);
    judge_pair_signal(report, take, pair, list);
    tell_uncovered(report, take, pair, list);
    tell_covered(report, take, pair, list);
    judge_levels(report, pair->main,
                 signal->use.choice == TP_CHOICE_MAIN && channel_of(report, pair->main)->clip_runs == 0, list);
}

/* --- a channel alone --- */

static void judge_dead_partner(const struct tp_signal *signal, struct tp_finding_list *list)
{
    if (signal->dead_partner.file == TP_NO_INDEX)
        return;
    enum tp_code code = signal->dead_partner_is_main ? TP_CODE_MAIN_SILENT : TP_CODE_SAFETY_SILENT;
    const char *words = signal->dead_partner_is_main
                            ? "The main is digital silence; only the other channel holds sound."
                            : "The safety is digital silence: nothing protects this take from overload.";
    tp_finding_add(list, code, usual(code), at_channel(signal->dead_partner, (double)NAN, (double)NAN), "%s", words);
}

/* A silent track beside live ones may be a socket left empty; a take that is all silence has lost its sound. */
static void judge_silence(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                          struct tp_finding_list *list)
{
    bool any_live = false;
    for (size_t i = 0; i < take->signal_count; i++)
        any_live =
            any_live || take->signals[i].pair != NULL || !channel_of(report, take->signals[i].channel)->digital_silence;
    tp_finding_add(list, TP_CODE_SILENT_CHANNEL, any_live ? usual(TP_CODE_SILENT_CHANNEL) : TP_FAIL,
                   at_channel(signal->channel, (double)NAN, (double)NAN), "%s",
                   any_live ? "Digital silence from start to end."
                            : "The whole take is digital silence: no sound was recorded.");
}

/* A copy that nobody took for a safety: a mix on two tracks or beside its microphone, the sides of a track that is mono
 * (by name, in a take of more tracks), or a further copy of a microphone that has its pair. What is named safety was
 * meant as one. */
static bool is_harmless_copy(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal)
{
    struct tp_track first = track_of(report, signal->channel), copy = track_of(report, signal->copy);
    if (first.is_safety || copy.is_safety)
        return false;
    bool sides = first.side != 0 && copy.side != 0 && first.side != copy.side && strcmp(first.base, copy.base) == 0;
    return first.is_mix || copy.is_mix || (sides && tp_take_has_many_microphones(take)) ||
           signal->same_as.file != TP_NO_INDEX;
}

static void judge_copy(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                       struct tp_finding_list *list)
{
    struct tp_finding_place place = at_channel(signal->copy, (double)NAN, (double)NAN);
    struct tp_channel_role copy = tp_channel_role_of(report, take, signal->copy, "This channel");
    struct tp_channel_name first = tp_channel_name_of(report, take, signal->channel);
    if (is_harmless_copy(report, take, signal))
        tp_finding_add(list, TP_CODE_CHANNEL_COPY, TP_NOTE, place,
                       "%s holds the very same samples as %s: one mono track twice, no safety.", copy.text, first.text);
    else
        tp_finding_add(list, TP_CODE_CHANNEL_COPY, usual(TP_CODE_CHANNEL_COPY), place,
                       "%s holds the very same samples as %s: it protects nothing.", copy.text, first.text);
}

static const struct tp_signal *signal_at(const struct tp_take *take, struct tp_channel_ref ref)
{
    for (size_t i = 0; i < take->signal_count; i++)
        if (is_same(take->signals[i].channel, ref))
            return &take->signals[i];
    return NULL;
}

/* One more recording of a microphone, mostly a mix. Its damage is not the end of the microphone, and nothing new where
 * the microphone's own damage is covered. Its level is that of its owner and a gain. */
static void judge_kin(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                      struct tp_finding_list *list)
{
    const struct tp_channel *channel = channel_of(report, signal->channel);
    const struct tp_signal *owner = signal_at(take, signal->same_as);
    bool is_told = owner != NULL && (owner->use.choice == TP_CHOICE_SPLICE || owner->use.choice == TP_CHOICE_SAFETY);
    tell_clipped(report, signal->channel, is_told ? TP_NOTE : TP_LISTEN, list);
    tell_flat_topped(report, signal->channel, is_told ? TP_NOTE : usual(TP_CODE_FLAT_TOPPED), list);
    if (channel->clip_runs == 0 && track_of(report, signal->channel).is_mix)
        judge_true_peak(report, signal->channel, list);
}

static void judge_single(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                         struct tp_finding_list *list)
{
    judge_dead_partner(signal, list);
    if (channel_of(report, signal->channel)->digital_silence) {
        judge_silence(report, take, signal, list);
        return;
    }
    if (signal->copy.file != TP_NO_INDEX)
        judge_copy(report, take, signal, list);
    if (signal->same_as.file != TP_NO_INDEX) {
        judge_kin(report, take, signal, list);
        return;
    }
    judge_overload_single(report, signal->channel, list);
    judge_levels(report, signal->channel, channel_of(report, signal->channel)->clip_runs == 0, list);
}

/* Recorded without picture, often by another microphone: by the recorder's mark, or the slate. */
static bool is_wild(const struct tp_report *report, const struct tp_take *take)
{
    for (size_t i = 0; i < take->file_count; i++) {
        const struct tp_ixml *ixml = report->files[take->files[i]].ixml;
        if (ixml != NULL && ixml->wild_track == 1)
            return true;
    }
    return strncasecmp(take->take, "WT", 2) == 0;
}

struct channels {
    size_t tracks;
    bool paired, named_main, named_safety;
};

static struct channels look_at_channels(const struct tp_report *report, const struct tp_take *take)
{
    struct channels seen = {0};
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_signal *signal = &take->signals[i];
        seen.paired = seen.paired || signal->pair != NULL || signal->dead_partner.file != TP_NO_INDEX ||
                      (signal->copy.file != TP_NO_INDEX && !is_harmless_copy(report, take, signal));
        seen.tracks += signal->part == 0;
        seen.named_main = seen.named_main || strcasecmp(signal->name, "main") == 0;
        seen.named_safety = seen.named_safety || strcasecmp(signal->name, "safety") == 0;
    }
    return seen;
}

/* A take that ought to hold a pair, by the spec or by the names of its tracks, and does not. */
static void judge_missing_pair(const struct tp_report *report, const struct tp_take *take, struct tp_finding_list *list)
{
    if (report->spec.pair == TP_PAIR_OFF || take->signal_count == 0)
        return;
    struct channels seen = look_at_channels(report, take);
    bool required = report->spec.pair == TP_PAIR_REQUIRED, named = seen.named_main && seen.named_safety;
    if (seen.paired || !(required || named || seen.tracks == 2))
        return;
    struct tp_finding_place place = at_channel(take->signals[0].channel, (double)NAN, (double)NAN);
    /* Room tone and silence cannot show whether two channels are one microphone: nothing is claimed. */
    if (tp_take_is_too_quiet(report, take))
        tp_finding_add(list, TP_CODE_NOT_A_PAIR, required ? TP_LISTEN : TP_NOTE, place,
                       "Too little sound to tell whether these channels are main and safety of one microphone: each is "
                       "judged alone.");
    else if (required && !named && is_wild(report, take))
        tp_finding_add(list, TP_CODE_NOT_A_PAIR, TP_LISTEN, place,
                       "A wild track without main and safety; the agreement asks for a pair in every take.");
    else if (required || named)
        tp_finding_add(
            list, TP_CODE_NOT_A_PAIR, required ? TP_FAIL : TP_LISTEN, place,
            named ? "The tracks are named main and safety, but they do not hold the same signal at two levels."
                  : "The agreement asks for main and safety; no two channels hold the same signal at two levels.");
    else
        tp_finding_add(list, TP_CODE_NOT_A_PAIR, TP_NOTE, place,
                       "Two channels that are not main and safety of one microphone: each stands alone.");
}

void tp_rules_take(const struct tp_report *report, const struct tp_take *take, struct tp_finding_list *list)
{
    for (size_t i = 0; i < take->signal_count; i++) {
        if (take->signals[i].pair != NULL)
            judge_pair(report, take, &take->signals[i], list);
        else
            judge_single(report, take, &take->signals[i], list);
    }
    judge_missing_pair(report, take, list);
}
