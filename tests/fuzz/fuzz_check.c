/* SPDX-License-Identifier: MIT */
/* The whole check of one file and its reports: valid JSON, a verdict, no pass for what was not read. */
#include "harness.h"

#include <jansson.h>
#include <string.h>
#include <takeproof/takeproof.h>

static void must_write(const struct tp_report *report)
{
    FILE *stream = tmpfile();
    FUZZ_MUST(stream != NULL);
    FUZZ_MUST(tp_report_write_json(report, stream, NULL) == TP_OK);
    size_t size;
    char *text = fuzz_slurp(stream, &size);
    fclose(stream);
    json_error_t where;
    json_t *json = json_loadb(text, size, 0, &where);
    FUZZ_MUST(json != NULL);
    json_decref(json);
    free(text);
    stream = fopen("/dev/null", "w");
    FUZZ_MUST(stream != NULL);
    struct tp_text_options options = {.columns = 80};
    FUZZ_MUST(tp_report_write_text(report, &options, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_csv(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_findings_csv(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_html(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_manifest(report, 0, stream, NULL) == TP_OK);
    fclose(stream);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_spec spec;
    FUZZ_MUST(tp_spec_init(&spec, NULL) == TP_OK);
    const char *path = fuzz_file(data, size, ".wav");
    struct tp_check_options options = {.sources = &path, .source_count = 1, .spec = &spec, .jobs = 1};
    struct tp_report *report = NULL;
    FUZZ_MUST(tp_check(&options, &report, NULL) == TP_OK);
    FUZZ_MUST(report->file_count == 1 && report->take_count == 1);
    FUZZ_MUST(report->files[0].channels != NULL || report->verdict == TP_VERDICT_FAIL);
    FUZZ_MUST(strlen(report->files[0].sha256) == 64);
    must_write(report);
    tp_report_free(report);
    tp_spec_clear(&spec);
    return 0;
}
