/* SPDX-License-Identifier: MIT */
#include "take/choose.h"

#include "base/num.h"
#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>

#define SPANS_IN_WORDS 5

/* What the reasons count. */
struct tally {
    size_t spans, uncovered;
    double total_s, uncovered_s;
    size_t clips, flat_tops, dropouts;
};

static enum tp_status no_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to choose a channel");
}

static double seconds(uint64_t frames, uint32_t sample_rate_hz)
{
    return sample_rate_hz > 0 ? (double)frames / (double)sample_rate_hz : 0.0;
}

int64_t tp_choose_lag_at(int64_t lag_samples, double lag_fraction, double drift_ppm, uint64_t frame)
{
    double drift = tp_exists(drift_ppm) ? drift_ppm * 1e-6 * (double)frame : 0.0;
    /* Less than half a sample over the whole take is how still a line can be measured, not drift. */
    return lag_samples + (int64_t)round(lag_fraction + (fabs(drift) < 0.5 ? 0.0 : drift));
}

static bool overlaps_run(const struct tp_clip_run *runs, size_t count, const struct tp_span *span)
{
    for (size_t i = 0; i < count; i++)
        if (runs[i].start_frame < span->end_frame && runs[i].start_frame + runs[i].frames > span->start_frame)
            return true;
    return false;
}

/* Clipping is told first; what is neither clipped nor flat can only be a dropout. Listed runs are capped: where more
 * were counted than listed, an unexplained span is one of those. */
static enum tp_code cause_of(const struct tp_channel *levels, const struct tp_span *span)
{
    if (overlaps_run(levels->clips, levels->clip_count, span))
        return TP_CODE_CLIPPED;
    if (overlaps_run(levels->flat_tops, levels->flat_top_count, span))
        return TP_CODE_FLAT_TOPPED;
    if (levels->clip_runs > levels->clip_count)
        return TP_CODE_CLIPPED;
    return levels->flat_top_runs > levels->flat_top_count ? TP_CODE_FLAT_TOPPED : TP_CODE_DROPOUT;
}

