/* SPDX-License-Identifier: MIT */
#include "result.h"

#include <stdlib.h>

void tp_report_free(struct tp_report *report)
{
    if (report == NULL)
        return;
    free(report->version);
    free(report->made);
    for (size_t i = 0; i < report->source_count; i++)
        free(report->sources[i]);
    free(report->sources);
    tp_spec_clear(&report->spec);
    for (size_t i = 0; i < report->source_spec_count; i++)
        tp_spec_clear(&report->source_specs[i]);
    free(report->source_specs);
    for (size_t i = 0; i < report->take_count; i++)
        tp_take_clear(&report->takes[i]);
    free(report->takes);
    for (size_t i = 0; i < report->file_count; i++)
        tp_file_clear(&report->files[i]);
    free(report->files);
    for (size_t i = 0; i < report->other_count; i++)
        tp_other_clear(&report->others[i]);
    free(report->others);
    tp_findings_free(report->findings, report->finding_count);
    tp_excerpts_drop(report);
    tp_handoff_free(report->handoff);
    free(report->compared);
    free(report);
}
