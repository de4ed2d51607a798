/* SPDX-License-Identifier: MIT */
#include "read/sectors_far.h"

#include "read/format.h"

#include <math.h>
#include <string.h>

#define GAP_MAX 4u    /* sectors: some were forgotten */
#define RUN_MAX 4096u /* sectors, 2 MB: what is longer was made by a program */
#define FRAMES_MIN 8u /* fewer cannot tell a tone */
#define FRAMES_MAX TP_SECTOR_FAR_BYTES
#define TONE_STEPS 3.0     /* of the format, RMS: how closely two samples tell the third of a tone */
#define TONE_SHARE 2.4e-7f /* of the largest sample, for float: 22 bits */

void tp_sectors_far_take(struct tp_sectors_far *far, uint64_t number, uint64_t lag, const uint8_t *sector)
{
    struct tp_sector_far_run *last = far->count > 0 ? &far->items[far->count - 1] : NULL;
    if (last != NULL && last->lag == lag && number - last->end <= GAP_MAX) {
        last->end = number + 1;
        return;
    }
    if (far->count == TP_SECTOR_FAR_MAX)
        return;
    last = &far->items[far->count++];
    *last = (struct tp_sector_far_run){.start = number, .end = number + 1, .lag = lag};
    memcpy(last->bytes, sector, sizeof last->bytes);
}

static double sample_at(const uint8_t *bytes, const struct tp_file *file)
{
    if (file->encoding == TP_ENCODING_FLOAT && file->bit_depth == 32) {
        float value;
        memcpy(&value, bytes, sizeof value);
        return (double)value;
    }
    if (file->encoding == TP_ENCODING_FLOAT) {
        double value;
        memcpy(&value, bytes, sizeof value);
        return value;
    }
    if (file->bit_depth == 8)
        return (double)bytes[0] - 128.0;
    uint32_t value = 0;
    for (uint32_t i = 0; i < file->bit_depth / 8; i++)
        value = value >> 8 | (uint32_t)bytes[i] << 24;
    return (double)(int32_t)value / (double)(UINT64_C(1) << (32 - file->bit_depth));
}

/* Of one tone x[n] = 2 cos(w) x[n - 1] - x[n - 2], whatever its frequency: the best w by least squares. */
static bool is_tone(const double *x, size_t count, bool is_float)
{
    double cross = 0.0, power = 0.0, rest = 0.0, peak = 0.0;
    for (size_t n = 2; n < count; n++) {
        cross += (x[n] + x[n - 2]) * x[n - 1];
        power += x[n - 1] * x[n - 1];
        peak = fmax(peak, fabs(x[n]));
    }
    double factor = power > 0.0 ? cross / power : 0.0;
    for (size_t n = 2; n < count; n++) {
        double error = x[n] + x[n - 2] - factor * x[n - 1];
        rest += error * error;
    }
    double steps = is_float ? TONE_SHARE * peak : 1.0;
    return !(sqrt(rest / (double)(count - 2)) > TONE_STEPS * steps);
}

/* True also when there is too little to tell. */
static bool may_be_tone(const struct tp_sector_far_run *run, const struct tp_file *file)
{
    double samples[FRAMES_MAX];
    size_t frame = tp_format_frame_bytes(file), sample_bytes = file->bit_depth / 8;
    size_t first = (size_t)((run->start * TP_SECTOR_FAR_BYTES - file->audio_offset) % frame);
    first = first == 0 ? 0 : frame - first;
    for (uint32_t channel = 0; channel < file->channel_count; channel++) {
        size_t count = 0;
        for (size_t at = first + channel * sample_bytes; at + sample_bytes <= sizeof run->bytes; at += frame)
            samples[count++] = sample_at(run->bytes + at, file);
        if (count >= FRAMES_MIN && !is_tone(samples, count, file->encoding == TP_ENCODING_FLOAT))
            return false;
    }
    return true;
}

bool tp_sectors_far_is_damage(const struct tp_sector_far_run *run, const struct tp_file *file)
{
    uint64_t length = run->end - run->start;
    return length <= run->lag && length <= RUN_MAX && !may_be_tone(run, file);
}
