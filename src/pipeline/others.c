/* SPDX-License-Identifier: MIT */
#include "pipeline/others.h"

#include "base/io.h"
#include "base/text.h"
#include "judge/finding_list.h"
#include "judge/rules_file.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What the first bytes of a file that is no candidate by its name are. */
enum inside { INSIDE_OTHER, INSIDE_WAV, INSIDE_UNREADABLE };

void tp_head_add(struct tp_head *head, const uint8_t *bytes, size_t size)
{
    size_t wanted = sizeof head->bytes - head->size;
    size_t taken = size < wanted ? size : wanted;
    memcpy(head->bytes + head->size, bytes, taken);
    head->size += taken;
}

static enum tp_status read_head(const char *path, struct tp_head *head, struct tp_error *error)
{
    int fd;
    uint64_t size;
    int64_t modified_s;
    enum tp_status status = tp_file_open(path, &fd, &size, &modified_s, error);
    if (status != TP_OK)
        return status;
    status = tp_file_read_at(fd, path, 0, head->bytes, sizeof head->bytes, &head->size, error);
    close(fd);
    return status;
}

/* What a copy could not read, the copying tells. */
static enum inside look_inside(const struct tp_scan_entry *entry, const struct tp_head *known, int *os_errno)
{
    struct tp_head read = {0};
    struct tp_error error = {0};
    enum tp_status status = known == NULL ? read_head(entry->opened, &read, &error) : TP_OK;
    const struct tp_head *head = known != NULL ? known : &read;
    *os_errno = error.os_errno;
    tp_error_clear(&error);
    if (status != TP_OK)
        return INSIDE_UNREADABLE;
    return tp_kind_is_wav(head->bytes, head->size) ? INSIDE_WAV : INSIDE_OTHER;
}

static bool set_why(struct tp_other *other, const char *why)
{
    char *copy = tp_strdup(why);
    if (copy == NULL)
        return false;
    free(other->why);
    other->why = copy;
    return true;
}

/* How many others were told of, each kind to its bound. */
struct others_told {
    size_t wav, unreadable, lost;
    const char *first_lost;
};

/* A recording may be called anything: cut off before the recorder gave it its name, or renamed. */
static void judge_other(const struct tp_scan_entry *entry, const struct tp_head *head, struct tp_other *other,
                        struct others_told *told, struct tp_finding_list *list)
{
    int os_errno = 0;
    enum inside inside = entry->may_be_wav ? look_inside(entry, head, &os_errno) : INSIDE_OTHER;
    if (inside == INSIDE_WAV) {
        list->failed = list->failed || !set_why(other, "begins like a WAV recording, by another name: not checked");
        if (told->wav++ < TP_FINDINGS_PER_CODE)
            tp_finding_add(list, TP_CODE_NAME_OFF_PATTERN, TP_LISTEN, tp_nowhere(),
                           "'%s' begins like a WAV recording but is not called like one, so it was not checked. Check "
                           "it by its own name: takeproof check FILE; if it breaks off, takeproof salvage FILE -o DIR "
                           "makes a playable copy.",
                           other->path);
    } else if (inside == INSIDE_UNREADABLE) {
        if (told->unreadable++ < TP_FINDINGS_PER_CODE)
            tp_finding_add(list, TP_CODE_UNREADABLE, TP_LISTEN, tp_nowhere(),
                           "'%s' cannot be opened or read: %s. It is not called like a WAV file, but may be a "
                           "recording.",
                           other->path, os_errno != 0 ? strerror(os_errno) : "unknown cause");
    } else if (entry->is_lost_piece && told->lost++ == 0) {
        told->first_lost = other->path;
    }
}

static void tell_more(struct tp_finding_list *list, enum tp_code code, size_t count)
{
    if (count > TP_FINDINGS_PER_CODE)
        tp_finding_add(list, code, TP_NOTE, tp_nowhere(), "%zu more of this kind.", count - TP_FINDINGS_PER_CODE);
}

/* What could not even be looked at may have held a take, and what is called otherwise may be one. */
enum tp_status tp_others_judge(const struct tp_scan *scan, const size_t *entries, const struct tp_head *heads,
                               struct tp_report *report)
{
    struct tp_finding_list list = {0};
    struct others_told told = {0};
    for (size_t i = 0; i < report->other_count; i++) {
        const struct tp_scan_entry *entry = &scan->entries[entries[i]];
        if (entry->unreadable)
            tp_finding_add(&list, TP_CODE_UNREADABLE, TP_FAIL, tp_nowhere(), "'%s': %s. It may hold a take.",
                           report->others[i].path, report->others[i].why);
        else
            judge_other(entry, heads != NULL ? &heads[i] : NULL, &report->others[i], &told, &list);
    }
    tell_more(&list, TP_CODE_NAME_OFF_PATTERN, told.wav);
    tell_more(&list, TP_CODE_UNREADABLE, told.unreadable);
    if (told.lost > 0)
        tp_finding_add(&list, TP_CODE_UNREADABLE, TP_LISTEN, tp_nowhere(),
                       "A repair of the file system found %zu %s that %s to no file, such as '%s': they may be "
                       "of a recording. Compare the takes with the notes before the card is wiped.",
                       told.lost, told.lost == 1 ? "piece" : "pieces", told.lost == 1 ? "belongs" : "belong",
                       told.first_lost);
    report->findings = list.items;
    report->finding_count = list.count;
    return list.failed ? TP_ERR_MEMORY : TP_OK;
}
