/* SPDX-License-Identifier: MIT */
/* The report set: every file whole or not at all, and never inside a source. */
#include "base/io.h"
#include "base/text.h"
#include "result.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <takeproof/takeproof.h>
#include <unistd.h>

/* One file of the set. */
struct part {
    const struct tp_report *report;
    size_t source; /* of a manifest */
};

static enum tp_status write_html(const void *user, FILE *out, struct tp_error *error)
{
    const struct part *part = user;
    return tp_report_write_html(part->report, out, error);
}

static enum tp_status write_csv(const void *user, FILE *out, struct tp_error *error)
{
    const struct part *part = user;
    return tp_report_write_csv(part->report, out, error);
}

static enum tp_status write_findings(const void *user, FILE *out, struct tp_error *error)
{
    const struct part *part = user;
    return tp_report_write_findings_csv(part->report, out, error);
}

static enum tp_status write_json(const void *user, FILE *out, struct tp_error *error)
{
    const struct part *part = user;
    return tp_report_write_json(part->report, out, error);
}

static enum tp_status write_manifest(const void *user, FILE *out, struct tp_error *error)
{
    const struct part *part = user;
    return tp_report_write_manifest(part->report, part->source, out, error);
}

static enum tp_status write_manifests(const struct tp_report *report, const char *directory, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    for (size_t i = 0; i < report->source_count && status == TP_OK; i++) {
        struct part part = {report, i};
        const char *kind = tp_hash_kinds[tp_report_manifest_hash(report, i)].key;
        char *name =
            report->source_count == 1 ? tp_format("manifest.%s", kind) : tp_format("manifest-%zu.%s", i + 1, kind);
        if (name == NULL)
            return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the manifest: not enough memory");
        status = tp_whole_file_write(directory, name, write_manifest, &part, error);
        free(name);
    }
    return status;
}

static enum tp_status check_part(const char *part, const char *rest, const char *directory, const char *const *sources,
                                 size_t source_count, struct tp_error *error)
{
    if (tp_path_goes_back(rest))
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "cannot write the report to '%s': it goes up from a folder that is not there; name the "
                            "folder directly",
                            directory);
    for (size_t i = 0; i < source_count; i++)
        if (tp_path_is_inside(part, sources[i]))
            return tp_error_set(error, TP_ERR_USAGE, 0,
                                "cannot write the report to '%s': it lies inside the source '%s', which is never "
                                "written to; choose a folder elsewhere",
                                directory, sources[i]);
    struct stat found;
    if (stat(part, &found) == 0 && !S_ISDIR(found.st_mode))
        return tp_error_set(error, TP_ERR_WRITE, 0, "cannot write the report to '%s': '%s' is not a folder", directory,
                            part);
    if (access(part, W_OK) != 0)
        return tp_error_set(error, TP_ERR_WRITE, errno, "cannot write the report to '%s': %s", directory,
                            strerror(errno));
    return TP_OK;
}

enum tp_status tp_report_folder_check(const char *directory, const char *const *sources, size_t source_count,
                                      struct tp_error *error)
{
    const char *rest;
    char *part = tp_path_existing(directory, &rest);
    if (part == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the report: not enough memory");
    enum tp_status status = check_part(part, rest, directory, sources, source_count, error);
    free(part);
    return status;
}

enum tp_status tp_report_write_set(const struct tp_report *report, const char *directory, struct tp_error *error)
{
    static const struct {
        const char *name;
        tp_write_fn *write;
    } parts[] = {{"report.html", write_html},
                 {"report.csv", write_csv},
                 {"findings.csv", write_findings},
                 {"report.json", write_json}};
    /* Before the folder is made: making it inside a source would write to the source. */
    enum tp_status status =
        tp_report_folder_check(directory, (const char *const *)report->sources, report->source_count, error);
    if (status == TP_OK)
        status = tp_folder_make(directory, error);
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && status == TP_OK; i++) {
        struct part part = {report, 0};
        status = tp_whole_file_write(directory, parts[i].name, parts[i].write, &part, error);
    }
    if (status == TP_OK)
        status = write_manifests(report, directory, error);
    return status;
}
