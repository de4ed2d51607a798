/* SPDX-License-Identifier: MIT */
#include "report/words.h"

#include "result.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define LEAD_MAX 40 /* bytes of "Do NOT wipe the card yet" and the like */

double tp_words_finding_value(const struct tp_finding *finding, double value)
{
    const char *unit = tp_finding_info(finding->code)->value_unit;
    bool is_level = strncmp(unit, "dB", 2) == 0 || strncmp(unit, "LU", 2) == 0;
    bool is_time = strcmp(unit, "s") == 0;
    return tp_number_round(value, is_level ? TP_LEVEL_DECIMALS : is_time ? TP_TIME_DECIMALS : TP_DC_DECIMALS);
}

int tp_words_unit_decimals(const char *unit)
{
    static const struct {
        const char *unit;
        int decimals;
    } units[] = {{"Hz", 0},         {"bits", 0},
                 {"bytes", 0},      {"channels", 0},
                 {"samples", 0},    {"take", 0},
                 {"ms", 2},         {"s", TP_TIME_DECIMALS},
                 {"frames/s", 3},   {"of full scale", TP_DC_DECIMALS},
                 {"correlation", 3}};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcmp(units[i].unit, unit) == 0)
            return units[i].decimals;
    return TP_LEVEL_DECIMALS;
}

void tp_words_count(uint64_t count, struct tp_text *out)
{
    char digits[32];
    int length = snprintf(digits, sizeof digits, "%" PRIu64, count);
    for (int i = 0; i < length; i++) {
        if (i > 0 && (length - i) % 3 == 0)
            tp_text_add(out, ",");
        tp_text_append(out, digits + i, 1);
    }
}

void tp_words_plural(uint64_t count, const char *one, const char *many, struct tp_text *out)
{
    tp_words_count(count, out);
    tp_text_add(out, " ");
    tp_text_add(out, count == 1 ? one : many);
}

void tp_words_bytes(uint64_t bytes, struct tp_text *out)
{
    static const char *const units[] = {"bytes", "kB", "MB", "GB", "TB", "PB", "EB"};
    size_t unit = 0;
    double value = (double)bytes;
    while (value >= 999.95 && unit + 1 < sizeof units / sizeof units[0]) {
        value /= 1000.0;
        unit++;
    }
    tp_text_number(out, value, unit == 0 ? 0 : 1, "");
    tp_text_add(out, " ");
    tp_text_add(out, bytes == 1 ? "byte" : units[unit]);
}

static bool ends_with(const char *name, const char *path)
{
    size_t length = strlen(name), end = strlen(path);
    return end > 0 && end <= length && strcmp(name + length - end, path) == 0;
}

/* A source that is a file holds that file alone, and ends as its path does. */
static bool is_file_source(const struct tp_report *report, size_t source)
{
    const char *name = report->sources[source];
    for (size_t i = 0; i < report->file_count; i++)
        if (report->files[i].source == source && ends_with(name, report->files[i].path))
            return true;
    for (size_t i = 0; i < report->other_count; i++)
        if (report->others[i].source == source && ends_with(name, report->others[i].path))
            return true;
    return false;
}

bool tp_words_files_alone(const struct tp_report *report)
{
    bool files_alone = report->source_count > 0;
    for (size_t i = 0; i < report->source_count && files_alone; i++)
        files_alone = is_file_source(report, i);
    return files_alone;
}

/* Nothing but what salvage and splice have written: no card, and nothing to be wiped. */
static bool are_made_copies(const struct tp_report *report)
{
    for (size_t i = 0; i < report->file_count; i++)
        if (tp_made_copy_stem(report->files[i].path) == 0)
            return false;
    return report->file_count > 0;
}

bool tp_words_takes_alone(const struct tp_report *report)
{
    if (report->handoff != NULL || report->compared != NULL)
        return false;
    return report->merged || tp_words_files_alone(report) || are_made_copies(report);
}

static bool has_many(const struct tp_report *report)
{
    return report->source_count > 1;
}

