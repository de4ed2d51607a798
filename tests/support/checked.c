/* SPDX-License-Identifier: MIT */
#include "support/checked.h"

#include "support/voice.h"
#include "support/wavgen.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void checked_json(struct checked *checked, const char *const *arguments)
{
    static const char *const environment[] = {"SOURCE_DATE_EPOCH=1931385600", "LC_ALL=C.UTF-8", NULL};
    const char *argv[34] = {run_takeproof(), "check", "--json"};
    for (size_t i = 0; arguments[i] && i < 30; i++)
        argv[3 + i] = arguments[i];
    run_program(argv, NULL, environment, 300, &checked->run);
    checked->report = json_loadb(checked->run.out, checked->run.out_size, 0, NULL);
}

void checked_source(struct checked *checked, const char *source)
{
    checked_json(checked, (const char *const[]){source, NULL});
}

void checked_clear(struct checked *checked)
{
    json_decref(checked->report);
    run_clear(&checked->run);
    *checked = (struct checked){.report = NULL};
}

const char *checked_text(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

double checked_number(const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static json_t *with_path(const json_t *list, const char *path)
{
    size_t i;
    json_t *item;
    json_array_foreach(list, i, item) if (strcmp(checked_text(item, "path"), path) == 0) return item;
    return NULL;
}

json_t *checked_file(const struct checked *checked, const char *path)
{
    return with_path(json_object_get(checked->report, "files"), path);
}

json_t *checked_other(const struct checked *checked, const char *path)
{
    return with_path(json_object_get(checked->report, "others"), path);
}

static int holds(const json_t *take, const char *path)
{
    size_t i;
    json_t *name;
    json_array_foreach(json_object_get(take, "files"), i,
                       name) if (json_is_string(name) && strcmp(json_string_value(name), path) == 0) return 1;
    return 0;
}

json_t *checked_take(const struct checked *checked, const char *path)
{
    size_t i;
    json_t *take;
    json_array_foreach(json_object_get(checked->report, "takes"), i, take) if (holds(take, path)) return take;
    return NULL;
}

static int rank(const char *severity)
{
    return strcmp(severity, "fail") == 0 ? 2 : strcmp(severity, "listen") == 0 ? 1 : 0;
}

json_t *checked_finding(const json_t *take, const char *code, const char *least)
{
    size_t i;
    json_t *finding;
    json_array_foreach(json_object_get(take, "findings"), i,
                       finding) if (strcmp(checked_text(finding, "code"), code) == 0 &&
                                    rank(checked_text(finding, "severity")) >= rank(least)) return finding;
    return NULL;
}

char *checked_findings_text(const json_t *take)
{
    char *all = scratch_format("%s", "");
    size_t i;
    json_t *finding;
    json_array_foreach(json_object_get(take, "findings"), i, finding)
    {
        if (rank(checked_text(finding, "severity")) < 1)
            continue;
        char *more = scratch_format("%s\n  %s %s: %s", all, checked_text(finding, "severity"),
                                    checked_text(finding, "code"), checked_text(finding, "message"));
        free(all);
        all = more;
    }
    return all;
}

double *good_take_samples(uint64_t seed, double seconds, size_t *frames)
{
    struct voice_line line = {.start_s = 0.5, .length_s = seconds - 1.0, .speaker = (unsigned)(seed % 3)};
    struct voice_script script = {
        .seed = seed, .level_dbfs = -17.8, .room_dbfs = -64.0, .lines = &line, .line_count = 1};
    *frames = (size_t)(seconds * 48000.0);
    double *mono = malloc(sizeof *mono * *frames);
    double *both = malloc(sizeof *both * *frames * 2);
    if (!mono || !both) {
        fputs("checked: memory\n", stderr);
        exit(99);
    }
    voice_render(&script, mono, *frames);
    for (size_t n = 0; n < *frames; n++) {
        both[2 * n] = mono[n] + 2e-6 * wavgen_random(2 * n + 11);
        both[2 * n + 1] = 0.25118864315095796 * mono[n] + 2e-6 * wavgen_random(2 * n + 12); /* -12 dB */
    }
    free(mono);
    return both;
}

void good_take_write(const char *path, uint64_t seed, double seconds)
{
    size_t frames;
    double *both = good_take_samples(seed, seconds, &frames);
    wavgen_write(&(struct wavgen){.channels = 2, .frames = frames, .reals = both}, path);
    free(both);
}
