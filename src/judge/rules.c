/* SPDX-License-Identifier: MIT */
#include "judge/rules.h"

#include "base/num.h"
#include "judge/card_format.h"
#include "judge/rules_file.h"
#include "judge/rules_set.h"
#include "judge/rules_take.h"

#include <stdlib.h>

/* As for main-silent. Common practice, no source. */
#define NOTHING_HEARD_DBFS (-75.0)

static enum tp_verdict worse(enum tp_verdict a, enum tp_verdict b)
{
    return a > b ? a : b;
}

static void verdict_of_files(struct tp_report *report, const struct tp_finding_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        const struct tp_finding *finding = &list->items[i];
        if (finding->file == TP_NO_INDEX)
            continue;
        struct tp_file *file = &report->files[finding->file];
        enum tp_verdict verdict = finding->severity == TP_FAIL     ? TP_VERDICT_FAIL
                                  : finding->severity == TP_LISTEN ? TP_VERDICT_LISTEN
                                                                   : TP_VERDICT_PASS;
        file->verdict = worse(file->verdict, verdict);
    }
}

static const struct tp_channel *channel_of(const struct tp_report *report, const struct tp_signal *signal)
{
    return &report->files[signal->channel.file].channels[signal->channel.channel];
}

/* No gain would have helped: nothing was heard, or the sound broke off. */
static void tell_nothing_usable(const struct tp_report *report, const struct tp_take *take,
                                struct tp_finding_place place, struct tp_finding_list *list)
{
    bool overloaded = false;
    double peak_dbfs = (double)NAN;
    char peak[TP_NUMBER_SIZE];
    for (size_t i = 0; i < take->signal_count; i++) {
        const struct tp_channel *channel = channel_of(report, &take->signals[i]);
        overloaded = overloaded || channel->clip_runs > 0 || channel->flat_top_runs > 0;
        if (tp_exists(channel->sample_peak_dbfs))
            peak_dbfs = fmax(peak_dbfs, channel->sample_peak_dbfs);
    }
    const char *reason = take->signals[0].use.reason;
    if (overloaded)
        tp_finding_add(list, TP_CODE_BOTH_CLIPPED, TP_FAIL, place, "No channel of this take is clean: %s", reason);
    else if (tp_exists(peak_dbfs) && peak_dbfs >= NOTHING_HEARD_DBFS)
        tp_finding_add(list, TP_CODE_DROPOUT, TP_FAIL, place, "No channel of this take is clean: %s", reason);
    else
        tp_finding_add(list, TP_CODE_NOISE_ONLY, TP_FAIL, place,
                       "No channel of this take holds any sound, only noise with peaks up to %s dBFS: was the right "
                       "input chosen, the cable whole, phantom power on?",
                       tp_number_text(peak, peak_dbfs, 1));
}

/* The last line of defence against a wrong pass: a take from which nothing can be used fails, whatever the rules say.
 */
static void guard_against_nothing_usable(const struct tp_report *report, const struct tp_take *take,
                                         struct tp_finding_list *list)
{
    bool usable = false;
    for (size_t i = 0; i < take->signal_count; i++)
        usable = usable || take->signals[i].use.choice != TP_CHOICE_NONE;
    if (usable || tp_finding_list_verdict(list) == TP_VERDICT_FAIL)
        return;
    struct tp_finding_place place = tp_nowhere();
    place.file = take->files[0];
    if (take->signal_count == 0)
        tp_finding_add(list, TP_CODE_UNREADABLE, TP_FAIL, place, "No sound could be read from this take.");
    else
        tell_nothing_usable(report, take, place, list);
}

static enum tp_status judge_take(struct tp_report *report, const struct tp_card_format *formats, struct tp_take *take,
                                 struct tp_error *error)
{
    struct tp_finding_list list = {0};
    for (size_t i = 0; i < take->file_count; i++)
        tp_rules_file(report, formats, take->files[i], &list);
    tp_rules_take(report, take, &list);
    guard_against_nothing_usable(report, take, &list);
    if (list.failed) {
        tp_finding_list_clear(&list);
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to judge take '%s'", take->id);
    }
    tp_finding_list_sort(&list);
    take->findings = list.items;
    take->finding_count = list.count;
    take->verdict = tp_finding_list_verdict(&list);
    verdict_of_files(report, &list);
    return TP_OK;
}

void tp_rules_sum_up(struct tp_report *report)
{
    struct tp_summary *summary = &report->summary;
    *summary = (struct tp_summary){.files = report->file_count, .takes = report->take_count};
    struct tp_finding_list set = {.items = report->findings, .count = report->finding_count};
    report->verdict = report->take_count == 0 ? TP_VERDICT_FAIL : tp_finding_list_verdict(&set);
    for (size_t i = 0; i < report->take_count; i++) {
        const struct tp_take *take = &report->takes[i];
        summary->pass += take->verdict == TP_VERDICT_PASS;
        summary->listen += take->verdict == TP_VERDICT_LISTEN;
        summary->fail += take->verdict == TP_VERDICT_FAIL;
        /* As report.json has it, so that merged reports add up to the same total. */
        if (tp_exists(take->duration_s))
            summary->duration_s += tp_number_round(take->duration_s, 3);
        report->verdict = worse(report->verdict, take->verdict);
    }
    for (size_t i = 0; i < report->file_count; i++)
        summary->bytes += report->files[i].bytes;
}

enum tp_status tp_rules_judge_set(struct tp_report *report, struct tp_error *error)
{
    struct tp_finding_list list = {
        .items = report->findings, .count = report->finding_count, .capacity = report->finding_count};
    tp_rules_set(report, &list);
    tp_finding_list_sort(&list);
    report->findings = list.items;
    report->finding_count = list.count;
    return list.failed ? tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to judge the set") : TP_OK;
}

static enum tp_status tell_formats(struct tp_report *report, const struct tp_card_format *formats,
                                   struct tp_error *error)
{
    struct tp_finding_list list = {
        .items = report->findings, .count = report->finding_count, .capacity = report->finding_count};
    tp_card_formats_tell(report, formats, &list);
    report->findings = list.items;
    report->finding_count = list.count;
    return list.failed ? tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to judge the set") : TP_OK;
}

enum tp_status tp_rules_judge(struct tp_report *report, struct tp_error *error)
{
    struct tp_card_format *formats = tp_card_formats(report);
    if (formats == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to judge the takes");
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < report->take_count && status == TP_OK; i++)
        status = judge_take(report, formats, &report->takes[i], error);
    if (status == TP_OK)
        status = tell_formats(report, formats, error);
    free(formats);
    if (status == TP_OK)
        status = tp_rules_judge_set(report, error);
    if (status == TP_OK)
        tp_rules_sum_up(report);
    return status;
}