const char *tp_words_order(const struct tp_report *report)
{
    if (report->handoff != NULL)
        return report->handoff->may_be_wiped ? "The card may be wiped" : "Do not wipe this card";
    const char *never = has_many(report) ? "Do not wipe these cards" : "Do not wipe this card";
    if (report->summary.takes == 0)
        return never;
    switch (report->verdict) {
    case TP_VERDICT_PASS: return "Every take passes";
    case TP_VERDICT_LISTEN: return has_many(report) ? "Do not wipe these cards yet" : "Do not wipe this card yet";
    case TP_VERDICT_FAIL: return never;
    }
    return "";
}

const char *tp_words_copies_first(const struct tp_report *report)
{
    return has_many(report) ? "Do not wipe these cards before two copies are verified"
                            : "Do not wipe this card before two copies are verified";
}

static bool is_of_comparison(enum tp_code code)
{
    return code == TP_CODE_COPY_MISSING || code == TP_CODE_COPY_CHANGED || code == TP_CODE_COPY_EXTRA;
}

enum tp_verdict tp_words_takes_verdict(const struct tp_report *report)
{
    const struct tp_summary *summary = &report->summary;
    if (summary->takes == 0)
        return TP_VERDICT_FAIL;
    if (report->compared == NULL)
        return report->verdict;
    enum tp_verdict worst = summary->fail > 0     ? TP_VERDICT_FAIL
                            : summary->listen > 0 ? TP_VERDICT_LISTEN
                                                  : TP_VERDICT_PASS;
    for (size_t i = 0; i < report->finding_count; i++) {
        enum tp_severity severity = report->findings[i].severity;
        if (is_of_comparison(report->findings[i].code) || severity < TP_LISTEN)
            continue;
        if (severity == TP_FAIL || worst == TP_VERDICT_PASS)
            worst = severity == TP_FAIL ? TP_VERDICT_FAIL : TP_VERDICT_LISTEN;
    }
    return worst;
}

static void add_of_takes(const struct tp_summary *summary, size_t count, const char *one, const char *many,
                         struct tp_text *out)
{
    tp_words_count(count, out);
    if (count < summary->takes) {
        tp_text_add(out, " of ");
        tp_words_count(summary->takes, out);
        tp_text_add(out, summary->takes == 1 ? " take " : " takes ");
    } else {
        tp_text_add(out, summary->takes == 1 ? " take " : " takes ");
    }
    tp_text_add(out, count == 1 ? one : many);
}

void tp_words_ground(const struct tp_report *report, struct tp_text *out)
{
    const struct tp_summary *summary = &report->summary;
    if (summary->takes == 0) {
        tp_text_add(out, "no take was found");
        return;
    }
    if (tp_words_takes_verdict(report) == TP_VERDICT_PASS)
        return;
    if (summary->fail > 0)
        add_of_takes(summary, summary->fail, "fails", "fail", out);
    if (summary->fail > 0 && summary->listen > 0) {
        tp_text_add(out, ", ");
        tp_words_count(summary->listen, out);
        tp_text_add(out, " must be heard");
    } else if (summary->listen > 0) {
        add_of_takes(summary, summary->listen, "must be heard", "must be heard", out);
    }
    if (summary->fail == 0 && summary->listen == 0 && tp_words_takes_verdict(report) == TP_VERDICT_LISTEN)
        tp_text_add(out, "something about the set as a whole is to be looked at");
    else if (summary->fail == 0 && tp_words_takes_verdict(report) == TP_VERDICT_FAIL)
        tp_text_add(out, summary->listen > 0 ? ", and something is wrong with the set as a whole"
                                             : "something is wrong with the set as a whole");
}

void tp_words_takes(const struct tp_report *report, struct tp_text *out)
{
    size_t start = out->length;
    tp_words_ground(report, out);
    if (out->length == start)
        tp_text_add(out, "Every take passes");
    else if (out->bytes[start] >= 'a' && out->bytes[start] <= 'z')
        out->bytes[start] = (char)(out->bytes[start] - ('a' - 'A'));
}

void tp_words_copies(const struct tp_handoff *handoff, struct tp_text *out)
{
    /* The lead ("Do NOT wipe the card yet: ") is told by the order already; a name with a colon comes behind it. */
    const char *colon = strstr(handoff->words, ": ");
    const char *rest = colon != NULL && colon - handoff->words < LEAD_MAX ? colon + 2 : handoff->words;
    size_t length = strlen(rest);
    tp_text_append(out, rest, length > 0 && rest[length - 1] == '.' ? length - 1 : length);
}

