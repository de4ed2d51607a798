/* SPDX-License-Identifier: MIT */
/* bext: what is read can be written, and reads back the same. */
#include "harness.h"

#include "base/text.h"
#include "read/bext.h"

#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_bext *bext = NULL;
    if (tp_bext_parse(data, size, &bext, NULL) != TP_OK) {
        FUZZ_MUST(size < TP_BEXT_FIXED_BYTES && bext == NULL);
        return 0;
    }
    FUZZ_MUST(tp_utf8_is_valid(bext->description, strlen(bext->description)));
    FUZZ_MUST(tp_utf8_is_valid(bext->coding_history, strlen(bext->coding_history)));
    uint8_t *bytes;
    size_t written;
    FUZZ_MUST(tp_bext_write(bext, &bytes, &written, NULL) == TP_OK);
    FUZZ_MUST(written >= TP_BEXT_FIXED_BYTES);
    struct tp_bext *again = NULL;
    FUZZ_MUST(tp_bext_parse(bytes, written, &again, NULL) == TP_OK);
    FUZZ_MUST(again->time_reference_samples == bext->time_reference_samples);
    FUZZ_MUST(strcmp(again->origination_date, bext->origination_date) == 0 || strlen(bext->origination_date) > 10);
    free(bytes);
    tp_bext_free(again);
    tp_bext_free(bext);
    return 0;
}
