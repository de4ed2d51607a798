/* SPDX-License-Identifier: MIT */
#include "report/topics.h"

#include "report/words.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#define TIMES_LISTED 4
#define CHANNELS_LISTED 4
#define ADVISED 2

#define RANK_COVERED 3

/* Smaller is more important. */
static int rank_of(enum tp_code code)
{
    switch (code) {
    case TP_CODE_EMPTY_FILE:
    case TP_CODE_HEADER_ONLY:
    case TP_CODE_NOT_WAV:
    case TP_CODE_UNREADABLE:
    case TP_CODE_UNFINISHED_HEADER:
    case TP_CODE_TRUNCATED: return 0;
    case TP_CODE_BOTH_CLIPPED:
    case TP_CODE_CLIPPED:
    case TP_CODE_FLAT_TOPPED:
    case TP_CODE_DROPOUT:
    case TP_CODE_REPEATED_BLOCK:
    case TP_CODE_SILENT_CHANNEL:
    case TP_CODE_NOISE_ONLY: return 1;
    case TP_CODE_SIZE_MISMATCH:
    case TP_CODE_TRAILING_BYTES:
    case TP_CODE_METADATA_CONFLICT:
    case TP_CODE_MISSING_BEXT:
    case TP_CODE_MISSING_IXML:
    case TP_CODE_WRONG_TIMECODE_RATE:
    case TP_CODE_NAME_OFF_PATTERN: return 6;
    default: break;
    }
    switch (tp_finding_info(code)->family) {
    case TP_FAMILY_PAIR: return 2;
    case TP_FAMILY_SPEC: return 4;
    default: return 5;
    }
}

/* One finding stands for all places of a channel: its time is that of one, and its sentence counts them. */
static bool is_list(enum tp_code code)
{
    return code == TP_CODE_CLIPPED || code == TP_CODE_FLAT_TOPPED || code == TP_CODE_SAFETY_NEEDED;
}

static bool belongs(const struct tp_finding *first, const struct tp_finding *other)
{
    if (other->severity < TP_LISTEN || first->code != other->code)
        return false;
    /* An overload that float has kept whole wants other words than one that is damage. */
    if (first->code == TP_CODE_CLIPPED && first->severity != other->severity)
        return false;
    if (is_list(first->code))
        return first == other || first->code != TP_CODE_SAFETY_NEEDED;
    if (tp_exists(first->start_s) != tp_exists(other->start_s))
        return false;
    /* The sentence names the two channels, and every pair has its own numbers. */
    if (tp_finding_info(first->code)->family == TP_FAMILY_PAIR && !tp_exists(first->start_s))
        return strcmp(first->message, other->message) == 0;
    return tp_exists(first->start_s) || (first->channel != TP_NO_CHANNEL && other->channel != TP_NO_CHANNEL) ||
           strcmp(first->message, other->message) == 0;
}

/* The findings of a topic in the order of the take: the next one from `from` on, or NULL. */
static const struct tp_finding *next_of(const struct tp_take *take, const struct tp_topic *topic, size_t *from)
{
    for (; *from < take->finding_count; (*from)++)
        if (belongs(topic->first, &take->findings[*from]))
            return &take->findings[(*from)++];
    return NULL;
}

/* Damage of a main that its safety covers; where it does not everywhere, another finding says so. */
static bool is_covered_finding(const struct tp_take *take, const struct tp_finding *finding)
{
    if (finding->code != TP_CODE_DROPOUT && finding->code != TP_CODE_CLIPPED && finding->code != TP_CODE_FLAT_TOPPED)
        return false;
    for (size_t i = 0; i < take->finding_count; i++) {
        const struct tp_finding *cover = &take->findings[i];
        if (cover->code == TP_CODE_SAFETY_NEEDED && cover->file == finding->file && cover->channel == finding->channel)
            return true;
    }
    return false;
}

static bool is_covered(const struct tp_take *take, const struct tp_topic *topic)
{
    size_t from = 0;
    for (const struct tp_finding *f; (f = next_of(take, topic, &from)) != NULL;)
        if (f->severity == TP_FAIL || !is_covered_finding(take, f))
            return false;
    return true;
}

static int compare_topics(const void *a, const void *b)
{
    const struct tp_topic *one = a, *other = b;
    const struct tp_finding *first = one->first, *second = other->first;
    if (first->severity != second->severity)
        return first->severity > second->severity ? -1 : 1;
    int order = one->rank - other->rank;
    return order != 0 ? order : first < second ? -1 : first > second;
}

bool tp_topics_of(const struct tp_take *take, struct tp_topics *topics)
{
    *topics = (struct tp_topics){.items = calloc(take->finding_count + 1, sizeof *topics->items)};
    if (topics->items == NULL)
        return false;
    for (size_t i = 0; i < take->finding_count; i++) {
        const struct tp_finding *finding = &take->findings[i];
        size_t t = 0;
        while (t < topics->count && !belongs(topics->items[t].first, finding))
            t++;
        if (finding->severity < TP_LISTEN)
            continue;
        if (t == topics->count)
            topics->items[topics->count++] = (struct tp_topic){.first = finding};
        topics->items[t].count++;
        if (finding->severity > topics->items[t].first->severity)
            topics->items[t].first = finding;
    }
    for (size_t t = 0; t < topics->count; t++) {
        struct tp_topic *topic = &topics->items[t];
        topic->is_covered = is_covered(take, topic);
        topic->rank = topic->is_covered ? RANK_COVERED : rank_of(topic->first->code);
    }
    qsort(topics->items, topics->count, sizeof *topics->items, compare_topics);
    return true;
}