void tp_words_stop(struct tp_text *out)
{
    char last = out->length > 0 ? out->bytes[out->length - 1] : '.';
    if (last != '.' && last != '?')
        tp_text_add(out, ".");
}

void tp_words_headline(const struct tp_report *report, struct tp_text *out)
{
    struct tp_text ground = {.lost = out->lost};
    if (report->compared != NULL) {
        tp_text_add(out, report->compared);
        return;
    }
    if (tp_words_takes_alone(report)) {
        tp_words_takes(report, out);
        return;
    }
    if (report->handoff != NULL)
        tp_words_copies(report->handoff, &ground);
    else
        tp_words_ground(report, &ground);
    tp_text_add(out, tp_words_order(report));
    if (ground.length > 0) {
        tp_text_add(out, ": ");
        tp_text_append(out, ground.bytes, ground.length);
    } else if (report->handoff == NULL && report->verdict == TP_VERDICT_PASS) {
        tp_text_add(out, ". ");
        tp_text_add(out, tp_words_copies_first(report));
    }
    out->failed = out->failed || ground.failed;
    tp_text_clear(&ground);
}

void tp_words_title(const struct tp_report *report, struct tp_text *out)
{
    if (tp_words_takes_alone(report)) {
        tp_words_takes(report, out);
        return;
    }
    tp_text_add(out, report->compared != NULL ? report->compared : tp_words_order(report));
    if ((report->handoff == NULL && report->compared == NULL) || tp_words_takes_verdict(report) == TP_VERDICT_PASS)
        return;
    tp_text_add(out, "; ");
    tp_words_ground(report, out);
}

const char *tp_words_takes_step(const struct tp_report *report)
{
    if (report->summary.takes == 0)
        return "Check that this is the right card or folder, and look at what was not checked and why.";
    switch (tp_words_takes_verdict(report)) {
    case TP_VERDICT_PASS: break;
    case TP_VERDICT_LISTEN:
        return report->summary.listen > 0 ? "Listen at the times named, on headphones, before the set moves on."
                                          : "Look at what is said of the set as a whole.";
    case TP_VERDICT_FAIL: return "Tell the director and the editor about the takes that fail before the set moves on.";
    }
    return "";
}

const char *tp_words_copies_step(const struct tp_report *report)
{
    if (report->handoff != NULL)
        return report->handoff->may_be_wiped
                   ? ""
                   : "Keep the card as it is and run takeproof offload again, with another DEST where one is "
                     "missing or failed; what is proven already is not copied again.";
    if (report->summary.takes == 0 || report->compared != NULL || tp_words_takes_alone(report))
        return "";
    switch (report->verdict) {
    case TP_VERDICT_PASS:
        return "Before the card is wiped, make two verified copies: takeproof offload CARD DEST DEST2";
    case TP_VERDICT_LISTEN: return "Then make two verified copies: takeproof offload CARD DEST DEST2";
    case TP_VERDICT_FAIL:
        return "Keep the card as it is, and make two verified copies: takeproof offload CARD DEST DEST2";
    }
    return "";
}

void tp_words_next_step(const struct tp_report *report, struct tp_text *out)
{
    const char *takes = tp_words_takes_step(report), *copies = tp_words_copies_step(report);
    tp_text_add(out, takes);
    tp_text_add(out, takes[0] != '\0' && copies[0] != '\0' ? " " : "");
    tp_text_add(out, copies);
}

enum tp_verdict tp_words_handoff_verdict(const struct tp_handoff *handoff)
{
    return handoff->may_be_wiped ? TP_VERDICT_PASS : TP_VERDICT_FAIL;
}

enum tp_verdict tp_words_destination_verdict(const struct tp_handoff_destination *destination)
{
    return destination->failed == 0 && destination->message == NULL ? TP_VERDICT_PASS : TP_VERDICT_FAIL;
}