/* First span that ends after `frame`; spans are sorted and disjoint. */
static size_t span_after(const struct tp_spans *spans, uint64_t frame)
{
    size_t low = 0, high = spans->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (spans->items[middle].end_frame > frame)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

/* The safety has sound there, and all of it is undamaged. */
static bool is_covered(const struct tp_pair_channel *main, const struct tp_pair_channel *safety,
                       const struct tp_span *span, int64_t lag)
{
    /* A part of the span before the safety began counts as uncovered, one past the main's own end does not. */
    if (lag < 0 && span->start_frame < (uint64_t)-lag)
        return false;
    uint64_t end = span->end_frame;
    if (main->frames > 0 && end > main->frames)
        end = main->frames;
    uint64_t from = span->start_frame + (uint64_t)lag, to = end + (uint64_t)lag; /* wraps right for a negative lag */
    if (safety->frames > 0 && to > safety->frames)
        return false;
    const struct tp_spans *damage = &safety->levels->damage;
    size_t at = span_after(damage, from);
    return at >= damage->count || damage->items[at].start_frame >= to;
}

bool tp_choose_covers(const struct tp_pair_match *match, const struct tp_pair_channel *main,
                      const struct tp_pair_channel *safety)
{
    for (size_t i = 0; i < main->levels->damage.count; i++) {
        const struct tp_span *span = &main->levels->damage.items[i];
        int64_t lag = tp_choose_lag_at(match->lag_samples, match->lag_fraction, match->drift_ppm, span->start_frame);
        if (!is_covered(main, safety, span, lag))
            return false;
    }
    return true;
}

static void tally_span(struct tally *tally, const struct tp_splice *splice)
{
    tally->spans++;
    tally->total_s += splice->end_s - splice->start_s;
    tally->clips += splice->cause == TP_CODE_CLIPPED;
    tally->flat_tops += splice->cause == TP_CODE_FLAT_TOPPED;
    tally->dropouts += splice->cause == TP_CODE_DROPOUT;
    if (splice->covered)
        return;
    tally->uncovered++;
    tally->uncovered_s += splice->end_s - splice->start_s;
}

static struct tp_splice make_splice(const struct tp_pair_channel *main, const struct tp_span *span,
                                    uint32_t sample_rate_hz, bool covered)
{
    uint64_t end = span->end_frame;
    if (main->frames > 0 && end > main->frames)
        end = main->frames;
    return (struct tp_splice){.start_s = seconds(span->start_frame, sample_rate_hz),
                              .end_s = seconds(end, sample_rate_hz),
                              .covered = covered,
                              .cause = cause_of(main->levels, span)};
}

static struct tally tally_alone(const struct tp_pair_channel *channel, uint32_t sample_rate_hz)
{
    struct tally tally = {0};
    for (size_t i = 0; i < channel->levels->damage.count; i++) {
        struct tp_splice splice = make_splice(channel, &channel->levels->damage.items[i], sample_rate_hz, false);
        tally_span(&tally, &splice);
    }
    return tally;
}

static bool fill_splices(struct tp_pair *pair, const struct tp_pair_channel *main, const struct tp_pair_channel *safety,
                         uint32_t sample_rate_hz, struct tally *tally)
{
    const struct tp_spans *damage = &main->levels->damage;
    if (damage->count == 0)
        return true;
    pair->splices = calloc(damage->count, sizeof *pair->splices);
    if (pair->splices == NULL)
        return false;
    for (size_t i = 0; i < damage->count; i++) {
        int64_t lag =
            tp_choose_lag_at(pair->lag_samples, pair->lag_fraction, pair->drift_ppm, damage->items[i].start_frame);
        bool covered = is_covered(main, safety, &damage->items[i], lag);
        pair->splices[i] = make_splice(main, &damage->items[i], sample_rate_hz, covered);
        tally_span(tally, &pair->splices[i]);
    }
    pair->splice_count = damage->count;
    return true;
}

static double active_s(const struct tp_pair_channel *channel, uint32_t sample_rate_hz)
{
    if (channel->levels->active_s > 0.0)
        return channel->levels->active_s;
    return channel->frames > 0 ? seconds(channel->frames, sample_rate_hz) : (double)NAN;
}

/* A main that is dead for long has little sound of its own to hold the damage against: then the safety knows better. */
static double sound_s(const struct tally *tally, const struct tp_pair_channel *main,
                      const struct tp_pair_channel *safety, uint32_t sample_rate_hz)
{
    double own = active_s(main, sample_rate_hz), other = active_s(safety, sample_rate_hz);
    return tally->total_s > own && other > own ? other : own;
}

static bool is_too_wide(const struct tally *tally, double active)
{
    if (!(active > 0.0))
        return false;
    bool dense = tally->spans >= TP_CHOOSE_DENSE_MIN && (double)tally->spans > TP_CHOOSE_SPLICES_A_SECOND * active;
    return dense || tally->total_s > TP_CHOOSE_SHARE_MAX * active;
}

static enum tp_choice choose(const struct tally *tally, const struct tp_pair_channel *main,
                             const struct tp_pair_channel *safety, uint32_t sample_rate_hz)
{
    if (tally->spans == 0)
        return TP_CHOICE_MAIN;
    if (tally->uncovered > 0)
        return TP_CHOICE_NONE;
    bool wide = is_too_wide(tally, active_s(main, sample_rate_hz));
    return wide && safety->levels->damage.count == 0 && safety->levels->dead.count == 0 ? TP_CHOICE_SAFETY
                                                                                        : TP_CHOICE_SPLICE;
}

static void add_total_s(struct tp_text *text, double total_s)
{
    /* A short click of damage must not read as none. */
    tp_text_number(text, total_s, total_s < 0.1 ? 3 : 2, "0");
    tp_text_add(text, " s");
}

static void add_verb(struct tp_text *text, const struct tally *tally)
{
    if (tally->clips == tally->spans)
        tp_text_add(text, "overloads");
    else if (tally->flat_tops == tally->spans)
        tp_text_add(text, "is limited flat");
    else if (tally->dropouts == tally->spans)
        tp_text_add(text, "drops out");
    else
        tp_text_add(text, "is damaged");
}

/* "overloads 3 times for 0.41 s in all" / "overloads once for 0.041 s". */
static void add_damage(struct tp_text *text, const struct tally *tally)
{
    add_verb(text, tally);
    if (tally->spans == 1)
        tp_text_add(text, " once for ");
    else
        tp_text_format(text, " %zu times for ", tally->spans);
    add_total_s(text, tally->total_s);
    if (tally->spans > 1)
        tp_text_add(text, " in all");
}

static void add_price(struct tp_text *text, const struct tp_pair *pair)
{
    tp_text_add(text, " at ");
    tp_text_number(text, pair->offset_db, 1, "0.0");
    tp_text_add(text, " dB");
    if (!tp_exists(pair->safety_noise_dbfs))
        return;
    tp_text_add(text, "; raised to match, its noise is ");
    tp_text_number(text, pair->safety_noise_dbfs, 1, "");
    tp_text_add(text, " dBFS");
}

static void add_places(struct tp_text *text, const struct tp_pair *pair)
{
    size_t told = 0;
    for (size_t i = 0; i < pair->splice_count; i++) {
        char number[TP_NUMBER_SIZE];
        if (pair->splices[i].covered)
            continue;
        if (told == SPANS_IN_WORDS) {
            tp_text_add(text, " and later");
            return;
        }
        tp_text_add(text, told++ == 0 ? " at " : ", ");
        tp_text_add(text, tp_duration_text(number, pair->splices[i].start_s, 2));
    }
}

/* " from 0:07.4 on", " from 0:12.5 to 0:18.9" */
static void add_dead_places(struct tp_text *text, const struct tp_channel *levels, uint32_t sample_rate_hz)
{
    for (size_t i = 0; i < levels->dead.count && i < SPANS_IN_WORDS; i++) {
        char from[TP_NUMBER_SIZE], to[TP_NUMBER_SIZE];
        const struct tp_span *span = &levels->dead.items[i];
        tp_text_format(text, "%s from %s to %s", i > 0 ? "," : "",
                       tp_duration_text(from, seconds(span->start_frame, sample_rate_hz), 1),
                       tp_duration_text(to, seconds(span->end_frame, sample_rate_hz), 1));
    }
}

static char *pair_reason(const struct tp_pair *pair, enum tp_choice choice, const struct tally *tally, double active,
                         const struct tp_channel *main, const struct tp_channel *safety, uint32_t sample_rate_hz)
{
    struct tp_text text = {0};
    switch (choice) {
    case TP_CHOICE_MAIN:
        if (main->dead.count > 0) {
            tp_text_add(&text, "Main and safety fall silent together");
            add_dead_places(&text, main, sample_rate_hz);
            tp_text_add(&text, "; elsewhere the main is clean, and the safety is at ");
        } else {
            tp_text_add(&text, "The main is clean; the safety is at ");
        }
        tp_text_number(&text, pair->offset_db, 1, "0.0");
        tp_text_add(&text, safety->damage.count > 0 ? " dB and is damaged itself." : " dB and is not needed.");
        break;
    case TP_CHOICE_SPLICE:
        tp_text_add(&text, "The main ");
        add_damage(&text, tally);
        tp_text_add(&text, "; the safety is clean there");
        add_price(&text, pair);
        tp_text_add(&text, ".");
        break;
    case TP_CHOICE_SAFETY:
        tp_text_add(&text, "The main ");
        add_damage(&text, tally);
        tp_text_add(&text, ", of ");
        tp_text_number(&text, active, 1, "0");
        tp_text_add(&text, " s of sound: too much to splice; the safety is clean throughout");
        add_price(&text, pair);
        tp_text_add(&text, ".");
        break;
    case TP_CHOICE_NONE:
        tp_text_add(&text, "The main ");
        add_damage(&text, tally);
        tp_text_format(&text, ", and the safety is damaged too at %zu of the %zu place%s (", tally->uncovered,
                       tally->spans, tally->spans == 1 ? "" : "s");
        add_total_s(&text, tally->uncovered_s);
        tp_text_add(&text, ")");
        add_places(&text, pair);
        tp_text_add(&text, ".");
        break;
    case TP_CHOICE_SINGLE: break;
    }
    return tp_text_take(&text);
}

static struct tp_use use_of(enum tp_choice choice, const struct tp_pair_channel *channel, char *reason)
{
    bool none = choice == TP_CHOICE_NONE;
    return (struct tp_use){.choice = choice,
                           .file = none ? TP_NO_INDEX : channel->file,
                           .channel = none ? 0 : channel->channel,
                           .reason = reason};
}

enum tp_status tp_choose_pair(const struct tp_pair_match *match, const struct tp_pair_channel *main,
                              const struct tp_pair_channel *safety, uint32_t sample_rate_hz, struct tp_signal *signal,
                              struct tp_error *error)
{
    if (match->copy)
        return tp_choose_single(main, sample_rate_hz, signal, error);
    struct tp_pair *pair = calloc(1, sizeof *pair);
    if (pair == NULL)
        return no_memory(error);
    *pair = (struct tp_pair){.main = {.file = main->file, .channel = main->channel},
                             .safety = {.file = safety->file, .channel = safety->channel},
                             .offset_db = match->offset_db,
                             .offset_spread_db = match->offset_spread_db,
                             .lag_samples = match->lag_samples,
                             .lag_fraction = match->lag_fraction,
                             .drift_ppm = match->drift_ppm,
                             .inverted = match->inverted,
                             .correlation = match->correlation,
                             .offset_range_db = match->offset_range_db,
                             .safety_noise_dbfs = safety->levels->noise_floor_dbfs - match->offset_db};
    struct tally tally = {0};
    char *reason = NULL;
    enum tp_choice choice = TP_CHOICE_NONE;
    if (fill_splices(pair, main, safety, sample_rate_hz, &tally)) {
        choice = choose(&tally, main, safety, sample_rate_hz);
        reason = pair_reason(pair, choice, &tally, sound_s(&tally, main, safety, sample_rate_hz), main->levels,
                             safety->levels, sample_rate_hz);
    }
    if (reason == NULL) {
        free(pair->splices);
        free(pair);
        return no_memory(error);
    }
    signal->pair = pair;
    signal->use = use_of(choice, choice == TP_CHOICE_SAFETY ? safety : main, reason);
    return TP_OK;
}

#define NOTHING_INSTEAD ", and there is nothing to cover it with."

/* One channel on its own; `words` names it and what is said of it when it is clean. */
static enum tp_status choose_alone(const struct tp_pair_channel *channel, enum tp_choice clean, const char *subject,
                                   const char *when_clean, const char *instead, uint32_t sample_rate_hz,
                                   struct tp_signal *signal, struct tp_error *error)
{
    struct tally tally = tally_alone(channel, sample_rate_hz);
    struct tp_text text = {0};
    enum tp_choice choice = clean;
    if (tp_pair_is_dead(channel->levels)) {
        choice = TP_CHOICE_NONE;
        tp_text_format(&text, "%s is silent.", subject);
    } else if (tally.spans > 0) {
        choice = TP_CHOICE_NONE;
        tp_text_format(&text, "%s ", subject);
        add_damage(&text, &tally);
        tp_text_add(&text, instead);
    } else if (channel->levels->dead.count > 0) {
        tp_text_format(&text, "%s falls silent", subject);
        add_dead_places(&text, channel->levels, sample_rate_hz);
        tp_text_add(&text, "; elsewhere it is clean.");
    } else {
        tp_text_add(&text, when_clean);
    }
    char *reason = tp_text_take(&text);
    if (reason == NULL)
        return no_memory(error);
    signal->pair = NULL;
    signal->use = use_of(choice, channel, reason);
    return TP_OK;
}

enum tp_status tp_choose_single(const struct tp_pair_channel *channel, uint32_t sample_rate_hz,
                                struct tp_signal *signal, struct tp_error *error)
{
    return choose_alone(channel, TP_CHOICE_SINGLE, "The channel", "The channel is clean and stands alone.",
                        NOTHING_INSTEAD, sample_rate_hz, signal, error);
}

enum tp_status tp_choose_kin(const struct tp_pair_channel *channel, uint32_t owner, uint32_t sample_rate_hz,
                             struct tp_signal *signal, struct tp_error *error)
{
    char when_clean[100], instead[100];
    snprintf(when_clean, sizeof when_clean, "The channel is clean and holds the microphone of channel %u.", owner);
    snprintf(instead, sizeof instead, "; it holds the microphone of channel %u: use that.", owner);
    return choose_alone(channel, TP_CHOICE_SINGLE, "The channel", when_clean, instead, sample_rate_hz, signal, error);
}

enum tp_status tp_choose_with_dead_partner(const struct tp_pair_channel *live, bool dead_is_main,
                                           uint32_t sample_rate_hz, struct tp_signal *signal, struct tp_error *error)
{
    return dead_is_main ? choose_alone(live, TP_CHOICE_SAFETY, "The main is silent; the safety",
                                       "The main is silent; the safety is clean.", NOTHING_INSTEAD, sample_rate_hz,
                                       signal, error)
                        : choose_alone(live, TP_CHOICE_MAIN, "The safety is silent; the main",
                                       "The main is clean, but the safety is silent: nothing stood behind it.",
                                       NOTHING_INSTEAD, sample_rate_hz, signal, error);
}
