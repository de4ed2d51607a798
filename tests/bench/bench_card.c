/* SPDX-License-Identifier: MIT */
/*
 * Makes the benchmark's card: speech-like dual-level takes, 48 kHz/24-bit, until MEGABYTES are written.
 * Usage: bench_card FOLDER MEGABYTES [FILES [CHANNELS [noise]]]; two channels unless told, every second one the safety
 * of the one before it; `noise`: the worst case instead, white noise at full scale and 192 kHz, another in every
 * channel. One minute of invented speech is made once and laid out again at changing offsets, with noise of its own
 * under every take, as no two recordings have the same: making the card takes seconds.
 */
#include "support/voice.h"

#include "base/num.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { RATE_HZ = 48000, FRAMES = 60 * RATE_HZ, BLOCK = 1024, CHANNELS_MAX = 32 };
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

struct card {
    uint32_t rate_hz;
    size_t channels;
    const double *minute; /* of speech; NULL: noise */
};

static double noise(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(int32_t)(*state >> 32) / 2147483648.0;
}

static void put_header(uint8_t header[44], const struct card *card, size_t frames)
{
    size_t frame_bytes = 3 * card->channels, bytes = frames * frame_bytes;
    memcpy(header, "RIFF....WAVEfmt ", 16);
    tp_put_le32(header + 4, (uint32_t)(36 + bytes));
    tp_put_le32(header + 16, 16);
    tp_put_le16(header + 20, 1);
    tp_put_le16(header + 22, (uint16_t)card->channels);
    tp_put_le32(header + 24, card->rate_hz);
    tp_put_le32(header + 28, (uint32_t)(card->rate_hz * frame_bytes));
    tp_put_le16(header + 32, (uint16_t)frame_bytes);
    tp_put_le16(header + 34, 24);
    memcpy(header + 36, "data", 4);
    tp_put_le32(header + 40, (uint32_t)bytes);
}

/* Every second channel is the safety of the one before. */
static void put_frame(const struct card *card, double sound, uint64_t *state, uint8_t *to)
{
    double main = 0.0;
    for (size_t c = 0; c < card->channels; c++) {
        if (card->minute == NULL)
            main = noise(state);
        else if (c % 2 == 0)
            main = sound + ROOM_LIN * noise(state);
        bool is_safety = card->minute != NULL && c % 2 == 1;
        put_sample(to + 3 * c, is_safety ? main * SAFETY_LIN + CONVERTER_LIN * noise(state) : main);
    }
}

static int write_take(const char *path, const struct card *card, size_t frames, size_t offset)
{
    uint8_t header[44] = {0}, block[BLOCK * 3 * CHANNELS_MAX];
    uint64_t state = offset + 1;
    put_header(header, card, frames);
    FILE *file = fopen(path, "wb");
    if (file == NULL)
        return 1;
    int failed = fwrite(header, 1, sizeof header, file) != sizeof header;
    for (size_t done = 0; done < frames && !failed;) {
        size_t step = frames - done < BLOCK ? frames - done : BLOCK;
        for (size_t i = 0; i < step; i++)
            put_frame(card, card->minute != NULL ? card->minute[(offset + done + i) % FRAMES] : 0.0, &state,
                      block + 3 * card->channels * i);
        failed = fwrite(block, 3 * card->channels, step, file) != step;
        done += step;
    }
    return (fclose(file) != 0) | failed;
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: bench_card FOLDER MEGABYTES [FILES [CHANNELS [noise]]]\n");
        return 3;
    }
    size_t megabytes = (size_t)atol(argv[2]);
    size_t files = argc > 3 ? (size_t)atol(argv[3]) : 32;
    struct card card = {.rate_hz = RATE_HZ, .channels = argc > 4 ? (size_t)atol(argv[4]) : 2};
    if (card.channels == 0 || card.channels > CHANNELS_MAX)
        return 3;
    mkdir(argv[1], 0777);
    double *speech = malloc(FRAMES * sizeof *speech);
    if (speech == NULL || files == 0)
        return 3;
    struct voice_line lines[] = {{0.5, 20.0, 0.0, 0.1, 0}, {21.0, 15.0, -2.0, 0.2, 1}, {37.0, 22.0, 1.0, 0.3, 2}};
    struct voice_script script = {.seed = 41, .level_dbfs = -18.0, .room_dbfs = -66.0, .lines = lines, .line_count = 3};
    voice_render(&script, speech, FRAMES);
    if (argc > 5)
        card.rate_hz = 192000;
    else
        card.minute = speech;
    int failed = 0;
    for (size_t i = 0; i < files && !failed; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%s/12A-T%03zu.wav", argv[1], i + 1);
        failed = write_take(path, &card, megabytes * 1000000 / (3 * card.channels) / files, i * 104729);
    }
    free(speech);
    return failed;
}
