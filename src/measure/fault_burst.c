/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "measure/fault_parts.h"

#include <string.h>

/* 26 frames of eight slots take 120 ms (the time-division frame of second-generation mobile telephony). */
#define FRAME_HZ (26.0 / 0.120)
/* The rest is common practice, no source; the values come from tests/measure/fault_tables.c. */
#define WINDOW_S 1.0
#define CELLS_MIN_HZ 800.0
#define EXPLAINED_MIN 0.2   /* of the variance of the logarithm, by the steady fundamental alone */
#define VARIANCE_MIN 0.01   /* of the logarithm: less is within the error of its estimate */
#define PULSE_MIN_LIN 5e-4F /* -66 dBFS */
#define HEIGHT_PER_EDGE (1.0F / 3.0F)
#define PI 3.14159265358979323846

void tp_buzz_start(struct tp_buzz *buzz, uint32_t sample_rate_hz)
{
    buzz->cells_hz = (double)sample_rate_hz / TP_FAULT_CELL;
    double blocks = WINDOW_S * sample_rate_hz / TP_FAULT_BLOCK;
    if (buzz->cells_hz < CELLS_MIN_HZ)
        return;
    buzz->blocks_in_window = blocks < TP_BUZZ_BLOCKS ? (size_t)blocks : TP_BUZZ_BLOCKS;
    double turn = 2.0 * PI * FRAME_HZ / buzz->cells_hz;
    for (size_t c = 0; c < TP_FAULT_BLOCK_CELLS; c++) {
        buzz->cosine[c] = (float)cos(turn * (double)c);
        buzz->sine[c] = (float)sin(turn * (double)c);
        buzz->cosines += buzz->cosine[c];
        buzz->sines += buzz->sine[c];
    }
    buzz->turn_cosine = cos(turn * TP_FAULT_BLOCK_CELLS);
    buzz->turn_sine = sin(turn * TP_FAULT_BLOCK_CELLS);
    buzz->phase_cosine = 1.0;
}

/* Of the logarithms of a block's third differences. */
struct sums {
    float real, imaginary, sum, squares, pulse;
};

#define TP_LANES_SOURCE "measure/fault_burst_lanes.h"
#include "measure/lanes.h"

/* Of the blocks in the window. */
static float highest_pulse(const struct tp_buzz *buzz)
{
    float pulse = 0.0F;
    for (size_t i = 0; i < buzz->blocks_in_window; i++)
        pulse = fmaxf(pulse, buzz->pulse[(buzz->blocks - 1 - i) % TP_BUZZ_BLOCKS]);
    return pulse;
}

static void judge(struct tp_buzz *buzz, uint64_t end_frame)
{
    double real = 0.0, imaginary = 0.0, variance = 0.0;
    for (size_t i = 0; i < buzz->blocks_in_window; i++) {
        size_t at = (buzz->blocks - 1 - i) % TP_BUZZ_BLOCKS;
        real += (double)buzz->real[at];
        imaginary += (double)buzz->imaginary[at];
        variance += (double)buzz->variance[at];
    }
    double cells = (double)buzz->blocks_in_window * TP_FAULT_BLOCK_CELLS;
    if (2.0 * (real * real + imaginary * imaginary) < EXPLAINED_MIN * cells * variance ||
        variance < VARIANCE_MIN * cells)
        return;
    float pulse = highest_pulse(buzz);
    if (pulse < PULSE_MIN_LIN)
        return;
    uint64_t length = (uint64_t)buzz->blocks_in_window * TP_FAULT_BLOCK;
    struct tp_fault_places *places = &buzz->places;
    struct tp_fault_place *last = places->count > 0 ? &places->items[places->count - 1] : NULL;
    if (last && places->total == places->count && end_frame - length <= last->end_frame) {
        last->end_frame = end_frame;
        last->value = fmax(last->value, (double)pulse);
        return;
    }
    tp_fault_places_add(places, end_frame - length, end_frame, (double)pulse);
}

void tp_buzz_block(struct tp_buzz *buzz, const struct tp_fault_signal *signal, uint64_t first_frame)
{
    if (buzz->blocks_in_window == 0 || first_frame + TP_FAULT_BLOCK > signal->end)
        return;
    const float *edges = signal->edge + first_frame % TP_FAULT_RING / TP_FAULT_CELL;
    struct sums s = TP_CHOSEN(sum_up)(buzz, edges);
    float mean = s.sum / TP_FAULT_BLOCK_CELLS;
    double re = (double)(s.real - mean * buzz->cosines), im = (double)(s.imaginary - mean * buzz->sines);
    size_t at = buzz->blocks % TP_BUZZ_BLOCKS;
    buzz->real[at] = (float)(re * buzz->phase_cosine - im * buzz->phase_sine);
    buzz->imaginary[at] = (float)(re * buzz->phase_sine + im * buzz->phase_cosine);
    buzz->variance[at] = fmaxf(s.squares - mean * s.sum, 0.0F);
    buzz->pulse[at] = s.pulse * HEIGHT_PER_EDGE;
    double turned = buzz->phase_cosine * buzz->turn_cosine - buzz->phase_sine * buzz->turn_sine;
    buzz->phase_sine = buzz->phase_sine * buzz->turn_cosine + buzz->phase_cosine * buzz->turn_sine;
    buzz->phase_cosine = turned;
    if (++buzz->blocks >= buzz->blocks_in_window)
        judge(buzz, first_frame + TP_FAULT_BLOCK);
}

bool tp_buzz_finish(struct tp_buzz *buzz, const struct tp_fault_out *out)
{
    for (size_t i = 0; i < buzz->places.count; i++) {
        const struct tp_fault_place *place = &buzz->places.items[i];
        double start_s = tp_fault_seconds(out->signal, place->start_frame),
               end_s = tp_fault_seconds(out->signal, place->end_frame), level = tp_db_from_lin(place->value);
        char at[TP_NUMBER_SIZE], length[TP_NUMBER_SIZE], height[TP_NUMBER_SIZE];
        if (!tp_observe(
                out->observations, TP_CODE_INTERFERENCE, out->channel, start_s, end_s, level,
                tp_db_from_lin((double)PULSE_MIN_LIN),
                "%s s of pulses at 217 a second from %s, up to %s dBFS: a mobile transmitter near the sound chain",
                tp_number_text(length, end_s - start_s, 1), tp_duration_text(at, start_s, 1),
                tp_number_text(height, level, 1)))
            return false;
    }
    return !buzz->places.failed;
}