void tp_words_destination(const struct tp_handoff *handoff, const struct tp_handoff_destination *destination,
                          struct tp_text *out)
{
    tp_words_count(destination->copied + destination->kept, out);
    tp_text_add(out, " of ");
    tp_words_plural(handoff->file_count, "file", "files", out);
    tp_text_add(out, " verified (");
    if (destination->copied > 0 || destination->kept == 0) {
        tp_words_count(destination->copied, out);
        tp_text_add(out, destination->kept > 0 ? " copied, " : " copied");
    }
    if (destination->kept > 0) {
        tp_words_count(destination->kept, out);
        tp_text_add(out, " there already");
    }
    tp_text_add(out, "), ");
    tp_text_add(out, tp_readback_words(destination->readback));
}

void tp_words_totals(const struct tp_report *report, struct tp_text *out)
{
    const struct tp_summary *summary = &report->summary;
    char duration[TP_NUMBER_SIZE];
    tp_words_plural(summary->takes, "take", "takes", out);
    tp_text_add(out, " in ");
    tp_words_plural(summary->files, "file", "files", out);
    tp_text_add(out, ", ");
    tp_text_add(out, tp_duration_text(duration, tp_words_time(summary->duration_s), 0));
    tp_text_add(out, " of sound, ");
    tp_words_bytes(summary->bytes, out);
    tp_text_add(out, ": ");
    tp_words_count(summary->pass, out);
    tp_text_add(out, " pass, ");
    tp_words_count(summary->listen, out);
    tp_text_add(out, " to listen to, ");
    tp_words_count(summary->fail, out);
    tp_text_add(out, " fail");
}

void tp_words_take(const struct tp_take *take, struct tp_text *out)
{
    if (take->scene[0] == '\0' || take->take[0] == '\0') {
        tp_text_add(out, take->id);
        return;
    }
    tp_text_add(out, take->scene);
    tp_text_add(out, " take ");
    tp_text_add(out, take->take);
}

static const char *first_path(const struct tp_report *report, const struct tp_take *take)
{
    return take->file_count > 0 ? tp_words_path(report, take->files[0]) : "";
}

/* Its last part and what follows it, "S01/". */
static const char *last_part(const char *source)
{
    const char *end = source + strlen(source);
    while (end > source && end[-1] == '/')
        end--;
    while (end > source && end[-1] != '/')
        end--;
    return end;
}

/* The last part, where no other source ends so. */
static const char *short_source(const struct tp_report *report, size_t source)
{
    const char *last = last_part(report->sources[source]);
    for (size_t i = 0; i < report->source_count; i++)
        if (i != source && strcmp(last_part(report->sources[i]), last) == 0)
            return report->sources[source];
    return *last != '\0' && *last != '.' ? last : report->sources[source];
}

const char *tp_words_card(const struct tp_report *report, const struct tp_take *take)
{
    size_t file = take->file_count > 0 ? take->files[0] : TP_NO_INDEX;
    if (report->source_count < 2 || file >= report->file_count)
        return NULL;
    size_t source = report->files[file].source;
    return source < report->source_count && !is_file_source(report, source) ? short_source(report, source) : NULL;
}

static bool on_one_card(const struct tp_report *report, const struct tp_take *a, const struct tp_take *b)
{
    const char *one = tp_words_card(report, a), *other = tp_words_card(report, b);
    return one == NULL || other == NULL || one == other;
}

const char *tp_words_apart(const struct tp_report *report, const struct tp_take *take)
{
    bool has_twin = false, has_same_path = false;
    if (take->scene[0] == '\0' || take->take[0] == '\0')
        return NULL;
    for (size_t i = 0; i < report->take_count; i++) {
        const struct tp_take *other = &report->takes[i];
        if (other == take || strcmp(other->take, take->take) != 0 || strcmp(other->scene, take->scene) != 0 ||
            !on_one_card(report, take, other))
            continue;
        has_twin = true;
        has_same_path = has_same_path || strcmp(first_path(report, other), first_path(report, take)) == 0;
    }
    return !has_twin ? NULL : has_same_path ? take->id : first_path(report, take);
}

void tp_words_take_apart(const struct tp_report *report, const struct tp_take *take, struct tp_text *out)
{
    const char *apart = tp_words_apart(report, take);
    tp_words_take(take, out);
    if (apart != NULL)
        tp_text_format(out, " '%s'", apart);
    const char *card = tp_words_card(report, take);
    if (card != NULL)
        tp_text_format(out, " on %s", card);
}

