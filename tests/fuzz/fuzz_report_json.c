/* SPDX-License-Identifier: MIT */
/* Reading a report back: any bytes are refused or give a report that every writer can print. */
#include "harness.h"

#include <takeproof/takeproof.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_report *report = NULL;
    if (tp_report_read_json(fuzz_file(data, size, ".json"), &report, NULL) != TP_OK) {
        FUZZ_MUST(report == NULL);
        return 0;
    }
    FILE *stream = fopen("/dev/null", "w");
    FUZZ_MUST(stream != NULL);
    struct tp_text_options options = {.columns = 80};
    FUZZ_MUST(tp_report_write_text(report, &options, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_csv(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_findings_csv(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_html(report, stream, NULL) == TP_OK);
    FUZZ_MUST(tp_report_write_json(report, stream, NULL) == TP_OK);
    fclose(stream);
    tp_report_free(report);
    return 0;
}
