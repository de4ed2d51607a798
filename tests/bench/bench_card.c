/* SPDX-License-Identifier: MIT */
/*
 * Makes the benchmark's card: speech-like dual-level takes, 48 kHz/24-bit two-channel, until MEGABYTES are written.
 * Usage: bench_card FOLDER MEGABYTES [FILES]. One minute of invented speech is made once and laid out again at changing
 * offsets, with noise of its own under every take, as no two recordings have the same: making the card takes seconds.
 */
#include "support/voice.h"

#include "base/num.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { RATE_HZ = 48000, FRAMES = 60 * RATE_HZ };
#define ROOM_LIN 5e-4            /* -71 dBFS RMS */
#define SAFETY_LIN 0.25118864315 /* -12 dB */
#define CONVERTER_LIN 2e-6       /* -119 dBFS RMS */

static void put_sample(uint8_t *to, double value)
{
    double scaled = value * 8388608.0;
    int32_t sample = scaled > 8388607.0 ? 8388607 : scaled < -8388608.0 ? -8388608 : (int32_t)lrint(scaled);
    to[0] = (uint8_t)sample;
    to[1] = (uint8_t)(sample >> 8);
    to[2] = (uint8_t)(sample >> 16);
}

static double noise(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(int32_t)(*state >> 32) / 2147483648.0;
}

static void put_header(uint8_t header[44], size_t frames)
{
    size_t bytes = frames * 6;
    memcpy(header, "RIFF....WAVEfmt ", 16);
    tp_put_le32(header + 4, (uint32_t)(36 + bytes));
    tp_put_le32(header + 16, 16);
    tp_put_le16(header + 20, 1);
    tp_put_le16(header + 22, 2);
    tp_put_le32(header + 24, RATE_HZ);
    tp_put_le32(header + 28, RATE_HZ * 6);
    tp_put_le16(header + 32, 6);
    tp_put_le16(header + 34, 24);
    memcpy(header + 36, "data", 4);
    tp_put_le32(header + 40, (uint32_t)bytes);
}

static int write_take(const char *path, const double *minute, size_t frames, size_t offset)
{
    uint8_t header[44] = {0}, block[6 * 4096];
    uint64_t state = offset + 1;
    put_header(header, frames);
    FILE *file = fopen(path, "wb");
    if (file == NULL)
        return 1;
    int failed = fwrite(header, 1, sizeof header, file) != sizeof header;
    for (size_t done = 0; done < frames && !failed;) {
        size_t step = frames - done < 4096 ? frames - done : 4096;
        for (size_t i = 0; i < step; i++) {
            double sound = minute[(offset + done + i) % FRAMES] + ROOM_LIN * noise(&state);
            put_sample(block + 6 * i, sound);
            put_sample(block + 6 * i + 3, sound * SAFETY_LIN + CONVERTER_LIN * noise(&state));
        }
        failed = fwrite(block, 6, step, file) != step;
        done += step;
    }
    return (fclose(file) != 0) | failed;
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: bench_card FOLDER MEGABYTES [FILES]\n");
        return 3;
    }
    size_t megabytes = (size_t)atol(argv[2]);
    size_t files = argc > 3 ? (size_t)atol(argv[3]) : 32;
    mkdir(argv[1], 0777);
    double *speech = malloc(FRAMES * sizeof *speech);
    if (speech == NULL || files == 0)
        return 3;
    struct voice_line lines[] = {{0.5, 20.0, 0.0, 0.1, 0}, {21.0, 15.0, -2.0, 0.2, 1}, {37.0, 22.0, 1.0, 0.3, 2}};
    struct voice_script script = {.seed = 41, .level_dbfs = -18.0, .room_dbfs = -66.0, .lines = lines, .line_count = 3};
    voice_render(&script, speech, FRAMES);
    int failed = 0;
    for (size_t i = 0; i < files && !failed; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%s/12A-T%03zu.wav", argv[1], i + 1);
        failed = write_take(path, speech, megabytes * 1000000 / 6 / files, i * 104729);
    }
    free(speech);
    return failed;
}
