/* SPDX-License-Identifier: MIT */
#include "harness.h"

#include <string.h>
#include <unistd.h>

const char *fuzz_folder(void)
{
    static char folder[64];
    if (folder[0] == '\0') {
        /* In memory where there is such a place: a fuzzer writes thousands of files a second. */
        const char *base = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
        snprintf(folder, sizeof folder, "%s/tp-fuzz-XXXXXX", base);
        FUZZ_MUST(mkdtemp(folder) != NULL);
    }
    return folder;
}

const char *fuzz_file(const uint8_t *data, size_t size, const char *extension)
{
    static char path[128];
    snprintf(path, sizeof path, "%s/input%s", fuzz_folder(), extension);
    FILE *file = fopen(path, "wb");
    FUZZ_MUST(file != NULL);
    FUZZ_MUST(size == 0 || fwrite(data, 1, size, file) == size);
    FUZZ_MUST(fclose(file) == 0);
    return path;
}

char *fuzz_slurp(FILE *stream, size_t *size)
{
    long end = ftell(stream);
    FUZZ_MUST(end >= 0);
    rewind(stream);
    char *bytes = malloc((size_t)end + 1);
    FUZZ_MUST(bytes != NULL);
    *size = fread(bytes, 1, (size_t)end, stream);
    bytes[*size] = '\0';
    return bytes;
}
