/* SPDX-License-Identifier: MIT */
/* iXML: any bytes give fields of valid UTF-8 or a plain refusal. */
#include "harness.h"

#include "base/text.h"
#include "read/ixml.h"

#include <string.h>

static void must_be_text(const char *text)
{
    FUZZ_MUST(text != NULL && tp_utf8_is_valid(text, strlen(text)));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_ixml *ixml = NULL;
    if (tp_ixml_parse(data, size, &ixml, NULL) != TP_OK) {
        FUZZ_MUST(ixml == NULL);
        return 0;
    }
    must_be_text(ixml->project);
    must_be_text(ixml->scene);
    must_be_text(ixml->take);
    must_be_text(ixml->note);
    must_be_text(ixml->timecode_rate_text);
    for (size_t i = 0; i < ixml->tracks_count; i++) {
        must_be_text(ixml->tracks[i].name);
        must_be_text(ixml->tracks[i].function);
    }
    tp_ixml_free(ixml);
    return 0;
}
