/* SPDX-License-Identifier: MIT */
/*
 * The reference side of the benchmark: libsndfile decodes, libebur128 measures (integrated, range, sample and true
 * peak), nothing else. Prints one line a run: seconds of processor time. Usage: bench_reference FILE…
 */
#include <ebur128.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>

enum { BLOCK = 4096 };

static int measure(const char *path)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (file == NULL)
        return 1;
    unsigned channels = (unsigned)info.channels;
    ebur128_state *state =
        ebur128_init(channels, (unsigned long)info.samplerate,
                     EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_SAMPLE_PEAK | EBUR128_MODE_TRUE_PEAK);
    float *block = malloc(sizeof *block * BLOCK * channels);
    if (state == NULL || block == NULL)
        return 1;
    for (unsigned c = 0; c < channels; c++)
        ebur128_set_channel(state, c, EBUR128_LEFT);
    sf_count_t got;
    while ((got = sf_readf_float(file, block, BLOCK)) > 0)
        ebur128_add_frames_float(state, block, (size_t)got);
    double loudness, range, peak;
    ebur128_loudness_global(state, &loudness);
    ebur128_loudness_range(state, &range);
    for (unsigned c = 0; c < channels; c++)
        ebur128_true_peak(state, c, &peak);
    free(block);
    ebur128_destroy(&state);
    sf_close(file);
    return 0;
}

int main(int argc, char **argv)
{
    int failed = argc < 2;
    for (int i = 1; i < argc; i++)
        failed |= measure(argv[i]);
    return failed;
}