const char *tp_words_base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? path : slash + 1;
}

const char *tp_words_path(const struct tp_report *report, size_t file)
{
    return file < report->file_count ? report->files[file].path : "";
}

static void add_channel_number(const struct tp_report *report, const struct tp_take *take, size_t file,
                               uint32_t channel, struct tp_text *out)
{
    tp_text_format(out, "channel %" PRIu64, (uint64_t)channel + 1);
    if (take->file_count > 1 && file < report->file_count)
        tp_text_format(out, " of '%s'", tp_words_base_name(report->files[file].path));
}

void tp_words_channel(const struct tp_report *report, size_t file, uint32_t channel, struct tp_text *out)
{
    if (channel == TP_NO_CHANNEL)
        return;
    tp_text_format(out, "channel %" PRIu64, (uint64_t)channel + 1);
    if (file >= report->file_count)
        return;
    const struct tp_file *f = &report->files[file];
    if (f->channels != NULL && channel < f->channel_count && f->channels[channel].name[0] != '\0')
        tp_text_format(out, " '%s'", f->channels[channel].name);
}

void tp_words_use(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                  struct tp_text *out)
{
    const struct tp_use *use = &signal->use;
    switch (use->choice) {
    case TP_CHOICE_NONE:
        if (signal->same_as.file == TP_NO_INDEX) {
            tp_text_add(out, "no clean channel");
            return;
        }
        tp_text_add(out, "damaged, holds the same as ");
        add_channel_number(report, take, signal->same_as.file, signal->same_as.channel, out);
        return;
    case TP_CHOICE_SINGLE: break;
    case TP_CHOICE_MAIN:
    case TP_CHOICE_SPLICE: tp_text_add(out, "main, "); break;
    case TP_CHOICE_SAFETY: tp_text_add(out, "safety, "); break;
    }
    add_channel_number(report, take, use->file, use->channel, out);
    if (use->choice != TP_CHOICE_SPLICE || signal->pair == NULL)
        return;
    tp_text_add(out, ", with the safety, ");
    add_channel_number(report, take, signal->pair->safety.file, signal->pair->safety.channel, out);
    tp_text_add(out, ", over ");
    tp_words_plural(signal->pair->splice_count, "spot", "spots", out);
}

size_t tp_words_same_track(const struct tp_take *take, size_t index)
{
    const struct tp_signal *first = &take->signals[index];
    size_t parts = take->part_count;
    /* With several files a part, or splices, the parts differ in more than the file. */
    if (parts < 2 || take->file_count != parts || first->part != 0 || index + parts > take->signal_count ||
        first->use.choice == TP_CHOICE_SPLICE)
        return 1;
    for (size_t i = 1; i < parts; i++) {
        const struct tp_signal *signal = &take->signals[index + i];
        if (signal->part != i || signal->use.choice != first->use.choice || signal->use.channel != first->use.channel ||
            strcmp(signal->name, first->name) != 0)
            return 1;
    }
    return parts;
}

void tp_words_use_alike(const struct tp_report *report, const struct tp_take *take, size_t index, struct tp_text *out)
{
    struct tp_take shown = *take;
    bool alike = tp_words_same_track(take, index) > 1;
    if (alike)
        shown.file_count = 1; /* the channel without its file */
    tp_words_use(report, &shown, &take->signals[index], out);
    if (alike && take->part_count == 2)
        tp_text_add(out, ", in both parts");
    else if (alike)
        tp_text_format(out, ", in all %zu parts", take->part_count);
}

/* Of two tracks without a pair none of which holds enough sound to compare them. */
static bool is_too_quiet_to_pair(const struct tp_report *report, const struct tp_take *take)
{
    size_t tracks = 0;
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_signal *signal = &take->signals[i];
        if (signal->pair != NULL || signal->dead_partner.file != TP_NO_INDEX || signal->copy.file != TP_NO_INDEX)
            return false;
        tracks += signal->part == 0;
    }
    return tracks == 2 && tp_report_take_spec(report, take)->pair != TP_PAIR_OFF && tp_take_is_too_quiet(report, take);
}

