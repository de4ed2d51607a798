/* SPDX-License-Identifier: MIT */
/* Runs a fuzz target over files and folders without a fuzzing engine, so that `make check` replays every found case. */
#include "harness.h"

#include <dirent.h>
#include <string.h>
#include <sys/stat.h>

static size_t replayed;

static void replay_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    FUZZ_MUST(file != NULL);
    FUZZ_MUST(fseek(file, 0, SEEK_END) == 0);
    size_t size;
    char *bytes = fuzz_slurp(file, &size);
    fclose(file);
    (void)LLVMFuzzerTestOneInput((const uint8_t *)bytes, size);
    free(bytes);
    replayed++;
}

static void replay(const char *path)
{
    struct stat status;
    FUZZ_MUST(stat(path, &status) == 0);
    if (!S_ISDIR(status.st_mode)) {
        replay_file(path);
        return;
    }
    DIR *folder = opendir(path);
    FUZZ_MUST(folder != NULL);
    for (const struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
        if (entry->d_name[0] == '.')
            continue;
        size_t length = strlen(path) + strlen(entry->d_name) + 2;
        char *inner = malloc(length);
        FUZZ_MUST(inner != NULL);
        snprintf(inner, length, "%s/%s", path, entry->d_name);
        replay(inner);
        free(inner);
    }
    closedir(folder);
}

/* replay_riff without arguments: fixtures/fuzz/fuzz_riff, from the top of the tree. */
static void replay_kept(const char *program)
{
    const char *name = strstr(program, "replay_");
    char path[256];
    FUZZ_MUST(name != NULL);
    while (strstr(name + 1, "replay_") != NULL)
        name = strstr(name + 1, "replay_");
    FUZZ_MUST(snprintf(path, sizeof path, "fixtures/fuzz/fuzz_%s", name + strlen("replay_")) < (int)sizeof path);
    replay(path);
}

int main(int argc, char **argv)
{
    if (argc == 1)
        replay_kept(argv[0]);
    for (int i = 1; i < argc; i++)
        replay(argv[i]);
    printf("%zu of %zu inputs replayed\n", replayed, replayed);
    return replayed > 0 ? 0 : 1;
}
