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
typedef enum tp_status write_fn(const struct part *part, FILE *out, struct tp_error *error);

static enum tp_status write_html(const struct part *part, FILE *out, struct tp_error *error)
{
    return tp_report_write_html(part->report, out, error);
}

static enum tp_status write_csv(const struct part *part, FILE *out, struct tp_error *error)
{
    return tp_report_write_csv(part->report, out, error);
}

static enum tp_status write_findings(const struct part *part, FILE *out, struct tp_error *error)
{
    return tp_report_write_findings_csv(part->report, out, error);
}

static enum tp_status write_json(const struct part *part, FILE *out, struct tp_error *error)
{
    return tp_report_write_json(part->report, out, error);
}

static enum tp_status write_manifest(const struct part *part, FILE *out, struct tp_error *error)
{
    return tp_report_write_manifest(part->report, part->source, out, error);
}

static enum tp_status write_part(const char *directory, const char *name, write_fn *write, const struct part *part,
                                 struct tp_error *error)
{
    struct tp_whole_file file;
    char *path = tp_path_join(directory, name);
    if (path == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the report: not enough memory");
    enum tp_status status = tp_whole_file_open(&file, path, true, error);
    free(path);
    if (status != TP_OK)
        return status;
    status = write(part, file.stream, error);
    if (status != TP_OK) {
        tp_whole_file_abandon(&file);
        return status;
    }
    return tp_whole_file_commit(&file, error);
}

static enum tp_status write_manifests(const struct tp_report *report, const char *directory, struct tp_error *error)
{
    enum tp_status status = TP_OK;
    const char *kind = tp_report_has_sha256(report) ? "sha256" : "xxh64";
    for (size_t i = 0; i < report->source_count && status == TP_OK; i++) {
        struct part part = {report, i};
        char *name =
            report->source_count == 1 ? tp_format("manifest.%s", kind) : tp_format("manifest-%zu.%s", i + 1, kind);
        if (name == NULL)
            return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the manifest: not enough memory");
        status = write_part(directory, name, write_manifest, &part, error);
        free(name);
    }
    return status;
}

/* The folder itself or, when it is not there yet, the nearest parent that is. NULL when memory is short. */
static char *existing_part(const char *directory)
{
    char *part = tp_strdup(directory);
    while (part != NULL && part[0] != '\0' && access(part, F_OK) != 0) {
        char *slash = strrchr(part, '/');
        if (slash == NULL)
            part[0] = '\0';
        else
            slash[slash == part ? 1 : 0] = '\0';
        if (strcmp(part, "/") == 0)
            break;
    }
    if (part == NULL || part[0] != '\0')
        return part;
    free(part);
    return tp_strdup(".");
}

/* "new/../card": nobody can say where it leads before `new` is made. */
static bool goes_up(const char *rest)
{
    for (const char *at = strstr(rest, ".."); at != NULL; at = strstr(at + 1, ".."))
        if ((at == rest || at[-1] == '/') && (at[2] == '/' || at[2] == '\0'))
            return true;
    return false;
}

static enum tp_status check_part(const char *part, const char *directory, const char *const *sources,
                                 size_t source_count, struct tp_error *error)
{
    size_t length = strlen(part);
    const char *rest = strncmp(part, directory, length) == 0 ? directory + length : directory;
    if (goes_up(rest))
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
    char *part = existing_part(directory);
    if (part == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "cannot write the report: not enough memory");
    enum tp_status status = check_part(part, directory, sources, source_count, error);
    free(part);
    return status;
}

enum tp_status tp_report_write_set(const struct tp_report *report, const char *directory, struct tp_error *error)
{
    static const struct {
        const char *name;
        write_fn *write;
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
        status = write_part(directory, parts[i].name, parts[i].write, &part, error);
    }
    if (status == TP_OK)
        status = write_manifests(report, directory, error);
    return status;
}