void tp_words_uses(const struct tp_report *report, const struct tp_take *take, struct tp_text *out)
{
    if (take->signal_count == 0)
        tp_text_add(out, "no clean channel");
    for (size_t i = 0, alike; i < take->signal_count; i += alike) {
        alike = tp_words_same_track(take, i);
        if (i > 0)
            tp_text_add(out, "; ");
        if (take->signal_count > 1 && take->signals[i].name[0] != '\0')
            tp_text_format(out, "%s: ", take->signals[i].name);
        tp_words_use_alike(report, take, i, out);
    }
    if (is_too_quiet_to_pair(report, take))
        tp_text_add(out, " (too quiet to tell whether they are main and safety)");
}

void tp_words_place(const struct tp_finding *finding, struct tp_text *out)
{
    char start[TP_NUMBER_SIZE], end[TP_NUMBER_SIZE];
    tp_duration_text(start, tp_words_time(finding->start_s), 1);
    tp_duration_text(end, tp_words_time(finding->end_s), 1);
    /* The sentence names the further places; this is the first of them. */
    bool is_first_of_many = finding->code == TP_CODE_SAFETY_NEEDED && finding->more_places > 0;
    tp_text_add(out, is_first_of_many ? "from " : "");
    tp_text_add(out, start);
    if (is_first_of_many)
        return;
    if (start[0] != '\0' && end[0] != '\0' && strcmp(start, end) != 0) {
        tp_text_add(out, " to ");
        tp_text_add(out, end);
    }
}

static size_t channels_of(const struct tp_report *report, const struct tp_take *take)
{
    size_t count = 0;
    for (size_t i = 0; i < take->file_count; i++)
        if (take->files[i] < report->file_count)
            count += report->files[take->files[i]].channel_count;
    return count;
}

/* Where there are several microphones, a number alone is looked up in vain on the mixer. */
static void add_channel(const struct tp_report *report, const struct tp_take *take, size_t file, uint32_t channel,
                        struct tp_text *out)
{
    if (!tp_take_has_many_microphones(take)) {
        add_channel_number(report, take, file, channel, out);
        return;
    }
    tp_words_channel(report, file, channel, out);
    if (take->file_count > 1 && file < report->file_count)
        tp_text_format(out, " of '%s'", tp_words_base_name(report->files[file].path));
}

static void add_spot(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                     bool with_channel, struct tp_text *out)
{
    struct tp_text place = {.lost = out->lost};
    if (with_channel && finding->channel != TP_NO_CHANNEL)
        add_channel(report, take, finding->file, finding->channel, out);
    tp_words_place(finding, &place);
    if (place.length > 0)
        tp_text_format(out, "%s%s", out->length > 0 ? ", " : "", place.bytes);
    tp_text_clear(&place);
}

static bool is_of_one_channel(const struct tp_report *report, const struct tp_take *take,
                              const struct tp_finding *finding)
{
    enum tp_family family = tp_finding_info(finding->code)->family;
    /* Half of a pair that falls silent for a part of the take: found before the channels of the take were named. */
    bool is_silent_half = (finding->code == TP_CODE_MAIN_SILENT || finding->code == TP_CODE_SAFETY_SILENT) &&
                          tp_exists(finding->start_s) && tp_take_has_many_microphones(take);
    return is_silent_half ||
           ((family == TP_FAMILY_LEVEL || family == TP_FAMILY_FAULT) && channels_of(report, take) > 1);
}

void tp_words_spot(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                   struct tp_text *out)
{
    add_spot(report, take, finding, is_of_one_channel(report, take, finding), out);
}

void tp_words_spot_alone(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                         struct tp_text *out)
{
    bool is_of_pair = tp_finding_info(finding->code)->family == TP_FAMILY_PAIR && tp_take_has_many_microphones(take);
    add_spot(report, take, finding, is_of_pair || is_of_one_channel(report, take, finding), out);
}

