/* SPDX-License-Identifier: MIT */
/* The spec: what is accepted prints to a file that is accepted and prints the same; what is refused says why. */
#include "harness.h"

#include <string.h>
#include <takeproof/spec.h>

static char *print(const struct tp_spec *spec, size_t *size)
{
    FILE *stream = tmpfile();
    FUZZ_MUST(stream != NULL);
    FUZZ_MUST(tp_spec_print(spec, stream, NULL) == TP_OK);
    char *text = fuzz_slurp(stream, size);
    fclose(stream);
    return text;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_spec spec;
    struct tp_error error = {0};
    enum tp_status status = tp_spec_read_bytes(&spec, (const char *)data, size, "fuzz.ini", &error);
    if (status != TP_OK) {
        FUZZ_MUST(error.message != NULL && strstr(error.message, "fuzz.ini") != NULL);
        tp_error_clear(&error);
        return 0;
    }
    size_t first_size, second_size;
    char *first = print(&spec, &first_size);
    struct tp_spec again;
    FUZZ_MUST(tp_spec_read_bytes(&again, first, first_size, "again.ini", &error) == TP_OK);
    char *second = print(&again, &second_size);
    FUZZ_MUST(first_size == second_size && memcmp(first, second, first_size) == 0);
    free(first);
    free(second);
    tp_spec_clear(&spec);
    tp_spec_clear(&again);
    return 0;
}