void tp_topics_clear(struct tp_topics *topics)
{
    free(topics->items);
    *topics = (struct tp_topics){0};
}

static int compare_times(const void *a, const void *b)
{
    double first = *(const double *)a, second = *(const double *)b;
    return first < second ? -1 : first > second;
}

/* The earliest times, in order. */
static size_t earliest(const struct tp_take *take, const struct tp_topic *topic, double times[TIMES_LISTED])
{
    size_t from = 0, count = 0;
    for (const struct tp_finding *f; (f = next_of(take, topic, &from)) != NULL;) {
        if (count < TIMES_LISTED)
            times[count++] = f->start_s;
        else if (f->start_s < times[count - 1])
            times[count - 1] = f->start_s;
        qsort(times, count, sizeof *times, compare_times);
    }
    return count;
}

static uint64_t places_of(const struct tp_take *take, const struct tp_topic *topic)
{
    size_t from = 0;
    uint64_t places = 0;
    for (const struct tp_finding *f; (f = next_of(take, topic, &from)) != NULL;)
        places += 1 + (uint64_t)f->more_places;
    return places;
}

/* What a finding is at; its time only where that is not the one that `but` has told. */
static void spot_of(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                    const struct tp_finding *but, struct tp_text *out)
{
    struct tp_finding timeless = *finding;
    if (but == NULL || !(fabs(finding->start_s - but->start_s) > 0.0))
        timeless.start_s = timeless.end_s = (double)NAN;
    tp_words_spot_alone(report, take, &timeless, out);
}

static bool is_spot_of_earlier(const struct tp_take *take, const struct tp_topic *topic, const struct tp_finding *f)
{
    size_t from = 0;
    for (const struct tp_finding *e; (e = next_of(take, topic, &from)) != NULL && e != f;)
        if (e->file == f->file && e->channel == f->channel)
            return true;
    return false;
}

/* "channel 1, channel 2 and 6 more": the channels of a topic but that of `but`, each once. */
static void channels_of(const struct tp_report *report, const struct tp_take *take, const struct tp_topic *topic,
                        const struct tp_finding *but, struct tp_text *out)
{
    size_t from = 0, listed = 0, more = 0;
    for (const struct tp_finding *f; (f = next_of(take, topic, &from)) != NULL;) {
        struct tp_text spot = {.lost = out->lost};
        if (is_spot_of_earlier(take, topic, f) || (but != NULL && but->file == f->file && but->channel == f->channel))
            continue;
        spot_of(report, take, f, but, &spot);
        if (spot.length > 0 && listed < CHANNELS_LISTED)
            tp_text_format(out, "%s%s", listed++ > 0 ? ", " : "", spot.bytes);
        else if (spot.length > 0)
            more++;
        out->failed = out->failed || spot.failed;
        tp_text_clear(&spot);
    }
    if (more > 0)
        tp_text_format(out, " and %zu more", more);
}

/* Of one channel there is more than one: hum in two channels is no two places. */
static bool has_many_places(const struct tp_take *take, const struct tp_topic *topic)
{
    size_t from = 0;
    if (topic->count < 2 || !tp_exists(topic->first->start_s) || is_list(topic->first->code))
        return false;
    for (const struct tp_finding *f; (f = next_of(take, topic, &from)) != NULL;)
        if (is_spot_of_earlier(take, topic, f))
            return true;
    return false;
}

/* "Click, at 16 places: 0:01.0, 0:03.2, 0:04.7, 0:09.0 and 12 more." */
static void many_times(const struct tp_report *report, const struct tp_take *take, const struct tp_topic *topic,
                       struct tp_text *out)
{
    double times[TIMES_LISTED];
    char time[TP_NUMBER_SIZE];
    size_t listed = earliest(take, topic, times);
    uint64_t places = places_of(take, topic);
    channels_of(report, take, topic, NULL, out);
    tp_text_format(out, "%s%s, at ", out->length > 0 ? ": " : "", tp_finding_info(topic->first->code)->title);
    tp_words_count(places, out);
    tp_text_add(out, " places: ");
    for (size_t i = 0; i < listed; i++)
        tp_text_format(out, "%s%s", i > 0 ? ", " : "", tp_duration_text(time, tp_words_time(times[i]), 1));
    if (places > listed) {
        tp_text_add(out, " and ");
        tp_words_count(places - listed, out);
        tp_text_add(out, " more");
    }
    tp_text_add(out, ".");
}

void tp_topic_words(const struct tp_report *report, const struct tp_take *take, const struct tp_topic *topic,
                    struct tp_text *out)
{
    struct tp_text others = {.lost = out->lost};
    if (has_many_places(take, topic)) {
        many_times(report, take, topic, out);
        return;
    }
    tp_words_spot(report, take, topic->first, out);
    tp_text_format(out, "%s%s", out->length > 0 ? ": " : "", topic->first->message);
    if (topic->count > 1)
        channels_of(report, take, topic, topic->first, &others);
    if (others.length > 0)
        tp_text_format(out, " Likewise %s.", others.bytes);
    out->failed = out->failed || others.failed;
    tp_text_clear(&others);
}

bool tp_topic_is_advised(const struct tp_topics *topics, size_t index)
{
    size_t before = 0;
    for (size_t i = 0; i < index; i++)
        before += !topics->items[i].is_covered;
    const struct tp_topic *topic = &topics->items[index];
    return topic->first->code == TP_CODE_SAFETY_NEEDED || (!topic->is_covered && before < ADVISED);
}