void tp_words_format(const struct tp_file *file, struct tp_text *out)
{
    if (file->encoding == TP_ENCODING_NONE) {
        tp_text_add(out, "not readable as WAV");
        return;
    }
    tp_words_count(file->sample_rate_hz, out);
    tp_text_format(out, " Hz, %" PRIu32 "-bit %s", file->valid_bits > 0 ? file->valid_bits : file->bit_depth,
                   tp_words_encoding(file->encoding));
    if (file->valid_bits > 0 && file->valid_bits < file->bit_depth)
        tp_text_format(out, " in %" PRIu32, file->bit_depth);
    tp_text_add(out, ", ");
    tp_words_plural(file->channel_count, "channel", "channels", out);
    tp_text_format(out, ", %s", tp_words_container(file->container));
}

static bool is_fractional(struct tp_timecode_rate rate)
{
    return rate.denominator == 1001;
}

void tp_words_rate(struct tp_timecode_rate rate, struct tp_text *out)
{
    if (rate.numerator == 0 || rate.denominator == 0)
        return;
    char number[TP_NUMBER_SIZE];
    bool is_known = rate.denominator == 1 || (is_fractional(rate) && rate.numerator % 1000 == 0);
    if (!is_known) {
        tp_text_format(out, "%" PRIu32 "/%" PRIu32, rate.numerator, rate.denominator);
    } else {
        tp_number_text(number, (double)rate.numerator / rate.denominator, is_fractional(rate) ? 3 : 0);
        size_t length = strlen(number);
        while (is_fractional(rate) && number[length - 1] == '0')
            number[--length] = '\0';
        tp_text_add(out, number);
    }
    bool counts_both_ways = is_fractional(rate) && (rate.numerator == 30000 || rate.numerator == 60000);
    if (rate.drop || counts_both_ways)
        tp_text_add(out, rate.drop ? "DF" : "ND");
}

static bool read_u32(const char *text, uint32_t *out)
{
    uint64_t value;
    if (!tp_u64_read(text, &value) || value == 0 || value > UINT32_MAX)
        return false;
    *out = (uint32_t)value;
    return true;
}

bool tp_words_rate_read(const char *text, struct tp_timecode_rate *rate)
{
    char number[32];
    struct tp_timecode_rate read = {0};
    size_t length = strlen(text);
    if (length == 0 || length >= sizeof number)
        return false;
    memcpy(number, text, length + 1);
    if (length > 2 && (strcmp(number + length - 2, "DF") == 0 || strcmp(number + length - 2, "ND") == 0)) {
        read.drop = number[length - 2] == 'D';
        number[length - 2] = '\0';
    }
    char *slash = strchr(number, '/');
    double value;
    if (slash != NULL) {
        *slash = '\0';
        if (!read_u32(number, &read.numerator) || !read_u32(slash + 1, &read.denominator))
            return false;
    } else if (strchr(number, '.') == NULL) {
        read.denominator = 1;
        if (!read_u32(number, &read.numerator))
            return false;
    } else if (tp_number_read(number, &value) && value > 0.5 && value < 1e6) {
        read.numerator = (uint32_t)ceil(value) * 1000;
        read.denominator = 1001;
    } else {
        return false;
    }
    *rate = read;
    return true;
}

const char *tp_words_encoding(enum tp_encoding encoding)
{
    switch (encoding) {
    case TP_ENCODING_NONE: return "any";
    case TP_ENCODING_PCM: return "PCM";
    case TP_ENCODING_FLOAT: return "float";
    }
    return "";
}

const char *tp_words_container(enum tp_container container)
{
    switch (container) {
    case TP_CONTAINER_NONE: return "any of the WAV family";
    case TP_CONTAINER_WAV: return "WAV";
    case TP_CONTAINER_RF64: return "RF64";
    case TP_CONTAINER_BW64: return "BW64";
    }
    return "";
}

const char *tp_words_pair_policy(enum tp_pair_policy policy)
{
    switch (policy) {
    case TP_PAIR_AUTO: return "auto";
    case TP_PAIR_REQUIRED: return "required";
    case TP_PAIR_OFF: return "off";
    }
    return "";
}

enum tp_severity tp_words_worst(const struct tp_take *take)
{
    enum tp_severity worst = TP_NOTE;
    for (size_t i = 0; i < take->finding_count; i++)
        if (take->findings[i].severity > worst)
            worst = take->findings[i].severity;
    return worst;
}
